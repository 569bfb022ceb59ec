"""What a hold may be, as far as the book leaves it open: outlines and values of the shop, each put to the model.

A hold lasts as long as the longest of them, its readings counted for each: what is read may speak against any of
them, so that none is chosen before.  It must never choose among them, and never end a hold one of them does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import NamedTuple

import numpy as np

from kiosk.rules.cooling.assessment import (
    Assessment,
    Heat,
    Stage,
    Touch,
    Way,
    assess_bound,
    bound_of,
    default_heated_mm,
    unread_hold_s,
)
from kiosk.rules.cooling.bound import Bound
from kiosk.rules.cooling.reheated import Heated, left_k
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Stay, cooling_from_s, left_coil_s, touches, way_of
from kiosk.rules.lessons import Known, untaught
from kiosk.rules.outline import Profile, outlines_of

_DRY_MM = 1.0  # of the neck before the flange
_HOT_THROUGH = 5  # heatings in a row; fewer leave the flange cooler than it is taken to be


class Case(NamedTuple):
    """One of them, solved.  heating_s: how long after its scan it may have been heated.  unread: before any reading,
    where that was asked for."""

    heating_s: float
    bound: Bound
    unread: Assessment | None = None

    def start_s(self, facts: HoldFacts) -> float:
        """Watched time at which it began to cool."""
        return left_coil_s(facts, self.heating_s)

    def touches(self, facts: HoldFacts) -> tuple[Touch, ...]:
        """The readings that count for it."""
        return touches(facts, self.start_s(facts))


@dataclass(frozen=True, slots=True)
class Weighed:
    """A hold as its facts stand.  found: of all cases, the hottest at every moment and the latest of every time.

    longest: the case that lasts longest with what was read.
    """

    found: Assessment
    longest: Case


def solved(facts: HoldFacts, rules: HoldRules, known: Known | None) -> tuple[Case, ...]:
    """All it may be, each solved once and ready for readings.  rules: as they are set now.

    The first is the one that lasts longest before anything was read: what readings of a heat teach is told about one
    and the same case.  Raises CoolingError.
    """
    found = [
        Case(each.heating_s, bound_of(*_as_solved(outline, facts, each, known), each.room, known))
        for each in rules.each(facts.began)
        for outline in _outlines(facts)
    ]
    if len(found) > 1 and facts.readings:  # of what nobody asks for any more the end alone is worked out
        ends_s = [_ends_s(unread_hold_s(case.bound), case.start_s(facts)) for case in found]
    elif len(found) > 1:
        found = [case._replace(unread=assess_bound(case.bound)) for case in found]
        ends_s = [_ends_s(case.unread.hold_s, case.start_s(facts)) for case in found if case.unread]
    else:
        return tuple(found)
    longest = found.pop(ends_s.index(max(ends_s)))
    return (longest, *found)


def weighed(cases: Sequence[Case], facts: HoldFacts, rules: HoldRules) -> Weighed:
    """All cases with the readings of these facts; its times are since `cooling_from_s`."""
    start_s = cooling_from_s(facts, rules)
    found = []
    for case in cases:
        read = case.touches(facts)
        unread = None if read else case.unread
        found.append((case.start_s(facts) - start_s, unread or assess_bound(case.bound, read)))
    ends_s = [_ends_s(alone.hold_s, shift_s) for shift_s, alone in found]
    return Weighed(_latest(found), cases[ends_s.index(max(ends_s))])


def assessment(facts: HoldFacts, rules: HoldRules, known: Known | None) -> Assessment:
    """The model's answer as the facts stand, its readings counted.  Raises CoolingError."""
    return weighed(solved(facts, rules, known), facts, rules).found


def _ends_s(hold_s: float | None, start_s: float) -> float:
    return inf if hold_s is None else start_s + hold_s


