"""People of whom two kiosks said different things: the less somebody may do counts until a supervisor knows of both."""

from __future__ import annotations

import pytest

from kiosk.rules import lines as L
from kiosk.rules.acts import pins
from kiosk.rules.assembly import Measured
from tests.ledger.kiosks import FOUNDER, STEEL, Kiosk, Server
from tests.ledger.kiosks import shop as kiosks

A = "a" * 16


def with_supervisors(*names: str) -> tuple[Server, Kiosk, Kiosk]:
    server, (founder, other) = kiosks(A)
    founder.says(*(L.OperatorAdded(name, name.title(), "supervisor", f"argon2 {name}") for name in names))
    server.push(founder.own_lines())
    other.pulls(server)
    return server, founder, other


def meet(server: Server, *them: Kiosk) -> None:
    for each in them:
        server.push(each.own_lines())
    for each in them:
        each.pulls(server)
        assert each.wrong() == []
    assert them[0].tables() == them[1].tables()


@pytest.mark.parametrize("less_first", [True, False])
def test_who_may_do_less_by_one_kiosk_may_do_no_more_because_another_set_the_name(less_first: bool) -> None:
    server, founder, other = with_supervisors("jo", "kim")
    founder.says(L.OperatorAdded("jo", "Jo", "setter"))
    other.says(L.OperatorAdded("jo", "Johanna", "supervisor"))
    meet(server, *((founder, other) if less_first else (other, founder)))
    assert founder.row("operator", "jo")["role"] == "setter" and founder.differences() == {"badge/jo"}
    other.says(L.ClaimSettled("badge", "jo", "x"), L.OperatorAdded("jo", "Johanna", "supervisor"))
    meet(server, other, founder)
    assert founder.row("operator", "jo")["role"] == "supervisor" and founder.differences() == set()


@pytest.mark.parametrize("how", [L.OperatorRetired("kim", "left"), L.OperatorAdded("kim", "Kim", "setter")])
@pytest.mark.parametrize("jo_first", [True, False])
def test_two_kiosks_that_each_send_one_supervisor_away_leave_the_shop_one_that_can_give_a_pin(
    how: L.Entry, jo_first: bool
) -> None:
    server, founder, other = with_supervisors("jo", "kim")
    founder.says(L.OperatorRetired("jo", "left"))
    other.says(how)
    meet(server, *((founder, other) if jo_first else (other, founder)))
    last = founder.row("operator", "kim" if jo_first else "jo")
    assert last["role"] == "supervisor" and not last["retired"] and last["pin_hash"]
    assert founder.differences() == {"badge/kim" if jo_first else "badge/jo"}, "and it is told"
    founder.says(L.ClaimSettled("badge", "kim" if jo_first else "jo", "used"))
    meet(server, founder, other)
    assert founder.differences() == set() and founder.row("operator", last["key"]) == last, "and settled as it stands"


def test_where_a_third_can_give_a_pin_both_go() -> None:
    server, founder, other = with_supervisors("jo", "kim", "lee")
    founder.says(L.OperatorRetired("jo", "left"))
    other.says(L.OperatorRetired("kim", "left"))
    meet(server, founder, other)
    assert founder.row("operator", "jo")["retired"] and founder.row("operator", "kim")["retired"]
    assert founder.differences() == set()


def test_who_works_while_another_kiosk_sets_their_language_is_no_difference_and_a_badge_that_was_gone_is() -> None:
    server, founder, other = with_supervisors("jo", "kim")
    founder.says(L.OperatorAdded("jo", "Jo", "supervisor", language="pl"))
    other.says(L.Moved("T1", "B", "D"), operator="jo")
    meet(server, founder, other)
    assert founder.differences() == set() and founder.row("operator", "jo")["language"] == "pl"
    founder.says(L.OperatorAdded("jo", "Jo", "supervisor", language="cs"), L.Moved("T2", "B", "E"), operator="jo")
    other.says(L.OperatorRetired("jo", "left"))
    meet(server, founder, other)
    assert founder.differences() == {"badge/jo"} and founder.row("operator", "jo")["retired"]


@pytest.mark.parametrize(("matter", "table"), [
    ("badge", "operator"), ("use", "holder"), ("use", "cutter"), ("use", "place"),
])  # fmt: skip
def test_what_a_hand_calls_in_use_is_in_use_at_every_kiosk_with_all_that_belongs_to_it(matter: str, table: str) -> None:
    server, founder, other = with_supervisors("jo", "kim")
    founder.says(L.Built("A1", "a", "T1", "C1"))
    server.push(founder.own_lines())
    other.pulls(server)
    retired: L.Entry = {
        "operator": L.OperatorRetired("jo"), "holder": L.HolderRetired("T1"), "cutter": L.CutterRetired("C1"),
        "place": L.PlaceRetired("D"),
    }[table]  # fmt: skip
    key = {"operator": "jo", "holder": "T1", "cutter": "C1", "place": "D"}[table]
    founder.says(retired)
    other.says(L.Moved("T1", "B", "D"), L.CutterReground("C1", 11.9), operator="jo")
    meet(server, founder, other)
    assert founder.row(table, key)["retired"] == 1 and f"{matter}/{key}" in founder.differences()
    before = founder.row(table, key)
    other.says(L.ClaimSettled(matter, key, "used"))
    meet(server, other, founder)
    after = founder.row(table, key)
    assert f"{matter}/{key}" not in founder.differences()
    if table == "holder":
        assert (after["place"], after["heat"], after["assembly"]) == (None, "unknown", "A1"), "it comes from anywhere"
    else:
        assert after == before | {"retired": 0}


