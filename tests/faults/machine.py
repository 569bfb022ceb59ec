"""All that anybody can do at a kiosk and to it, drawn in any order, against the truth of `shopfloor`.

A state machine of hypothesis: what it finds it makes as short as it can.
"""

from __future__ import annotations

from hypothesis import strategies as st
from hypothesis.stateful import rule

from kiosk.rules import codes
from kiosk.rules.cards import Command
from tests.faults.drawn import HOUR_S, heat_places, holders, places, spots, steps, unless_left_out, waits
from tests.faults.slips import Slips
from tests.faults.truth import PLACES

BADGES = ("BSXD5X3637", "B6J6BXCR66", "BH90GXPB95")


class AnyShift(Slips):
    """A kiosk, four holders, and whatever happens to them."""

    @rule()
    def a_moment_passes(self) -> None:
        """No step: hypothesis fills a shift up with it, and what it finds reads shorter."""

    # scans and waits, again and again ----------------------------------------------------------------------------

    @rule(key=holders, name=st.one_of(heat_places, places))
    def carries(self, key: str, name: str) -> None:
        self.it.scan_holder(key)
        self.it.scan_place(name)

    @rule(key=holders, name=heat_places, seconds=st.sampled_from((1.0, 25.0, 70.0, 300.0)))
    def heats_and_cools(self, key: str, name: str, seconds: float) -> None:
        self.it.scan_holder(key)
        self.it.scan_place("Shrink station")
        self.it.wait(2.0)
        self.it.scan_holder(key)
        self.it.scan_place(name)
        self.it.wait(seconds)

    @rule(key=holders)
    def scans_a_holder(self, key: str) -> None:
        self.it.scan_holder(key)

    @rule(name=places)
    def scans_a_place(self, name: str) -> None:
        self.it.scan_place(name)

    @rule(seconds=waits)
    def waits(self, seconds: float) -> None:
        self.it.wait(seconds)

    @rule(key=holders, times=st.integers(2, 35), seconds=st.sampled_from((1.0, 2.0, 40.0, 600.0)))
    @unless_left_out("heats_again_and_again")
    def heats_again_and_again(self, key: str, times: int, seconds: float) -> None:
        for _ in range(times):
            self.it.scan_holder(key)
            self.it.scan_place("Shrink station")
            self.it.wait(seconds)

    @rule(keys=st.lists(holders, min_size=1, max_size=3), seconds=st.sampled_from((0.5, 3.0, 29.0, 45.0)))
    @unless_left_out("heats_again_and_again")
    def thirty_scans_in_a_row_at_the_station(self, keys: list[str], seconds: float) -> None:
        """By turns, the place scanned now and then only."""
        for count in range(30):
            self.it.scan_holder(keys[count % len(keys)])
            if count % 3 == 0:
                self.it.scan_place("Shrink station")
            self.it.wait(seconds)

    @rule(text=st.sampled_from((*BADGES, *(codes.make(codes.CodeKind.COMMAND, each.value).text for each in Command))))
    @unless_left_out("scans_a_card")
    def scans_a_card(self, text: str) -> None:
        if codes.parse(text).kind is not codes.CodeKind.COMMAND or text != _UNDO:
            self.it.scan(text)

    @rule(key=holders, where=spots, noise_k=st.sampled_from((-1.0, 0.0, 1.0)))
    @unless_left_out("reads")
    def reads(self, key: str, where: str, noise_k: float) -> None:
        self.it.read(key, where, noise_k)

    @rule(key=holders)
    @unless_left_out("reads")
    def reads_all_over(self, key: str) -> None:
        for where in ("nose", "flange", "shank", "nose"):
            self.it.wait(105.0)
            self.it.read(key, where, 0.0)

    @rule(key=holders)
    @unless_left_out("builds")
    def builds(self, key: str) -> None:
        self.it.build(key)

    @rule(key=holders)
    @unless_left_out("tears_down")
    def tears_down(self, key: str) -> None:
        self.it.tear_down(key)

    @rule(key=holders, seconds=st.sampled_from((1.0, 31.0, 70.0, 900.0, 3600.0)))
    @unless_left_out("refits")
    def refits(self, key: str, seconds: float) -> None:
        """Another cutter, torn out and put in at the station, some time after each other."""
        self.it.scan_holder(key)
        self.it.scan_place("Shrink station")
        for act in (self.it.tear_down, self.it.build):
            self.it.wait(seconds)
            act(key)

    @rule()
    @unless_left_out("registers")
    def registers(self) -> None:
        self.it.register()

    # audits --------------------------------------------------------------------------------------------------

    @rule(name=places, seen=st.lists(holders, max_size=2, unique=True))
    @unless_left_out("audits")
    def audits(self, name: str, seen: list[str]) -> None:
        self.it.audit(name, tuple(seen))

    @rule(key=holders, action=st.sampled_from(("book_moved", "to_cooling", "nowhere", "put_back", "torn_down")))
    @unless_left_out("audits")
    def settles(self, key: str, action: str) -> None:
        self.it.settle(key, action)

    @rule(close=st.booleans())
    @unless_left_out("audits")
    def leaves_the_audit(self, close: bool) -> None:
        self.it.leave_audit(close)

    # files and commands --------------------------------------------------------------------------------------

    @rule()
    @unless_left_out("restores")
    def makes_a_copy(self) -> None:
        self.it.backup()

    @rule(which=st.integers(0, 3))
    @unless_left_out("restores")
    def restores(self, which: int) -> None:
        self.it.restore(which)

    @rule(key=holders, first=st.integers(0, 3), second=st.integers(0, 3), between=st.booleans())
    @unless_left_out("restores")
    def restores_one_copy_and_another(self, key: str, first: int, second: int, between: bool) -> None:
        self.it.restore(first)
        if between:
            self.it.scan_holder(key)
            self.it.scan_place("Shrink station")
        self.it.restore(second)

    @rule(which=st.integers(0, 3))
    @unless_left_out("restores")
    def takes_an_import_back_after_a_restore(self, which: int) -> None:
        self.it.import_place("Rack 1", "cooling", "sleeve", 300.0)
        self.it.import_place("Rack 1", "cooling", "free_air", None)
        self.it.restore(which)
        self.it.undo_import("a slip")

    @rule(key=holders, oal_mm=st.sampled_from((30.0, 60.0, 90.0)))
    @unless_left_out("regrinds")
    def regrinds_on_paper(self, key: str, oal_mm: float) -> None:
        self.it.regrind(key, oal_mm)

    @rule(seconds=st.sampled_from((60.0, 3600.0)))
    @unless_left_out("rehearses")
    def rehearses(self, seconds: float) -> None:
        self.it.rehearse(seconds)

    @rule(
        key=holders,
        changes=st.sampled_from(({"projection_mm": "40"}, {"nose_mm": "20"}, {"bore_mm": "20", "nose_mm": "33"}, {})),
    )
    @unless_left_out("imports_holders")
    def imports_holders(self, key: str, changes: dict[str, str]) -> None:
        self.it.import_holder(key, changes)

    @rule(key=holders, changes=st.sampled_from(({"OAL": "400"}, {"material": "hss"}, {"DMM": "3", "DC": "3"}, {})))
    @unless_left_out("imports_cutters")
    def imports_cutters(self, key: str, changes: dict[str, str]) -> None:
        self.it.import_cutter(key, changes)

    @rule(
        name=st.sampled_from(PLACES),
        kind=st.sampled_from(("cooling", "bench")),
        way=st.sampled_from(("sleeve", "mist", "free_air")),
        wet_mm=st.sampled_from((None, 300.0, 20.0)),
    )
    @unless_left_out("imports_places")
    def imports_places(self, name: str, kind: str, way: str, wet_mm: float | None) -> None:
        if name != "Shrink station":
            self.it.import_place(name, kind, way, wet_mm)

    @rule(reason=st.sampled_from(("", "a slip")))
    @unless_left_out("undoes_imports")
    def undoes_an_import(self, reason: str) -> None:
        self.it.undo_import(reason)

    @rule(
        change=st.sampled_from(
            (("temp_c", 150.0), ("temp_c", 380.0), ("limit_c", 48.0), ("ambient_c", 10.0), ("heating_s", 5.0))
        )
    )
    @unless_left_out("edits_settings")
    def edits_the_heat_settings(self, change: tuple[str, float]) -> None:
        self.it.edit_settings("heat", *change)

    @rule(name=st.sampled_from(("kiosk", "other", "third")))
    @unless_left_out("renames")
    def renames_the_kiosk(self, name: str) -> None:
        self.it.edit_settings("kiosk", "name", name)

    @rule(
        key=holders, name=heat_places, names=st.lists(st.sampled_from(("kiosk", "other", "third")), max_size=3),
        seconds=st.sampled_from((1.0, 50.0, 600.0)), never_left=st.booleans(),
    )  # fmt: skip
    @unless_left_out("renames")
    def renames_the_kiosk_while_it_holds(
        self, key: str, name: str, names: list[str], seconds: float, never_left: bool
    ) -> None:
        self.heats_and_cools(key, name, 1.0)
        for each in (*names, "kiosk"):
            self.it.edit_settings("kiosk", "name", each)
        self.it.wait(seconds)
        self.it.undo(never_left)

    @rule(command=st.sampled_from(("hot", "find", "history", "check")))
    @unless_left_out("asks")
    def asks(self, command: str) -> None:
        if command == "check":
            self.it.check()
        else:
            self.it.ask(command)

    # what a tablet may suffer --------------------------------------------------------------------------------

    @rule(hours=st.sampled_from((-30.0, -2.5, -0.1, 0.1, 3.0, 30.0)))
    @unless_left_out("sets_the_clock")
    def sets_the_wall_clock(self, hours: float) -> None:
        self.it.clocks.set_wall(hours * HOUR_S)

    @rule(key=holders, name=places, hours=st.sampled_from((0.1, 3.0, 30.0)), seconds=st.sampled_from((0.0, 20.0, 99.0)))
    @unless_left_out("sets_the_clock")
    def carries_while_the_wall_clock_jumps(self, key: str, name: str, hours: float, seconds: float) -> None:
        for turn, goal in ((1.0, "Shrink station"), (-1.0, name)):
            self.it.scan_holder(key)
            self.it.clocks.set_wall(turn * hours * HOUR_S)
            self.it.wait(seconds)
            self.it.scan_place(goal)
            self.it.clocks.set_wall(-2 * turn * hours * HOUR_S)
            self.it.wait(seconds)

    @rule(key=holders, name=places, off_s=st.sampled_from((0.0, 5.0, 300.0)), boot=st.booleans())
    @unless_left_out("restarts")
    def carries_with_a_restart_in_the_middle(self, key: str, name: str, off_s: float, boot: bool) -> None:
        for goal in ("Shrink station", name):
            self.it.scan_holder(key)
            self.it.reopen(off_s, boot)
            self.it.scan_place(goal)  # alone, if the first scan is forgotten
            self.it.scan_holder(key)
            self.it.reopen(off_s, boot)

    @rule(
        key=holders,
        act=st.sampled_from(("heats", "undoes", "corrects", "tears_down", "builds", "adopts", "reads")),
        off_s=st.sampled_from((0.0, 30.0)),
        never_left=st.booleans(),
    )
    @unless_left_out("restarts")
    def restarts_right_after(self, key: str, act: str, off_s: float, never_left: bool) -> None:
        """Where the book has what was done and nobody has seen the screen say so."""
        match act:
            case "heats":
                self.heats_and_cools(key, "Sleeve 1", 25.0)
            case "undoes":
                self.it.undo(never_left)
            case "corrects":
                self.it.correct_place(key, "Shrink station")
            case "tears_down":
                self.it.tear_down(key)
            case "builds":
                self.it.build(key)
            case "adopts":
                self.it.adopt(key)
            case _:
                self.it.read(key, "nose", 0.0)
        self.it.reopen(off_s)

    @rule(off_s=st.sampled_from((0.0, 30.0, HOUR_S, 12 * HOUR_S)), boot=st.booleans())
    @unless_left_out("restarts")
    def restarts(self, off_s: float, boot: bool) -> None:
        self.it.reopen(off_s, boot)

    @rule(at=steps)
    @unless_left_out("power_goes")
    def power_goes_in_what_comes_next(self, at: int) -> None:
        self.it.power_goes(at)

    @rule(pages=st.sampled_from((0, 1, 2, 4, 8, 40, 150, 260)))
    @unless_left_out("disk_fills")
    def disk_is_full_in_what_comes_next(self, pages: int) -> None:
        self.it.disk_fills(pages)


_UNDO = codes.make(codes.CodeKind.COMMAND, Command.UNDO.value).text
