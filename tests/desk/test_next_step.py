"""What comes next for a holder, and where, after each step of its way round the shop."""

from __future__ import annotations

from kiosk.desk.next_step import next_of
from kiosk.rules.assembly import Condition, Measured
from kiosk.rules.say import Value
from kiosk.words import catalogue
from tests.conftest import Shop


def comes(shop: Shop, key: str) -> tuple[str, Value]:
    """Key of the sentence, and the place it names."""
    step = next_of(shop.desk.session, shop.desk.session.holder(key))
    if step is None:
        return "", None
    for language in ("en", "de"):
        assert "{" not in catalogue(language).say(step.key, **dict(step.values))
    return step.key, dict(step.values).get("place")


def scan(shop: Shop, key: str, place: str) -> None:
    shop.desk.scan(shop.holder(key))
    shop.desk.scan(shop.place(place))


def test_a_round_of_the_shop_says_at_each_step_what_comes_next_and_where(shop: Shop) -> None:
    shop.clock.forward(33 * 86400.0)
    slot = shop.desk.session.holder("T002").at
    assert slot is not None and comes(shop, "T002") == ("", None)
    scan(shop, "T002", "Bench 1")
    assert comes(shop, "T002") == ("next.home", slot.name), "back where it came from"
    shop.desk.build.say_condition("T002", Condition.WORN)
    assert comes(shop, "T002") == ("next.tear_down", "Shrink station")
    scan(shop, "T002", "Shrink station")
    key, place = comes(shop, "T002")
    assert key == "next.cool" and place == "Sleeve 1"
    scan(shop, "T002", "Sleeve 1")
    assert comes(shop, "T002") == ("next.in_sleeve", "Sleeve 1")
    scan(shop, "T002", "Rack 1")
    assert comes(shop, "T002") == ("next.read", "Rack 1"), "this pair was never read"


def test_a_slot_that_was_given_away_is_no_way_back(shop: Shop) -> None:
    slot = shop.desk.session.holder("T002").at
    assert slot is not None
    scan(shop, "T002", "Bench 1")
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(slot.place.code)
    if shop.desk.session.holder("T001").at == slot:
        assert comes(shop, "T002") == ("next.home", None)


def test_what_was_measured_warm_is_measured_again_and_what_is_bare_waits_for_nothing(shop: Shop) -> None:
    scan(shop, "T002", "Bench 1")
    card = shop.desk.session.holder("T002")
    assert card.assembly is not None
    shop.desk.build.measure("T002", Measured(120.0, 12.0, length_error_um=9.0))
    assert comes(shop, "T002")[0] == "next.measure"
    bare = next(each for each in shop.desk.shop.holders() if each.assembly is None)
    assert comes(shop, bare.holder.key) == ("", None)
