"""The hot-surface sign as plain strokes and areas, so that paper, label printer and icon draw the same one.

It must never be copied from a published picture.  What a warning sign looks like follows ISO 3864-1 (yellow
triangle, black border, black drawing); the three waves over a surface are our own, in the manner of ISO 7010.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

GRID = 96.0  # the sign's own square, top left corner 0, 0
WARNING = "#f9a800"  # RAL 1003 signal yellow, the print colour of ISO 3864-4
BLACK = "#000000"
WHITE = "#ffffff"


class Point(NamedTuple):
    """Right and down, in the drawing's unit."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, round at ends and corners."""

    points: tuple[Point, ...]
    width: float
    colour: str = BLACK


@dataclass(frozen=True, slots=True)
class Area:
    """A filled polygon."""

    points: tuple[Point, ...]
    colour: str = BLACK


Shape = Stroke | Area

_OUTER = (Point(48, 8.6), Point(93, 86.5), Point(3, 86.5))
_INNER = (Point(48, 14.6), Point(87.8, 83.5), Point(8.2, 83.5))


def heat(colour: str, width: float) -> tuple[Stroke, ...]:
    """Three waves rising from a surface."""
    waves = [_wave(x, top, 66.0, 2.6) for x, top in ((36.5, 50.0), (48.0, 41.0), (59.5, 50.0))]
    surface = Stroke((Point(29, 74), Point(67, 74)), width * 1.15, colour)
    return (*(Stroke(wave, width, colour) for wave in waves), surface)


def hot_surface(ground: str = WARNING) -> tuple[Shape, ...]:
    """The whole sign; `ground` white for printers that only know black."""
    rim = Stroke((*_OUTER, _OUTER[0]), 4.0)
    return (rim, Area(_OUTER), Area(_INNER, ground), *heat(BLACK, 4.4))


def placed(shapes: tuple[Shape, ...], left: float, top: float, side: float) -> tuple[Shape, ...]:
    """The shapes moved from their own grid into a square of `side` at `left`, `top`."""
    scale = side / GRID

    def move(points: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple(Point(left + point.x * scale, top + point.y * scale) for point in points)

    return tuple(
        Stroke(move(shape.points), shape.width * scale, shape.colour)
        if isinstance(shape, Stroke)
        else Area(move(shape.points), shape.colour)
        for shape in shapes
    )


def _wave(x: float, top: float, bottom: float, swing: float) -> tuple[Point, ...]:
    """One and a half swings of a sine, from bottom to top."""
    count = 24
    return tuple(
        Point(x + swing * math.sin(1.5 * math.tau * step / count), bottom + (top - bottom) * step / count)
        for step in range(count + 1)
    )
