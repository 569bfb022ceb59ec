"""A hold: the facts the ledger keeps about one heating, put to the cooling model.

The facts are what was seen (when it was heated, where it stood since, what was read); nothing in them was
computed, so that a better model needs no change of the ledger.  Never counts time before the holder can have
left the coil, and never lets the bound end a hold while a reading is still asked for.  All times are watched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain
from math import inf, isfinite

from kiosk.rules.assembly import Assembly, Holder
from kiosk.rules.belief import Instrument, Lesson, Prediction, Standing, is_such_a_heating, judge
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import HeatCurve, HoldView
from kiosk.rules.cooling.assessment import (
    Advice,
    Assessment,
    Heat,
    Room,
    Stage,
    Touch,
    Way,
    Zone,
    advise_bound,
    assess_bound,
    bound_of,
    default_heated_mm,
    hot_after,
    predict_bound,
    reading_ends_hold,
)
from kiosk.rules.cooling.bound import Bound
from kiosk.rules.lessons import Known
from kiosk.rules.outline import Profile, outlines_of

_POINTS = 80
PROMISED = 0.01  # chance of something touchable being hot that a hold may end with
_AT = "at"


@dataclass(frozen=True, slots=True)
class Stay:
    """Where it stood from `since_s` on.  `way` None: not a cooling place, or nowhere known: free air."""

    place: str | None
    since_s: float
    way: str | None = None
    wet_length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """A thermometer's word.  where: nose, flange, shank.  instrument: probe, infrared."""

    at_s: float
    where: str
    value_c: float
    instrument: str
    verdict: str


@dataclass(frozen=True, slots=True)
class HeatValues:
    """The shop's values at one moment, named as its settings are."""

    temp_c: float
    ambient_c: float
    limit_c: float
    heating_s: float
    length_tolerance_um: float

    def stricter(self, other: HeatValues) -> HeatValues:
        """For each value the one that holds longer."""
        return HeatValues(
            max(self.temp_c, other.temp_c),
            max(self.ambient_c, other.ambient_c),
            min(self.limit_c, other.limit_c),
            max(self.heating_s, other.heating_s),
            min(self.length_tolerance_um, other.length_tolerance_um),
        )


@dataclass(frozen=True, slots=True)
class HoldFacts:
    """One heating as the ledger saw it.

    body_unknown: its body was as warm as a heating can have made it.  began: the shop's strictest values since it was
    heated, None for a line older than they are.  heating: number of the line that began it.  watched: its times are
    of the clock that counts now; of another's nothing can be subtracted.
    """

    holder: Holder
    assembly: Assembly | None
    heated_at_s: float
    heated_utc_s: float
    temp_c: float | None  # None: not known
    length_mm: float | None
    stays: tuple[Stay, ...]
    readings: tuple[Reading, ...] = ()
    body_c: float | None = None
    reading_only: bool = False
    gaps: int = 0
    body_unknown: bool = False
    began: HeatValues | None = None
    heating: int | None = None
    watched: bool = True


@dataclass(frozen=True, slots=True)
class HoldRules:
    """The shop's values a hold depends on.  heating_s: how long after the scan it may still be heated."""

    room: Room
    temp_c: float
    heating_s: float = 60.0

    def stricter(self, began: HeatValues | None) -> HoldRules:
        """For each value the one that holds longer: as it is set now, or as it was since the hold began."""
        if began is None:
            return self
        room = self.room
        now = HeatValues(self.temp_c, room.ambient_c, room.limit_c, self.heating_s, room.tolerance_um)
        kept = now.stricter(began)
        room = room._replace(
            ambient_c=kept.ambient_c, limit_c=kept.limit_c, tolerance_um=kept.length_tolerance_um
        )
        return HoldRules(room, kept.temp_c, kept.heating_s)

    def holds_as_long_as(self, other: HoldRules) -> bool:
        """Whether no value of these lets a hold go sooner than the other ones would."""
        room = other.room
        values = HeatValues(other.temp_c, room.ambient_c, room.limit_c, other.heating_s, room.tolerance_um)
        return self.stricter(values) == self


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a new reading means: its worth, whether it ends the hold, and where it is hottest by the model.

    strange: nothing that was scanned explains it; only `cool_all_over` can then end the hold.
    """

    word: Word
    ends: bool
    strange: bool
    prediction: Prediction
    hottest_at: Zone
    rises_k: float


def cooling_from_s(facts: HoldFacts, rules: HoldRules) -> float:
    """When it left the coil at the latest: as it left the station, but no later than `heating_s` after the scan."""
    left_s = facts.stays[1].since_s if len(facts.stays) > 1 else float("inf")
    return min(left_s, facts.heated_at_s + rules.heating_s)


def pair(holder: Holder, place: str | None) -> str:
    """The name under which readings of this type of holder at this place are counted."""
    outline = (holder.coupling, holder.bore_mm, holder.nose_mm, holder.projection_mm)
    return " ".join(str(part) for part in (*outline, _AT, place or "nowhere"))


def type_of(pair_name: str) -> str:
    """The type of holder in the name of a pair."""
    return pair_name.split(f" {_AT} ")[0]


def last_place(facts: HoldFacts) -> dict[Way, str | None]:
    """The latest place of each way of cooling it went through; the last one is where it is now."""
    return {_way(stay): stay.place for stay in facts.stays}


def way_now(facts: HoldFacts) -> Way:
    return _way(facts.stays[-1])


def solved(facts: HoldFacts, rules: HoldRules, known: Known | None) -> Bound:
    """The hold's holder solved, ready for `assess_bound`; of all the book leaves open, the one that is hot longest.

    Raises CoolingError where it cannot be bounded.
    """
    outlines = outlines_of(facts.holder, facts.assembly)
    found = [bound_of(*_case(outline, facts, rules), rules.room, known) for outline in outlines]
    return found[0] if len(found) == 1 else max(found, key=_hold_s)


def _hold_s(bound: Bound) -> float:
    """How long a hold lasts before anything was read."""
    hold_s = assess_bound(bound).hold_s
    return inf if hold_s is None else hold_s


def assessment(facts: HoldFacts, rules: HoldRules, known: Known | None) -> Assessment:
    """The model's answer as the facts stand, its readings counted.  Raises CoolingError."""
    return assess_bound(solved(facts, rules, known), touches(facts, rules))


