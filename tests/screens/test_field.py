"""A name that is longer than its field: written smaller first, and cut between two letters where that is not enough."""

from __future__ import annotations

import pytest
from kivy.clock import Clock
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.screens.parts.field import Field
from kiosk.screens.parts.text import width_px
from kiosk.screens.theme import look

WIDE_PX = 360


@pytest.fixture
def field() -> Field:
    look.fit(480, 800)
    made = Field(size_hint=(None, None), width=WIDE_PX)
    made.largest = look.type_px(4.5)
    return made


def typed(field: Field, text: str) -> None:
    field.text = text
    for _ in range(6):
        Clock.tick()


def begins(field: Field) -> list[float]:
    """Where each letter begins, px from the first."""
    return [
        field._get_text_width(field.text[:at], field.tab_width, field._label_cached) for at in range(len(field.text))
    ]


def test_a_short_name_is_written_large_and_a_longer_one_smaller_from_its_first_letter(field: Field) -> None:
    typed(field, "Mill 2")
    assert field.font_size == field.largest and field.scroll_x == 0
    typed(field, "Alexandra Featherstone")
    assert look.small <= field.font_size < field.largest and field.scroll_x == 0
    assert width_px(field.text, field.font_size) <= WIDE_PX
    typed(field, "Mill 2")
    assert field.font_size == field.largest


def test_of_a_name_longer_than_any_field_a_whole_letter_stands_first(field: Field) -> None:
    for name in ("Cabinet B, by the window, left of the door", "Shrink fit holder HSK-A63 with Ø12 and L160 long"):
        typed(field, name)
        assert field.font_size == pytest.approx(look.small)
        assert field.scroll_x > 0 and field.scroll_x in begins(field)
        shown = max(begins(field)) - field.scroll_x
        assert shown <= WIDE_PX
