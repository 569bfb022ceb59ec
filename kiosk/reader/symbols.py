"""What reading a picture gives: symbols with their text and place, and outlines nobody could read.

These values never know which picture or remedy they came from, and they never carry a text that an error
correction has not confirmed.  Corner order follows the symbol as ISO/IEC 18004 draws it: top left, top right,
bottom right, bottom left, whichever way the symbol lies in the picture.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

Point = tuple[float, float]
Corners = tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Symbol:
    """One symbol that was read.

    text: its content.  format: `QRCode`, `DataMatrix`, `Code128` or `Code39`.  corners: four points in pixels
    of the picture that was given.  spent: share of its error correction that the symbol needs, from 0, a whole one,
    to 1, at the end of it; None where that was not looked at or cannot be told.
    """

    text: str
    format: str
    corners: Corners
    spent: float | None = None

    @property
    def centre(self) -> Point:
        return centre(self.corners)


@dataclass(frozen=True, slots=True)
class Outline:
    """A symbol that is there but was not read.  `module_px`: estimated edge of one module, in pixels.

    rough: it lies about there, by a finder pattern of it alone.
    """

    corners: Corners
    module_px: float
    rough: bool = False

    @property
    def centre(self) -> Point:
        return centre(self.corners)


class Part(NamedTuple):
    """A part of a picture, pixels: [top:bottom, left:right]."""

    left: int
    top: int
    right: int
    bottom: int

    def meets(self, other: Part) -> bool:
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom

    def joined(self, other: Part) -> Part:
        """The smallest part that holds both."""
        low = min(self.left, other.left), min(self.top, other.top)
        return Part(*low, max(self.right, other.right), max(self.bottom, other.bottom))


@dataclass(frozen=True, slots=True)
class Reading:
    """All of one picture: what was read, what was seen but not read, and the time spent in milliseconds.

    parts: those that were searched, for the rest is a picture that was searched through before without a find; None
    where all of it was.
    """

    symbols: tuple[Symbol, ...]
    unread: tuple[Outline, ...]
    ms: float
    parts: tuple[Part, ...] | None = None

    @property
    def still(self) -> bool:
        """Whether nothing of it was searched."""
        return self.parts == ()


def spent_in(symbols: Iterable[Symbol]) -> dict[str, float]:
    """Share of its error correction that each label of a picture needs, by text, where it can be told."""
    return {symbol.text: symbol.spent for symbol in symbols if symbol.spent is not None}


def centre(corners: Corners) -> Point:
    """Mean of the corners."""
    return (
        sum(x for x, _ in corners) / len(corners),
        sum(y for _, y in corners) / len(corners),
    )


def inside(point: Point, corners: Corners) -> bool:
    """Whether `point` lies in the convex outline `corners`, either winding."""
    across, down = zip(*corners, strict=True)
    if not (min(across) <= point[0] <= max(across) and min(down) <= point[1] <= max(down)):
        return False
    sides = [
        (bx - ax) * (point[1] - ay) - (by - ay) * (point[0] - ax)
        for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True)
    ]
    return all(side >= 0 for side in sides) or all(side <= 0 for side in sides)


def same_place(one: Corners, other: Corners) -> bool:
    """Whether two outlines are about the same symbol: the centre of one lies in the other."""
    return inside(centre(one), other) or inside(centre(other), one)


def known(corners: Corners, others: Iterable[Symbol | Outline]) -> bool:
    """Whether something in `others` already stands at `corners`."""
    x, y = corners[0]
    size = _stretch(corners)
    for other in others:
        a, b = other.corners[0]
        # of dozens of labels nearly all are further away than both are large
        near = abs(a - x) + abs(b - y) < 2 * (size + _stretch(other.corners))
        if near and same_place(corners, other.corners):
            return True
    return False


def _stretch(corners: Corners) -> float:
    """No two points of the outline are further apart, in x and y together."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners
    return max(ax, bx, cx, dx) - min(ax, bx, cx, dx) + max(ay, by, cy, dy) - min(ay, by, cy, dy)
