"""How warm a holder still was when it was heated once more: no colder anywhere than it may have been.

What is known is solved: each earlier heating on top of what the one before had left, where it stood since and for how
long.  What is not known is taken from its warm side: films never leave more heat than a lower film, heat never less
than a hotter and longer heating, so that a holder within `_WIDE_SD` of every unknown is colder in every cell.
It must never know more of an earlier heating than what was seen of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from kiosk.rules.cooling.flow import left_after
from kiosk.rules.cooling.mesh import FINE, Floats
from kiosk.rules.cooling.stand import WAYS, Draw, Heat, Room, Stage, checked, exchanges, mesh_for, start_of
from kiosk.rules.cooling.unknowns import BULK_ASSUMED, BULK_ENTERED, FILM, HEAT_LEVEL, HEATED_LENGTH_MM, SKIN, Way
from kiosk.rules.lessons import Known
from kiosk.rules.outline import Profile

_WIDE_SD = 1.2
_GUARD = 1.01  # on every excess, as on those that are judged


class Heated(NamedTuple):
    """A heating that another followed before it was cool.

    stages: where it stood since, the last one to the scan of the next heating.  idle_s: how long after that scan the
    next heating may have ended; meanwhile it stood in free air.
    """

    heat: Heat
    stages: tuple[Stage, ...]
    idle_s: float


def left_k(
    profiles: Sequence[Profile], earlier: Sequence[Heated], room: Room, known: Known
) -> tuple[tuple[float, float], ...]:
    """How far above its air it was along its axis as the last heating began: (z in mm, K), from the cutter's tip on.

    profiles: all it may have looked like then; with and without a cutter, where one went in or came out since.
    """
    found = [_along(profile, earlier, room, known) for profile in profiles]
    at_mm = np.unique(np.concatenate([z_mm for z_mm, _ in found]))
    warmest = np.max([np.interp(at_mm, *each) for each in found], axis=0)
    return tuple(zip(at_mm.round(2).tolist(), (_GUARD * warmest).round(2).tolist(), strict=True))


def _along(profile: Profile, earlier: Sequence[Heated], room: Room, known: Known) -> tuple[Floats, Floats]:
    """Middle of each slice, mm, and the warmest of its cells, K."""
    stood = [checked(profile, each.heat, _until_next(each), room) for each in earlier]
    longest = max((each.heat for each in earlier), key=lambda heat: heat.length_mm)
    mesh = mesh_for(profile, longest, [stage for stages in stood for stage in stages], FINE)
    draws = _warm(profile, known)
    left = np.zeros(len(mesh.low_mm))
    for at, (each, stages) in enumerate(zip(earlier, stood, strict=True)):
        start = start_of(mesh, each.heat, room, draws, left if at else None)
        left = left_after(mesh, start, exchanges(mesh, stages, room, draws)).max(axis=0)
    middle, slice_of = np.unique((mesh.low_mm + mesh.high_mm) / 2, return_inverse=True)
    warmest = np.zeros(len(middle))
    np.maximum.at(warmest, slice_of, left)
    return middle, warmest


def _until_next(each: Heated) -> tuple[Stage, ...]:
    """Its stages and what may have passed before the next heating, after which nothing is asked any more."""
    *before, last = each.stages
    end_s = last.end_s or 0.0
    if last.way is Way.FREE_AIR:
        return (*before, last._replace(longer_s=last.longer_s + each.idle_s), Stage(Way.FREE_AIR, end_s))
    return (*each.stages, Stage(Way.FREE_AIR, end_s, end_s, longer_s=each.idle_s), Stage(Way.FREE_AIR, end_s))


def _warm(profile: Profile, known: Known) -> Draw:
    """Holders at the warm side of all that is not known, and of what was learnt where that is warmer: one that stores
    little heat and one that stores much."""
    bulk = BULK_ASSUMED if profile.assumed else BULK_ENTERED
    films = [
        min(float(known.mean[1 + at]), 0.0) + math.log(SKIN) - _WIDE_SD * FILM[way].whole for at, way in enumerate(WAYS)
    ]
    return Draw(
        heat=math.exp(max(float(known.mean[0]), 0.0) + _WIDE_SD * HEAT_LEVEL.whole),
        length_mm=_WIDE_SD * HEATED_LENGTH_MM.whole,
        film=tuple(math.exp(film) for film in films),
        bulk=np.exp(np.array([[-1.0], [1.0]]) * _WIDE_SD * bulk.whole),
    )

