"""A cutter that two kiosks call good and worn: the worse word counts until a hand that knew of both says which."""

from __future__ import annotations

import itertools

import pytest

from kiosk.rules import lines as L
from kiosk.rules.assembly import Condition
from tests.ledger.kiosks import Kiosk, Server
from tests.ledger.kiosks import shop as kiosks
from tests.ledger.test_people_apart import meet

A, B = "a" * 16, "b" * 16
WORSE = (Condition.GOOD, Condition.UNKNOWN, Condition.WORN, Condition.BROKEN)


def built() -> tuple[Server, Kiosk, Kiosk]:
    server, (founder, other) = kiosks(A)
    founder.says(L.Built("A1", "a", "T1", "C1"))
    server.push(founder.own_lines())
    other.pulls(server)
    return server, founder, other


def said(condition: Condition, used_min: float = 0.0) -> L.ConditionSaid:
    return L.ConditionSaid("T1", "A1", condition, used_min)


@pytest.mark.parametrize("founder_first", [True, False])
@pytest.mark.parametrize(("one", "two"), list(itertools.permutations(WORSE, 2)))
def test_of_two_words_about_a_cutter_the_worse_one_counts_whichever_came_last(
    one: Condition, two: Condition, founder_first: bool
) -> None:
    server, founder, other = built()
    founder.says(said(one, 3.0))
    other.says(said(two, 4.0))
    meet(server, *((founder, other) if founder_first else (other, founder)))
    row = founder.row("assembly", "A1")
    assert row["condition"] == max(one, two, key=WORSE.index).value and row["used_min"] == 7.0
    assert founder.differences() == {"condition/A1"}


def test_what_a_kiosk_that_did_not_hear_of_it_says_again_makes_no_worn_cutter_good() -> None:
    server, founder, other = built()
    founder.says(said(Condition.BROKEN))
    server.push(founder.own_lines())
    other.says(said(Condition.GOOD), said(Condition.GOOD))
    meet(server, other, founder)
    assert founder.row("assembly", "A1")["condition"] == "broken"
    other.says(said(Condition.GOOD))
    meet(server, other, founder)
    assert founder.row("assembly", "A1")["condition"] == "good", "who knew of both looked once more"
    assert founder.differences() == set()


def test_that_nobody_knows_settles_nothing_and_what_is_taken_back_makes_nothing_good() -> None:
    server, founder, other = built()
    founder.says(said(Condition.BROKEN))
    other.says(said(Condition.GOOD))
    meet(server, founder, other)
    other.says(said(Condition.UNKNOWN), L.ConditionSaid("T1", "A1", Condition.GOOD, undoes=other.sharing.tail.applied))
    meet(server, other, founder)
    assert founder.row("assembly", "A1")["condition"] == "broken" and founder.differences() == {"condition/A1"}


@pytest.mark.parametrize("good_first", [True, False])
def test_of_two_hands_that_settle_it_apart_the_worse_word_counts_again(good_first: bool) -> None:
    server, founder, other = built()
    founder.says(said(Condition.WORN))
    other.says(said(Condition.GOOD))
    meet(server, founder, other)
    founder.says(L.ClaimSettled("condition", "A1", "worn"), said(Condition.WORN))
    other.says(L.ClaimSettled("condition", "A1", "good"), said(Condition.GOOD))
    meet(server, *((other, founder) if good_first else (founder, other)))
    assert founder.row("assembly", "A1")["condition"] == "worn" and founder.differences() == {"condition/A1"}
