"""A column that is too short for its texts says the more important ones whole."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture
def texts() -> Any:
    pytest.importorskip("kivy")
    from kiosk.screens import theme
    from kiosk.screens.parts.text import Column, Words

    theme.fonts()
    column = Column(size=(400, 100))
    words = [Words(text="Back to the sleeve", yields=rank) for rank in (0, 1, 2)]
    for each in words:
        column.add_widget(each)
    return column, words


def shown(texts: Any, height: float) -> list[bool]:
    column, words = texts
    column.height = height
    column.do_layout()
    return [each.height > 0 and each.opacity > 0 for each in words]


def test_a_short_column_leaves_out_what_yields_first_and_brings_it_back_when_there_is_room(texts: Any) -> None:
    from kiosk.screens.theme import look

    line = look.small * 1.3
    assert shown(texts, line * 4) == [True, True, True]
    assert shown(texts, line * 2) == [True, True, False]
    assert shown(texts, line * 1.2) == [True, False, False]
    assert shown(texts, line * 0.5) == [True, False, False]
    assert shown(texts, line * 4) == [True, True, True]