def _latest(found: Sequence[tuple[float, Assessment]]) -> Assessment:
    """One assessment that is never cooler nor sooner over than any of these; each begins so many seconds later."""
    if len(found) == 1:
        ((_, alone),) = found
        return alone
    times = np.unique(np.concatenate([np.array(each.t_s) + shift_s for shift_s, each in found]))
    seen = [each.at(times - shift_s) for shift_s, each in found]
    hottest_c, low_c, high_c, rise_k, growth_um = (np.stack(each) for each in list(zip(*seen, strict=True))[:5])
    which, moment = hottest_c.argmax(axis=0), np.arange(len(times))
    grown = np.abs(growth_um).argmax(axis=0)
    holds = [None if each.hold_s is None else each.hold_s + shift_s for shift_s, each in found]
    outs = [None if each.take_out_s is None else each.take_out_s + shift_s for shift_s, each in found]
    return Assessment(
        ambient_c=max(each.ambient_c for _, each in found),
        limit_c=min(each.limit_c for _, each in found),
        touch_safe_s=max(each.touch_safe_s + shift_s for shift_s, each in found),
        hold_s=_last(holds),
        measure_ready_s=max(each.measure_ready_s + shift_s for shift_s, each in found),
        take_out_s=_last(outs),
        t_s=tuple(times.tolist()),
        hottest_c=tuple(hottest_c[which, moment].tolist()),
        low_c=tuple(low_c[which, moment].tolist()),
        high_c=tuple(high_c.max(axis=0).tolist()),
        rise_k=tuple(rise_k.max(axis=0).tolist()),
        growth_um=tuple(growth_um[grown, moment].tolist()),
        where=tuple(seen[one].where[at] for at, one in enumerate(which)),
    )


def _last(times: Sequence[float | None]) -> float | None:
    """The latest; None where one of them has no end."""
    known = [at_s for at_s in times if at_s is not None]
    return max(known) if len(known) == len(times) else None


def _outlines(facts: HoldFacts) -> tuple[Profile, ...]:
    """What it may look like.

    Nobody enters how thick a neck is before the flange.  That matters little while the flange is cool; but out of a
    holder that was heated again before it was, heat comes by the neck alone where only the nose is in water, and out of
    one that is hot all through anywhere.
    """
    found = outlines_of(facts.holder, facts.assembly)
    nose_alone = any(way_of(stay) is Way.SLEEVE or stay.wet_length_mm is not None for stay in facts.stays)
    if facts.body_unknown or facts.heats > (1 if nose_alone else _HOT_THROUGH):
        found += outlines_of(facts.holder, facts.assembly, collar=False)
    return found


def _as_solved(
    profile: Profile, facts: HoldFacts, rules: HoldRules, known: Known | None
) -> tuple[Profile, Heat, tuple[Stage, ...]]:
    length_mm = facts.length_mm or default_heated_mm(profile)
    heat = Heat(facts.temp_c or rules.temp_c, length_mm, _body_c(facts, rules))
    if facts.earlier and not facts.body_unknown:
        heat = heat._replace(body_c=None, left_k=_left_k(profile, facts, rules, known))
    start_s = left_coil_s(facts, rules.heating_s)
    return profile, heat, _stood(facts.stays, start_s, start_s - facts.heated_at_s, heat.length_mm, profile)


def _stood(
    stays: Sequence[Stay], start_s: float, heating_s: float, length_mm: float, profile: Profile
) -> tuple[Stage, ...]:
    """Where it stood since it left the coil, the last without end.  heating_s: how long that was after its scan."""
    stages: list[Stage] = []
    for stay in stays:
        since_s = max(stay.since_s - start_s, 0.0)
        # It may have left the coil as soon as it was scanned: then its heat went deeper before it left the station.
        longer_s = inf if stay.unwatched else 0.0 if stages else heating_s
        stage = Stage(way_of(stay), since_s, None, _wet_mm(stay, length_mm, profile), longer_s)
        if stages and stages[-1].start_s == since_s and stages[-1].longer_s == 0:
            stages.pop()
        if stages:
            before = stages[-1]
            if before._replace(start_s=since_s, longer_s=longer_s) == stage:
                stages[-1] = before._replace(longer_s=before.longer_s + longer_s)
                continue
            stages[-1] = before._replace(end_s=since_s)
        stages.append(stage)
    return tuple(stages)


