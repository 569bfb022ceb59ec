"""A hold at one moment: what is left of it, what to read next, and what a reading means.

Never counts time before the holder can have left the coil, and never lets the bound end a hold while a reading is
still asked for.  All times are watched, and `rules` are the shop's values as they are set now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain
from math import isfinite

from kiosk.rules.belief import PROBE_TOLERANCE_K, Instrument, Lesson, Prediction, Standing, is_such_a_heating, judge
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import HeatCurve, HoldView, ProbeNext
from kiosk.rules.cooling.assessment import (
    Advice,
    Assessment,
    Touch,
    Zone,
    advise_bound,
    hot_after,
    predict_bound,
    reading_ends_hold,
)
from kiosk.rules.hold_cases import Case
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Reading, cooling_from_s, last_place, way_now
from kiosk.rules.shop_air import TOO_WARM_K, WARMER_K

_POINTS = 80
PROMISED = 0.01  # chance of something touchable being hot that a hold may end with
_NOW_S = 20.0  # by the time a probe is at hand it is that moment


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


def advice(facts: HoldFacts, longest: Case, now_s: float, tolerance_k: float = PROBE_TOLERANCE_K) -> Advice | None:
    """The best next reading at or after watched time `now_s`, its times watched ones; None where none is worth it.

    tolerance_k: limit of error of the shop's probe.
    """
    start_s = longest.start_s(facts)
    found = advise_bound(longest.bound, max(now_s - start_s, 0.0), longest.touches(facts), tolerance_k)
    if found is None or facts.reading_only:
        return None
    return replace(
        found, at_s=found.at_s + start_s, free_s=found.free_s + start_s, else_s=found.else_s + start_s
    )


def probe_next(found: Advice, hold: HoldView, now_s: float) -> ProbeNext | None:
    """An advice, its times watched ones, as it is said at watched time `now_s`; None once its time is over."""
    in_s = found.at_s - now_s
    free_s, else_s = found.free_s - now_s, found.else_s - now_s
    if else_s <= 0 or (hold.remaining_s is not None and hold.remaining_s <= 0):
        return None
    return ProbeNext(
        where=found.where.value,
        in_s=in_s if in_s > _NOW_S else 0.0,
        under_c=found.under_c,
        free_s=max(free_s, in_s, 0.0),
        else_s=max(else_s, in_s),
        again=hold.needs_reading,
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
        or is_doubted(facts)
        or bool(to_read_again(facts))
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
        air_too_warm=found.hold_s is None and _air_is_too_warm(facts, rules),
    )


def _air_is_too_warm(facts: HoldFacts, rules: HoldRules) -> bool:
    """Whether the shop was so warm since the hold began that nobody can say when anything is cool in it."""
    room = rules.stricter(facts.began).room
    return room.ambient_sd_k >= TOO_WARM_K or room.limit_c - room.ambient_c < WARMER_K


def not_computable(facts: HoldFacts, rules: HoldRules) -> HoldView:
    """A hold that cannot be worked out: as hot as it can be made, until it was read all over."""
    rules = rules.stricter(facts.began)
    temp_c = max(facts.temp_c or rules.temp_c, rules.temp_c)
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
        air_too_warm=_air_is_too_warm(facts, rules),
    )


def is_sound(found: Assessment) -> bool:
    """Whether every number of an assessment is one: a hold that rests on another must not end by it."""
    all_times = (found.touch_safe_s, found.hold_s, found.measure_ready_s, found.take_out_s)
    times = (at_s for at_s in all_times if at_s is not None)
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
    facts: HoldFacts, rules: HoldRules, cases: Sequence[Case], found: Assessment, standing: Standing, reading: Reading
) -> Verdict:
    """What a reading means before it is written down; its worth is told by the first of the cases.

    It ends a hold only if, taken as right within its instrument's noise and counted with all that is known, it leaves
    in every case a chance of at most 1 % that anything touchable is above the limit now or later.  Raises
    CoolingError.
    """
    expected = cases[0]
    since_s = max(reading.at_s - cooling_from_s(facts, rules), 0.0)
    zone, instrument = Zone(reading.where), Instrument(reading.instrument)
    places = last_place(facts)
    after_s = max(reading.at_s - expected.start_s(facts), 0.0)
    seen = predict_bound(expected.bound, zone, after_s, expected.touches(facts))
    seen = replace(seen, films=tuple(replace(film, place=places.get(film.way)) for film in seen.films))
    lesson = Lesson(
        reading.at_s, zone, instrument, reading.value_c, seen, way_now(facts), "", facts.heating,
        clock=facts.clock,
    )
    word = judge(standing, lesson)
    # Cold where it should be hot may be a dip nobody scanned: the skin comes back, and the model does not know.
    known = (word is Word.AGREES or is_such_a_heating(lesson)) and not facts.may_have_soaked
    ends = known and instrument is Instrument.PROBE and reading_ends_hold(found, since_s, zone, reading.value_c, word)
    ends = ends and all(_still_hot(case, facts, reading) <= PROMISED for case in cases)
    return Verdict(word, ends, not known, seen, found.now(since_s).where.read_at, found.rises_k(since_s))


def _still_hot(case: Case, facts: HoldFacts, reading: Reading) -> float:
    """The chance that anything touchable is above the limit as it is read or later, if the reading is right."""
    after_s = max(reading.at_s - case.start_s(facts), 0.0)
    shown = Touch(
        after_s,
        Zone(reading.where),
        Instrument(reading.instrument),
        reading.value_c,
        sure=True,
        tolerance_k=reading.tolerance_k,
    )
    return hot_after(case.bound, after_s, (*case.touches(facts), shown))


def is_doubted(facts: HoldFacts) -> bool:
    """Whether its last reading waits for a second: where it goes and what others show meanwhile explains nothing."""
    return bool(facts.readings) and facts.readings[-1].verdict == Word.QUESTIONED.value


def to_read_again(facts: HoldFacts) -> tuple[str, ...]:
    """Spots whose last reading was a slip: until a probe has said there what is true, no time ends the hold.

    So nobody is let go sooner by withdrawing a reading that was right.
    """
    owed: dict[str, None] = {}
    for slip in facts.withdrawn:
        if not any(
            each.line > slip.line
            and each.where == slip.where
            and each.instrument == Instrument.PROBE.value
            and each.verdict != Word.QUESTIONED.value
            for each in facts.readings
        ):
            owed[slip.where] = None
    return tuple(owed)


def length_error_um(facts: HoldFacts, rules: HoldRules, found: Assessment, now_s: float) -> float:
    """How much too long it would be measured now, µm."""
    return found.length_error_um(now_s - cooling_from_s(facts, rules))


