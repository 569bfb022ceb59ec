"""How warm each part of a held holder's skin may be, along its axis, and where a hand may be put already.

Worked out from the draws of the hold that bound its time.  It must never call a part safe that the bound does not:
hands are let on a part only where no part so called exceeds the limit, then or later, at the bound's own share, where
nothing about the hold is unknown, and never on a cutter.  Times are watched ones, lengths mm from the nose.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kiosk.rules.cards import HoldView
from kiosk.rules.cooling.bound import Bound
from kiosk.rules.cooling.lasting import GUARD
from kiosk.rules.cooling.mesh import ZONES, Floats, Zone
from kiosk.rules.cooling.posterior import Draws
from kiosk.rules.cooling.stand import Stage
from kiosk.rules.cooling.touches import Touch
from kiosk.rules.cooling.unknowns import SURE, Way
from kiosk.rules.hold_cases import Case
from kiosk.rules.hold_facts import HoldFacts, HoldRules, cooling_from_s
from kiosk.rules.outline import outlines_of
from kiosk.rules.skin_slices import SkinNow, SkinSlice

_LEAST_EFFECTIVE = 40.0  # draws of equal weight that a part may be called safe by
_HOLDABLE = (Zone.NOSE, Zone.FLANGE, Zone.TAPER)  # a cutter has edges
_FOLLOWED_S = 3 * 3600.0  # after the last change of place


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """The skin of one hold until its facts change; times in seconds since heating.

    low_mm, high_mm, zone: (slices,).  high_c: (slices, times).  safe: which zones a hand may be put on from each of
    `t_s` on, for good.
    """

    t_s: tuple[float, ...]
    low_mm: Floats
    high_mm: Floats
    zone: tuple[Zone, ...]
    high_c: Floats
    safe: tuple[frozenset[Zone], ...]
    limit_c: float

    def at(self, at_s: float, hottest: str, may_be_held: bool) -> SkinNow:
        """The skin at a moment.

        hottest: where a reading would end the hold.  may_be_held: nothing forbids calling a part of it safe.
        """
        before = max(bisect_right(self.t_s, at_s) - 1, 0)
        after = min(before + 1, len(self.t_s) - 1)
        span_s = self.t_s[after] - self.t_s[before]
        share = min(max((at_s - self.t_s[before]) / span_s, 0.0), 1.0) if span_s > 0 else 0.0
        warm = self.high_c[:, before] * (1 - share) + self.high_c[:, after] * share
        slices = tuple(
            SkinSlice(float(low), float(high), round(float(value), 1), zone.value)
            for low, high, value, zone in zip(self.low_mm, self.high_mm, warm, self.zone, strict=True)
        )
        known = self.safe[before] if may_be_held and at_s >= self.t_s[0] else frozenset()
        return SkinNow(slices, self.limit_c, hottest, tuple(zone.value for zone in ZONES if zone in known))


def skin_of(bound: Bound, given: tuple[Touch, ...] = ()) -> Skin:
    """The skin of a hold that is solved, after what was read of it.  Raises CoolingError."""
    times = _moments(bound.stages)
    draws = bound.draw(times, given)
    course = bound.nominal(draws)
    expected = GUARD * course.skin(times)
    zones = [zone for zone in ZONES if (course.mesh.zone == ZONES.index(zone)).any()]
    limit_c = bound.room.limit_c
    # (zones, draws, times) what each zone shows at its hottest, guarded as every excess is
    ambient_c = bound.room.ambient_c
    shown = np.stack([ambient_c + GUARD * (draws.shown(zone, times) - ambient_c) for zone in zones])
    high_c = np.stack([_quantiles(draws, values) for values in shown])
    cells_zone = course.mesh.zone
    low_mm, high_mm = course.mesh.low_mm[course.mesh.skin], course.mesh.high_mm[course.mesh.skin]
    rows = []
    for start, end, zone_at in sorted(set(zip(low_mm.tolist(), high_mm.tolist(), cells_zone.tolist(), strict=True))):
        cells = (low_mm == start) & (high_mm == end) & (cells_zone == zone_at)
        here = expected[cells].max(axis=0)
        hottest = expected[cells_zone == zone_at].max(axis=0)
        bound_c = high_c[zones.index(ZONES[zone_at])]
        # As much of its zone's bound as the expected holder has of its zone's hottest; cool only if all the zone is.
        value_c = ambient_c + (bound_c - ambient_c) * np.clip(here / np.maximum(hottest, 1e-6), 0.0, 1.0)
        value_c = np.where(bound_c > limit_c, np.maximum(value_c, limit_c + 0.1), value_c)
        rows.append((start, end, ZONES[zone_at], value_c))
    return Skin(
        t_s=tuple(times.tolist()),
        low_mm=np.array([row[0] for row in rows]),
        high_mm=np.array([row[1] for row in rows]),
        zone=tuple(row[2] for row in rows),
        high_c=np.array([row[3] for row in rows]),
        safe=_safe(draws, zones, shown, limit_c),
        limit_c=limit_c,
    )


def _moments(stages: Sequence[Stage]) -> Floats:
    """(times,) dense after each change of place."""
    parts = [np.zeros(1)]
    for stage in stages:
        long_s = _FOLLOWED_S if stage.end_s is None else stage.end_s - stage.start_s
        if long_s > 0:
            parts.append(stage.start_s + np.geomspace(min(1.0, long_s), long_s, 44 if stage.end_s is None else 12))
    return np.unique(np.concatenate(parts))


def _quantiles(draws: Draws, values: Floats) -> Floats:
    """(times,) what is not exceeded by any of the bound's promises.  values: (draws, times)."""
    order = np.argsort(values, axis=0, kind="stable")
    ranked = np.take_along_axis(values, order, axis=0)
    highest = np.full(values.shape[1], -np.inf)
    for weight, promise in zip(draws.weights, SURE, strict=True):
        upto = np.cumsum(weight[order], axis=0)
        at = np.minimum((upto < promise.share).sum(axis=0), len(values) - 1)
        highest = np.maximum(highest, np.take_along_axis(ranked, at[None], axis=0)[0])
    return highest


