"""A widget that dies at the very moment a length is told to it ends nothing, and all others are told."""

from __future__ import annotations

from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one
from kivy.lang import Builder
from kivy.properties import ColorProperty
from kivy.uix.widget import Widget

from kiosk.screens import kv as kv
from kiosk.screens.theme import look

ROWS: list[Any] = []
DYING: list[int] = []  # uid of the row that is garbage by the time its length is worked out


class DyingRow(Widget):  # type: ignore[misc]  # Kivy gives no types
    """Takes its lengths and a colour from the theme."""

    color = ColorProperty()

    def meanwhile(self) -> bool:
        """Whoever held this row lets it go while a length is worked out for it."""
        if self.uid in DYING:
            DYING.remove(self.uid)
            ROWS[:] = [each for each in ROWS if each.uid != self.uid]
            return True
        return False


Builder.load_string(
    """
#:import look kiosk.screens.theme.look
#:import collect gc.collect
<DyingRow>:
    width: look.pad + (0 * collect() if self.meanwhile() else 0)
    height: look.type_px(4) + look.mm + (0 * collect() if self.meanwhile() else 0)
    color: look.ground if (0 * collect() if self.meanwhile() else 0) == 0 else look.text
"""
)


@pytest.mark.parametrize("tell", [lambda: look.fit(1024, 600), lambda: look.fit(800, 480), lambda: look.wear("light")])
@pytest.mark.parametrize("at", [0, 2, 5])
def test_a_row_that_goes_while_it_is_told_ends_nothing_and_the_others_are_told(tell: Any, at: int) -> None:
    look.fit(800, 480)
    look.wear("dark")
    ROWS[:] = [DyingRow() for _ in range(6)]
    DYING[:] = [ROWS[at].uid]
    tell()
    assert DYING == [] and len(ROWS) == 5
    expected = (look.pad, look.type_px(4) + look.mm, list(look.ground))
    assert [(row.width, row.height, list(row.color)) for row in ROWS] == [expected] * 5
    look.wear("dark")
    look.fit(800, 480)
    ROWS.clear()
