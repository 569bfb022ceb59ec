"""What is refused is seen to be refused: a sign beside the words, the hot surface where heat is why."""

from __future__ import annotations

from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.desk.session import Locked, StillHot
from kiosk.screens.parts.states import StepHeader
from kiosk.screens.parts.text import Icon, Words
from kiosk.screens.shop.apart import ApartScreen
from kiosk.screens.shop.correct import CorrectScreen
from kiosk.screens.shop.enter import EnterScreen
from kiosk.screens.shop.kiosks import KiosksScreen
from kiosk.screens.shop.things import ThingsScreen
from kiosk.screens.theme import look
from kiosk.settings import Settings


class Clerk:
    """Answers nothing and plays nothing."""

    settings = Settings()
    begin_own = None

    def ask(self, *_: Any) -> None:
        """Nobody answers."""

    def go(self, *_: Any, **__: Any) -> None:
        """Nowhere to go."""

    def play(self, _: object) -> None:
        """Nothing is heard."""


def signs(part: Any) -> list[str]:
    """The names of the icons that are to be seen in it, those on keys left out; red where they mean heat."""
    found = []
    for icon in part.walk(restrict=True):
        if not isinstance(icon, Icon) or not icon.name or not icon.opacity or icon.name not in ("hot", "stop"):
            continue
        if any("Button" in type(above).__name__ for above in _above(icon)):
            continue
        assert icon.color == (look.heat if icon.name == "hot" else look.stop)
        found.append(icon.name)
    return found


def _above(part: Any) -> Any:
    while part is not None and part is not part.parent:
        yield part
        part = part.parent


def said(part: Any) -> list[str]:
    return [words.text for words in part.walk(restrict=True) if isinstance(words, Words) and words.text]


def test_a_headers_trouble_has_a_sign_and_takes_no_part_of_the_window_while_there_is_none() -> None:
    header = StepHeader(title="Correct")
    before = len(list(header.walk(restrict=True)))
    assert signs(header) == [] and "Correct" in said(header)
    header.trouble = "The book is in use"
    assert signs(header) == ["stop"] and "The book is in use" in said(header) and "Correct" not in said(header)
    header.hot = True
    assert signs(header) == ["hot"]
    header.trouble = ""
    assert len(list(header.walk(restrict=True))) == before and "Correct" in said(header)


@pytest.mark.parametrize("kind, page", [(CorrectScreen, "what"), (ThingsScreen, "one"), (EnterScreen, "all")])
def test_what_heat_forbids_is_said_in_the_header_with_the_hot_surface(kind: type, page: str) -> None:
    screen = kind(clerk=Clerk())
    screen.page = page
    headers = [part for part in screen.walk(restrict=True) if isinstance(part, StepHeader)]
    screen._failed(Locked())
    assert ["stop"] in [signs(header) for header in headers]
    screen._failed(StillHot("Ø12"))
    assert ["hot"] in [signs(header) for header in headers]


def test_what_was_settled_or_is_on_its_way_is_no_refusal() -> None:
    from kiosk.screens.parts.choice import Choice

    screen = ApartScreen(clerk=Clerk())
    screen._settled((), Choice("k", "Bench 1"))
    assert screen.settled and signs(screen) == [] and screen.settled in said(screen)
    kiosks = KiosksScreen(clerk=Clerk())
    kiosks.take_name("Bench")
    assert kiosks.joining and not kiosks.trouble