def test_what_is_in_use_already_is_moved_nowhere_by_saying_so() -> None:
    server, founder, other = with_supervisors("jo", "kim")
    before = founder.tables()["holder"]
    founder.says(L.ClaimSettled("use", "T1", "used"), L.ClaimSettled("setting", "T1", "used"))
    meet(server, founder, other)
    assert founder.tables()["holder"] == before


def test_a_holder_that_was_hot_when_it_was_taken_out_of_use_is_in_use_by_a_reading_only() -> None:
    server, founder, other = with_supervisors("jo", "kim")
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"), L.HolderRetired("T1", "bent"))
    server.push(founder.own_lines())
    other.pulls(server)
    other.says(L.ClaimSettled("use", "T1", "used"))
    meet(server, other, founder)
    assert founder.row("holder", "T1")["heat"] == "held" and founder.row("hold", "T1")["reading_only"] == 1


@pytest.mark.parametrize("gone_first", [True, False])
@pytest.mark.parametrize(("matter", "table", "retired"), [
    ("badge", "operator", L.OperatorRetired("jo")), ("use", "holder", L.HolderRetired("T1")),
    ("use", "cutter", L.CutterRetired("C1")), ("use", "place", L.PlaceRetired("D")),
])  # fmt: skip
def test_of_two_hands_that_did_not_hear_each_other_the_one_that_says_out_of_use_counts_until_one_knows_of_both(
    matter: str, table: str, retired: L.Entry, gone_first: bool
) -> None:
    server, founder, other = with_supervisors("jo", "kim")
    key = {"operator": "jo", "holder": "T1", "cutter": "C1", "place": "D"}[table]
    founder.says(retired)
    other.says(L.Moved("T1", "B", "D"), L.CutterReground("C1", 11.9), operator="jo")
    meet(server, founder, other)
    founder.says(L.ClaimSettled(matter, key, "retired"))
    other.says(L.ClaimSettled(matter, key, "used"))
    meet(server, *((founder, other) if gone_first else (other, founder)))
    assert founder.row(table, key)["retired"] == 1 and f"{matter}/{key}" in founder.differences()
    other.says(L.ClaimSettled(matter, key, "used"))
    meet(server, other, founder)
    assert founder.row(table, key)["retired"] == 0 and f"{matter}/{key}" not in founder.differences()


@pytest.mark.parametrize("again", [L.ClaimSettled("use", "T1", "used"), L.HolderRegistered(STEEL[0])])
def test_no_heating_and_no_reading_from_before_it_was_out_of_use_counts_for_a_holder_that_is_in_use_again(
    again: L.Entry,
) -> None:
    server, founder, other = with_supervisors("jo", "kim")
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"), L.Moved("T1", "S", "F"))
    heating = founder.row("hold", "T1")["heated_line"]
    founder.says(L.TemperatureRead("T1", "nose", 60.0, "probe", "agrees", heating=heating), L.HolderRetired("T1"))
    assert founder.row("hold", "T1")["readings"] != "[]"
    meet(server, founder, other)
    other.says(again)
    meet(server, other, founder)
    row, hold = founder.row("holder", "T1"), founder.row("hold", "T1")
    assert (row["retired"], row["place"], row["heat"], row["heat_unused"]) == (0, None, "held", 0)
    assert (hold["reading_only"], hold["readings"], hold["ended_line"]) == (1, "[]", None)


@pytest.mark.parametrize(("one", "two", "key"), [
    (L.ToolNumbered("T1", "A1", 7), L.ToolNumbered("T1", "A1", 8), "number/A1"),
    (L.ToolNumbered("T1", "A1", None), L.ToolNumbered("T1", "A1", 8), "number/A1"),
    (L.MeasuredLine("T1", "A1", Measured(120.0, 12.0)), L.MeasuredLine("T1", "A1", Measured(119.2, 12.0)),
     "setting/A1"),
])  # fmt: skip
def test_two_numbers_or_two_lengths_of_one_assembly_are_told_and_no_kiosks_word_is_picked_unsaid(
    one: L.Entry, two: L.Entry, key: str
) -> None:
    server, (founder, other) = kiosks(A)
    founder.says(L.Built("A1", "a", "T1", "C1"))
    server.push(founder.own_lines())
    other.pulls(server)
    founder.says(one)
    other.says(two)
    meet(server, founder, other)
    assert founder.differences() == {key}
    other.says(one)
    meet(server, other, founder)
    assert founder.differences() == set()


