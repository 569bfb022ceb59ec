"""What stands beside an entry says what it is about: today's value, that a PIN is repeated, how to try again."""

from __future__ import annotations

from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.rules.say import Say
from kiosk.rules.wellbeing import Finding, Mark, Part
from kiosk.screens.questions.shop import Door, Supervisor
from kiosk.screens.shop.correct import NUMBER, CorrectScreen
from kiosk.screens.shop.health import HealthScreen
from kiosk.screens.shop.pin import PinScreen
from kiosk.words import t
from tests.conftest import Shop
from tests.screens.test_clerk import Office


@pytest.fixture
def office(shop: Shop) -> Office:
    return Office(shop)


def put(office: Office, view: Any, **about: Any) -> None:
    office.clerk.take(view)
    office.clerk.go(view.name, **about)


def test_a_figure_is_corrected_beside_what_it_is_today(office: Office) -> None:
    screen = CorrectScreen()
    put(office, screen, key="T001", what="projection_mm")
    today = next(row.note for row in screen.wrong if row.key == "projection_mm")
    assert any(figure in today for figure in "123456789")
    assert screen.ids.entry.note == t("correct.now", value=today)
    put(office, screen, key="T001", what=NUMBER)
    assert screen.ids.entry.note == t("correct.now", value=next(row.note for row in screen.wrong if row.key == NUMBER))


def test_the_page_on_which_a_pin_is_repeated_says_so(office: Office) -> None:
    screen = PinScreen()
    office.clerk.take(screen)
    screen._chooser = "kim"
    screen._door_known(Door((Supervisor("kim", "Kim Vale", False), Supervisor("alex", "Alex Reed", True)), "alex"))
    assert screen.title == t("pin.new", name="Kim Vale")
    for pin, title in (("4711", "pin.repeat"), ("4712", "pin.new"), ("4711", "pin.repeat")):
        for figure in pin:
            screen.ids.pad.press(figure)
        screen.take()
        assert screen.title == t(title, name="Kim Vale")
        assert screen.trouble == (t("pin.differ") if pin == "4712" else "")


@pytest.mark.parametrize(("why", "offer"), [("the stick is full", "health.copy_now"), ("", "")])
def test_a_copy_that_was_not_made_can_be_tried_again_where_it_is_said(office: Office, why: str, offer: str) -> None:
    screen = HealthScreen()
    office.clerk.take(screen)
    screen.show((Finding(Part.COPIES, Mark.BAD, Say("health.copies.none")),))
    screen.choose(screen.rows[0])
    screen._copying, screen.offer = True, ""
    screen.copied((12, why))
    assert screen.offer == (t(offer) if offer else "")
