"""How far pockets lie apart, and which two assemblies clash in which two pockets.

Pocket spacing and overlap are the trade's: r_i + r_j + clearance <= distance of the pocket centres, chains and discs
wrap around, shelves do not.  `clashes` is the one rule about neighbours; everything else asks it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kiosk.rules.assembly import Assembly
from kiosk.rules.fitting.magazine import Magazine, MagazineKind

HAIR_MM = 1e-6  # an exact fit stays a fit after rounding


@dataclass(frozen=True, slots=True)
class Overlap:
    """Neighbouring pockets an assembly reaches into, towards higher and lower numbers (MTConnect)."""

    positive: int
    negative: int


def _ring_mm(magazine: Magazine) -> float:
    """Diameter of the ring of pocket centres; the pitch is a chord, so it fixes the ring where none is given."""
    return magazine.ring_mm or float(magazine.pitch_mm / np.sin(np.pi / magazine.pockets))


@lru_cache(maxsize=64)
def _centres_mm(magazine: Magazine) -> NDArray[np.float64]:
    """(pockets, pockets) distances of pocket centres, mm."""
    index = np.arange(magazine.pockets)
    apart = np.abs(index[:, None] - index[None, :])
    steps = np.minimum(apart, magazine.pockets - apart)
    match magazine.kind:
        case MagazineKind.CHAIN:
            return np.asarray(steps * magazine.pitch_mm, dtype=np.float64)
        case MagazineKind.DISC | MagazineKind.CAROUSEL:
            if magazine.pockets < 3 and magazine.ring_mm is None:
                return np.asarray(steps * magazine.pitch_mm, dtype=np.float64)
            half_angle = np.pi / magazine.pockets
            return np.asarray(_ring_mm(magazine) * np.sin(half_angle * steps), dtype=np.float64)
        case MagazineKind.SHELF:
            row, column = np.divmod(index, magazine.pockets // magazine.rows)
            across = (column[:, None] - column[None, :]) * magazine.pitch_mm
            down = (row[:, None] - row[None, :]) * (magazine.row_pitch_mm or 0.0)
            return np.asarray(np.hypot(across, down), dtype=np.float64)


@lru_cache(maxsize=64)
def beside(magazine: Magazine) -> NDArray[np.bool_]:
    """(pockets, pockets) whether two pockets are next to each other in a row."""
    index = np.arange(magazine.pockets)
    apart = np.abs(index[:, None] - index[None, :])
    if magazine.kind.wraps:
        return np.asarray((apart == 1) | (apart == magazine.pockets - 1) & (apart > 0))
    row = index // (magazine.pockets // magazine.rows)
    return np.asarray((apart == 1) & (row[:, None] == row[None, :]))


def reaches_mm(magazine: Magazine, along_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(points, pockets) distances of points from the pocket centres, mm.

    along_mm: where each point lies on the line through the centres, from the first pocket, one pitch a pocket.
    """
    index = np.arange(magazine.pockets)
    match magazine.kind:
        case MagazineKind.CHAIN:
            apart = np.abs(along_mm[:, None] - index[None, :] * magazine.pitch_mm)
            return np.asarray(np.minimum(apart, np.abs(magazine.pockets * magazine.pitch_mm - apart)))
        case MagazineKind.DISC | MagazineKind.CAROUSEL:
            ring_mm = _centres_mm(magazine).max() if magazine.pockets < 3 else _ring_mm(magazine)
            centres = ring_mm / 2 * np.exp(2j * np.pi * index / magazine.pockets)
            before, share = np.divmod(along_mm / magazine.pitch_mm, 1.0)
            at = before.astype(np.int64) % magazine.pockets
            points = centres[at] * (1 - share) + centres[(at + 1) % magazine.pockets] * share
            return np.asarray(np.abs(points[:, None] - centres[None, :]), dtype=np.float64)
        case MagazineKind.SHELF:
            columns = magazine.pockets // magazine.rows
            row, column = np.divmod(index, columns)
            at_row, at_mm = np.divmod(along_mm, columns * magazine.pitch_mm)
            across = at_mm[:, None] - column[None, :] * magazine.pitch_mm
            down = (at_row[:, None] - row[None, :]) * (magazine.row_pitch_mm or 0.0)
            return np.asarray(np.hypot(across, down), dtype=np.float64)


def distance_mm(magazine: Magazine, one: int, other: int) -> float:
    """Between the centres of two pockets, the shorter way round."""
    return float(_centres_mm(magazine)[one - magazine.first, other - magazine.first])


@lru_cache(maxsize=4096)
def clashes(magazine: Magazine, one_mm: float, other_mm: float) -> NDArray[np.bool_]:
    """(pockets, pockets): True where `one_mm` wide in the row and `other_mm` wide in the column clash.

    The one rule about neighbours; everything else here asks it.
    """
    wide = (one_mm + other_mm) / 2 + magazine.clearance_mm
    clash = ~(_centres_mm(magazine) >= wide - HAIR_MM)  # so that nan clashes
    if magazine.diameter_max_mm is not None and max(one_mm, other_mm) > magazine.diameter_max_mm + HAIR_MM:
        clash = clash | beside(magazine)
    np.fill_diagonal(clash, True)
    clash.setflags(write=False)  # it is kept for the next who asks
    return clash


def travel_mm(magazine: Magazine) -> NDArray[np.float64]:
    """(pockets,) distance of each pocket from the change point, mm."""
    at = magazine.first if magazine.change_at is None else magazine.change_at
    return np.asarray(_centres_mm(magazine)[at - magazine.first], dtype=np.float64)


def overlap(magazine: Magazine, assembly: Assembly) -> Overlap:
    """How many neighbouring pockets an assembly reaches into, were they all filled with the usual width.

    The usual width is what every pocket can take at once: pitch less clearance, or the magazine's limit.
    """
    usual_mm = min(magazine.pitch_mm - magazine.clearance_mm, magazine.diameter_max_mm or float("inf"))
    reach = clashes(magazine, assembly.diameter_mm, max(usual_mm, 0.0))
    if magazine.kind.wraps:
        steps = sum(bool(reach[0, step]) for step in range(1, magazine.pockets // 2 + 1))
        return Overlap(steps, steps)
    steps = sum(bool(reach[0, step]) for step in range(1, magazine.pockets // magazine.rows))
    return Overlap(steps, steps)
