"""How joining went is read by whoever touched it, whatever filled the window when the answer came."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.link.faults import Cause, LinkFault
from kiosk.screens.clerk import fault_words
from kiosk.screens.hot.heat import HeatScreen
from kiosk.screens.questions.kiosks import How, KioskRow, Kiosks
from kiosk.screens.shop.kiosks import KiosksScreen, Page
from tests.conftest import Shop
from tests.screens.test_clerk import Office

REASON = LinkFault(Cause.LOCKED_OUT)
Answer = Callable[[], None]


class Joining:
    """The screen on which joining was touched, and a heat alarm that came before its answer."""

    def __init__(self, shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
        shop.clock.forward(40 * 86400.0)
        office = Office(shop)
        self.clerk, self.scan = office.clerk, office.pages["scan"]
        self._shop = shop
        self._answers: list[Callable[..., Any]] = []
        monkeypatch.setattr(self.clerk, "reopen", lambda _, *then: self._answers.extend(then))
        self.screen, self.heat = KiosksScreen(), HeatScreen()
        for each in (self.screen, self.heat):
            self.clerk.take(each)
        self.clerk.go("kiosks")
        self.screen.take_code("0BCDEFGHJK@localhost/shop")
        self.screen.take_name("Cabinet")
        (self._joined, self._failed) = self._answers
        self.hot = shop.holder("T001")
        for text in (self.hot, shop.place("Shrink station"), self.hot, shop.place("Mill 1 · pocket 01")):
            scanned = shop.desk.scan(text)
        self.clerk.go("heat", scanned=scanned)
        assert self.clerk.view is self.heat and self.heat.holds

    def fails(self) -> None:
        self._failed(REASON)

    def ends(self) -> None:
        self._joined()

    def scans_in_vain(self) -> None:
        self.clerk.scanned(self._shop.holder("T002"))

    @property
    def said(self) -> str:
        return self.screen.trouble if self.clerk.view is self.screen else ""


@pytest.fixture
def joining(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> Joining:
    return Joining(shop, monkeypatch)


@pytest.mark.parametrize("scans", [False, True])
def test_why_joining_failed_is_read_once_the_alarm_before_it_was_understood(joining: Joining, scans: bool) -> None:
    if scans:
        joining.scans_in_vain()
    joining.fails()
    assert joining.clerk.view is joining.heat, "nothing comes over an alarm"
    joining.heat.understood()
    assert joining.said == fault_words(REASON) and joining.screen.page == Page.ALONE


def test_why_joining_failed_is_read_where_another_screen_was_asked_for_meanwhile(joining: Joining) -> None:
    joining.heat.understood()
    joining.clerk.go("hot")
    joining.fails()
    joining.clerk.go("kiosks")
    assert joining.said == fault_words(REASON), "the first time that the screen is opened again"
    joining.clerk.go("scan")
    joining.clerk.go("kiosks")
    assert joining.said == "", "and once"


@pytest.mark.parametrize("scans", [False, True])
def test_that_it_joined_is_read_once_the_alarm_before_it_was_understood(joining: Joining, scans: bool) -> None:
    if scans:
        joining.scans_in_vain()
    joining.ends()
    joining.heat.understood()
    assert joining.clerk.view is joining.screen and joining.screen.page == Page.ANSWER and joining.screen.done
    joining.screen.back()
    assert joining.clerk.view is not None and joining.clerk.view.name == "scan"
    assert bool(joining.scan.about[-1].get("missed")) is scans, "and then what was scanned in vain"


def test_in_the_list_each_kiosk_has_a_sign_and_one_that_is_heard_another_than_one_that_is_not() -> None:
    screen = KiosksScreen()
    rows = tuple(KioskRow(how, how.value, how is How.HEARD, how, 1.79e9, 0, "", 0.0) for how in How)
    screen._told(Kiosks(True, rows, None, "Cabinet"))
    signs = {row.key: row.icon for row in screen.kiosks}
    assert all(signs.values()) and set(signs) == set(How)
    assert [how for how, sign in signs.items() if sign == signs[How.HEARD]] == [How.HEARD]
    assert [row.key for row in screen.kiosks if "this kiosk" in row.note] == [How.HEARD], "and which one stands here"
