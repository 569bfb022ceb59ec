"""The whole row each kind of line leaves, column by column, on a clock that has run for months."""

from __future__ import annotations

import json
from typing import Any

import pytest

from kiosk.ledger.derive import Broken, Drop, MemoryState, Put, Stamp, changes, mentions, text
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Condition, Coupling, Cutter, Family, Holder, Measured, Unbalance
from kiosk.rules.fitting.magazine import Magazine, MagazineKind
from kiosk.rules.places import Kind, Place

BEGUN_S = 150 * 86400.0
HSK63 = Coupling(Family.HOLLOW_TAPER, 63)
HOLDER = Holder("T1", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0)
CUTTER = Cutter("C1", "End mill 12", 12.0, 12.0, 83.0, re_mm=0.5)
Row = dict[str, Any]


class Told:
    """Lines told to a state in order, each a second after the one before; what the last of them changed."""

    def __init__(self) -> None:
        self.state = MemoryState()
        self.line = 40

    def say(self, *entries: L.Entry) -> list[Put | Drop]:
        found: list[Put | Drop] = []
        for entry in entries:
            self.line += 1
            stamp = Stamp(self.line, 1.79e9 + self.line, BEGUN_S + self.line, "mill", "jo")
            found = []
            for change in changes(entry, stamp, self.state):
                self.state.apply(change)
                found.append(change)
        return found

    def row(self, table: str, key: str | int) -> Any:
        return self.state.get(table, key)


@pytest.fixture
def told() -> Told:
    told = Told()
    told.say(
        L.PlaceAdded(Place("P1", "Bench", Kind.BENCH)),
        L.PlaceAdded(Place("P3", "Station", Kind.SHRINK)),
        L.PlaceAdded(Place("P9", "Pocket 4", Kind.POCKET, number=4)),
        L.HolderRegistered(HOLDER, stood_cold=True),
        L.CutterAdded(CUTTER),
        L.CodeBound("H1", "T1", "holder"),
        L.Built("A1", "End mill 12", "T1", "C1", 38.0),
        L.Moved("T1", None, "P1"),
    )  # lines 41 to 48
    return told


FRESH: Row = {
    "code": None, "place": None, "since_line": None, "since_utc_s": None, "since_watched_s": None, "last_kiosk": None,
    "assembly": None, "heat": "cool", "heat_cycles": 0, "heat_unused": 0, "retired": 0,
}  # fmt: skip
FACTS: Row = {
    "key": "T1", "name": "Shrink 12", "coupling": "HSK63", "clamping": Clamping.SHRINK_FIT.value, "bore_mm": 12.0,
    "facts": text(HOLDER),
}  # fmt: skip


# holders


def test_a_holder_is_where_and_what_its_lines_say(told: Told) -> None:
    stands = {"code": "H1", "assembly": "A1", "place": "P1", "since_line": 48, "since_utc_s": 1.79e9 + 48}
    stands |= {"since_watched_s": BEGUN_S + 48, "last_kiosk": "mill"}
    assert told.row("holder", "T1") == FRESH | FACTS | stands
    renamed = Holder("T1", "Shrink 12 long", HSK63, Clamping.SHRINK_FIT, 12.0)
    told.say(L.HolderRegistered(renamed))
    told_anew = {"name": "Shrink 12 long", "facts": text(renamed)}
    assert told.row("holder", "T1") == FRESH | FACTS | stands | told_anew, "it stays where and as warm as it is"


def test_a_holder_nobody_says_is_cold_is_of_unknown_warmth(told: Told) -> None:
    for stood_cold, heat in ((True, "cool"), (False, "unknown")):
        told.say(L.HolderRegistered(Holder("T2", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0), stood_cold=stood_cold))
        assert told.state.tables["holder"].pop("T2")["heat"] == heat


def test_a_holder_whose_warmth_an_older_ledger_doubted_is_of_unknown_warmth(told: Told) -> None:
    told.say(L.Restored("b", (), ("T5",)))
    assert told.row("doubted", "T5") is not None
    found = told.say(L.HolderRegistered(Holder("T5", "x", HSK63, Clamping.SHRINK_FIT, 12.0), stood_cold=True))
    assert Drop("doubted", "T5") in found and told.row("doubted", "T5") is None
    assert told.row("holder", "T5")["heat"] == "unknown"


