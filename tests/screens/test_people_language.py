"""Which language a person is spoken to in is seen where another is chosen."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.rules.cards import OperatorCard
from kiosk.screens.shop.people import PeopleScreen
from kiosk.settings import Settings


@pytest.mark.parametrize("language", ["", "de"])
def test_the_language_that_is_spoken_to_somebody_has_a_sign_among_those_that_can_be(language: str) -> None:
    screen = PeopleScreen(clerk=SimpleNamespace(settings=Settings()))
    screen._cards = {"kim": OperatorCard("kim", "Kim", "setter", language=language)}
    screen._key = "kim"
    screen._which_language()
    assert [choice.key for choice in screen.options if choice.note.startswith("✓")] == [language]
