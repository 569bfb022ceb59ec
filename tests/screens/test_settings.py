"""The settings' groups hold every setting a screen can change, once, with what it changes."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields
from unittest.mock import Mock

import pytest

from kiosk import words
from kiosk.screens.questions.found import LOOKED_UP
from kiosk.screens.shop.preferences import GROUPS
from kiosk.settings import Settings

LISTED = Counter(key for keys in GROUPS.values() for key in keys)


def test_every_setting_without_a_keyboard_stands_in_one_group() -> None:
    settable = [
        f"{group.name}.{one.name}"
        for group in fields(Settings)
        for one in fields(getattr(Settings(), group.name))
        if not isinstance(one.default, str) or "options" in one.metadata or f"{group.name}.{one.name}" in LOOKED_UP
    ]
    assert Counter(settable) == LISTED


def test_no_group_needs_a_third_page_at_two_rows_a_finger() -> None:
    assert max(len(keys) for keys in GROUPS.values()) <= 8


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_setting_says_what_it_changes(language: str) -> None:
    known = words.catalogue(language).words
    assert [key for key in LISTED if f"settings.changes.{key}" not in known] == []


@pytest.mark.parametrize(
    ("key", "used"), [("kiosk.theme", "dark"), ("kiosk.muted", "false"), ("backup.second_folder", "")]
)
def test_of_the_choices_the_one_in_use_is_marked_by_sign_and_word(key: str, used: str) -> None:
    pytest.importorskip("kivy.core.window")
    from kiosk.screens.parts.choice import Choice
    from kiosk.screens.shop.preferences import PreferencesScreen

    screen = PreferencesScreen()
    screen._press.run = lambda *_: None  # type: ignore[method-assign]  # what is plugged in here is no matter
    screen.clerk = Mock()
    screen.choose(Choice(key, key))
    if key in LOOKED_UP:
        screen.looked(key, ("/media/STICK/holder-kiosk",))
    assert len(screen.options) > 1
    assert [(pick.key, pick.note) for pick in screen.options if pick.used] == [(used, words.t("settings.in_use"))]
    assert {pick.note for pick in screen.options if not pick.used} == {""}


@pytest.mark.parametrize(("key", "said"), [("heat.ambient_c", "5 to 40 °C"), ("build.friction", "0.05 to 0.25")])
def test_the_bounds_of_a_figure_are_said_with_its_unit(key: str, said: str) -> None:
    pytest.importorskip("kivy.core.window")
    from kiosk.screens.parts.choice import Choice
    from kiosk.screens.shop.preferences import PreferencesScreen

    screen = PreferencesScreen()
    screen.choose(Choice(key, key))
    assert [pick.note for pick in screen.options] == [said]
