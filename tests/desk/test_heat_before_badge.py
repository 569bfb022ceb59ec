"""Heat comes before the badge: with nobody signed in, in either order, however the labels come to the desk."""

from __future__ import annotations

import pytest

from kiosk.desk.desk import Desk
from kiosk.rules.audit import HOT
from kiosk.rules.lines import HolderRetired, PlaceRetired, Restored
from kiosk.rules.outcomes import Done, Expects, Reason, Refused, Wait
from tests.conftest import Shop

GOALS = ("Cabinet A · 1-05", "Cabinet A", "Mill 1 · pocket 07", "Mill 1", "Presetter", "Bench 2")


@pytest.fixture
def strict(shop: Shop) -> Shop:
    """A shop that asks for a badge, in its third month, with something hot at the station and nobody signed in."""
    shop.clock.forward(65 * 86_400.0)
    shop.desk.people.change_setting("kiosk", "badge_required", "yes", "the shop's rule")
    shop.desk.scan(shop.desk.shop.code_of("jo"))
    for code in (shop.holder("T001"), shop.place("Shrink station")):
        shop.desk.scan(code)
    shop.clock.forward(60.0)
    shop.desk.people.sign_out()
    return shop


@pytest.mark.parametrize("ways", ["scan scan", "scan watch", "watch scan", "watch watch"])
@pytest.mark.parametrize("holder_first", [True, False])
@pytest.mark.parametrize("goal", GOALS)
def test_hot_steel_and_a_place_where_hands_reach_is_the_alarm(
    strict: Shop, goal: str, holder_first: bool, ways: str
) -> None:
    at = next(card.place.code for card in strict.desk.shop.places() if card.name == goal)
    codes = [strict.holder("T001"), at]
    outcomes = []
    for code, way in zip(codes if holder_first else codes[::-1], ways.split(), strict=True):
        told = getattr(strict.desk, way)(code)
        outcomes.append(told.outcome if told is not None else None)
        strict.clock.forward(3.0)
    last = outcomes[-1]
    assert isinstance(last, Refused) and last.reason is Reason.HOT, last
    assert strict.desk.session.holder("T001").at.name == "Shrink station"  # type: ignore[union-attr]


@pytest.mark.parametrize("badge", [True, False])
@pytest.mark.parametrize("holder_first", [True, False])
@pytest.mark.parametrize("goal", ["Mill 1", "Bench 2"])
def test_a_label_that_takes_no_holder_still_says_where_the_hot_steel_would_come(
    strict: Shop, goal: str, holder_first: bool, badge: bool
) -> None:
    """A machine has pockets, and a bench can be out of use: a hand with hot steel is in front of it all the same."""
    at = strict.place(goal)
    if goal == "Bench 2":
        strict.desk.session.write(PlaceRetired(at), by="jo")
    if badge:
        strict.desk.scan(strict.desk.shop.code_of("jo"))
    codes = [strict.holder("T001"), at]
    for code in codes if holder_first else codes[::-1]:
        last = strict.desk.scan(code).outcome
        strict.clock.forward(3.0)
    assert isinstance(last, Refused) and last.reason is Reason.HOT, last
    assert dict(last.why.values)["place"] == goal


def test_an_audit_that_runs_without_a_badge_says_no_less(strict: Shop) -> None:
    """Of what is hot; a drawer scanned without a badge is not looked at, but steel comes there all the same."""
    desk = strict.desk
    desk.scan(desk.shop.code_of("jo"))
    desk.audits.open(HOT)
    desk.scan(strict.place("Sleeve 1"))
    desk.people.sign_out()
    assert desk.session.audit is not None
    strict.clock.forward(60.0)
    drawer = desk.scan(strict.place("Cabinet A · 1-05")).outcome
    assert isinstance(drawer, Refused) and drawer.reason is Reason.BADGE_FIRST
    told = desk.scan(strict.holder("T001")).outcome
    assert isinstance(told, Refused) and told.reason is Reason.HOT, told


def test_what_is_cool_goes_on_after_the_label_of_a_machine(strict: Shop) -> None:
    """It only asks where to: that label waits for nothing."""
    desk = strict.desk
    desk.scan(desk.shop.code_of("jo"))
    refused = desk.scan(strict.place("Mill 1")).outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.HOLDS_NOTHING
    assert desk.waiting() is None
    asked = desk.scan(strict.holder("T002")).outcome
    assert isinstance(asked, Wait) and asked.expects is Expects.PLACE


def test_a_label_that_is_new_on_hot_steel_is_no_less_hot(strict: Shop) -> None:
    """Printed and not scanned yet, a label is nobody's without a badge; the steel under it is in a hand."""
    desk = strict.desk
    desk.scan(desk.shop.code_of("jo"))
    fresh = desk.labels.fresh_label("T001").code.text
    desk.labels.noted([desk.labels.fresh_label("T001")])
    desk.people.sign_out()
    strict.clock.forward(60.0)
    assert _reasons(desk, fresh, strict.place("Mill 1")) == [Reason.BADGE_FIRST, Reason.HOT]
    strict.clock.forward(60.0)
    assert _reasons(desk, strict.place("Mill 1"), fresh) == [Reason.BADGE_FIRST, Reason.HOT]


def _reasons(desk: Desk, *codes: str) -> list[Reason | None]:
    outcomes = [desk.scan(code).outcome for code in codes]
    return [outcome.reason if isinstance(outcome, Refused) else None for outcome in outcomes]


@pytest.mark.parametrize("worn_first", [True, False])
def test_in_an_audit_of_nobody_a_label_that_was_replaced_is_on_hot_steel_all_the_same(
    strict: Shop, worn_first: bool
) -> None:
    desk = strict.desk
    desk.scan(desk.shop.code_of("jo"))
    worn = strict.holder("T001")
    fresh = desk.labels.fresh_label("T001")
    desk.labels.noted([fresh])
    desk.scan(fresh.code.text)
    desk.audits.open(HOT)
    desk.scan(strict.place("Sleeve 1"))
    desk.people.sign_out()
    strict.clock.forward(60.0)
    codes = [worn, strict.place("Cabinet A · 1-05")]
    assert _reasons(desk, *(codes if worn_first else codes[::-1])) == [Reason.BADGE_FIRST, Reason.HOT]


@pytest.mark.parametrize("badge", [True, False])
@pytest.mark.parametrize("holder_first", [True, False])
@pytest.mark.parametrize("known", [True, False])
def test_a_holder_that_is_out_of_use_is_as_hot_as_any(
    strict: Shop, known: bool, holder_first: bool, badge: bool
) -> None:
    """Its label is refused, and it moves nothing; a hand has it all the same."""
    desk = strict.desk
    key = "T001" if known else "T003"
    desk.session.book.append([Restored("copy", (), ("T003",))])  # nobody knows how warm that is
    desk.session.write(HolderRetired(key, "worn out"), by="jo")
    if badge:
        desk.scan(desk.shop.code_of("jo"))
    codes = [strict.holder(key), strict.place("Cabinet A · 1-05")]
    for code in codes if holder_first else codes[::-1]:
        last = desk.scan(code).outcome
        strict.clock.forward(3.0)
    assert isinstance(last, Refused) and last.reason is (Reason.HOT if known else Reason.NOWHERE_KNOWN), last
    assert dict(last.why.values)["place"] == "Cabinet A · 1-05"
    for code in (strict.holder(key), strict.place("Sleeve 1")):
        assert not isinstance(desk.scan(code).outcome, Done)
    assert getattr(desk.session.holder(key).at, "name", "") != "Sleeve 1"
