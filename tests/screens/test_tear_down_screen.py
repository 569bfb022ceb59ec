"""Tear down asks nothing of a holder whose cutter cannot come out where it stands."""

from __future__ import annotations

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.desk.build import BuildRefused
from kiosk.screens.bench.teardown import Page, TearDownScreen
from tests.conftest import Shop
from tests.screens.test_clerk import Office

MONTHS_S = 70 * 86_400.0


@pytest.fixture
def office(shop: Shop) -> Office:
    shop.clock.forward(MONTHS_S)
    return Office(shop)


def test_a_holder_away_from_the_shrink_station_is_stopped_before_its_cutter_is_asked_for(
    office: Office, shop: Shop
) -> None:
    for text in (shop.holder("T001"), shop.place("Bench 1")):
        office.clerk.scanned(text)
    screen = TearDownScreen()
    office.clerk.take(screen)
    office.clerk.go("tear_down")
    try:
        office.clerk.scanned(shop.holder("T001"))
    except BuildRefused as error:
        screen._failed(error)
    assert screen.page == Page.SCAN and "Bench 1" in screen.trouble and "shrink station" in screen.trouble
    assert shop.desk.session.holder("T001").assembly is not None


def test_at_the_shrink_station_its_cutter_is_asked_for_and_from_a_machine_anywhere(office: Office, shop: Shop) -> None:
    for text in (shop.holder("T001"), shop.place("Shrink station")):
        office.clerk.scanned(text)
    screen = TearDownScreen()
    office.clerk.take(screen)
    office.clerk.go("tear_down")
    office.clerk.scanned(shop.holder("T001"))
    assert screen.page == Page.CONDITION and screen.trouble == ""
    elsewhere = next(card for card in shop.desk.shop.holders() if card.assembly and card.holder.key != "T001")
    office.clerk.go("tear_down", key=elsewhere.holder.key, only_say=True)
    assert screen.page == Page.CONDITION and screen.title == elsewhere.name
