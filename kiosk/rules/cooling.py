"""How hot a shrink-fitted holder still is, where, and when it is safe to touch and ready to measure.

Two-dimensional heat flow (`cooling_flow`) in the real outline along the places it really stood at; what is not
known is bounded at 99 % (`cooling_unknowns`).  It must never say cool too early: temperatures carry a guard
for the grid, radiation is never overestimated, times are rounded up.  Limit: ISO 13732-1, bare metal.

Curves are computed once, when the facts of a hold change; every second after that only interpolates.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from kiosk.rules.belief import Belief, Prediction, Verdict
from kiosk.rules.cooling_bound import GUARD, Fan
from kiosk.rules.cooling_flow import Course
from kiosk.rules.cooling_mesh import ZONES, Floats, Zone
from kiosk.rules.cooling_stand import (
    CoolingError,
    Heat,
    Room,
    Stage,
    checked,
    course_of,
    default_heated_mm,
    limit_over_ambient_k,
)
from kiosk.rules.cooling_unknowns import Way
from kiosk.rules.outline import Profile

__all__ = [
    "Assessment",
    "CoolingError",
    "Heat",
    "Now",
    "Room",
    "Stage",
    "Way",
    "Zone",
    "assess",
    "default_heated_mm",
    "in_free_air_from",
    "last_above_s",
    "predict",
    "reading_ends_hold",
    "touch_safe_s",
]

_ROUND_S = 0.5  # a step of the reference solution
_PER_PIECE = 24
_HORIZON_S = 60_000.0


class Now(NamedTuple):
    """A holder at one moment, °C: nominal and 98 % band of its hottest touchable point, and where that is."""

    hottest_c: float
    low_c: float
    high_c: float
    where: Zone


@dataclass(frozen=True, slots=True)
class Assessment:
    """All a hold needs until its facts change; times in seconds since heating, None: no time can be given.

    touch_safe_s: nominal.  hold_s: after it the chance that any touchable point exceeds the limit, then or
    later, is at most 1 %.  measure_ready_s: length error under the tolerance from then on.  take_out_s: from
    then on leaving a wet place for free air warms nothing above the limit again, at 99 %; None elsewhere.
    rise_k: how much the hottest point still rises above its value now, high side.
    """

    ambient_c: float
    limit_c: float
    touch_safe_s: float
    hold_s: float | None
    measure_ready_s: float
    take_out_s: float | None
    t_s: tuple[float, ...]
    hottest_c: tuple[float, ...]
    low_c: tuple[float, ...]
    high_c: tuple[float, ...]
    rise_k: tuple[float, ...]
    growth_um: tuple[float, ...]
    where: tuple[Zone, ...]

    def now(self, at_s: float) -> Now:
        """By interpolation; before the first point it is as hot as at it."""
        at, share = self._at(at_s)
        return Now(
            _between(self.hottest_c, at, share),
            _between(self.low_c, at, share),
            _between(self.high_c, at, share),
            self.where[at],
        )

    def length_error_um(self, at_s: float) -> float:
        """How much longer the assembly is than at ambient, tip to gauge line."""
        return _between(self.growth_um, *self._at(at_s))

    def rises_k(self, at_s: float) -> float:
        """How far above its present value the hottest point still climbs (re-soak), high side."""
        at, share = self._at(at_s)
        return max(self.rise_k[at], _between(self.rise_k, at, share))

    def _at(self, at_s: float) -> tuple[int, float]:
        times = self.t_s
        if at_s <= times[0]:
            return 0, 0.0
        if at_s >= times[-1]:
            return len(times) - 1, 0.0
        at = bisect.bisect_right(times, at_s) - 1
        return at, (at_s - times[at]) / (times[at + 1] - times[at])


def _between(values: Sequence[float], at: int, share: float) -> float:
    if share == 0.0:
        return values[at]
    return values[at] + share * (values[at + 1] - values[at])


def touch_safe_s(profile: Profile, heat: Heat, stages: Sequence[Stage], room: Room) -> float:
    """Time after heating at which no touchable point will exceed the limit again, nominal.

    profile: geometry, mm.  stages: where it stood, in order, seconds; the last one goes on for good.
    Raises CoolingError where the data cannot bound it.
    """
    return _touch_safe_s(course_of(profile, heat, stages, room), limit_over_ambient_k(room))


def assess(
    profile: Profile,
    heat: Heat,
    stages: Sequence[Stage],
    room: Room,
    beliefs: Mapping[Way, Belief] | None = None,
) -> Assessment:
    """Everything about one hold as its facts stand.  The last stage is taken to go on for good.

    beliefs: what readings taught about this type of holder, by way of cooling; missing ones are priors.  The
    heat level is taken from the one of the last stage.  Raises CoolingError.
    """
    stages = checked(profile, heat, stages, room)
    beliefs = beliefs or {}
    fan = Fan(profile, heat, stages, room, beliefs)
    limit_k = limit_over_ambient_k(room)
    times = _grid(fan.nominal, limit_k, room.tolerance_um)
    look = fan.look(times)
    while look.high_k[-1] > limit_k and times[-1] < _HORIZON_S:  # a holder on the warm side takes longer
        times = np.append(times, times[-1] * np.array([1.2, 1.45, 1.75, 2.1]))
        look = fan.look(times)
    touch_s = _touch_safe_s(fan.nominal, limit_k)
    edge = fan.edge(look, limit_k)
    hold_s: float | None = None
    edge_k = room.limit_c - edge.course.ambient_c
    if look.high_later_k[-1] <= limit_k and edge_k > 0 and edge.course.hottest(times[-1:])[0] < edge_k:
        over = np.flatnonzero(look.high_later_k > limit_k)
        by_shifts_s = _by_shifts_s(fan, times, int(over[-1]), limit_k) if len(over) else 0.0
        hold_s = max(_touch_safe_s(edge.course, edge_k), by_shifts_s, touch_s)
    growth = fan.nominal.growth_um(times)
    wrong = np.flatnonzero(np.abs(growth) > room.tolerance_um)
    ready_s = 0.0
    if len(wrong):
        ready_s = float(math.ceil(_cross(fan.nominal.growth_um, times, wrong[-1], room.tolerance_um)))
    skin = fan.nominal.skin(times)
    where = fan.nominal.mesh.zone[skin.argmax(axis=0)]
    ambient = room.ambient_c
    return Assessment(
        ambient_c=ambient,
        limit_c=room.limit_c,
        touch_safe_s=touch_s,
        hold_s=hold_s,
        measure_ready_s=max(ready_s, touch_s),
        take_out_s=fan.take_out_s(edge),
        t_s=_rounded(times, 2),
        hottest_c=_rounded(ambient + look.nominal_k, 2),
        low_c=_rounded(ambient + np.maximum(2 * look.nominal_k - look.high_k, 0.0), 2),
        high_c=_rounded(ambient + look.high_k, 2),
        rise_k=_rounded(np.maximum(look.high_later_k - look.high_k, 0.0), 2),
        growth_um=_rounded(growth, 2),
        where=tuple(ZONES[index] for index in where),
    )


def predict(
    profile: Profile,
    heat: Heat,
    stages: Sequence[Stage],
    room: Room,
    beliefs: Mapping[Way, Belief] | None,
    zone: Zone,
    at_s: float,
) -> Prediction:
    """What a reading at a zone should show at `at_s`, and how it would move with heat level and film.

    A zone is read at its hottest skin.  A zone the outline does not have (no cutter) is read at the nose.
    Raises CoolingError.
    """
    stages = checked(profile, heat, stages, room)
    fan = Fan(profile, heat, stages, room, beliefs or {})
    return fan.prediction(zone, at_s)


def reading_ends_hold(assessment: Assessment, at_s: float, zone: Zone, value_c: float, verdict: Verdict) -> bool:
    """Whether a contact reading at or under the limit ends the hold at `at_s`.

    Only at the hottest point, only if the model can explain it (or a second reading confirmed it), and only
    if no re-soak above the limit follows: what the model still expects it to rise is added to the reading.
    """
    if verdict is Verdict.QUESTIONED or not math.isfinite(value_c):
        return False
    if assessment.now(at_s).where.read_at is not zone.read_at:
        return False
    return value_c + assessment.rises_k(at_s) <= assessment.limit_c


def in_free_air_from(stages: Sequence[Stage], at_s: float) -> tuple[Stage, ...]:
    """The same stages, but taken out at `at_s` and left in free air."""
    kept = [
        stage._replace(end_s=at_s if stage.end_s is None else min(stage.end_s, at_s))
        for stage in stages
        if stage.start_s < at_s
    ]
    return (*kept, Stage(Way.FREE_AIR, at_s))


def _grid(course: Course, limit_k: float, tolerance_um: float) -> Floats:
    """Moments worth looking at, seconds, until it is well under the limit and measurable."""
    parts = [np.zeros(1)]
    for piece in course.pieces:
        if math.isinf(piece.end_s):
            marks = piece.start_s + np.geomspace(30.0, _HORIZON_S, 60)
            quiet = (GUARD * course.hottest(marks) < 0.3 * limit_k) & (
                np.abs(course.growth_um(marks)) < 0.9 * tolerance_um
            )
            long_s, count = (marks[int(quiet.argmax())] - piece.start_s if quiet.any() else _HORIZON_S), 2 * _PER_PIECE
        else:
            long_s, count = piece.end_s - piece.start_s, _PER_PIECE
        parts.append(piece.start_s + np.geomspace(min(0.25, long_s), long_s, count))
    return np.unique(np.concatenate(parts))


def _by_shifts_s(fan: Fan, times: Floats, at: int, limit_k: float) -> float:
    """From when the added shifts stay at or under the limit, rounded up to a second; `times[at]` is still over it.

    Looked up between two moments of the grid: the grid depends on the heat, and its steps are no reason for one
    holder to be held longer than a hotter one.
    """
    fine = np.linspace(times[at], times[at + 1], 65)
    over = np.flatnonzero(fan.look(np.append(fine, times[at + 2 :])).high_later_k[:65] > limit_k)
    return float(math.ceil(fine[min(int(over[-1]) + 1, 64)]))


def _cross(curve: Any, times: Floats, at: int, level: float) -> float:
    """A moment not before |curve| falls to level, between times[at] and the next."""
    if at + 1 == len(times):
        return float(times[at])
    fine = np.linspace(times[at], times[at + 1], 25)
    over = np.flatnonzero(np.abs(curve(fine)) > level)
    return float(fine[min(over[-1] + 1, 24)] if len(over) else times[at])


def last_above_s(course: Course, limit_k: float) -> float:
    """When the skin was last more than `limit_k` over its ambient, seconds since heating; 0 if it never was."""
    for piece in reversed(course.pieces):
        long_s = min(piece.end_s - piece.start_s, _HORIZON_S)
        times = piece.start_s + np.append(0.0, np.geomspace(min(0.25, long_s), long_s, 2 * _PER_PIECE))
        over = np.flatnonzero(piece.skin(times).max(axis=0) > limit_k)
        if len(over):
            at = over[-1]
            if at + 1 == len(times):
                return float(times[at])
            fine = np.linspace(times[at], times[at + 1], 25)
            still = np.flatnonzero(piece.skin(fine).max(axis=0) > limit_k)
            return float(fine[min(still[-1] + 1, 24)] if len(still) else fine[-1])
    return 0.0


def _touch_safe_s(course: Course, limit_k: float) -> float:
    """Guarded and rounded up to a second."""
    above_s = last_above_s(course, limit_k / GUARD)
    return float(math.ceil(above_s + _ROUND_S)) if above_s else 0.0


def _rounded(values: Floats, digits: int) -> tuple[float, ...]:
    return tuple(np.round(values, digits).tolist())
