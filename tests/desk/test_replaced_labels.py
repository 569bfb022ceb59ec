"""A label that was replaced is still on some steel: it moves nothing, and where that is hot it is told all the same."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.reader.symbols import Symbol
from kiosk.rules import codes
from kiosk.rules.audit import Action, Difference, Shows
from kiosk.rules.outcomes import Done, Reason, Refused
from tests.conftest import Shop


@pytest.fixture(params=[7 * 3600.0, 60 * 86400.0])
def worn(shop: Shop, request: pytest.FixtureRequest) -> str:
    """The label T001 bore until it was heated and given a new one; it is still on the steel, beside the new one."""
    shop.clock.forward(request.param)
    text = shop.holder("T001")
    for place in ("Shrink station", "Rack 1"):
        shop.desk.scan(shop.holder("T001"))
        shop.desk.scan(shop.place(place))
    shop.desk.adopting.give(shop.desk.shop.fresh_code(codes.CodeKind.HOLDER).text, "T001")
    shop.clock.forward(60.0)
    return text


@pytest.mark.parametrize("place_first", [True, False])
def test_hot_steel_is_told_by_a_label_that_was_replaced_too(shop: Shop, worn: str, place_first: bool) -> None:
    slot = shop.place("Cabinet A · 1-05")
    first, second = (slot, worn) if place_first else (worn, slot)
    shop.desk.scan(first)
    assert shop.desk.waiting() is None or place_first
    told = shop.desk.scan(second).outcome
    assert isinstance(told, Refused) and told.reason is Reason.HOT
    at = shop.desk.session.holder("T001").at
    assert at is not None and at.name == "Rack 1"


@pytest.mark.parametrize("place", ["Sleeve 1", "Shrink station"])
def test_a_label_that_was_replaced_moves_and_heats_nothing(shop: Shop, worn: str, place: str) -> None:
    last = shop.desk.session.book.last_id
    for first, second in ((worn, shop.place(place)), (shop.place(place), worn)):
        for text in (first, second):
            outcome = shop.desk.scan(text).outcome
            assert not isinstance(outcome, Done)
        shop.clock.forward(60.0)
    assert {line.kind for line in shop.desk.session.book.lines(after=last)} == {"refused"}


@pytest.mark.parametrize("photo", [True, False])
def test_an_audit_that_sees_hot_steel_by_a_label_that_was_replaced_is_alarmed(
    shop: Shop, worn: str, photo: bool
) -> None:
    slot = shop.place("Cabinet A · 1-05")
    shop.desk.audits.open(shop.place("Cabinet A"))
    if photo:
        seen = shop.desk.audits.photo([Symbol(worn, "QRCode", ((0, 0), (9, 0), (9, 9), (0, 9)))], slot)
        assert seen.alarm and [(mark.state, mark.holder) for mark in seen.marks] == [(Shows.HOT, "T001")]
    else:
        shop.desk.scan(slot)
        outcome = shop.desk.scan(worn).outcome
        assert isinstance(outcome, Done) and outcome.alarm and outcome.holder is not None
    hot = [each for each in shop.desk.audits.status().differences if each.difference is Difference.HOT]
    assert [each.text for each in hot] == ["T001"]
    shop.desk.audits.settle(hot[0].key, Action.TO_COOLING, "", shop.place("Rack 1"))
    assert not [each for each in shop.desk.audits.status().differences if each.difference is Difference.HOT]


def test_without_a_badge_an_audit_tells_heat_by_a_label_that_was_replaced_first(shop: Shop, worn: str) -> None:
    shop.desk.audits.open(shop.place("Cabinet A"))
    shop.desk.scan(shop.place("Cabinet A · 1-05"))
    settings = shop.desk.session.settings
    shop.desk.session.take_settings(replace(settings, kiosk=replace(settings.kiosk, badge_required=True)))
    told = shop.desk.scan(worn).outcome
    assert isinstance(told, Refused) and told.reason is Reason.HOT
