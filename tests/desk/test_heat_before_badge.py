"""Heat comes before the badge: with nobody signed in, in either order, however the labels come to the desk."""

from __future__ import annotations

import pytest

from kiosk.rules.outcomes import Reason, Refused
from tests.conftest import Shop

GOALS = ("Cabinet A · 1-05", "Cabinet A", "Mill 1 · pocket 07", "Presetter", "Bench 2")


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
