"""How hot a shrink-fitted holder still is, where, and when it is safe to touch and ready to measure.

Two-dimensional heat flow (`cooling.flow`) in the real outline along the places it really stood at; what is not
known is bounded at 99 % (`cooling.unknowns`).  It must never say cool too early: temperatures carry a guard
for the grid, radiation is never overestimated, times are rounded up.  Limit: ISO 13732-1, bare metal.

Curves are computed once, when the facts of a hold change; every second after that only interpolates.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from kiosk.rules.belief import PROBE_TOLERANCE_K, Prediction, Verdict
from kiosk.rules.cooling.advice import Advice, advise
from kiosk.rules.cooling.bound import Bound
from kiosk.rules.cooling.lasting import GUARD, grid, last_above_s, moments, touch_safe_of
from kiosk.rules.cooling.mesh import ZONES, Floats, Zone
from kiosk.rules.cooling.posterior import Draws
from kiosk.rules.cooling.stand import (
    CoolingError,
    Heat,
    Room,
    Stage,
    checked,
    course_of,
    default_heated_mm,
    limit_over_ambient_k,
)
from kiosk.rules.cooling.touches import Touch
from kiosk.rules.cooling.unknowns import BAND, Way
from kiosk.rules.lessons import Known, untaught
from kiosk.rules.outline import Profile

__all__ = [
    "Advice",
    "Assessment",
    "CoolingError",
    "Heat",
    "Now",
    "Room",
    "Stage",
    "Touch",
    "Way",
    "Zone",
    "advise_bound",
    "assess",
    "assess_bound",
    "bound_of",
    "default_heated_mm",
    "hot_after",
    "last_above_s",
    "predict_bound",
    "reading_ends_hold",
    "touch_safe_s",
    "unread_hold_s",
]

_ROUND_S = 0.5  # a step of the reference solution
_LEAST_EFFECTIVE = 40.0  # draws of equal weight a bound may rest on


class Now(NamedTuple):
    """A holder at one moment, °C: nominal and 98 % band of its hottest touchable point, and where that is."""

    hottest_c: float
    low_c: float
    high_c: float
    where: Zone


class Sampled(NamedTuple):
    """Holders at many moments: `Now`, how far the hottest still rises, K, and the length error, µm, at each."""

    hottest_c: Floats
    low_c: Floats
    high_c: Floats
    rise_k: Floats
    growth_um: Floats
    where: list[Zone]


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

    def at(self, times_s: Floats) -> Sampled:
        """`now`, `rises_k` and `length_error_um` at many moments."""
        t_s = np.array(self.t_s)
        low = np.clip(np.searchsorted(t_s, times_s, "right") - 1, 0, len(t_s) - 1)
        high = np.minimum(low + 1, len(t_s) - 1)
        share = np.where(high > low, np.maximum(times_s - t_s[low], 0.0) / np.maximum(t_s[high] - t_s[low], 1e-9), 0.0)

        def between(values: Sequence[float]) -> Floats:
            known = np.array(values)
            return np.asarray(known[low] + share * (known[high] - known[low]), np.float64)

        return Sampled(
            between(self.hottest_c),
            between(self.low_c),
            between(self.high_c),
            np.maximum(np.array(self.rise_k)[low], between(self.rise_k)),
            between(self.growth_um),
            [self.where[at] for at in low],
        )

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
    return touch_safe_of(course_of(profile, heat, stages, room), limit_over_ambient_k(room))


def assess(
    profile: Profile,
    heat: Heat,
    stages: Sequence[Stage],
    room: Room,
    known: Known | None = None,
    touches: Sequence[Touch] = (),
) -> Assessment:
    """Everything about one hold as its facts stand.  The last stage is taken to go on for good.

    known: what readings of earlier heats taught; None: nothing.  touches: what was read of this heat and is not
    doubted.  Raises CoolingError.
    """
    return assess_bound(bound_of(profile, heat, stages, room, known), touches)


def bound_of(
    profile: Profile, heat: Heat, stages: Sequence[Stage], room: Room, known: Known | None = None
) -> Bound:
    """A hold solved once, for `assess_bound` and `predict_bound`.  Raises CoolingError."""
    return Bound(profile, heat, checked(profile, heat, stages, room), room, known or untaught())


def assess_bound(bound: Bound, touches: Sequence[Touch] = ()) -> Assessment:
    """`assess` of a hold that is solved already."""
    room = bound.room
    limit_k = limit_over_ambient_k(room)
    nominal = bound.nominal()
    draws = bound.drawn(touches)
    take_out_s = None
    if bound.stages[-1].way.wet:
        nominal, edge = bound.expected_and_edge(draws)
        take_out_s = bound.take_out_s(edge)
    elif draws.touched:
        nominal = bound.nominal(draws)
    times = grid(nominal, limit_k, room.tolerance_um)
    touch_s = touch_safe_of(nominal, room.limit_c - nominal.ambient_c)
    hold_s = _hold_s(draws, touch_s)
    if draws.touched:
        hold_s = _latest_s(hold_s, *_not_sooner_s(bound, draws, touches, touch_s))
    growth = nominal.growth_um(times)
    wrong = np.flatnonzero(np.abs(growth) > room.tolerance_um)
    ready_s = 0.0
    if len(wrong):
        ready_s = float(math.ceil(_cross(nominal.growth_um, times, wrong[-1], room.tolerance_um)))
    where = nominal.mesh.zone[nominal.skin(times).argmax(axis=0)]
    hottest_c = nominal.ambient_c + GUARD * nominal.hottest(times)
    if bound.at_once is not None:
        at_once_c = bound.at_once.ambient_c + GUARD * bound.at_once.hottest(times)
        where = np.where(at_once_c > hottest_c, nominal.mesh.zone[bound.at_once.skin(times).argmax(axis=0)], where)
        hottest_c = np.maximum(hottest_c, at_once_c)
    low_c, high_c, rise_k = (np.interp(times, draws.times_s, values) for values in draws.band(1 - BAND, BAND))
    return Assessment(
        ambient_c=room.ambient_c,
        limit_c=room.limit_c,
        touch_safe_s=touch_s,
        hold_s=hold_s,
        measure_ready_s=max(ready_s, touch_s),
        take_out_s=take_out_s,
        t_s=_rounded(times, 2),
        hottest_c=_rounded(hottest_c, 2),
        low_c=_rounded(np.minimum(low_c, hottest_c), 2),
        high_c=_rounded(np.maximum(high_c, hottest_c), 2),
        rise_k=_rounded(np.maximum(rise_k, 0.0), 2),
        growth_um=_rounded(growth, 2),
        where=tuple(ZONES[index] for index in where),
    )


def unread_hold_s(bound: Bound) -> float | None:
    """`Assessment.hold_s` before any reading, and nothing else of it."""
    nominal = bound.nominal()
    touch_s = touch_safe_of(nominal, bound.room.limit_c - nominal.ambient_c)
    return _hold_s(bound.drawn(()), touch_s)


def _not_sooner_s(bound: Bound, draws: Draws, touches: Sequence[Touch], least_s: float) -> list[float | None]:
    """What a hold with readings is never shorter than.

    Readings that fit nothing drawn shorten nothing, nor do any where it is expected warmer than it is; and where nobody
    saw how long it stood before, they count for both ends of that.
    """
    found = []
    if bound.simplified or draws.effective < _LEAST_EFFECTIVE:
        found.append(_hold_s(bound.drawn(()), least_s))
    for other in bound.others:
        also = other.drawn(touches)
        if also.effective < _LEAST_EFFECTIVE:
            also = other.drawn(())
        found.append(_hold_s(also, least_s))
    return found


def _latest_s(*times: float | None) -> float | None:
    """None where one of them has no end."""
    known = [at_s for at_s in times if at_s is not None]
    return max(known) if len(known) == len(times) else None


def hot_after(bound: Bound, at_s: float, touches: Sequence[Touch]) -> float:
    """The chance that any touchable point is above the limit at `at_s` or later; 1 where the readings fit nothing."""
    drawn = [each.drawn(touches) for each in (bound, *bound.others)]
    return max(draws.hot_after(at_s) if draws.effective >= _LEAST_EFFECTIVE else 1.0 for draws in drawn)


def advise_bound(
    bound: Bound, now_s: float, touches: Sequence[Touch] = (), tolerance_k: float = PROBE_TOLERANCE_K
) -> Advice | None:
    """The best next reading of a hold that is solved already, after `now_s`; None where none is worth it."""
    draws = bound.drawn(touches)
    hold_s = _hold_s(draws, 0.0)
    if hold_s is None or now_s < 0:
        return None
    return advise(draws, now_s, hold_s, tolerance_k)


def _hold_s(draws: Draws, least_s: float) -> float | None:
    """The 99 % bound, rounded up to a second; None where it has no end."""
    kept_s = draws.kept_s()
    if not math.isfinite(kept_s):
        return None
    return max(float(math.ceil(kept_s + _ROUND_S)), least_s)


def predict_bound(bound: Bound, zone: Zone, at_s: float, touches: Sequence[Touch] = ()) -> Prediction:
    """What a reading at a zone should show at `at_s`, and how it would move with heat level and film.

    touches: what was read of this heat before.  A zone is read at its hottest skin.  A zone the outline does not
    have (no cutter) is read at the nose.
    """
    before = tuple(touch for touch in touches if touch.at_s <= at_s)
    return bound.prediction(bound.draw(moments(bound.stages, max(at_s, 1.0)), before), zone, at_s)


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


def _cross(curve: Any, times: Floats, at: int, level: float) -> float:
    """A moment not before |curve| falls to level, between times[at] and the next."""
    if at + 1 == len(times):
        return float(times[at])
    fine = np.linspace(times[at], times[at + 1], 25)
    over = np.flatnonzero(np.abs(curve(fine)) > level)
    return float(fine[min(over[-1] + 1, 24)] if len(over) else times[at])


def _rounded(values: Floats, digits: int) -> tuple[float, ...]:
    return tuple(np.round(values, digits).tolist())
