"""Several kiosks' lines fold to the same tables everywhere, whatever was unseen, delayed or cut where."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kiosk.ledger import tables as T
from kiosk.ledger.derive import LedgerState
from kiosk.ledger.sharing import Forked, OutOfOrder
from kiosk.rules import lines as L
from kiosk.rules.cards import Heat
from tests.ledger.kiosks import Kiosk, Server, shop

A, B = "a" * 16, "b" * 16


def rows_of(state: LedgerState, table: str) -> list[list[tuple[str, Any]]]:
    """A table's rows, to be compared."""
    return sorted((sorted(row.items()) for row in state.all(table)), key=str)


def together(server: Server, kiosks: list[Kiosk]) -> None:
    """Everything is pushed and pulled, until nothing waits."""
    for each in kiosks:
        server.push(each.own_lines())
    for each in kiosks:
        each.pulls(server)


def test_an_old_ledger_is_the_first_chain_as_it_is() -> None:
    server, (founder, other) = shop(A)
    with founder:
        hashes = [row[0] for row in founder.database.execute_sql('SELECT "hash" FROM "line" ORDER BY "id"').fetchall()]
    assert [line.line.digest for line in server.lines] == hashes
    assert [line.n for line in server.lines] == [line.line.number for line in server.lines]
    assert founder.tables() == other.tables()
    assert founder.wrong() == other.wrong() == []


def test_a_line_of_one_kiosk_reaches_the_other_and_the_tables_are_equal() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    assert other.row("holder", "T1")["place"] == "B"
    together(server, [founder, other])
    assert other.row("holder", "T1")["heat"] == Heat.HELD.value
    assert founder.tables() == other.tables()
    assert founder.differences() == set()


def test_a_holder_moved_twice_apart_is_nowhere_and_not_cool_and_both_claims_stand() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "D"))
    other.says(L.Moved("T1", "B", "E"))
    together(server, [founder, other])
    for each in (founder, other):
        assert each.row("holder", "T1")["place"] is None
        assert each.row("holder", "T1")["heat"] == Heat.UNKNOWN.value
        assert each.differences() == {"place/T1"}


def test_only_a_line_that_saw_every_claim_closes_a_difference() -> None:
    server, (founder, other, third) = shop(A, B)
    founder.says(L.Moved("T1", "B", "D"))
    other.says(L.Moved("T1", "B", "E"))
    third.says(L.Moved("T1", "B", "F"))
    together(server, [founder, other])
    founder.says(L.Moved("T1", None, "R"))  # has not seen the third's
    server.push(third.own_lines())
    server.push(founder.own_lines())
    for each in (founder, other, third):
        each.pulls(server)
        assert each.differences() == {"place/T1"}
        assert each.row("holder", "T1")["place"] is None
    founder.says(L.Moved("T1", None, "R"))
    together(server, [founder, other, third])
    assert [each.differences() for each in (founder, other, third)] == [set()] * 3
    assert third.row("holder", "T1")["place"] == "R"


def test_a_heating_that_was_not_heard_holds_the_holder_wherever_the_other_took_it() -> None:
    for first in (0, 1):
        server, kiosks = shop(A)
        kiosks[0].says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
        kiosks[1].says(L.Moved("T1", "B", "D", reason=L.NOT_VERIFIED))
        for each in (kiosks if first == 0 else kiosks[::-1]):
            server.push(each.own_lines())
        together(server, kiosks)
        for each in kiosks:
            assert each.row("holder", "T1")["heat"] == Heat.HELD.value
            assert each.row("hold", "T1")["reading_only"] == 1
            assert each.row("hold", "T1")["ended_line"] is None


def test_of_two_heatings_that_did_not_know_of_each_other_neither_counts_as_the_later() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    other.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    together(server, [other, founder])
    for each in (founder, other):
        assert each.row("hold", "T1")["reading_only"] == 1 and each.row("hold", "T1")["ended_line"] is None
    assert founder.tables() == other.tables()


@pytest.mark.parametrize("first", [0, 1])
def test_a_stay_that_began_before_a_heating_it_did_not_know_of_cools_nothing_of_it(first: int) -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    together(server, [founder, other])
    other.says(L.Moved("T1", "S", "F"))  # waits at a kiosk that is cut off
    founder.says(L.Heated("T1", "S"))  # where the founder still has it
    for each in (founder, other)[:: 1 - 2 * first]:
        server.push(each.own_lines())
    together(server, [founder, other])
    for each in (founder, other):
        assert each.row("hold", "T1")["reading_only"] == 1 and each.row("hold", "T1")["ended_line"] is None
        assert each.row("holder", "T1")["place"] is None
        assert each.differences() == {"place/T1"}


def test_a_late_end_of_one_heating_never_ends_another() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"), L.Moved("T1", "S", "R"))
    together(server, [founder, other])
    first = other.row("hold", "T1")["heated_line"]
    founder.says(L.Moved("T1", "R", "S"), L.Heated("T1", "S"))
    server.push(founder.own_lines())
    other.says(L.HoldEnded("T1", "reading", first))
    together(server, [founder, other])
    for each in (founder, other):
        assert each.row("holder", "T1")["heat"] == Heat.HELD.value
        assert each.row("hold", "T1")["ended_line"] is None