def touches(facts: HoldFacts, rules: HoldRules) -> tuple[Touch, ...]:
    """Readings of this heat that count for it: those that were believed, and the doubted one a second confirmed.

    What was read while it may still have been heated says nothing about how it cools.
    """
    if facts.reading_only:
        return ()
    start_s = cooling_from_s(facts, rules)
    counted: list[Reading] = []
    doubted: list[Reading] = []
    for reading in facts.readings:
        if reading.verdict == Word.QUESTIONED.value:
            doubted = [reading]
            continue
        counted += doubted if reading.verdict == Word.CONFIRMED.value else []
        counted.append(reading)
        doubted = []
    return tuple(
        Touch(reading.at_s - start_s, Zone(reading.where), Instrument(reading.instrument), reading.value_c)
        for reading in counted
        if reading.at_s > start_s
    )


def advice(facts: HoldFacts, rules: HoldRules, bound: Bound, now_s: float) -> Advice | None:
    """The best next reading at or after watched time `now_s`, its times watched ones; None where none is worth it."""
    start_s = cooling_from_s(facts, rules)
    found = advise_bound(bound, max(now_s - start_s, 0.0), touches(facts, rules))
    if found is None or facts.reading_only:
        return None
    return replace(
        found, at_s=found.at_s + start_s, free_s=found.free_s + start_s, else_s=found.else_s + start_s
    )


def view(facts: HoldFacts, rules: HoldRules, found: Assessment, standing: Standing, now_s: float) -> HoldView:
    """The hold at watched time `now_s`."""
    since_s = now_s - cooling_from_s(facts, rules)
    now = found.now(since_s)
    needs_reading = (
        facts.reading_only
        or facts.stays[-1].place is None  # nobody knows what it stands in, so no time is enough
        or found.hold_s is None
        or standing.needs_reading
    )
    out_s = found.take_out_s
    return HoldView(
        hottest_c=now.hottest_c,
        low_c=now.low_c,
        high_c=now.high_c,
        where=now.where.read_at.value,
        remaining_s=None if found.hold_s is None else max(0.0, found.hold_s - since_s),
        measure_in_s=max(0.0, found.measure_ready_s - since_s),
        take_out_in_s=None if out_s is None else max(0.0, out_s - since_s),
        needs_reading=needs_reading,
        gap=facts.gaps > 0,
        since_utc_s=facts.heated_utc_s,
        heating=facts.heating,
    )


def not_computable(facts: HoldFacts, rules: HoldRules) -> HoldView:
    """A hold that cannot be worked out: as hot as it can be made, until it was read all over."""
    temp_c = max(facts.temp_c or 0.0, rules.temp_c)
    return HoldView(
        hottest_c=temp_c,
        low_c=rules.room.ambient_c,
        high_c=temp_c,
        where=Zone.NOSE.read_at.value,
        remaining_s=None,
        measure_in_s=None,
        needs_reading=True,
        gap=facts.gaps > 0,
        since_utc_s=facts.heated_utc_s,
        heating=facts.heating,
    )


def is_sound(found: Assessment) -> bool:
    """Whether every number of an assessment is one: a hold that rests on another must not end by it."""
    times = (found.touch_safe_s, found.hold_s or 0.0, found.measure_ready_s, found.take_out_s or 0.0)
    curves = (found.t_s, found.hottest_c, found.low_c, found.high_c, found.rise_k, found.growth_um)
    return all(map(isfinite, chain(times, *curves)))


