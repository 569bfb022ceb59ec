"""Of several answers the one that holds now is marked by a sign and a word, wherever one is picked."""

from __future__ import annotations

from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.rules.shop_things.forms import Thing
from kiosk.screens.parts.choice import Choice, PickRow
from kiosk.screens.parts.text import Icon
from kiosk.screens.shop.enter import EnterScreen
from kiosk.screens.shop.kiosks import KiosksScreen, Page
from kiosk.words import t
from tests.conftest import Shop
from tests.screens.test_clerk import Office

DAYS_S = 12 * 86_400.0


@pytest.fixture
def office(shop: Shop) -> Office:
    shop.clock.forward(DAYS_S)
    return Office(shop)


def marked(options: list[Any]) -> list[tuple[str, str]]:
    """Key and note of those that a row would mark, each seen to have its tick."""
    found = []
    for option in options:
        row = PickRow(value=option)
        ticks = [each for each in row.walk(restrict=True) if isinstance(each, Icon) and each.name == "done"]
        if ticks and ticks[0].width > 1:
            found.append((option.key, option.note))
    return found


@pytest.mark.parametrize(
    ("thing", "name", "field", "now"),
    [
        ("cooling", "Sleeve 1", "way", "sleeve"),
        ("machine", "Mill 1", "kind", "chain"),
        ("machine", "Mill 1", "couplings", None),
        ("holder", "T001", "clamping", "shrink_fit"),
    ],
)
def test_of_the_answers_about_a_thing_the_one_that_holds_is_marked(
    office: Office, shop: Shop, thing: str, name: str, field: str, now: str | None
) -> None:
    screen = EnterScreen()
    office.clerk.take(screen)
    key = name if thing == "holder" else shop.place(name)
    office.clerk.go("enter", thing=thing, key=key)
    shown = next(row.note for row in screen.rows if row.key == field)
    screen.touch(Choice(field, ""))
    ((used, note),) = marked(screen.options)
    assert note == t("settings.in_use") and (now is None or used == now)
    assert next(option.text for option in screen.options if option.key == used) == shown


def test_of_a_new_thing_what_was_answered_before_is_marked_and_nothing_else(office: Office) -> None:
    screen = EnterScreen()
    office.clerk.take(screen)
    office.clerk.go("enter", thing=Thing.COOLING.value)
    assert marked(screen.options) == []
    screen.answer("mist")
    screen._show_all()
    screen.touch(Choice("way", ""))
    assert marked(screen.options) == [("mist", t("enter.chosen"))]


@pytest.mark.parametrize("at", ["", "Bench 1"])
def test_of_the_places_for_this_kiosk_the_one_where_it_stands_is_marked(office: Office, shop: Shop, at: str) -> None:
    shop.desk.people.first_pin("kim", "4711", by_owner=True)
    shop.desk.people.unlock("kim", "4711")
    screen = KiosksScreen()
    office.clerk.take(screen)
    office.clerk.go("kiosks")
    here = shop.place(at) if at else ""
    shop.desk.session.here = here or None
    screen.stands()
    assert screen.page == Page.PLACES and len(screen.places) > 2
    assert marked(screen.places) == [(here, t("settings.in_use"))]
