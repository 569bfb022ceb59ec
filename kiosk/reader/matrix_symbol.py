"""What a Data Matrix symbol (ISO/IEC 16022, ECC 200) is made of: its sizes, fixed modules and where each bit stands.

Pure tables; knows no picture.  The squares to 52 modules and the six rectangles of that standard are here, the longer
rectangles of ISO/IEC 21471 are left to zxing-cpp.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Size:
    """A symbol's size in modules without quiet zone.

    down, across: regions, each with a border of its own.  data, checks: codewords in all; blocks: how many share them.
    """

    rows: int
    columns: int
    down: int
    across: int
    data: int
    checks: int
    blocks: int = 1


SIZES = (
    Size(10, 10, 1, 1, 3, 5), Size(12, 12, 1, 1, 5, 7), Size(14, 14, 1, 1, 8, 10), Size(16, 16, 1, 1, 12, 12),
    Size(18, 18, 1, 1, 18, 14), Size(20, 20, 1, 1, 22, 18), Size(22, 22, 1, 1, 30, 20), Size(24, 24, 1, 1, 36, 24),
    Size(26, 26, 1, 1, 44, 28), Size(32, 32, 2, 2, 62, 36), Size(36, 36, 2, 2, 86, 42), Size(40, 40, 2, 2, 114, 48),
    Size(44, 44, 2, 2, 144, 56), Size(48, 48, 2, 2, 174, 68), Size(52, 52, 2, 2, 204, 84, 2),
    Size(8, 18, 1, 1, 5, 7), Size(8, 32, 1, 2, 10, 11), Size(12, 26, 1, 1, 16, 14), Size(12, 36, 1, 2, 22, 18),
    Size(16, 36, 1, 2, 32, 24), Size(16, 48, 1, 2, 49, 28),
)  # fmt: skip


@cache
def fixed(size: Size) -> NDArray[np.int8]:
    """(rows, columns): 1 marked, 0 not, -1 a module that carries data.

    Every region is solid at its left and its foot and beats along its top and its right.
    """
    high, wide = size.rows // size.down, size.columns // size.across
    region = np.full((high, wide), -1, np.int8)
    region[0] = 1 - np.arange(wide) % 2
    region[:, -1] = np.arange(high) % 2
    region[:, 0] = 1
    region[-1] = 1
    return np.tile(region, (size.down, size.across))


@cache
def data_places(size: Size) -> NDArray[np.intp]:
    """(codewords, 8, 2): row and column in the symbol of every bit, the most significant first."""
    high, wide = size.rows - 2 * size.down, size.columns - 2 * size.across
    tall, broad = size.rows // size.down - 2, size.columns // size.across - 2
    inner = _walked(high, wide)
    places = np.zeros((size.data + size.checks, 8, 2), np.intp)
    for number, bits in enumerate(inner[: len(places)]):
        for bit, (row, column) in enumerate(bits):
            places[number, bit] = row + 2 * (row // tall) + 1, column + 2 * (column // broad) + 1
    return places


def _walked(high: int, wide: int) -> list[list[tuple[int, int]]]:
    """Row and column of the bits of every codeword in the walk of ISO/IEC 16022, annex F."""
    taken = np.zeros((high, wide), bool)
    words: list[list[tuple[int, int]]] = []

    def place(row: int, column: int) -> tuple[int, int]:
        if row < 0:
            row, column = row + high, column + 4 - (high + 4) % 8
        if column < 0:
            column, row = column + wide, row + 4 - (wide + 4) % 8
        row %= high
        taken[row, column] = True
        return row, column

    def corner(*bits: tuple[int, int]) -> None:
        words.append([place(row % high, column % wide) for row, column in bits])

    row, column = 4, 0
    while row < high or column < wide:
        if row == high and column == 0:
            corner((-1, 0), (-1, 1), (-1, 2), (0, -2), (0, -1), (1, -1), (2, -1), (3, -1))
        if row == high - 2 and column == 0 and wide % 4:
            corner((-3, 0), (-2, 0), (-1, 0), (0, -4), (0, -3), (0, -2), (0, -1), (1, -1))
        if row == high - 2 and column == 0 and wide % 8 == 4:
            corner((-3, 0), (-2, 0), (-1, 0), (0, -2), (0, -1), (1, -1), (2, -1), (3, -1))
        if row == high + 4 and column == 2 and wide % 8 == 0:
            corner((-1, 0), (-1, -1), (0, -3), (0, -2), (0, -1), (1, -3), (1, -2), (1, -1))
        for step, inside in ((-2, _going_up), (2, _going_down)):
            while True:
                if 0 <= row < high and 0 <= column < wide and not taken[row, column]:
                    words.append([place(row + down, column + right) for down, right in _LEG])
                row, column = row + step, column - step
                if not inside(row, column, high, wide):
                    break
            row, column = (row + 1, column + 3) if step < 0 else (row + 3, column + 1)
    return words


def _going_up(row: int, column: int, high: int, wide: int) -> bool:
    return row >= 0 and column < wide


def _going_down(row: int, column: int, high: int, wide: int) -> bool:
    return row < high and column >= 0


_LEG = ((-2, -2), (-2, -1), (-1, -2), (-1, -1), (-1, 0), (0, -2), (0, -1), (0, 0))
