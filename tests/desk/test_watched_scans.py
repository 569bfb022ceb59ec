"""Labels that a screen keeps for itself: nothing moves by them, and hot steel is told of all the same."""

from __future__ import annotations

import pytest

from kiosk.rules.checkin import Reason, Refused
from kiosk.rules.outcomes import Wait
from tests.conftest import Shop

SLOT = "Cabinet A · 1-05"


def heated(shop: Shop) -> str:
    """T001 hot at the station, by a clock that has counted for days."""
    shop.clock.forward(9 * 86_400.0 + 3.0)
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    return shop.holder("T001")


def alarm(shop: Shop, text: str) -> bool:
    found = shop.desk.watch(text)
    if found is None:
        return False
    assert isinstance(found.outcome, Refused) and found.outcome.reason is Reason.HOT
    assert [line.kind for line in found.lines] == ["refused"]
    return True


@pytest.mark.parametrize("holder_first", [True, False])
def test_a_hot_holder_and_a_slot_are_told_of_in_either_order(shop: Shop, holder_first: bool) -> None:
    hot, slot = heated(shop), shop.place(SLOT)
    one, other = (hot, slot) if holder_first else (slot, hot)
    assert not alarm(shop, one) and alarm(shop, other)
    before = shop.desk.session.holder("T001").at
    assert before is not None and before.name == "Shrink station", "nothing moves by it"


def test_a_pair_may_begin_on_the_scan_screen_and_end_on_another(shop: Shop) -> None:
    hot = heated(shop)
    shop.desk.scan(hot)
    assert alarm(shop, shop.place(SLOT))


def test_a_second_place_is_told_of_as_the_first_was(shop: Shop) -> None:
    hot = heated(shop)
    shop.desk.watch(hot)
    assert alarm(shop, shop.place(SLOT)) and alarm(shop, shop.place("Cabinet A · 1-06"))


def test_a_kiosk_that_stands_at_the_cabinet_needs_no_second_label(shop: Shop) -> None:
    hot = heated(shop)
    shop.reopen(at=SLOT)
    assert alarm(shop, hot)


def test_what_is_cool_or_goes_to_cooling_or_comes_too_late_is_no_alarm(shop: Shop) -> None:
    hot, slot = heated(shop), shop.place(SLOT)
    assert not alarm(shop, shop.holder("T005")) and not alarm(shop, slot)
    shop.clock.forward(21.0)
    assert not alarm(shop, hot) and not alarm(shop, shop.place("Rack 1"))
    shop.clock.forward(21.0)
    assert not alarm(shop, slot)


@pytest.mark.parametrize("retired", [False, True])
def test_hot_steel_is_told_of_by_a_label_not_scanned_yet_and_by_an_old_one(shop: Shop, retired: bool) -> None:
    fresh = shop.desk.labels.fresh_label("T001").code.text
    old = heated(shop)
    if retired:
        shop.desk.scan(fresh)
        assert not alarm(shop, old) and alarm(shop, shop.place(SLOT))
    else:
        assert not alarm(shop, fresh) and alarm(shop, shop.place(SLOT))


def test_steel_that_was_shown_and_then_put_to_cool_is_not_held_against_the_next_place(shop: Shop) -> None:
    hot = heated(shop)
    assert not alarm(shop, hot)
    shop.desk.scan(hot)
    shop.desk.scan(shop.place("Sleeve 1"))
    assert not alarm(shop, shop.place(SLOT))
    shop.clock.forward(21.0)
    assert not alarm(shop, hot) and alarm(shop, shop.place(SLOT)), "shown again, it is told of again"


@pytest.mark.parametrize("holder_first", [True, False])
def test_a_pair_may_begin_on_a_screen_that_keeps_labels_and_end_on_one_that_does_not(
    shop: Shop, holder_first: bool
) -> None:
    hot, slot = heated(shop), shop.place(SLOT)
    one, other = (hot, slot) if holder_first else (slot, hot)
    assert not alarm(shop, one)
    met = shop.desk.scan(other)
    assert isinstance(met.outcome, Refused) and met.outcome.reason is Reason.HOT
    assert [line.kind for line in met.lines] == ["refused"] and shop.desk.waiting() is None
    shop.clock.forward(21.0)
    assert isinstance(shop.desk.scan(other).outcome, Wait), "later it is the first of another pair"
    before = shop.desk.session.holder("T001").at
    assert before is not None and before.name == "Shrink station"
    shop.clock.forward(21.0)
    assert not alarm(shop, shop.holder("T005"))
    assert isinstance(shop.desk.scan(slot).outcome, Wait), "what is cool begins a pair as ever"
