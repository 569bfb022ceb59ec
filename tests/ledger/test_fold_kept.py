"""What the fold keeps of a line that waited, of who moved a holder, and of what was read before others' lines came."""

from __future__ import annotations

import msgspec
import pytest

from kiosk.ledger.shared_form import WAITING
from kiosk.ledger.state import SHARED_CLOCK, Broken
from kiosk.rules import lines as L
from kiosk.rules.hold_facts import WITHDRAWN
from kiosk.rules.places import Kind, Place
from tests.ledger.kiosks import FOUNDER, STEEL, shop
from tests.ledger.test_fold import together

A = "a" * 16


def test_a_reading_that_was_withdrawn_while_both_lines_waited_counts_for_nothing_anywhere() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    together(server, [founder, other])
    run = server.lines[-1].n
    founder.says(L.TemperatureRead("T1", "nose", 30.0, "probe", "agrees", 31.0, heating=run))
    reading = WAITING + founder.sharing.tail.number
    founder.says(L.ReadingWithdrawn("T1", reading, "nose", 30.0, heating=run))
    together(server, [founder, other])
    assert founder.tables() == other.tables()
    for each in (founder, other):
        (read,) = msgspec.json.decode(each.row("hold", "T1")["readings"])
        assert read[4] == WITHDRAWN, "it still counts"
        assert each.wrong() == []


def test_a_put_back_book_holds_by_everybodys_time() -> None:
    server, (founder, other) = shop(A)
    other.says(L.Restored("copy", ("T1",), ("T2",)))
    together(server, [founder, other])
    for each in (founder, other):
        assert each.row("hold", "T1")["kiosk"] == SHARED_CLOCK
        assert each.row("holder", "T2")["heat"] == "unknown"


@pytest.mark.parametrize(
    "fact",
    [
        L.Built("X1", "Mill", "T1", "C1"),
        L.HolderRegistered(STEEL[0], stood_cold=True),
    ],
    ids=lambda each: each.kind,
)
def test_who_says_a_fact_of_a_holder_did_not_bring_it_where_it_is(fact: L.Entry) -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "R"))
    together(server, [founder, other])
    assert other.row("holder", "T1")["last_kiosk"] == FOUNDER
    other.says(fact)
    assert other.row("holder", "T1")["last_kiosk"] != A, "else what it does not hear counts as cool here"
    together(server, [founder, other])
    assert founder.row("holder", "T1")["last_kiosk"] != A


def test_own_lines_that_come_back_one_by_one_never_give_a_number_twice() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "R"), L.Moved("T1", "R", "B"), L.Moved("T2", "B", "R"))
    end = founder.sharing.tail.number
    server.push(founder.own_lines())
    founder.pulls(server, most=1)
    assert founder.sharing.tail.number == end
    founder.says(L.Moved("T2", "R", "B"))
    assert founder.sharing.tail.number == end + 1
    together(server, [founder, other])
    together(server, [founder, other])
    assert founder.wrong() == other.wrong() == []
    assert founder.tables() == other.tables()


def test_what_was_read_of_the_tables_is_stale_once_others_lines_came() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "R"))
    server.push(founder.own_lines())
    before = other.sharing.generation
    other.pulls(server)
    assert other.sharing.generation > before


@pytest.mark.parametrize("taken_apart", [False, True])
def test_a_fit_that_another_kiosk_undid_or_did_otherwise_meanwhile_is_open_until_a_hand_says(taken_apart: bool) -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Built("X1", "Mill", "T1", "C1"))
    together(server, [founder, other])
    if taken_apart:
        founder.says(L.TornDown("T1", "X1"))
        other.says(L.TornDown("T1", "X1"), L.Built("X2", "Other", "T1", "C2"))
    else:
        founder.says(L.TornDown("T1", "X1"), L.Built("X2", "One", "T1", "C2"))
        other.says(L.TornDown("T1", "X1"), L.Built("X3", "Other", "T1", "C1"))
    together(server, [founder, other])
    assert founder.differences() == other.differences()
    assert "holder/T1" in founder.differences()
    assert founder.tables() == other.tables()
    assert founder.wrong() == other.wrong() == []


def test_a_pocket_of_two_takes_two_from_kiosks_that_did_not_hear_each_other_and_no_third() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.PlaceAdded(Place("W", "Double", Kind.SLOT, capacity=2)))
    together(server, [founder, other])
    founder.says(L.Moved("T1", "B", "W"))
    other.says(L.Moved("T2", "B", "W"))
    together(server, [founder, other])
    assert founder.differences() == other.differences() == set()
    assert founder.row("holder", "T1")["place"] == founder.row("holder", "T2")["place"] == "W"


def test_a_step_of_a_holder_that_was_never_entered_is_damage_and_no_step() -> None:
    _, (founder, _) = shop(A)
    with pytest.raises(Broken):
        founder.says(L.Moved("nobody", None, "B"))


def test_an_end_that_names_no_heating_ends_none() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    together(server, [founder, other])
    for each in (founder, other):
        each.says(L.HoldEnded("T1", "time", None))
        together(server, [founder, other])
        assert founder.row("hold", "T1")["ended_line"] is other.row("hold", "T1")["ended_line"] is None