def curve(
    facts: HoldFacts, rules: HoldRules, found: Assessment, now_s: float, whole: bool = False
) -> HeatCurve:
    """The hold as a plot, from heating to a little after its end; `whole`: at least to `now_s` and every reading."""
    end_s = 1.15 * max(found.hold_s or found.t_s[-1], 60.0)
    if whole:
        last_s = max([now_s, *(reading.at_s for reading in facts.readings)])
        end_s = max(end_s, 1.05 * (last_s - cooling_from_s(facts, rules)))
    times = [end_s * step / (_POINTS - 1) for step in range(_POINTS)]
    points = []
    for at_s in times:
        now = found.now(at_s)
        points.append((at_s, now.hottest_c, now.low_c, now.high_c))
    start_s = cooling_from_s(facts, rules)
    readings = tuple((reading.at_s - start_s, reading.value_c) for reading in facts.readings)
    return HeatCurve(tuple(points), readings, found.limit_c, now_s - start_s)


def verdict(
    facts: HoldFacts, rules: HoldRules, bound: Bound, found: Assessment, standing: Standing, reading: Reading
) -> Verdict:
    """What a reading means before it is written down.

    It ends a hold only if, taken as right within its instrument's noise and counted with all that is known, it leaves
    a chance of at most 1 % that anything touchable is above the limit now or later.  Raises CoolingError.
    """
    since_s = max(reading.at_s - cooling_from_s(facts, rules), 0.0)
    zone, instrument = Zone(reading.where), Instrument(reading.instrument)
    places = last_place(facts)
    seen = predict_bound(bound, zone, since_s, touches(facts, rules))
    seen = replace(seen, films=tuple(replace(film, place=places.get(film.way)) for film in seen.films))
    lesson = Lesson(
        reading.at_s, zone, instrument, reading.value_c, seen, way_now(facts), "", facts.heating
    )
    word = judge(standing, lesson)
    # Cold where it should be hot may be a dip nobody scanned: the skin comes back, and the model does not know.
    known = word is Word.AGREES or is_such_a_heating(lesson)
    ends = known and instrument is Instrument.PROBE and reading_ends_hold(found, since_s, zone, reading.value_c, word)
    if ends:
        shown = Touch(since_s, zone, instrument, reading.value_c, sure=True)
        ends = hot_after(bound, since_s, (*touches(facts, rules), shown)) <= PROMISED
    return Verdict(word, ends, not known, seen, found.now(since_s).where.read_at, found.rises_k(since_s))


SOAK_S = 300.0  # between the first and the last cool reading: heat from inside would have come out by then
_FRESH_S = 1200.0


def cool_all_over(readings: Sequence[Reading], limit_c: float, now_s: float) -> float | None:
    """Whether probe readings alone prove a holder cool of which nobody knows when it was heated.

    Nose, flange and shank must each be at or under the limit by their last reading, the last of them `SOAK_S`
    after the first.  0: proven.  More: seconds until the nose is to be read again.  None: a place is still to be
    read, or too warm.
    """
    last: dict[str, Reading] = {}
    first_s = None
    for reading in sorted(readings, key=lambda reading: reading.at_s):
        if reading.instrument != Instrument.PROBE.value or now_s - reading.at_s > _FRESH_S:
            continue
        if reading.value_c > limit_c:
            last, first_s = {}, None  # what was read before it proves nothing any more
            continue
        first_s = reading.at_s if first_s is None else first_s
        last[reading.where] = reading
    if first_s is None or last.keys() < {"nose", "flange", "shank"}:
        return None
    return max(0.0, SOAK_S - (max(reading.at_s for reading in last.values()) - first_s))


def length_error_um(facts: HoldFacts, rules: HoldRules, found: Assessment, now_s: float) -> float:
    """How much too long it would be measured now, µm."""
    return found.length_error_um(now_s - cooling_from_s(facts, rules))


def _way(stay: Stay) -> Way:
    return Way(stay.way) if stay.way else Way.FREE_AIR


def _case(
    profile: Profile, facts: HoldFacts, rules: HoldRules
) -> tuple[Profile, Heat, tuple[Stage, ...]]:
    length_mm = facts.length_mm or default_heated_mm(profile)
    heat = Heat(facts.temp_c or rules.temp_c, length_mm, _body_c(facts, rules))
    start_s = cooling_from_s(facts, rules)
    stages: list[Stage] = []
    for stay in facts.stays:
        since_s = max(stay.since_s - start_s, 0.0)
        stage = Stage(_way(stay), since_s, None, _wet_mm(stay, heat))
        if stages and stages[-1].start_s == since_s:
            stages.pop()
        if stages:
            if stages[-1]._replace(start_s=since_s) == stage:
                continue
            stages[-1] = stages[-1]._replace(end_s=since_s)
        stages.append(stage)
    return profile, heat, tuple(stages)


def _wet_mm(stay: Stay, heat: Heat) -> float | None:
    """A sleeve whose length nobody entered wets no more than was heated; taken for a bath it would end holds early."""
    if stay.wet_length_mm is None and _way(stay) is Way.SLEEVE:
        return heat.length_mm
    return stay.wet_length_mm


def _body_c(facts: HoldFacts, rules: HoldRules) -> float | None:
    """How warm the rest of the steel was: never colder than the shop, and no hotter than heat was ever put to it."""
    hottest_c = max(facts.temp_c or 0.0, rules.temp_c)
    if facts.body_unknown:
        return hottest_c
    if facts.body_c is None:
        return None
    return min(max(facts.body_c, rules.room.ambient_c), hottest_c)