def pins_at_once(server: Server, *them: Kiosk) -> None:
    """Each kiosk gives Jo another PIN, and then they hear each other, in this order."""
    for each in them:
        each.says(L.OperatorAdded("jo", "Jo", "supervisor", f"argon2 of {each.name}"), operator="kim")
    meet(server, *them)


@pytest.mark.parametrize("founder_first", [True, False])
def test_of_two_pins_that_one_person_was_given_at_once_neither_opens_anything_while_another_can_give_theirs(
    founder_first: bool,
) -> None:
    server, founder, other = with_supervisors("jo", "kim")
    pins_at_once(server, *((founder, other) if founder_first else (other, founder)))
    assert founder.row("operator", "jo")["pin_hash"] is None and founder.differences() == {"pin/jo"}
    founder.says(L.OperatorAdded("jo", "Johanna", "supervisor", language="pl"))
    meet(server, founder, other)
    assert founder.row("operator", "jo")["pin_hash"] is None, "another name is no PIN"
    other.says(L.OperatorAdded("jo", "Johanna", "supervisor", "argon2 anew"))
    meet(server, other, founder)
    assert founder.row("operator", "jo")["pin_hash"] == "argon2 anew" and founder.differences() == set()


def test_a_pin_given_once_more_by_who_did_not_hear_of_the_other_opens_nothing_either() -> None:
    server, founder, other = with_supervisors("jo", "kim")
    pins_at_once(server, founder, other)
    founder.says(L.ClaimSettled("pin", "jo", "argon2 one"), L.OperatorAdded("jo", "Jo", "supervisor", "argon2 one"))
    other.says(L.ClaimSettled("pin", "jo", "argon2 two"), L.OperatorAdded("jo", "Jo", "supervisor", "argon2 two"))
    meet(server, founder, other)
    assert founder.row("operator", "jo")["pin_hash"] is None and founder.differences() == {"pin/jo"}


@pytest.mark.parametrize("founder_first", [True, False])
def test_of_two_pins_of_the_only_one_who_can_give_one_either_opens_until_one_is_chosen(founder_first: bool) -> None:
    server, founder, other = with_supervisors("jo")
    pins_at_once(server, *((founder, other) if founder_first else (other, founder)))
    assert sorted(pins(founder.row("operator", "jo")["pin_hash"])) == [f"argon2 of {FOUNDER}", f"argon2 of {A}"]
    assert founder.differences() == {"pin/jo"}


def test_two_names_of_one_person_tell_nothing_of_the_pin_and_two_pins_nothing_of_the_name() -> None:
    server, founder, other = with_supervisors("jo", "kim")
    founder.says(L.OperatorAdded("jo", "Jo", "supervisor", "argon2 anew"))
    other.says(L.OperatorAdded("jo", "Johanna", "supervisor"))
    meet(server, founder, other)
    assert founder.row("operator", "jo")["pin_hash"] == "argon2 anew" and founder.differences() == {"badge/jo"}


@pytest.mark.parametrize("jo_first", [True, False])
def test_of_two_who_choose_the_shops_first_pin_at_once_the_second_is_told_and_counts_once_the_first_says_so(
    jo_first: bool,
) -> None:
    server, (founder, other) = kiosks(A)
    founder.says(*(L.OperatorAdded(name, name.title(), "supervisor") for name in ("jo", "kim")))
    meet(server, founder, other)
    founder.says(L.OperatorAdded("jo", "Jo", "supervisor", "argon2 jo"), operator="jo")
    other.says(L.OperatorAdded("kim", "Kim", "supervisor", "argon2 kim"), operator="kim")
    meet(server, *((founder, other) if jo_first else (other, founder)))
    first, second = ("jo", "kim") if jo_first else ("kim", "jo")
    assert founder.row("operator", first)["pin_hash"] == f"argon2 {first}"
    assert founder.row("operator", second)["pin_hash"] is None and founder.differences() == {f"pin/{second}"}
    said = L.OperatorAdded(second, second.title(), "supervisor", f"argon2 {second}")
    founder.says(L.ClaimSettled("pin", second, f"argon2 {second}"), said, operator=first)
    meet(server, founder, other)
    assert founder.row("operator", second)["pin_hash"] == f"argon2 {second}" and founder.differences() == set()


@pytest.mark.parametrize("both_pins_first", [True, False])
def test_a_shop_is_not_left_without_a_pin_by_two_pins_of_one_and_the_other_sent_away(both_pins_first: bool) -> None:
    server, (founder, other, third) = kiosks(A, "c" * 16)
    founder.says(*(L.OperatorAdded(name, name.title(), "supervisor", f"argon2 {name}") for name in ("jo", "kim")))
    meet(server, founder, other, third)
    for each in (founder, other):
        each.says(L.OperatorAdded("jo", "Jo", "supervisor", f"argon2 of {each.name}"))
    third.says(L.OperatorRetired("kim", "left"))
    meet(server, *((founder, other, third) if both_pins_first else (founder, third, other)))
    people = [founder.row("operator", key) for key in ("jo", "kim")]
    assert any(each["pin_hash"] and not each["retired"] for each in people), "else all is open to everybody"
    assert "pin/jo" in founder.differences()
