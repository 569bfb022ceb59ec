"""A short text drawn into a plot, where a label widget would be in the way.

Put at a point by a corner of its box, and kept within the plot's sides.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import dist
from typing import Any

from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Rectangle
from kivy.uix.widget import Widget

from kiosk.screens.theme import look

Xy = tuple[float, float]
LINE = 1.3  # height of a line of words, font sizes
_EMS_WIDE = 20  # font sizes that a drawing is at least wide


def letters_px(drawing: Widget, lines: float) -> float:
    """Font size, px, of the words in a drawing that is so many lines of them high.

    They grow with the drawing, from the smallest there is to the size of the text beside it.
    """
    return max(look.least, min(look.body, drawing.height / lines / LINE, drawing.width / _EMS_WIDE))


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


def dashed(lines: Iterable[tuple[Xy, Xy]], dash_px: float) -> list[tuple[Xy, Xy]]:
    """Lines cut into dashes of about that length, each followed by a gap."""
    found: list[tuple[Xy, Xy]] = []
    for (ax, ay), (bx, by) in lines:
        count = max(1, round(dist((ax, ay), (bx, by)) / dash_px / 1.8))
        for at in range(count):
            one, two = at / count, min((at + 0.6) / count, 1.0)
            found.append(((ax + (bx - ax) * one, ay + (by - ay) * one), (ax + (bx - ax) * two, ay + (by - ay) * two)))
    return found