@pytest.mark.parametrize(("heat", "comes_back"), [("cool", "unknown"), ("unknown", "unknown"), ("held", "held")])
def test_a_retired_holder_comes_back_from_nowhere_with_its_label_its_cycles_and_its_hold(
    told: Told, heat: str, comes_back: str
) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"))
    if heat == "cool":
        told.say(L.HoldEnded("T1", "time", told.line))
    elif heat == "unknown":
        told.say(L.HoldEnded("T1", "time", told.line), L.Moved("T1", "P3", None))
    told.say(L.HolderRetired("T1", "lent"))
    assert told.row("holder", "T1")["retired"] == 1 and told.row("holder", "T1")["heat"] == heat
    before = told.row("hold", "T1")
    told.say(L.HolderRegistered(HOLDER, stood_cold=True))
    back = {"code": "H1", "heat_cycles": 1, "heat": comes_back}
    assert told.row("holder", "T1") == FRESH | FACTS | back
    assert told.row("hold", "T1") == before | ({"reading_only": 1} if heat == "held" else {})


# cutters and assemblies


def test_a_cutter_is_what_its_line_says_and_keeps_its_regrinds(told: Told) -> None:
    row = {"key": "C1", "name": "End mill 12", "dc_mm": 12.0, "dmm_mm": 12.0, "re_mm": 0.5, "facts": text(CUTTER)}
    assert told.row("cutter", "C1") == row | {"retired": 0, "regrinds": 0}
    told.say(L.CutterReground("C1", 11.8, None), L.CutterReground("C1", None, 81.0), L.CutterRetired("C1"))
    ground = told.row("cutter", "C1")
    assert (ground["dc_mm"], ground["regrinds"], ground["retired"]) == (11.8, 2, 1)
    assert '"dc_mm":11.8' in ground["facts"] and '"oal_mm":81.0' in ground["facts"]
    told.say(L.CutterAdded(CUTTER))
    assert told.row("cutter", "C1") == row | {"retired": 0, "regrinds": 2}


def test_an_assembly_is_what_was_done_with_it(told: Told) -> None:
    built = {
        "key": "A1", "name": "End mill 12", "holder": "T1", "cutter": "C1", "insert_mm": 38.0, "measured": None,
        "measured_utc_s": None, "length_mm": None, "unbalance": None, "tool_number": None, "condition": "good",
        "used_min": 0.0, "built_line": 47, "torn_line": None,
    }  # fmt: skip
    assert told.row("assembly", "A1") == built
    values = Measured(130.5, 11.99, unbalance_gmm=9.0, at_rpm=8000.0)
    told.say(L.MeasuredLine("T1", "A1", values), L.ConditionSaid("T1", "A1", Condition.WORN, 30.0))
    told.say(L.ConditionSaid("T1", "A1", Condition.WORN, 12.5), L.ToolNumbered("T1", "A1", 117))
    done = {"measured": text(values), "measured_utc_s": 1.79e9 + 49, "length_mm": 130.5, "condition": "worn"}
    done |= {"used_min": 42.5, "tool_number": 117, "unbalance": text(Unbalance(9.0, None, 8000.0))}
    assert told.row("assembly", "A1") == built | done
    left = Unbalance(1.5, 2.5, 16000.0, 1.318)
    told.say(L.BalancedLine("T1", "A1", left))
    done |= {"unbalance": text(left), "measured": text(Measured(130.5, 11.99))}
    assert told.row("assembly", "A1") == built | done
    told.say(L.TornDown("T1", "A1"))
    assert told.row("assembly", "A1") == built | done | {"torn_line": told.line}
    assert told.row("holder", "T1")["assembly"] is None
    told.say(L.TornDown("T1", "A1", undoes=told.line))
    assert told.row("assembly", "A1") == built | done and told.row("holder", "T1")["assembly"] == "A1"


def test_a_tear_down_taken_back_leaves_the_holder_as_it_was(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.TornDown("T1", "A1"))
    before = told.row("holder", "T1")
    told.say(L.TornDown("T1", "A1", undoes=told.line))
    assert told.row("holder", "T1") == before | {"assembly": "A1"} and before["heat"] == "held"


