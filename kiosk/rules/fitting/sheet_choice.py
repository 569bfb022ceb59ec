"""Which way each line of a setup sheet is met: all lines, all stock and all that can be built chosen at once.

The answer depends on what is asked and what there is, never on the order of either: whoever calls sorts both, and
the aims below leave nothing to who comes first.  One integer programme is solved by HiGHS through SciPy for each aim,
in turn, and no aim gives up what the ones before it reached.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

SEARCH_S = 3.0  # most that each aim may take; what was found by then is used


@dataclass(frozen=True, slots=True)
class Way:
    """One way to meet one piece of one line.

    line, uses: indices of the line and of everything it takes one of.  met: whether the piece is had then, or only
    part of it.  trouble: 0 for the easiest.  wait_s: until it may be touched, inf: nobody knows.  warnings: what
    speaks against it without forbidding it.  rank: among equals the lowest.
    """

    line: int
    uses: tuple[int, ...]
    met: bool
    trouble: int
    wait_s: float = 0.0
    warnings: int = 0
    rank: int = 0


def choose(ways: Sequence[Way], wanted: Sequence[int], stock: Sequence[int], without: int) -> list[int]:
    """How many pieces go each way.

    wanted: pieces of each line.  stock: how many there are of each thing a way may use.  without: trouble of a piece
    that goes no way at all.  Most lines met whole, then most pieces met, then the least trouble in sum, then the
    fewest unknown and the shortest waits, then the fewest warnings, then the lowest ranks.
    """
    if not ways:
        return []
    from scipy.optimize import Bounds, milp  # only where it is asked: it takes long to load

    size = len(ways) + len(wanted)  # a column for each way, and one for each line: met whole

    def columns(values: Sequence[float], lines: float = 0.0) -> NDArray[np.float64]:
        return np.array([*values, *([lines] * len(wanted))], dtype=np.float64)

    pieces = sum(wanted)
    known_s = 1.0 + max((way.wait_s for way in ways if way.wait_s < inf), default=0.0) * pieces
    ranks = 1.0 + max(way.rank for way in ways) * pieces
    aims = [
        columns([0.0] * len(ways), -1.0),
        columns([way.trouble - without - (without * pieces + 1.0) * way.met for way in ways]),
        columns([known_s if way.wait_s == inf else way.wait_s for way in ways]),
        columns([ranks * way.warnings + way.rank for way in ways]),
    ]
    rows = _Rows(size)
    of_lines: list[list[int]] = [[] for _ in wanted]
    for column, way in enumerate(ways):
        of_lines[way.line].append(column)
    for line, (count, of_line) in enumerate(zip(wanted, of_lines, strict=True)):
        rows.most(of_line, count)
        met = [column for column in of_line if ways[column].met]
        rows.add([*met, len(ways) + line], [-1.0] * len(met) + [float(max(count, 1))], 0.0)
    users: dict[int, list[int]] = {}
    for column, way in enumerate(ways):
        for thing in way.uses:
            users.setdefault(thing, []).append(column)
    for thing, columns_of in users.items():
        rows.most(columns_of, stock[thing])
    most = np.array([*(float(wanted[way.line]) for way in ways), *([1.0] * len(wanted))])
    chosen = np.zeros(size)
    for aim in aims:
        if not aim.any():
            continue
        found = milp(
            aim,
            integrality=np.ones(size),
            bounds=Bounds(0.0, most),
            constraints=rows.constraint(),
            options={"time_limit": SEARCH_S, "mip_rel_gap": 0.0},
        )
        if found.x is None:
            break
        chosen = np.round(found.x)
        reached = float(aim @ chosen)
        rows.add(list(range(size)), aim.tolist(), reached + 1e-9 * max(1.0, abs(reached)))
    return [int(count) for count in chosen[: len(ways)]]


class _Rows:
    """Sums of columns and what they may come to at most."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._at: list[int] = []
        self._columns: list[int] = []
        self._weights: list[float] = []
        self._most: list[float] = []

    def add(self, columns: Sequence[int], weights: Sequence[float], most: float) -> None:
        self._at += [len(self._most)] * len(columns)
        self._columns += columns
        self._weights += weights
        self._most.append(most)

    def most(self, columns: Sequence[int], most: float) -> None:
        self.add(columns, [1.0] * len(columns), most)

    def constraint(self) -> Any:
        from scipy.optimize import LinearConstraint
        from scipy.sparse import coo_array

        shape = (len(self._most), self._size)
        matrix = coo_array((self._weights, (self._at, self._columns)), shape=shape).tocsr()
        return LinearConstraint(matrix, -np.inf, self._most)
