"""Kiosks disagree whether the last who can give a PIN is here still: whatever is offered then can be done."""

from __future__ import annotations

import pytest

from kiosk.ledger import tables as T
from kiosk.rules import lines as L
from kiosk.rules.merge import RETIRED, USED, Made, claims
from kiosk.screens.questions.apart import ToldDifferently
from tests.conftest import Shop
from tests.desk.test_settled_by_hand import supervised, unapplied
from tests.desk.test_told_differently import OTHER, A, differs

GONE = L.OperatorRetired("ines", "left")
SETTER = L.OperatorAdded("ines", "Ines", "setter")


def told(shop: Shop, *said: L.Entry) -> ToldDifferently:
    """What kiosks that did not hear each other said of the only one who can give a PIN; none of it was heard."""
    supervised(shop)
    made = [
        Made(unapplied(shop, entry), kiosk, claims(entry)[0].value)
        for entry, kiosk in zip(said, (OTHER, A), strict=False)
    ]  # fmt: skip
    differs(shop, "badge/ines", *made)
    return found(shop)


def found(shop: Shop) -> ToldDifferently:
    return next(each for each in shop.desk.differences.open() if each.key == "badge/ines")


def values(apart: ToldDifferently) -> tuple[str, ...]:
    return tuple(each.value for each in apart.offers)


def pin_given(shop: Shop) -> None:
    shop.desk.people.unlock("ines", "2580")


@pytest.mark.parametrize("said", [(GONE,), (SETTER,), (GONE, SETTER), (SETTER, GONE)])
def test_that_the_last_who_can_give_a_pin_goes_is_not_offered_but_that_they_stay_and_that_settles_it(
    shop: Shop, said: tuple[L.Entry, ...]
) -> None:
    apart = told(shop, *said)
    assert values(apart) == (USED,), "and nothing that would be refused"
    assert [each.kiosk_id for each in apart.not_now] == [OTHER, A][: len(said)], "what was said is read all the same"
    pin_given(shop)
    shop.desk.differences.settle("badge/ines", USED)
    row = T.Operator.get_by_id("ines")
    assert (row.role, row.retired, bool(row.pin_hash)) == ("supervisor", 0, True)


@pytest.mark.parametrize("other", [L.OperatorAdded("ines", "Ines B.", "supervisor"), None])
def test_what_else_was_said_of_them_is_offered_and_can_be_chosen(shop: Shop, other: L.Entry | None) -> None:
    apart = told(shop, GONE, *([other] if other else []))
    if other is None:
        T.Difference.delete().execute()
        differs(shop, "badge/ines", Made(1, A, RETIRED), Made(2, OTHER, USED))
        apart = found(shop)
    (offered,) = values(apart)
    assert offered == (claims(other)[0].value if other else USED)
    pin_given(shop)
    shop.desk.differences.settle("badge/ines", offered)
    assert not T.Operator.get_by_id("ines").retired


@pytest.mark.parametrize("said", [GONE, SETTER])
def test_once_another_can_give_a_pin_it_is_offered_and_done(shop: Shop, said: L.Entry) -> None:
    told(shop, said)
    pin_given(shop)
    shop.desk.people.add("lee", "Lee", "supervisor", "badge-lee", pin="1470")
    (offered,) = values(found(shop))
    assert offered == claims(said)[0].value and found(shop).not_now == ()
    shop.desk.differences.settle("badge/ines", offered)
    row = T.Operator.get_by_id("ines")
    assert row.retired or row.role == "setter"


def test_what_is_told_of_others_is_offered_as_it_was_said(shop: Shop) -> None:
    supervised(shop)
    differs(shop, "badge/jo", Made(1, A, RETIRED), Made(2, OTHER, USED))
    apart = next(each for each in shop.desk.differences.open() if each.key == "badge/jo")
    assert values(apart) == (RETIRED, USED) and apart.not_now == ()
