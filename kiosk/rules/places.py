"""Where a holder can be, and the one table of moves between such places.

Everything that says which step of a holder is allowed at all stands in `MOVES`; nobody keeps a private copy.
A move that is not in the table is refused; one that is may still have `needs`, which `checkin.may_go` judges.
The kinds are the trade's stations: bench, shrink station, cooling, presetter, cabinet, machine pocket, out.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple


class Kind(Enum):
    """Kinds of place; the value is how data files and the ledger write it."""

    BENCH = "bench"
    SHRINK = "shrink_station"
    COOLING = "cooling"
    PRESETTER = "presetter"
    CABINET = "cabinet"
    DRAWER = "drawer"
    SLOT = "slot"
    MACHINE = "machine"
    POCKET = "pocket"
    SPINDLE = "spindle"
    OUT = "out"

    @property
    def stores(self) -> bool:
        """Cabinet and what is inside it."""
        return self in (Kind.CABINET, Kind.DRAWER, Kind.SLOT)

    @property
    def in_machine(self) -> bool:
        return self in (Kind.POCKET, Kind.SPINDLE)

    @property
    def may_be_hot(self) -> bool:
        """Places where a held holder may stand: those that can be reached without being cool."""
        return self in _REACHED_HOT


class Need(Enum):
    """What must hold before a step is allowed."""

    COOL = "cool"  # no hold on it, and its temperature is not unknown
    ASSEMBLED = "assembled"  # a cutter is built in
    SHRINKS = "shrinks"  # clamped by shrink fit
    FITS_POCKET = "fits_pocket"  # the magazine's rules
    SOUND = "sound"  # not said to be broken


WAYS = ("free_air", "forced_air", "sleeve", "mist")  # of a cooling place: values of `cooling.unknowns.Way`


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere a holder can be, with a label of its own."""

    code: str
    name: str
    kind: Kind
    parent: str | None = None  # the cabinet of a drawer, the machine of a pocket
    number: int | None = None  # of a drawer, slot or pocket
    capacity: int | None = None  # holders it takes; None: no limit
    way: str | None = None  # a cooling place's way of cooling: a value of `cooling.unknowns.Way`
    wet_length_mm: float | None = None  # of a sleeve


class Move(NamedTuple):
    """One allowed step of a holder between kinds of place.  `origin` None: nowhere known."""

    origin: Kind | None
    goal: Kind
    needs: frozenset[Need] = frozenset()


_FREE: frozenset[Need] = frozenset()
_COOL = frozenset({Need.COOL})
_HEAT = frozenset({Need.SHRINKS})
_MEASURE = frozenset({Need.COOL, Need.ASSEMBLED})
_LOAD = frozenset({Need.COOL, Need.ASSEMBLED, Need.FITS_POCKET, Need.SOUND})

_STORES = (Kind.CABINET, Kind.DRAWER, Kind.SLOT)
_STATIONS = (Kind.BENCH, Kind.SHRINK, Kind.COOLING, Kind.PRESETTER)
_ANYWHERE = (None, *_STATIONS, *_STORES, Kind.POCKET, Kind.SPINDLE, Kind.OUT)

_GOALS: tuple[tuple[Kind, frozenset[Need]], ...] = (
    (Kind.BENCH, _COOL),
    (Kind.SHRINK, _HEAT),
    (Kind.COOLING, _FREE),
    (Kind.PRESETTER, _MEASURE),
    *((store, _COOL) for store in _STORES),
    (Kind.POCKET, _LOAD),
    (Kind.SPINDLE, _LOAD),
    (Kind.OUT, _COOL),
)

_REACHED_HOT = frozenset(goal for goal, needs in _GOALS if Need.COOL not in needs)

# Steps nobody takes: what is out comes back over the bench or the cabinet, never straight into a machine;
# a holder of nowhere-known place is never loaded or heated before somebody has looked at it.
_NEVER = {
    (Kind.OUT, Kind.POCKET),
    (Kind.OUT, Kind.SPINDLE),
    (None, Kind.POCKET),
    (None, Kind.SPINDLE),
    (None, Kind.SHRINK),
}

MOVES: tuple[Move, ...] = tuple(
    Move(origin, goal, needs)
    for origin in _ANYWHERE
    for goal, needs in _GOALS
    if (origin, goal) not in _NEVER
)

_NEEDS = {(move.origin, move.goal): move.needs for move in MOVES}


def needs_of(origin: Kind | None, goal: Kind) -> frozenset[Need] | None:
    """What a step needs, or None where the table has no such step."""
    return _NEEDS.get((origin, goal))
