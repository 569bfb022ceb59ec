"""Which modules of a QR symbol are fixed by the standard, so that a located symbol can be measured against them.

Nothing here depends on what a symbol says.  All of it follows ISO/IEC 18004: finder, separator, timing and
alignment patterns for versions 1 to 40.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

UNKNOWN = -1
SMALLEST, LARGEST = 21, 177  # modules along an edge, versions 1 and 40


@dataclass(frozen=True, slots=True)
class Layout:
    """Fixed part of one version.

    size: modules along an edge.  bits: (size, size), 1 black, 0 white, -1 not fixed.  alignments: (n, 2) centres
    of the alignment patterns as column, row in modules from the outer edge, so the first module's centre is 0.5.
    """

    size: int
    bits: NDArray[np.int8]
    alignments: NDArray[np.float64]

    @property
    def fixed(self) -> NDArray[np.bool_]:
        return np.asarray(self.bits != UNKNOWN, np.bool_)


def version_of(size: int) -> int:
    return (size - 17) // 4


def sizes_near(modules: float, share: float) -> list[int]:
    """Sizes that an estimate of `modules` may mean when it is off by up to `share`, the nearest first."""
    spread = max(4.5, share * modules)
    sizes = [size for size in range(SMALLEST, LARGEST + 1, 4) if abs(size - modules) <= spread]
    return sorted(sizes, key=lambda size: abs(size - modules))


@cache
def layout(size: int) -> Layout:
    """The fixed modules of the symbol `size` modules wide; size is 21, 25, ... 177."""
    version = version_of(size)
    bits = np.full((size, size), UNKNOWN, np.int8)
    bits[6, :] = bits[:, 6] = (np.arange(size) + 1) % 2
    ring = _square(7)
    for row, column in ((0, 0), (0, size - 7), (size - 7, 0)):
        top, left = max(row - 1, 0), max(column - 1, 0)
        bits[top : row + 8, left : column + 8] = 0
        bits[row : row + 7, column : column + 7] = ring
    places = _alignment_places(version)
    centres = []
    for row in places:
        for column in places:
            if (row, column) in {(6, 6), (6, size - 7), (size - 7, 6)}:
                continue
            bits[row - 2 : row + 3, column - 2 : column + 3] = _square(5)
            centres.append((column + 0.5, row + 0.5))
    bits[size - 8, 8] = 1
    return Layout(size, bits, np.array(centres, np.float64).reshape(-1, 2))


def _square(edge: int) -> NDArray[np.int8]:
    """Black ring, white ring and black core of a finder (7) or alignment pattern (5)."""
    away = np.abs(np.arange(edge) - edge // 2)
    distance = np.maximum(away[:, None], away[None, :])
    return np.asarray((edge // 2 - distance) != 1, np.int8)


def _alignment_places(version: int) -> list[int]:
    """Rows and columns of alignment pattern centres, ISO/IEC 18004 annex E."""
    if version == 1:
        return []
    count = version // 7 + 2
    last = version * 4 + 10
    if version == 32:  # the one version whose spacing the rule below misses
        step = 26
    else:
        step = (version * 4 + count * 2 + 1) // (count * 2 - 2) * 2
    return [6, *sorted(last - step * k for k in range(count - 1))]