def test_the_end_of_an_own_heating_that_waits_ends_it_once_it_has_its_number() -> None:
    server, (founder, other) = shop(A)
    other.says(L.Moved("T2", "B", "R"))
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"), L.Moved("T1", "S", "R"))
    founder.says(L.HoldEnded("T1", "time", founder.row("hold", "T1")["heated_line"]))
    together(server, [other, founder])
    for each in (founder, other):
        assert each.row("holder", "T1")["heat"] == Heat.COOL.value
    assert founder.tables() == other.tables()


def test_an_end_by_time_that_did_not_know_of_a_later_step_ends_nothing() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"), L.Moved("T1", "S", "F"))
    together(server, [founder, other])
    other.says(L.Moved("T1", "F", "R"))
    server.push(other.own_lines())
    founder.says(L.HoldEnded("T1", "time", founder.row("hold", "T1")["heated_line"]))
    together(server, [founder, other])
    assert founder.row("holder", "T1")["heat"] == Heat.HELD.value
    assert other.row("hold", "T1")["ended_line"] is None


def test_a_hold_counts_by_the_ages_in_its_lines_and_no_clock() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    together(server, [founder, other])
    other.ages = {other.row("hold", "T1")["heated_line"]: 40.0}
    other.says(L.Moved("T1", "S", "F"))
    together(server, [founder, other])
    founder.ages = {founder.sharing.tail.applied: 300.0}
    founder.says(L.Moved("T1", "F", "R"))
    together(server, [founder, other])
    stages = msgspec.json.decode(other.row("hold", "T1")["stages"])
    assert [(place, since_s) for place, since_s, *_ in stages] == [("S", 0.0), ("F", 40.0), ("R", 340.0)]
    assert [len(stage) > 3 for stage in stages] == [True, True, False], "each was ended by who had not counted it"
    assert other.row("hold", "T1")["kiosk"] == "*"


@pytest.mark.parametrize(("mine", "theirs", "key"), [
    (L.CodeBound("X1", "T1", "holder"), L.CodeBound("X1", "T2", "holder"), "label/X1"),
    (L.Built("A1", "a", "T1", "C1"), L.Built("A2", "b", "T2", "C1"), "cutter/C1"),
    (L.Built("A1", "a", "T1", "C1"), L.Built("A2", "b", "T1", "C2"), "holder/T1"),
    (L.HolderRetired("T1"), L.Moved("T1", "B", "D"), "use/T1"),
    (L.Moved("T1", "B", "D"), L.HolderRetired("T1"), "use/T1"),
    (L.SettingChanged("heat.temp_c", "300.0"), L.SettingChanged("heat.temp_c", "320.0"), "setting/heat.temp_c"),
    (L.Moved("T1", "B", "D"), L.Moved("T2", "B", "D"), "pocket/D"),
])  # fmt: skip
def test_claims_that_cannot_both_be_are_a_difference_at_every_kiosk(mine: L.Entry, theirs: L.Entry, key: str) -> None:
    server, (founder, other) = shop(A)
    founder.says(mine)
    other.says(theirs)
    together(server, [founder, other])
    assert key in founder.differences()
    assert founder.tables() == other.tables()
    assert founder.wrong() == other.wrong() == []
    matter, subject = key.split("/")
    other.says(L.ClaimSettled(matter, subject, "as it stands", "looked"))
    together(server, [founder, other])
    assert key not in founder.differences()


def test_a_tool_number_given_twice_and_an_audit_closed_against_a_later_sighting_are_differences() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Built("A1", "a", "T1", "C1"), L.Built("A2", "b", "T2", "C2"), L.AuditOpened("AU", "D"))
    together(server, [founder, other])
    founder.says(L.ToolNumbered("T1", "A1", 7), L.AuditClosed("AU", 0, 0, 0, 0, 0, 0, 0))
    other.says(L.ToolNumbered("T2", "A2", 7), L.Seen("AU", "x", "T1", "D"))
    together(server, [founder, other])
    assert founder.differences() == {"number/7", "audit/AU"}


def test_work_by_a_badge_that_was_taken_back_meanwhile_is_a_difference() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.OperatorAdded("jo", "Jo", "setter"))
    together(server, [founder, other])
    founder.says(L.OperatorRetired("jo"))
    other.says(L.Moved("T1", "B", "D"), operator="jo")
    together(server, [founder, other])
    assert other.differences() == {"badge/jo"}


def test_what_two_kiosks_scan_to_the_same_place_is_there() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "D"))
    other.says(L.Moved("T1", "B", "D"))
    together(server, [founder, other])
    assert founder.row("holder", "T1")["place"] == other.row("holder", "T1")["place"] == "D"
    assert founder.differences() == set()


