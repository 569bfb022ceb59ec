"""What hands do wrong, and what they set right again: undone, withdrawn, corrected, taken out of use."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import rule

from kiosk.rules.assembly import Clamping
from tests.faults.drawn import Shift, heat_places, holders, places, spots, unless_left_out

CORRECTIONS: tuple[dict[str, Any], ...] = (
    {"nose_mm": 18.0}, {"nose_mm": 40.0}, {"projection_mm": 60.0}, {"projection_mm": 160.0}, {"bore_mm": 6.0},
    {"bore_mm": 20.0, "nose_mm": 33.0}, {"insert_max_mm": 20.0}, {"clamping": Clamping.COLLET},
    {"clamping": Clamping.SHRINK_FIT}, {"name": "Holder anew"},
)  # fmt: skip
MARKS = ("MAKER 4711", "HSK-A63/0815")


class Slips(Shift):
    """A shift in which things are set right."""

    @rule(never_left=st.booleans())
    @unless_left_out("undoes")
    def undoes(self, never_left: bool) -> None:
        self.it.undo(never_left)

    @rule(key=holders, name=heat_places, seconds=st.sampled_from((1.0, 25.0, 58.0)), never_left=st.booleans())
    @unless_left_out("undoes")
    def scans_wrongly_and_undoes(self, key: str, name: str, seconds: float, never_left: bool) -> None:
        self.it.scan_holder(key)
        self.it.scan_place(name)
        self.it.wait(seconds)
        self.it.undo(never_left)

    @rule(key=holders, name=st.one_of(st.none(), heat_places, places))
    @unless_left_out("corrects")
    def corrects(self, key: str, name: str | None) -> None:
        self.it.correct_place(key, name)

    @rule(key=holders, where=spots)
    @unless_left_out("mistypes")
    def mistypes(self, key: str, where: str) -> None:
        self.it.mistype(key, where)

    @rule(key=holders)
    @unless_left_out("withdraws")
    def withdraws(self, key: str) -> None:
        self.it.withdraw(key)

    @rule(key=holders, where=spots, seconds=st.sampled_from((1.0, 70.0, 1800.0)), then=st.none() | spots)
    @unless_left_out("withdraws")
    def mistypes_and_withdraws(self, key: str, where: str, seconds: float, then: str | None) -> None:
        self.it.mistype(key, where)
        self.it.wait(seconds)
        self.it.withdraw(key)
        if then is not None:
            self.it.read(key, then, 0.0)

    @rule(
        key=holders,
        before_s=st.sampled_from((1.0, 31.0, 1200.0)),
        seconds=st.sampled_from((1.0, 29.0, 58.0, 61.0)),
        never_out=st.booleans(),
    )
    @unless_left_out("undoes")
    def tears_down_and_undoes(self, key: str, before_s: float, seconds: float, never_out: bool) -> None:
        """Torn down by a touch too many; or really, and the cutter was put back in by another heat."""
        self.it.scan_holder(key)
        self.it.scan_place("Shrink station")
        self.it.wait(before_s)
        self.it.tear_down(key)
        self.it.wait(seconds)
        self.it.undo(never_out)

    @rule(key=holders, changes=st.sampled_from(CORRECTIONS))
    @unless_left_out("corrects")
    def corrects_a_holder(self, key: str, changes: dict[str, Any]) -> None:
        self.it.correct_holder(key, changes)

    @rule(key=holders, old=st.booleans(), name=st.one_of(heat_places, places))
    @unless_left_out("retires")
    def retires_a_label(self, key: str, old: bool, name: str) -> None:
        """And scans it all the same, because nobody took it off."""
        text = self.it.retire_label(key)
        if old:
            self.it.scan(text)
            self.it.scan_place(name)

    @rule(name=places)
    @unless_left_out("retires")
    def retires_a_places_label(self, name: str) -> None:
        """Which cannot be: a place is known by its label alone."""
        self.it.retire_text(self.it.code[name])

    @rule(key=holders, mark=st.sampled_from(MARKS))
    @unless_left_out("adopts")
    def adopts_a_makers_mark(self, key: str, mark: str) -> None:
        self.it.adopt_mark(key, mark)

    @rule(mark=st.sampled_from(MARKS), name=st.one_of(heat_places, places))
    @unless_left_out("adopts")
    def carries_by_a_makers_mark(self, mark: str, name: str) -> None:
        """The mark is on the holder it was given to first, and perhaps on none."""
        self.it.scan(mark)
        self.it.scan_place(name)

    @rule(key=holders, back=st.booleans())
    @unless_left_out("retires")
    def retires_a_holder(self, key: str, back: bool) -> None:
        self.it.retire_holder(key)
        if back:
            self.it.import_holder(key, {})

    @rule(key=holders)
    @unless_left_out("adopts")
    def adopts(self, key: str) -> None:
        self.it.adopt(key)