@pytest.mark.parametrize(
    "entry",
    [
        L.Built("A2", "x", "T9", "C1"), L.Built("A2", "x", "T1", "C1"), L.MeasuredLine("T1", "A9", Measured(1.0, 1.0)),
        L.TornDown("T1", "A9"), L.TornDown("T1", "A9", undoes=3), L.ConditionSaid("T1", "A9", Condition.GOOD),
        L.PlaceRetired("P8"), L.PocketAssigned("P8", "T1"), L.HolderRetired("T9"), L.CutterReground("C9"),
        L.ToolNumbered("T1", "A9", 4), L.CutterRetired("C9"), L.CodeRetired("H9"), L.AuditPaused("x"),
        L.AuditClosed("x", 0, 0, 0, 0, 0, 0, 0), L.OperatorRetired("sam"), L.CodeBound("H2", "T9", "holder"),
        L.CodeBound("H2", "T1", "holder", replaces="H9"), L.Moved("T9", None, "P1"), L.Moved("T1", "P3", "P1"),
        L.Heated("T9", "P3"), L.CodeBound("H1", "T1", "holder"),
    ],
)  # fmt: skip
def test_a_line_about_what_is_not_there_is_broken_and_says_which(told: Told, entry: L.Entry) -> None:
    with pytest.raises(Broken) as fault:
        told.say(entry)
    assert fault.value.line == told.line and str(fault.value).startswith(f"line {told.line}: ")


def test_no_cutter_that_is_not_there_is_built_in(told: Told) -> None:
    told.say(L.TornDown("T1", "A1"))
    with pytest.raises(Broken, match="there is no cutter 'C9'"):
        told.say(L.Built("A2", "x", "T1", "C9"))


# places, labels, people, settings


def test_a_place_is_what_its_line_says_and_keeps_its_owner(told: Told) -> None:
    told.say(L.PocketAssigned("P9", "T1"), L.PlaceRetired("P9"))
    owned = told.row("place", "P9")
    assert (owned["kind"], owned["number"], owned["owner"], owned["retired"]) == ("pocket", 4, "T1", 1)
    told.say(L.PlaceAdded(Place("P9", "Pocket 4 new", Kind.POCKET, number=4)))
    assert told.row("place", "P9") == owned | {"name": "Pocket 4 new", "retired": 0}
    assert told.row("place", "P1")["owner"] is None and told.row("place", "P1")["magazine"] is None
    magazine = Magazine(MagazineKind.CHAIN, 40, 130.0)
    told.say(L.PlaceAdded(Place("P7", "Mill", Kind.MACHINE), magazine))
    assert told.row("place", "P7")["magazine"] == text(magazine)


def test_a_label_stands_for_what_it_was_bound_to(told: Told) -> None:
    bound = {"text": "H1", "subject": "T1", "what": "holder", "foreign_mark": 0, "bound_line": 46, "retired_line": None}
    assert told.row("binding", "H1") == bound
    told.say(L.LabelPrinted("H2", "T1", "holder"))
    assert told.row("printed", "H2") == {"text": "H2", "subject": "T1", "what": "holder", "line": told.line}
    told.say(L.CodeBound("H2", "T1", "holder", replaces="H1"))
    assert told.row("printed", "H2") is None and told.row("binding", "H1") == bound | {"retired_line": told.line}
    assert told.row("holder", "T1")["code"] == "H2"
    told.say(L.CodeBound("MAKER 7", "T1", "holder", foreign=True))
    assert told.row("binding", "MAKER 7")["foreign_mark"] == 1
    assert told.row("holder", "T1")["code"] == "H2", "a maker's mark is no label of ours"
    told.say(L.CodeRetired("MAKER 7"))
    assert told.row("holder", "T1")["code"] == "H2"
    told.say(L.CodeRetired("H2"))
    assert told.row("holder", "T1")["code"] is None and told.row("binding", "H2")["retired_line"] == told.line
    told.say(L.CodeBound("MAKER 7", "T1", "holder", foreign=True))
    assert told.row("holder", "T1")["code"] == "MAKER 7", "where it has no other"


