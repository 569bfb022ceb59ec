"""What a line does to the tables, the same whether it is written or replayed."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.ledger.book import Book
from kiosk.ledger.derive import Broken, MemoryState, Put, Stamp, changes, mentions
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Condition, Coupling, Cutter, Family, Holder, Measured
from kiosk.rules.cards import Heat
from kiosk.rules.places import Kind, Place

HSK63 = Coupling(Family.HOLLOW_TAPER, 63)
CUTTER = Cutter("C1", "End mill 12", 12.0, 12.0, 83.0)


class Told:
    """Lines told to a state in order, each a second after the one before."""

    def __init__(self) -> None:
        self.state = MemoryState()
        self.line = 0

    def say(self, *entries: L.Entry) -> None:
        for entry in entries:
            self.line += 1
            stamp = Stamp(self.line, 1000.0 + self.line, float(self.line), "kiosk", "jo")
            for change in changes(entry, stamp, self.state):
                self.state.apply(change)

    def row(self, table: str, key: str | int) -> Any:
        return self.state.get(table, key)


@pytest.fixture
def told() -> Told:
    told = Told()
    told.say(
        L.PlaceAdded(Place("P1", "Bench", Kind.BENCH)),
        L.PlaceAdded(Place("P2", "Rack", Kind.COOLING, way="free_air")),
        L.PlaceAdded(Place("P3", "Station", Kind.SHRINK)),
        L.HolderRegistered(Holder("T1", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0), stood_cold=True),
        L.CutterAdded(CUTTER),
        L.Moved("T1", None, "P1"),
    )
    return told


def test_a_holder_registered_without_a_word_about_heat_is_not_known_to_be_cool(told: Told) -> None:
    told.say(L.HolderRegistered(Holder("T2", "Shrink 6", HSK63, Clamping.SHRINK_FIT, 6.0)))
    assert told.row("holder", "T2")["heat"] == Heat.UNKNOWN.value


def test_a_holder_that_goes_missing_is_not_known_to_be_cool_any_more(told: Told) -> None:
    told.say(L.Moved("T1", "P1", None))
    assert told.row("holder", "T1")["heat"] == Heat.UNKNOWN.value


def test_a_move_from_where_it_is_not_is_broken(told: Told) -> None:
    with pytest.raises(Broken, match="was not at 'P2' but at 'P1'"):
        told.say(L.Moved("T1", "P2", "P3"))


def test_a_heating_starts_a_hold_and_counts_a_cycle(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"))
    hold = told.row("hold", "T1")
    assert (hold["heated_watched_s"], hold["ended_line"], hold["gaps"]) == (float(told.line), None, 0)
    assert told.row("holder", "T1")["heat"] == Heat.HELD.value
    assert told.row("holder", "T1")["heat_cycles"] == 1


def test_a_second_heating_forgets_the_readings_of_the_first(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.TemperatureRead("T1", "nose", 90.0, "probe", "agrees"))
    assert told.row("hold", "T1")["readings"] != "[]"
    told.say(L.Heated("T1", "P3"))
    assert told.row("hold", "T1")["readings"] == "[]"
    assert told.row("holder", "T1")["heat_cycles"] == 2


def test_a_start_of_the_kiosk_is_a_gap_in_every_running_hold(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.KioskStarted("1"), L.KioskStarted("1"))
    assert told.row("hold", "T1")["gaps"] == 2
    told.say(L.HoldEnded("T1", "reading"), L.KioskStarted("1"))
    assert told.row("hold", "T1")["gaps"] == 2


def test_a_hold_that_ended_leaves_the_holder_cool(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.HoldEnded("T1", "time"))
    assert told.row("holder", "T1")["heat"] == Heat.COOL.value
    assert told.row("hold", "T1")["ended_line"] == told.line


def test_two_assemblies_do_not_go_into_one_holder(told: Told) -> None:
    told.say(L.Built("A1", "End mill 12", "T1", "C1", 40.0))
    with pytest.raises(Broken, match="already holds"):
        told.say(L.Built("A2", "End mill 12", "T1", "C1", 40.0))


def test_an_assembly_is_measured_worn_and_torn_down(told: Told) -> None:
    told.say(L.Built("A1", "End mill 12", "T1", "C1", 40.0), L.MeasuredLine("T1", "A1", Measured(130.5, 11.99)))
    told.say(L.ConditionSaid("T1", "A1", Condition.WORN, 30.0), L.ConditionSaid("T1", "A1", Condition.GOOD, 12.0))
    row = told.row("assembly", "A1")
    assert (row["length_mm"], row["condition"], row["used_min"]) == (130.5, "good", 42.0)
    told.say(L.TornDown("T1", "A1"))
    assert told.row("holder", "T1")["assembly"] is None
    assert told.row("assembly", "A1")["torn_line"] == told.line


def test_a_label_is_bound_once_and_a_new_one_retires_the_old(told: Told) -> None:
    told.say(L.CodeBound("H1", "T1", "holder"), L.CodeBound("H2", "T1", "holder", replaces="H1"))
    assert told.row("binding", "H1")["retired_line"] == told.line
    assert told.row("holder", "T1")["code"] == "H2"
    with pytest.raises(Broken, match="bound already"):
        told.say(L.CodeBound("H2", "T1", "holder"))
    told.say(L.HolderRegistered(Holder("T2", "Shrink 6", HSK63, Clamping.SHRINK_FIT, 6.0)))
    with pytest.raises(Broken, match="bound already"):
        told.say(L.CodeBound("H1", "T2", "holder"))


def test_a_retired_label_may_answer_again_for_the_same_holder(told: Told) -> None:
    told.say(L.CodeBound("H1", "T1", "holder"), L.CodeRetired("H1", "import undone"), L.CodeBound("H1", "T1", "holder"))
    assert told.row("binding", "H1")["retired_line"] is None
    assert told.row("holder", "T1")["code"] == "H1"


def test_a_retired_holder_that_comes_back_is_nowhere_and_not_known_to_be_cool(told: Told) -> None:
    told.say(L.HolderRetired("T1", "lent"))
    told.say(L.HolderRegistered(Holder("T1", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0)))
    row = told.row("holder", "T1")
    assert (row["retired"], row["place"], row["heat"]) == (0, None, Heat.UNKNOWN.value)


def test_a_retired_holder_under_a_hold_comes_back_under_it(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.HolderRetired("T1", "lent"))
    told.say(L.HolderRegistered(Holder("T1", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0), stood_cold=True))
    assert told.row("holder", "T1")["heat"] == Heat.HELD.value


def test_a_restore_puts_named_holders_under_a_hold_only_a_reading_ends(told: Told) -> None:
    told.say(L.Restored("ledger.db", ("T1",)))
    assert told.row("holder", "T1")["heat"] == Heat.HELD.value
    assert told.row("holder", "T1")["place"] is None, "a hot holder is not believed to stand on a bench"
    assert told.row("hold", "T1")["reading_only"] == 1


def test_a_restore_that_is_not_sure_of_a_holder_keeps_its_place_and_doubts_its_heat(told: Told) -> None:
    told.say(L.Restored("ledger.db", (), ("T1",)))
    assert told.row("holder", "T1")["heat"] == Heat.UNKNOWN.value
    assert told.row("holder", "T1")["place"] == "P1"


def test_an_operator_named_again_keeps_the_pin(told: Told) -> None:
    told.say(L.OperatorAdded("kim", "Kim", "supervisor", "hash"), L.OperatorAdded("kim", "Kim Vale", "supervisor"))
    assert told.row("operator", "kim")["pin_hash"] == "hash"
    assert told.row("operator", "kim")["name"] == "Kim Vale"


def test_a_line_mentions_each_thing_it_speaks_of_once() -> None:
    stamp = Stamp(1, 0.0, 0.0, "kiosk", "jo")
    assert mentions(L.Moved("T1", "P1", "P1"), stamp) == {"jo", "T1", "P1"}
    assert mentions(L.Restored("b", ("T1",), ("T2",)), stamp) == {"jo", "T1", "T2"}
    assert mentions(L.CutterAdded(CUTTER), stamp) == {"jo", "C1"}
    assert mentions(L.SignedIn("sam"), Stamp(1, 0.0, 0.0, "kiosk", None)) == {"sam"}


KINDS = (Kind.BENCH, Kind.COOLING, Kind.SHRINK)
places = st.sampled_from([None, "P1", "P2", "P3"])
heat_lines = st.lists(
    st.one_of(
        st.tuples(st.just("move"), places),
        st.tuples(st.just("heat"), st.none()),
        st.tuples(st.just("read"), st.floats(20.0, 300.0)),
        st.tuples(st.just("end"), st.none()),
        st.tuples(st.just("start"), st.none()),
        st.tuples(st.just("build"), st.none()),
        st.tuples(st.just("restore"), st.booleans()),
    ),
    max_size=15,
)


@settings(max_examples=25)
@given(heat_lines)
def test_whatever_is_written_replays_to_the_tables_it_left(steps: list[tuple[str, Any]]) -> None:
    with tempfile.TemporaryDirectory() as folder, Book.open(Path(folder)) as book:
        book.append(
            [
                *(L.PlaceAdded(Place(f"P{at}", f"P{at}", kind)) for at, kind in enumerate(KINDS, 1)),
                L.HolderRegistered(Holder("T1", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0), stood_cold=True),
                L.CutterAdded(CUTTER),
            ]
        )
        for what, value in steps:
            row = book.state.get("holder", "T1")
            assert row is not None
            entry: L.Entry | None = {
                "move": L.Moved("T1", row["place"], value),
                "heat": L.Heated("T1", "P3"),
                "read": L.TemperatureRead("T1", "nose", value or 0.0, "probe", "agrees"),
                "end": L.HoldEnded("T1", "reading"),
                "start": L.KioskStarted("1"),
                "build": None if row["assembly"] else L.Built(f"A{book.last_id}", "x", "T1", "C1"),
                "restore": L.Restored("b", ("T1",) if value else (), () if value else ("T1",)),
            }[what]
            if entry is not None:
                book.append([entry])
        assert book.check() == []


def known(told: Told) -> None:
    """From now on the lines are those of a kiosk that sees to it that each heating is one of them."""
    values = (("temp_c", "330.0"), ("ambient_c", "23.0"), ("limit_c", "43.0"), ("heating_s", "60.0"))
    named = tuple((f"heat.{name}", value) for name, value in (*values, ("length_tolerance_um", "3.0")))
    told.say(L.KioskStarted("2", named))


def test_a_shrink_fit_opened_or_closed_without_a_heating_is_not_known_to_be_cool(told: Told) -> None:
    known(told)
    told.say(L.Built("A1", "End mill 12", "T1", "C1", 40.0))
    assert told.row("holder", "T1")["heat"] == Heat.UNKNOWN.value
    told.say(L.HoldEnded("T1", "reading"), L.TornDown("T1", "A1"))
    assert told.row("holder", "T1")["heat"] == Heat.UNKNOWN.value


def test_one_heating_opens_or_closes_one_shrink_fit(told: Told) -> None:
    known(told)
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.Built("A1", "End mill 12", "T1", "C1", 40.0))
    assert told.row("hold", "T1")["reading_only"] == 0
    told.say(L.TornDown("T1", "A1"))
    assert told.row("hold", "T1")["reading_only"] == 1, "it was heated once more, and nobody saw when"
    told.say(L.Heated("T1", "P3"), L.Built("A2", "End mill 12", "T1", "C1", 40.0))
    assert told.row("hold", "T1")["reading_only"] == 0


def test_what_is_cool_at_the_station_and_built_there_was_heated_once_more(told: Told) -> None:
    known(told)
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.HoldEnded("T1", "reading"))
    told.say(L.Built("A1", "End mill 12", "T1", "C1", 40.0))
    assert told.row("holder", "T1")["heat"] == Heat.UNKNOWN.value


def test_a_tool_entered_as_it_stood_was_not_heated_for_it(told: Told) -> None:
    known(told)
    holder = Holder("T2", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0)
    told.say(L.HolderRegistered(holder, stood_cold=True), L.Built("A2", "x", "T2", "C1"), L.Moved("T2", None, "P1"))
    assert told.row("holder", "T2")["heat"] == Heat.COOL.value
    other = Holder("T3", "Collet", HSK63, Clamping.COLLET, 12.0)
    told.say(L.HolderRegistered(other, stood_cold=True), L.Moved("T3", None, "P1"), L.Built("A3", "x", "T3", "C1"))
    assert told.row("holder", "T3")["heat"] == Heat.COOL.value, "a collet needs no heat"


def test_a_step_to_the_station_without_a_heating_is_one_nobody_saw(told: Told) -> None:
    known(told)
    told.say(L.Moved("T1", "P1", "P3"))
    assert told.row("holder", "T1")["heat"] == Heat.UNKNOWN.value
    told.say(L.Heated("T1", "P3"), L.Moved("T1", "P3", "P2"), L.Moved("T1", "P2", "P3", undoes=told.line + 2))
    assert told.row("hold", "T1")["reading_only"] == 0, "taken back: it never left"
    told.say(L.Moved("T1", "P3", "P2"), L.Moved("T1", "P2", "P3"))
    assert told.row("hold", "T1")["reading_only"] == 1


def test_a_stay_taken_back_is_no_stay(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.Moved("T1", "P3", "P2"))
    stood = [place for place, *_ in json.loads(told.row("hold", "T1")["stages"])]
    assert stood == ["P3", "P2"]
    told.say(L.Moved("T1", "P2", "P3", undoes=told.line))
    assert [place for place, *_ in json.loads(told.row("hold", "T1")["stages"])] == ["P3"]


def test_another_kiosks_clock_begins_a_hold_anew(told: Told) -> None:
    told.say(L.Moved("T1", "P1", "P3"), L.Heated("T1", "P3"), L.Moved("T1", "P3", "P2"))
    for at_s, entry in ((5e6, L.KioskStarted("2")), (6e6, L.Moved("T1", "P2", "P3", undoes=told.line))):
        told.line += 1
        for change in changes(entry, Stamp(told.line, 1.0, at_s, f"clock {at_s}", None), told.state):
            told.state.apply(change)
        hold = told.row("hold", "T1")
        assert (hold["kiosk"], hold["heated_watched_s"], hold["first_watched_s"]) == (f"clock {at_s}", at_s, at_s)
        stages = json.loads(hold["stages"])
        assert stages[0][1] == at_s and all(since_s >= at_s for _, since_s, *_ in stages)


def test_a_retired_holder_never_comes_back_cool(told: Told) -> None:
    told.say(L.HolderRetired("T1", "lent"))
    told.say(L.HolderRegistered(Holder("T1", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0), stood_cold=True))
    assert told.row("holder", "T1")["heat"] == Heat.UNKNOWN.value


def test_only_a_holder_that_was_never_heated_is_entered_with_its_cutter(told: Told) -> None:
    known(told)
    holder = Holder("T2", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12.0)
    told.say(L.HolderRegistered(holder, stood_cold=True), L.Heated("T2", "P3"), L.HoldEnded("T2", "reading"))
    told.say(L.Built("A2", "x", "T2", "C1"), L.TornDown("T2", "A2"), L.HoldEnded("T2", "reading"))
    told.say(L.Built("A3", "x", "T2", "C1"))
    assert told.row("holder", "T2")["heat"] == Heat.UNKNOWN.value


def test_a_holder_that_comes_back_into_use_is_not_cool_because_a_hand_says_so() -> None:
    holder = {"key": "k1", "heat": Heat.UNKNOWN.value, "retired": 1, "code": None, "heat_cycles": 3}
    for said in (Heat.UNKNOWN, Heat.HELD, Heat.COOL):
        state = MemoryState()
        state.apply(Put("holder", holder | {"heat": said.value}))
        steel = Holder("k1", "12", Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0)
        for change in changes(L.HolderRegistered(steel, stood_cold=True), Stamp(9, 0.0, 9e6, "kiosk", None), state):
            state.apply(change)
        found = state.get("holder", "k1")
        assert found is not None and not found["retired"]
        assert found["heat"] == (Heat.HELD if said is Heat.HELD else Heat.UNKNOWN).value
