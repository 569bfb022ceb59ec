"""To whom the window speaks once whoever it spoke to is gone: signed out by time, by a scan, or under an alarm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from kiosk import words
from kiosk.rules.lines import OperatorAdded
from kiosk.screens.pulse import pulse
from kiosk.screens.tongue import Tongue
from tests.conftest import Shop
from tests.screens.test_clerk import Office, Page

MONTHS_S = 70 * 86_400.0
SIGN_OUT_S = 60.0  # sooner than the pause after which the window goes back to Scan
RAILS = {"scan": "scan", "hot": "hot", "find": "find", "holder": "find", "build": "shop", "heat": "scan"}


class Room:
    """A window in Sam's German: the shop speaks English."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        shop.clock.forward(MONTHS_S)
        session = shop.desk.session
        session.write(OperatorAdded("sam", "Sam", "operator", language="de"))
        kiosk = replace(session.settings.kiosk, sign_out_s=SIGN_OUT_S)
        session.take_settings(replace(session.settings, kiosk=kiosk))
        self.office = Office(shop)
        self.clerk = self.office.clerk
        self.clerk.offer(RAILS, lambda name: Page(name, RAILS[name]))
        self.clerk.start_over()
        self.clerk.go("scan")
        self.tongue = Tongue(self.clerk, lambda: None)
        self.clerk.bind(operator=lambda *_: self.tongue.came_or_went())
        self.clerk.speaks = self.tongue.before
        session.operator = session.cards.operator("sam")
        session.last_scan_s = session.now().watched_s
        self.beat()
        assert words.language() == "de"

    def beat(self) -> None:
        self.clerk.beat(pulse(self.shop.desk))
        self.tongue.came_or_went()

    def wait(self, seconds: float) -> None:
        """Somebody touches the panel now and then: nobody is thrown off a screen, but nothing is scanned."""
        for _ in range(int(seconds // 10)):
            self.clerk.busied()
            self.shop.clock.forward(10.0)
            self.beat()


@pytest.fixture
def room(shop: Shop) -> Iterator[Room]:
    words.speak("en")
    yield Room(shop)
    words.speak("en")


@pytest.mark.parametrize("screen", ["scan", "hot", "find", "holder"])
def test_whoever_is_signed_out_by_time_is_spoken_to_no_more_on_any_screen(room: Room, screen: str) -> None:
    room.clerk.go(screen)
    room.wait(SIGN_OUT_S - 10.0)
    assert words.language() == "de"
    room.wait(30.0)
    assert room.clerk.operator is None and words.language() == "en"
    assert room.clerk.view is not None and room.clerk.view.name == ("scan" if screen == "holder" else screen)


@pytest.mark.parametrize("why", ["signs_in", "stays", "half_typed", "tells_first"])
def test_work_in_the_middle_keeps_its_language_and_once_it_has_ended_the_shops_is_spoken(
    room: Room, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    room.clerk.go("build")
    monkeypatch.setattr(Page, why, True)
    room.wait(SIGN_OUT_S + 30.0)
    assert room.clerk.operator is None and words.language() == "de"
    assert room.clerk.view is not None and room.clerk.view.name == "build"
    monkeypatch.undo()
    room.beat()
    assert words.language() == "en" and room.clerk.view.name == "scan"


def test_an_alarm_stays_as_it_is_and_after_it_the_shops_language_is_spoken(room: Room) -> None:
    room.clerk.go("heat")
    alarm = room.clerk.view
    assert alarm is not None
    alarm.holds = True
    room.wait(SIGN_OUT_S + 30.0)
    assert room.clerk.view is alarm and words.language() == "de"
    room.clerk.let_go(alarm)
    room.beat()
    assert words.language() == "en"


def test_who_came_while_a_card_was_read_reads_it_in_their_language_from_the_next_screen_on(room: Room) -> None:
    room.wait(SIGN_OUT_S + 30.0)
    room.clerk.go("holder")
    session = room.shop.desk.session
    session.operator, session.last_scan_s = session.cards.operator("sam"), session.now().watched_s
    room.beat()
    assert words.language() == "en" and room.clerk.view is not None and room.clerk.view.name == "holder"
    room.clerk.go("find")
    room.beat()
    assert words.language() == "de" and room.clerk.view.name == "find"