def test_how_worn_a_label_is_goes_with_it(told: Told) -> None:
    told.say(L.LabelWorn("H1", "T1", "holder", 0.25), L.LabelWorn("H1", "T1", "holder", 0.5))
    assert told.row("worn_label", "H1") == {"text": "H1", "spent": 0.5, "line": told.line}
    told.say(L.CodeBound("H2", "T1", "holder", replaces="H1"), L.LabelWorn("H2", "T1", "holder", 0.75))
    assert told.row("worn_label", "H1") is None
    told.say(L.CodeRetired("H2"), L.LabelWorn("H2", "T1", "holder", 1.0), L.LabelWorn("H1", "T1", "holder", 1.0))
    assert told.row("worn_label", "H2") is None and told.row("worn_label", "H1") is None, "another kiosk saw it last"
    told.say(L.LabelWorn("H9", "T1", "holder", 1.0))
    assert told.row("worn_label", "H9") is None


def test_a_label_of_a_place_is_no_holders(told: Told) -> None:
    before = told.row("holder", "T1")
    told.say(L.CodeBound("P1", "P1", "place"), L.CodeRetired("P1"))
    assert told.row("holder", "T1") == before and told.row("binding", "P1")["what"] == "place"
    told.say(L.CodeBound("P1", "P1", "place"))
    with pytest.raises(Broken, match="'P1' is bound already"):
        told.say(L.CodeBound("P1", "P3", "place"))


def test_people_keep_their_pin_until_another_is_chosen(told: Told) -> None:
    told.say(L.OperatorAdded("kim", "Kim", "setter"))
    row = {"key": "kim", "name": "Kim", "role": "setter", "pin_hash": None, "retired": 0, "language": ""}
    assert told.row("operator", "kim") == row
    told.say(L.OperatorAdded("kim", "Kim", "supervisor", "hash"), L.OperatorRetired("kim"))
    assert told.row("operator", "kim") == row | {"role": "supervisor", "pin_hash": "hash", "retired": 1}
    told.say(L.OperatorAdded("kim", "Kim Vale", "setter"))
    assert told.row("operator", "kim") == row | {"name": "Kim Vale", "pin_hash": "hash"}
    told.say(L.OperatorAdded("kim", "Kim Vale", "setter", "other"))
    assert told.row("operator", "kim")["pin_hash"] == "other"


SET = (("temp_c", "330"), ("ambient_c", "23"), ("limit_c", "43"), ("heating_s", "60"), ("length_tolerance_um", "3"))
NAMED = tuple((f"heat.{name}", value) for name, value in SET)


def test_a_setting_is_kept_by_name_and_a_hotter_one_is_kept_by_every_running_hold(told: Told) -> None:
    assert told.say(L.KioskStarted("1", NAMED)) == [Put("setting", {"name": n, "value": v}) for n, v in NAMED]
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"))
    before = told.row("hold", "T1")
    assert told.say(L.SettingChanged("kiosk.name", "Mill 2")) == [
        Put("setting", {"name": "kiosk.name", "value": "Mill 2"})
    ]
    found = told.say(L.SettingChanged("heat.temp_c", "390"))
    assert [change.table for change in found] == ["setting", "hold"]
    after = told.row("hold", "T1")
    assert after == before | {"began": after["began"]} and "390" in after["began"] and "330" in after["began"]
    told.say(L.HoldEnded("T1", "reading", before["heated_line"]))
    ended = told.row("hold", "T1")
    assert [change.table for change in told.say(L.SettingChanged("heat.temp_c", "395"))] == ["setting"]
    assert told.row("hold", "T1") == ended, "what ended before is what it was"


