"""A short text drawn into a plot, where a label widget would be in the way.

Put at a point by a corner of its box, and kept within the plot's sides.
"""

from __future__ import annotations

from typing import Any

from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Rectangle
from kivy.uix.widget import Widget

from kiosk.screens.theme import look


def texture_of(text: str, size_px: float = 0.0, bold: bool = False) -> Any:
    """The text as a texture; 0: the smallest size there is."""
    label = CoreLabel(text=text, font_name="B612", font_size=size_px or look.least, bold=bold)
    label.refresh()
    return label.texture


def write(
    plot: Widget,
    text: str,
    at: tuple[float, float],
    anchor: tuple[float, float],
    colour: Any,
    size_px: float = 0.0,
    bold: bool = False,
) -> None:
    """Write a text on the canvas that is drawn on, so that `anchor` of its box (0..1 from left and below) is `at`."""
    texture = texture_of(text, size_px, bold)
    x = min(max(at[0] - anchor[0] * texture.width, plot.x), plot.right - texture.width)
    Color(*colour)
    Rectangle(texture=texture, pos=(round(x), round(at[1] - anchor[1] * texture.height)), size=texture.size)