def _safe(draws: Draws, zones: list[Zone], shown: Floats, limit_c: float) -> tuple[frozenset[Zone], ...]:
    """For each moment the zones of which none exceeds the limit from then on, all together by the bound's promises."""
    later = np.maximum.accumulate(shown[:, :, ::-1], axis=2)[:, :, ::-1]
    over = later > limit_c  # (zones, draws, times)
    chance = np.einsum("zdt,d->zt", over, draws.weight)
    found = []
    for at in range(shown.shape[2]):
        kept: set[Zone] = set()
        hot = np.zeros(shown.shape[1], bool)
        if draws.touched and draws.effective < _LEAST_EFFECTIVE:
            found.append(frozenset[Zone]())
            continue
        for index in np.argsort(chance[:, at], kind="stable").tolist():
            if zones[index] not in _HOLDABLE:
                continue
            hot = hot | over[index, :, at]
            if any(
                float(weight[hot].sum()) > 1.0 - promise.share
                for weight, promise in zip(draws.weights, SURE, strict=True)
            ):
                break
            kept.add(zones[index])
        found.append(frozenset(kept))
    return tuple(found)


def may_be_held(facts: HoldFacts, needs_reading: bool) -> bool:
    """Whether a part of this holder may be called safe at all while it is held.

    Not where a number of its outline or its cutter's depth is a guess, where nobody knows where it stands or how warm
    its body was, where time was not watched or only a reading ends the hold, and not in air or water that it leaves as
    soon as a hand takes it.
    """
    outlines = outlines_of(facts.holder, facts.assembly)
    last = facts.stays[-1]
    return (
        len(outlines) == 1
        and not outlines[0].assumed
        and facts.watched
        and not (needs_reading or facts.reading_only or facts.body_unknown or facts.gaps)
        and last.place is not None
        and Way(last.way or Way.FREE_AIR.value) is Way.FREE_AIR
    )


@dataclass(frozen=True, slots=True, eq=False)
class HoldSkin:
    """The skins of all a hold may be, its readings counted for each; a part is as warm as in the warmest of them."""

    cases: tuple[tuple[float, Skin], ...]  # watched time at which each began to cool
    limit_c: float

    def now(self, facts: HoldFacts, rules: HoldRules, hold: HoldView, now_s: float) -> SkinNow:
        """At watched time `now_s`.  hold: the same hold's view then."""
        held = now_s >= cooling_from_s(facts, rules) and may_be_held(facts, hold.needs_reading or hold.gap)
        each = [skin.at(now_s - start_s, hold.where, held) for start_s, skin in self.cases]
        hands = tuple(zone for zone in each[0].hands if all(zone in other.hands for other in each[1:]))
        slices = tuple(
            replace(piece, high_c=max([piece.high_c, *(_warmest(other, piece) for other in each[1:])]))
            for piece in each[0].slices
        )
        return SkinNow(slices, self.limit_c, hold.where, hands)


def _warmest(skin: SkinNow, piece: SkinSlice) -> float:
    """How warm another of what the holder may be is where this piece lies."""
    there = [each.high_c for each in skin.slices if each.start_mm < piece.end_mm and each.end_mm > piece.start_mm]
    return max(there, default=piece.high_c)


def solved_skin(facts: HoldFacts, cases: Sequence[Case]) -> HoldSkin:
    """The skin of a hold that is solved, the longest of its cases first.  Raises CoolingError."""
    skins = tuple((case.start_s(facts), skin_of(case.bound, case.touches(facts))) for case in cases)
    return HoldSkin(skins, min(skin.limit_c for _, skin in skins))