def _left_k(
    profile: Profile, facts: HoldFacts, rules: HoldRules, known: Known | None
) -> tuple[tuple[float, float], ...]:
    """What the heatings before left in it, solved; of the shop's values the strictest that any of them had.

    Where a cutter went in or came out since, nobody knows how deep the other one sat: it is heated as deep as it may
    have been, and a sleeve whose length nobody entered wets nothing of it.
    """
    own_ambient_c = rules.room.ambient_c
    rules = rules.stricter(tuple(values for each in facts.earlier for values in each.began))
    built = facts.assembly.key if facts.assembly and profile.tool else None
    profiles, deepest_mm = [profile], default_heated_mm(profile)
    wet_mm = deepest_mm
    if any(each.cutter is None or each.cutter != built for each in facts.earlier):
        alike = [each for each in _outlines(facts) if each.segments == profile.segments]
        profiles = list(dict.fromkeys((profile, *alike, replace(profile, tool=None))))
        deepest_mm, wet_mm = max(facts.holder.insert_max_mm or 0.0, *map(default_heated_mm, profiles)), 0.0
    idle_s = [each.again_s + _on_the_coil_s(each.stays, each.lasted_s, rules) for each in facts.earlier[1:]]
    stays = tuple(replace(stay, since_s=stay.since_s - facts.heated_at_s) for stay in facts.stays)
    idle_s.append(facts.again_s + _on_the_coil_s(stays, inf, rules))
    found: list[Heated] = []
    for each, idle in zip(facts.earlier, idle_s, strict=True):
        length_mm = each.length_mm or deepest_mm
        body_c = None if found or each.body_c is None else max(each.body_c, rules.room.ambient_c)
        left_s = _on_the_coil_s(each.stays, each.lasted_s, rules)
        *stages, last = _stood(each.stays, left_s, left_s + each.again_s, min(length_mm, wet_mm), profile)
        last = last._replace(end_s=max(each.lasted_s - left_s, last.start_s))
        found.append(Heated(Heat(each.temp_c or rules.temp_c, length_mm, body_c), (*stages, last), idle))
    warmer_k = rules.room.ambient_c - own_ambient_c  # its air then, above the air its hold counts from
    return tuple((z_mm, k + warmer_k) for z_mm, k in left_k(profiles, found, rules.room, known or untaught()))


def _on_the_coil_s(stays: Sequence[Stay], lasted_s: float, rules: HoldRules) -> float:
    """How long after its scan it may have been heated; `stays` are by that, and `lasted_s` until the next."""
    left_s = stays[1].since_s if len(stays) > 1 and not stays[0].unwatched else lasted_s
    return min(left_s, rules.heating_s)


def _wet_mm(stay: Stay, length_mm: float, profile: Profile) -> float | None:
    """A sleeve whose length nobody entered wets no more than was heated; taken for a bath it would end holds early.

    And it goes round the nose: the flange's face stands on it, dry, however long the sleeve.
    """
    if way_of(stay) is not Way.SLEEVE:
        return stay.wet_length_mm
    flange_z_mm, _ = profile.flange_mm
    return min(length_mm if stay.wet_length_mm is None else stay.wet_length_mm, max(flange_z_mm - _DRY_MM, 0.0))


def _body_c(facts: HoldFacts, rules: HoldRules) -> float | None:
    """How warm the rest of the steel was: never colder than the shop, and no hotter than heat was ever put to it."""
    hottest_c = max(facts.temp_c or rules.temp_c, rules.temp_c)
    if facts.body_unknown:
        return hottest_c
    if facts.body_c is None:
        return None
    return min(max(facts.body_c, rules.room.ambient_c), hottest_c)
