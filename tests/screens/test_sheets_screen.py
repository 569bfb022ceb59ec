"""Setup sheets written by touch: nothing written is lost to a PIN that ran out or to one touch of Back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.desk import Desk
from kiosk.desk.session import Locked
from kiosk.rules.fitting.setup_sheet import Need
from kiosk.screens.job.sheets import DROP, KEEP, SheetsScreen
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.states import Refusal

NEEDS = (Need(1, "Ball mill 10", 2), Need(2, "Roughing mill 12", 1))


class Clerk(SimpleNamespace):
    """Asks the desk at once, on this thread; `went`: where it was sent last."""

    went: tuple[str, dict[str, Any]] = ("", {})

    def ask(self, question: Any, then: Any = None, failed: Any = None) -> None:
        try:
            answer = question(self.desk)
        except Exception as error:
            failed(error)
        else:
            then(answer)

    def go(self, name: str, **about: Any) -> None:
        self.went = (name, about)

    def play(self, sound: object) -> None:
        """Nothing is heard."""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    desk = Desk.open(tmp_path / "data")
    yield desk
    desk.close()


@pytest.fixture
def screen(desk: Desk) -> SheetsScreen:
    path = desk.setup_sheets.add("Job", NEEDS)
    screen = SheetsScreen(clerk=Clerk(desk=desk))
    screen.shown()
    screen.choose(Choice(str(path), "Job"))
    return screen


def take_off(screen: SheetsScreen) -> None:
    screen.touch(screen.rows[1])
    screen.change_line("out")


def test_a_pin_that_ran_out_is_asked_for_again_and_the_draft_is_kept(
    screen: SheetsScreen, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    take_off(screen)
    monkeypatch.setattr(type(desk.shop.setting_up), "has_pin", property(lambda _: True))
    locked = {"now": False}
    monkeypatch.setattr(type(desk.shop.setting_up), "needs_supervisor", property(lambda _: locked["now"]))
    screen.keep()
    assert screen.page == "reason"
    real = desk.setup_sheets.change

    def change(*_: Any) -> None:
        raise Locked

    monkeypatch.setattr(desk.setup_sheets, "change", change)
    screen.take_reason(screen.options[0])
    assert screen.clerk.went == ("pin", {"goal": "sheets", "act": KEEP})
    monkeypatch.setattr(desk.setup_sheets, "change", real)
    screen.shown(act=KEEP, supervisor="kim")
    screen.take_reason(screen.options[0])
    assert screen.page == "list" and "Job" in screen.told and not screen.trouble
    locked["now"] = True  # long after it was opened
    screen.choose(screen.rows[0])
    screen.keep()
    assert screen.clerk.went[0] == "pin"


def test_back_from_how_many_goes_where_it_came_from_and_to_the_right_options(screen: SheetsScreen) -> None:
    screen.do("add")
    ways = list(screen.options)
    screen.found(("Ball mill 10",))
    screen.take_tool(screen.options[0])
    screen.back()
    assert screen.page == "tools"
    screen.back()
    assert screen.page == "how" and screen.options == ways
    screen.back()
    screen.touch(screen.rows[0])
    keys = list(screen.options)
    screen.change_line("pieces")
    screen.back()
    assert screen.page == "line" and screen.options == keys


def test_one_touch_of_back_throws_nothing_away_and_a_pause_neither(screen: SheetsScreen) -> None:
    take_off(screen)
    screen.back()
    assert [choice.key for choice in screen.options] == [KEEP, DROP]
    screen.shown()
    assert screen.page == "lines" and len(screen.rows) == 1
    screen.back()
    screen.change_line(DROP)
    assert screen.page == "list"
    screen.choose(screen.rows[0])
    assert len(screen.rows) == 2
    screen.back()
    assert screen.page == "list"


def test_a_name_that_is_taken_is_refused_when_it_is_given(screen: SheetsScreen) -> None:
    screen.do("copy")
    for name in ("job", "a/b"):
        screen.named(name)
        assert screen.page == "name" and screen.trouble
    screen.named("Other")
    assert screen.page == "lines" and screen.new and not screen.trouble
    screen.clerk.desk.setup_sheets.add("Other", NEEDS)
    screen.keep()
    assert screen.page == "name" and screen.trouble
    screen.named("Third")
    screen.keep()
    assert screen.page == "list" and len(screen.rows) == 3


def test_somebody_signing_in_clears_what_was_said(screen: SheetsScreen) -> None:
    screen._failed(OSError(28, "No space left on device"))
    assert screen.signs_in and screen.trouble and not screen.told
    screen.trouble = ""  # as the clerk does
    assert [each.text for each in screen.walk(restrict=True) if isinstance(each, Refusal) and each.text] == []
