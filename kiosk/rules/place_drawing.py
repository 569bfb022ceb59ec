"""A place as a picture: cabinet front with the drawer marked, drawer with the slot, magazine with the pocket.

Says what lies beside what, from the numbers the shop gave its places, and where each is drawn in a box of any size.
It must never mark two things, and draws nothing of a place that stands alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from kiosk.rules.fitting.magazine import Magazine

_SQUARE = 1.15  # how much wider than high a slot is liked to be


class Cell(NamedTuple):
    """A box of the picture, its lower left corner counted from the picture's."""

    x: float
    y: float
    wide: float
    tall: float


@dataclass(frozen=True, slots=True)
class Level:
    """Places side by side in one thing.  names: as they are walked; marked: which of them is meant.

    stacked: one above the other, as drawers are; else in rows, as slots are.
    """

    names: tuple[str, ...]
    marked: int
    stacked: bool

    def __post_init__(self) -> None:
        if not 0 <= self.marked < len(self.names):
            raise ValueError(f"{self.marked} is none of {len(self.names)} places")


@dataclass(frozen=True, slots=True)
class PlaceDrawing:
    """From outside in.  magazine: of the machine it stands in, with its `pocket`."""

    levels: tuple[Level, ...] = ()
    magazine: Magazine | None = None
    pocket: int | None = None

    def __bool__(self) -> bool:
        return bool(self.levels) or self.magazine is not None


def cells(level: Level, wide: float, tall: float) -> tuple[Cell, ...]:
    """Where each place of a level is drawn, first on top and on the left."""
    count = len(level.names)
    columns = 1 if level.stacked else _columns(count, wide, tall)
    rows = -(-count // columns)
    across, up = wide / columns, tall / rows
    return tuple(Cell(at % columns * across, tall - (at // columns + 1) * up, across, up) for at in range(count))


def _columns(count: int, wide: float, tall: float) -> int:
    """So many that slots are as near to square as can be, and no row is empty."""

    def off(columns: int) -> float:
        rows = -(-count // columns)
        shape = (wide / columns) / (tall / rows)
        return max(shape / _SQUARE, _SQUARE / shape)

    return min(range(1, count + 1), key=off)
