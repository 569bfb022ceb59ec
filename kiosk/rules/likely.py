"""Where a missing holder probably stands: the shop's own past mistakes say how people misplace things.

Each mistake is a pair of where the book had a holder and where it turned up; what counts is how the two places
lie to each other (next slot, same slot of another drawer, where it came from).  It only ranks places to look at.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from kiosk.rules.places import Kind, Place


class Relation(Enum):
    """How the place where it turned up lies to where it was booked.  Each has words `term.likely.<value>`."""

    CAME_FROM = "came_from"  # put down in the book, never carried there
    NEXT_SLOT = "next_slot"
    OTHER_DRAWER = "other_drawer"  # same slot, another drawer
    SAME_DRAWER = "same_drawer"
    SAME_CABINET = "same_cabinet"
    MACHINE = "machine"
    STATION = "station"  # a bench, the presetter, a cooling place
    ELSEWHERE = "elsewhere"


# What a new shop starts from, worth this many mistakes of its own: a slip of the hand is likelier than a walk.
PRIOR: Mapping[Relation, float] = {
    Relation.CAME_FROM: 4.0,
    Relation.NEXT_SLOT: 3.0,
    Relation.OTHER_DRAWER: 1.0,
    Relation.SAME_DRAWER: 1.5,
    Relation.SAME_CABINET: 1.0,
    Relation.MACHINE: 0.75,
    Relation.STATION: 1.5,
    Relation.ELSEWHERE: 0.25,
}
AGAIN = 1.0  # what the very same pair of places adds each time it was mixed up before


@dataclass(frozen=True, slots=True)
class Mistake:
    """A holder that was not where the book had it.  Place codes; `came_from`: where it had stood before."""

    booked: str
    found: str
    came_from: str | None = None


@dataclass(frozen=True, slots=True)
class Likely:
    """A place to look.  `share` of 1 over all places."""

    place: str
    share: float
    relation: Relation
    times: int  # how often this very pair was mixed up before


def relation(booked: str, found: str, came_from: str | None, places: Mapping[str, Place]) -> Relation:
    if found == came_from:
        return Relation.CAME_FROM
    here, there = places.get(booked), places.get(found)
    if here is None or there is None:
        return Relation.ELSEWHERE
    if there.kind in (Kind.POCKET, Kind.SPINDLE):
        return Relation.MACHINE
    if not there.kind.stores:
        return Relation.ELSEWHERE if there.kind is Kind.OUT else Relation.STATION
    if there.parent is not None and there.parent == here.parent:
        near = here.number is not None and there.number is not None and abs(here.number - there.number) == 1
        return Relation.NEXT_SLOT if near else Relation.SAME_DRAWER
    if _cabinet(here, places) == _cabinet(there, places):
        same = there.kind is Kind.SLOT and there.number == here.number
        return Relation.OTHER_DRAWER if same else Relation.SAME_CABINET
    return Relation.ELSEWHERE


def _cabinet(place: Place, places: Mapping[str, Place]) -> str:
    seen = 0
    while place.parent is not None and place.parent in places and seen < len(Kind):
        place, seen = places[place.parent], seen + 1
    return place.code


def likely_places(
    booked: str,
    came_from: str | None,
    mistakes: Sequence[Mistake],
    places: Mapping[str, Place],
    ruled_out: frozenset[str] = frozenset(),
    count: int = 5,
) -> tuple[Likely, ...]:
    """Places to look for a holder booked at `booked`, most likely first.

    ruled_out: places where something else was seen, or that were looked through.
    """
    weights = dict(PRIOR)
    pairs: Counter[str] = Counter()
    for mistake in mistakes:
        if mistake.found == mistake.booked:
            continue
        weights[relation(mistake.booked, mistake.found, mistake.came_from, places)] += 1.0
        if mistake.booked == booked:
            pairs[mistake.found] += 1
    holding = [
        code
        for code, place in places.items()
        if place.kind not in (Kind.MACHINE, Kind.CABINET, Kind.DRAWER) and code not in ruled_out and code != booked
    ]
    told = {code: relation(booked, code, came_from, places) for code in holding}
    among = Counter(told.values())
    scores = {code: weights[kind] / among[kind] + AGAIN * pairs[code] for code, kind in told.items()}
    whole = sum(scores.values())
    best = sorted(holding, key=lambda code: (-scores[code], places[code].number or 0, code))[:count]
    return tuple(Likely(code, scores[code] / whole, told[code], pairs[code]) for code in best)
