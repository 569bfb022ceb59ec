"""The first steps of a new kiosk count only what they ask, forwards and on the way back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.desk import Desk
from kiosk.screens.parts.states import StepHeader
from kiosk.screens.shop.first import FirstScreen


class Clerk(SimpleNamespace):
    """Asks the desk at once, on this thread."""

    eye = begin_own = look_around = None

    def ask(self, question: Any, then: Any = None, failed: object = None) -> None:
        answer = question(self.desk)
        if then is not None:
            then(answer)

    def play(self, sound: object) -> None:
        """Nothing is heard."""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    desk = Desk.open(tmp_path / "data")
    yield desk
    desk.close()


def opened(desk: Desk) -> FirstScreen:
    screen = FirstScreen(clerk=Clerk(desk=desk))
    screen.shown()
    return screen


def count(screen: FirstScreen) -> tuple[int, int]:
    """What the page in sight says: its number, and how many there are."""
    headers = [each for each in screen.walk() if isinstance(each, StepHeader)]
    (said,) = {(int(each.step), int(each.steps)) for each in headers}
    return said


@pytest.mark.parametrize("there", [(), ("cabinet", "machine")])
def test_where_no_place_is_there_yet_the_pages_are_counted_without_asking_where_the_kiosk_stands(
    desk: Desk, there: tuple[str, ...]
) -> None:
    screen = opened(desk)
    counted = [(screen.page, *count(screen))]
    screen.skip()
    for kind in there:
        screen.stands(kind)
    counted.append((screen.page, *count(screen)))
    for _ in range(2):
        screen.skip()
        counted.append((screen.page, *count(screen)))
    assert counted == [("language", 1, 5), ("stands", 2, 5), ("panel", 3, 5), ("camera", 4, 5)]
    assert (opened(desk).page, *count(opened(desk))) == ("camera", 4, 5)
    for page, at in (("panel", 3), ("stands", 2), ("language", 1)):
        screen.back()
        assert (screen.page, *count(screen)) == (page, at, 5)


def test_where_a_station_stands_it_is_asked_for_and_counted_whoever_comes_back(desk: Desk) -> None:
    screen = opened(desk)
    screen.skip()
    screen.stands("bench")
    assert count(screen) == (2, 6)
    for page, at in (("at", 3), ("panel", 4), ("camera", 5)):
        screen.skip()
        assert (screen.page, *count(screen)) == (page, at, 6)
    again = opened(desk)
    assert (again.page, *count(again)) == ("camera", 5, 6)
    for page, at in (("panel", 4), ("at", 3), ("stands", 2)):
        again.back()
        assert (again.page, *count(again)) == (page, at, 6)