def test_a_line_of_a_copied_folder_is_a_fork_and_changes_nothing() -> None:
    server, (_, other) = shop(A)
    copy = Kiosk(A)
    copy.joins(server)
    copy.says(L.Moved("T1", "B", "D"))
    server.push(copy.own_lines())
    other.says(L.Moved("T1", "B", "E"))
    before = other.tables()
    with pytest.raises(Forked):
        other.pulls(server)
    with other:
        other.sharing.read_ends()
    assert other.tables() == before


def test_a_kiosk_that_lost_its_end_takes_its_own_lines_back() -> None:
    server, (founder, other) = shop(A)
    other.says(L.Moved("T1", "B", "D"))
    server.push(other.own_lines())
    again = Kiosk(A)
    again.joins(server)
    assert again.sharing.tail.number == 1
    together(server, [founder, other])
    assert again.tables() == other.tables() == founder.tables()
    again.says(L.Moved("T1", "D", "B"))
    together(server, [founder, again])
    assert founder.tables() == again.tables()


def test_what_comes_out_of_order_or_changed_is_not_taken() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "D"), L.Moved("T1", "D", "B"))
    server.push(founder.own_lines())
    first, second = server.lines[-2:]
    assert '\\"goal\\":\\"D' in first.line.body
    forged = replace(first, line=replace(first.line, body=first.line.body.replace('"goal\\":\\"D', '"goal\\":\\"E')))
    for lines in ([second], [first, first], [forged], [replace(first, book="0" * 64)]):
        with pytest.raises(OutOfOrder), other, other.database.atomic():
            other.sharing.take(lines)
        with other:
            other.sharing.read_ends()
    assert other.pulls(server) == 2


WHO, STEEL, CUTTERS = st.integers(0, 2), st.sampled_from(["T1", "T2"]), st.sampled_from(["C1", "C2"])
MOVES = st.tuples(STEEL, st.sampled_from(["B", "R", "F", "S", "D", "E", None]))
ACTS = st.one_of(
    st.tuples(st.just("move"), WHO, MOVES),
    st.tuples(st.just("end"), WHO, STEEL),
    st.tuples(st.just("read"), WHO, STEEL),
    st.tuples(st.just("build"), WHO, st.tuples(STEEL, CUTTERS)),
    st.tuples(st.just("set"), WHO, st.sampled_from(["300.0", "320.0"])),
    st.tuples(st.just("push"), WHO, st.integers(1, 4)),
    st.tuples(st.just("pull"), WHO, st.integers(1, 4)),
)


def does(server: Server, kiosks: list[Kiosk], act: Any, count: int) -> None:
    what, who, how = act
    kiosk = kiosks[who]
    kiosk.clock_s += 1.0
    kiosk.ages = dict.fromkeys(range(1, 200), 7.0 * count)
    if what == "move":
        holder, goal = how
        place = kiosk.row("holder", holder)["place"]
        if place == goal:
            return
        heated = (L.Heated(holder, "S"),) if goal == "S" else ()
        kiosk.says(L.Moved(holder, place, goal), *heated)
    elif what == "end":
        with kiosk:
            hold = kiosk.state.get("hold", how)
        if hold and hold["ended_line"] is None:
            kiosk.says(L.HoldEnded(how, "time", hold["heated_line"]))
    elif what == "read":
        with kiosk:
            hold = kiosk.state.get("hold", how)
        heating = hold["heated_line"] if hold else None
        kiosk.says(L.TemperatureRead(how, "nose", 80.0, "probe", "agrees", heating=heating))
    elif what == "build":
        holder, cutter = how
        built = kiosk.row("holder", holder)["assembly"]
        kiosk.says(L.TornDown(holder, built) if built else L.Built(f"A{count}{who}", "a", holder, cutter))
    elif what == "set":
        kiosk.says(L.SettingChanged("heat.temp_c", how))
    elif what == "push":
        mine = kiosk.own_lines()
        held = sum(each.line.kiosk == kiosk.name for each in server.lines)
        server.push(mine[: held + how])
    else:
        kiosk.pulls(server, how)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(ACTS, min_size=4, max_size=40))
def test_whatever_is_said_pushed_and_pulled_in_any_order_all_books_are_equal_in_the_end(acts: list[Any]) -> None:
    server, kiosks = shop(A, B)
    for count, act in enumerate(acts):
        does(server, kiosks, act, count)
        kiosk = kiosks[act[1]]
        memory = kiosk.folded_anew()  # the tables are the fold from nothing, whatever was undone and told again
        with kiosk:
            for model in T.DERIVED:
                name = model._meta.table_name
                assert rows_of(kiosk.state, name) == rows_of(memory, name), name
    together(server, kiosks)
    assert kiosks[0].tables() == kiosks[1].tables() == kiosks[2].tables()
    late = Kiosk("c" * 16)
    late.joins(server)  # in one batch what the others took in many
    assert late.tables() == kiosks[0].tables()
    assert [each.wrong() for each in kiosks] == [[], [], []]
    said = [(line.line.kiosk, line.line.number) for line in server.lines]
    assert len(set(said)) == len(said) == sum(len(each.own_lines()) for each in kiosks)