def test_a_start_counts_a_gap_in_each_running_hold_and_in_no_other(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"))
    running = told.row("hold", "T1")
    told.say(L.KioskStarted("1"), L.KioskStarted("1"))
    (stands,) = json.loads(running["stages"])
    assert told.row("hold", "T1") == running | {"gaps": 2, "stages": json.dumps([[*stands, 1]], separators=(",", ":"))}
    told.say(L.HoldEnded("T1", "reading", running["heated_line"]), L.KioskStarted("1"))
    assert told.row("hold", "T1")["gaps"] == 2


# audits


def test_an_audit_is_what_was_opened_seen_and_closed(told: Told) -> None:
    told.say(L.AuditOpened("u1", "P1"))
    opened = {
        "key": "u1", "place": "P1", "opened_line": 49, "opened_utc_s": 1.79e9 + 49, "closed_line": None,
        "closed_utc_s": None, "operator": "jo", "paused": 0, "summary": None,
    }  # fmt: skip
    assert told.row("audit", "u1") == opened
    seen = told.say(L.Seen("u1", "H1", "T1", "P1"))
    sighting = {
        "key": "u1/H1", "audit": "u1", "text": "H1", "holder": "T1", "place": "P1", "twin": None, "stands_empty": 0,
        "watched_s": BEGUN_S + 50, "line": 50,
    }  # fmt: skip
    assert seen == [Put("sighting", sighting)], "an audit that is not paused is left as it is"
    told.say(L.AuditPaused("u1"))
    assert told.row("audit", "u1") == opened | {"paused": 1}
    again = told.say(L.Seen("u1", "H1", "T1", "P3", twin="P9", empty=True))
    later = {"place": "P3", "twin": "P9", "stands_empty": 1, "watched_s": BEGUN_S + 52, "line": 52}
    assert again == [Put("sighting", sighting | later), Put("audit", opened)], "who sees goes on with it"
    assert told.say(L.Seen("u9", "H1")) == [
        Put("sighting", sighting | {"key": "u9/H1", "audit": "u9", "holder": None, "place": None} | {
            "watched_s": BEGUN_S + 53, "line": 53})
    ]  # fmt: skip
    told.say(L.DifferenceSettled("u1", "T1", "missing", "book", "lent", booked="P1", found="P3", name="Shrink 12"))
    assert told.row("settled", "u1/T1/missing") == {
        "key": "u1/T1/missing", "audit": "u1", "text": "T1", "difference": "missing", "action": "book",
        "reason": "lent", "booked": "P1", "found": "P3", "name": "Shrink 12", "line": 54,
    }  # fmt: skip
    closing = L.AuditClosed("u1", 3, 2, 1, 0, 0, 0, 0, 90.0)
    told.say(closing)
    closed = {"closed_line": 55, "closed_utc_s": 1.79e9 + 55, "summary": text(closing)}
    assert told.row("audit", "u1") == opened | closed


# lines that change nothing, and what a line is found by


def test_who_came_went_or_was_turned_away_changes_no_table(told: Told) -> None:
    for entry in (
        L.SignedIn("kim"), L.SignedOut("kim"), L.PinGiven("kim"), L.TurnedAway("H1", "hot", "T1", "P1"),
        L.Imported("shop.toml", 3), L.ImportUndone(3),
    ):  # fmt: skip
        assert told.say(entry) == []


@pytest.mark.parametrize(
    ("entry", "speaks_of"),
    [
        (L.HolderRegistered(HOLDER), {"T1"}), (L.CutterAdded(CUTTER), {"C1"}),
        (L.PlaceAdded(Place("P1", "Bench", Kind.BENCH)), {"P1"}), (L.Built("A1", "x", "T1", "C1"), {"A1", "T1", "C1"}),
        (L.Moved("T1", None, "P1"), {"T1", "P1"}), (L.PocketAssigned("P9", "T1"), {"P9", "T1"}),
        (L.Seen("u1", "H1", "T1", "P1"), {"u1", "H1", "T1", "P1"}), (L.CodeBound("H1", "T1", "holder"), {"H1", "T1"}),
        (L.PlaceRetired("P1"), {"P1"}), (L.OperatorAdded("kim", "Kim", "setter"), {"kim"}),
        (L.SignedIn("kim"), {"kim"}), (L.Moved("T1", "P3", "P1"), {"T1", "P3", "P1"}),
        (L.SignedOut("kim"), {"kim"}), (L.PinGiven("kim"), {"kim"}), (L.OperatorRetired("kim"), {"kim"}),
        (L.SettingChanged("kiosk.name", "x"), set()), (L.Restored("b", ("T1",), ("T2",)), {"T1", "T2"}),
        (L.TurnedAway("H1", "hot", "T1", "P1"), {"H1", "T1", "P1"}), (L.AuditOpened("u1", "P1"), {"u1", "P1"}),
    ],
)  # fmt: skip
def test_a_line_is_found_by_everything_it_speaks_of(entry: L.Entry, speaks_of: set[str]) -> None:
    assert mentions(entry, Stamp(9, 1.79e9, BEGUN_S, "mill", "jo")) == speaks_of | {"jo"}
    assert mentions(entry, Stamp(9, 1.79e9, BEGUN_S, "mill", None)) == speaks_of
