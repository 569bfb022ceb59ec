"""Which holder stands in which slot, from one photograph of a drawer with the labels of both in it.

Works on the middles of the labels, in pixels of the picture; it never guesses beyond the nearest slot, so a
holder far from every slot label has none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import dist
from statistics import median

Point = tuple[float, float]

REACH = 1.2  # slot pitches between a slot's label and its holder's


def slots_of(holders: Sequence[Point], slots: Mapping[str, Point]) -> tuple[str | None, ...]:
    """The slot each holder stands in, in the order given; each slot takes one holder, the nearest first.

    With one slot label in sight there is no pitch to judge by, and the nearest holder has it.
    """
    found: list[str | None] = [None] * len(holders)
    middles = list(slots.values())
    pitches = [
        min(dist(middle, other) for at, other in enumerate(middles) if at != own)
        for own, middle in enumerate(middles)
        if len(middles) > 1
    ]
    reach = REACH * median(pitches) if pitches else float("inf")
    pairs = sorted(
        (dist(holder, at), number, code) for number, holder in enumerate(holders) for code, at in slots.items()
    )
    taken: set[str] = set()
    for distance, number, code in pairs:
        if distance <= reach and found[number] is None and code not in taken:
            found[number] = code
            taken.add(code)
    return tuple(found)
