"""What readings taught about one type of holder at one cooling place: heat level and film.

A normal distribution over ln(heat level) and ln(film), moved by each accepted reading as a Kalman filter
would; readings in order always give the same belief.  A reading the model cannot explain is questioned and
changes nothing until a second one confirms it.  Spreads before any reading: `cooling_unknowns`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum
from typing import NamedTuple

from kiosk.rules.cooling_mesh import Zone
from kiosk.rules.cooling_unknowns import FILM, HEAT_LEVEL, Way

ENOUGH_READINGS = 3  # before the computed bound alone may end a hold of this pair
_ALLOWED_SIGMAS = 3.0
_ALLOWED_K = 2.0  # closer than this is never questioned
_CONFIRMS_RATIO = 1.35  # two doubted readings tell the same story if their excesses differ by no more
_CONFIRMS_K = 6.0
_APART_S = 5.0  # two readings, not one written twice
_SAME_HEATING = (0.55, 1.8)  # share of the expected excess beyond which it was another heating, or none at all


class Instrument(Enum):
    """What read the temperature; the value is how the ledger writes it."""

    PROBE = "probe"
    INFRARED = "infrared"  # on a matt spot or tape; on bright steel it reads far too cold

    @property
    def noise(self) -> tuple[float, float]:
        """Standard deviation of one reading: K, and share of the excess over ambient."""
        return (1.5, 0.01) if self is Instrument.PROBE else (3.0, 0.03)

    def noise_k(self, excess_k: float) -> float:
        """Standard deviation of one reading."""
        base, share = self.noise
        return base + share * max(excess_k, 0.0)


class Verdict(Enum):
    """What a reading is worth; the value is how the ledger writes it."""

    AGREES = "agrees"
    QUESTIONED = "questioned"
    CONFIRMED = "confirmed"


@dataclass(frozen=True, slots=True)
class Prediction:
    """What the model expects a reading to show, around the belief it was made with.

    expected_c: hottest skin of the zone.  by_heat_k, by_film_k: K for a unit of ln(heat level), ln(film).
    other_sd_k: standard deviation from everything else.  spread_k: standard deviation from all that was not known
    at that moment, earlier readings of the same heat counted; None in lines from before those counted.
    """

    ambient_c: float
    expected_c: float
    by_heat_k: float
    by_film_k: float
    other_sd_k: float
    spread_k: float | None = None


@dataclass(frozen=True, slots=True)
class Lesson:
    """One reading with what was expected: all a belief needs to be replayed.  at_s: watched time."""

    at_s: float
    zone: Zone
    instrument: Instrument
    value_c: float
    prediction: Prediction

    @property
    def off_k(self) -> float:
        return self.value_c - self.prediction.expected_c


@dataclass(frozen=True, slots=True)
class Belief:
    """Mean and covariance of ln(heat level) and ln(film); what differs from heat to heat is not in it.

    readings: how many were accepted.  doubted: a questioned reading that waits for a second one.
    """

    way: Way
    heat: float
    film: float
    var_heat: float
    var_film: float
    cov: float = 0.0
    readings: int = 0
    doubted: Lesson | None = None

    @property
    def needs_reading(self) -> bool:
        """Whether a hold of this pair may end only with a reading."""
        return self.readings < ENOUGH_READINGS or self.doubted is not None

    def total(self) -> tuple[float, float, float]:
        """Variances of heat and film and their covariance for the next heat."""
        return (
            self.var_heat + HEAT_LEVEL.fresh**2,
            self.var_film + FILM[self.way].fresh ** 2,
            self.cov,
        )


class Learnt(NamedTuple):
    """A belief after a reading, and what the reading was worth."""

    belief: Belief
    verdict: Verdict


def prior(way: Way) -> Belief:
    """Before any reading of this pair."""
    return Belief(way, 0.0, 0.0, HEAT_LEVEL.learnt**2, FILM[way].learnt ** 2)


def judge(belief: Belief, lesson: Lesson) -> Verdict:
    """Whether the model can explain the reading, and if not, whether it confirms an earlier doubted one."""
    if abs(lesson.off_k) <= max(_ALLOWED_K, _ALLOWED_SIGMAS * math.sqrt(_judged_by(belief, lesson))):
        return Verdict.AGREES
    first = belief.doubted
    if first is None or abs(lesson.at_s - first.at_s) < _APART_S or lesson.off_k * first.off_k < 0:
        return Verdict.QUESTIONED
    cold = lesson.off_k < 0
    if cold and first.instrument is lesson.instrument is Instrument.INFRARED:
        return Verdict.QUESTIONED  # bright steel reads cold twice; a probe must say so
    if abs(lesson.off_k - first.off_k) <= _CONFIRMS_K or _alike(first, lesson):
        return Verdict.CONFIRMED
    return Verdict.QUESTIONED


def update(belief: Belief, lesson: Lesson) -> Learnt:
    """The belief after one more reading."""
    verdict = judge(belief, lesson)
    if verdict is Verdict.QUESTIONED:
        return Learnt(replace(belief, doubted=lesson), verdict)
    if verdict is Verdict.CONFIRMED and not is_such_a_heating(lesson):
        # Twice far from anything this pair can do: scanned in and never heated, or out of another coil.  True of
        # this holder; were it learnt, the next one that really is hot would be let go too early.
        return Learnt(replace(belief, doubted=None), verdict)
    if verdict is Verdict.CONFIRMED and belief.doubted is not None:
        # The model was off by more than it allowed: let the pair of readings move it further.
        first, wide = (
            belief.doubted,
            replace(
                belief, var_heat=4 * belief.var_heat, var_film=4 * belief.var_film, cov=4 * belief.cov, doubted=None
            ),
        )
        return Learnt(_moved(_moved(wide, first), lesson), verdict)
    return Learnt(replace(_moved(belief, lesson), doubted=None), verdict)


def replay(way: Way, lessons: Iterable[Lesson]) -> Belief:
    """The belief after readings in order."""
    belief = prior(way)
    for lesson in lessons:
        belief = update(belief, lesson).belief
    return belief


def is_such_a_heating(lesson: Lesson) -> bool:
    """Whether a reading, however far off, can still come of the heating and the cooling that were scanned."""
    expected_k = lesson.prediction.expected_c - lesson.prediction.ambient_c
    share = (lesson.value_c - lesson.prediction.ambient_c) / max(expected_k, 1.0)
    return expected_k < 10.0 or _SAME_HEATING[0] <= share <= _SAME_HEATING[1]


def _alike(first: Lesson, second: Lesson) -> bool:
    shares = [
        max(one.value_c - one.prediction.ambient_c, 1.0)
        / max(one.prediction.expected_c - one.prediction.ambient_c, 1.0)
        for one in (first, second)
    ]
    return max(shares) / min(shares) <= _CONFIRMS_RATIO


def _judged_by(belief: Belief, lesson: Lesson) -> float:
    """Variance of what a reading may be off by and still be believed."""
    seen = lesson.prediction
    if seen.spread_k is None:
        return _variance(belief, lesson)
    return float(seen.spread_k**2 + lesson.instrument.noise_k(seen.expected_c - seen.ambient_c) ** 2)


def _variance(belief: Belief, lesson: Lesson) -> float:
    var_heat, var_film, cov = belief.total()
    seen = lesson.prediction
    noise = lesson.instrument.noise_k(seen.expected_c - seen.ambient_c)
    return (
        seen.by_heat_k**2 * var_heat
        + 2 * seen.by_heat_k * seen.by_film_k * cov
        + seen.by_film_k**2 * var_film
        + seen.other_sd_k**2
        + noise**2
    )


def _moved(belief: Belief, lesson: Lesson) -> Belief:
    seen = lesson.prediction
    variance = _variance(belief, lesson)
    towards_heat = belief.var_heat * seen.by_heat_k + belief.cov * seen.by_film_k
    towards_film = belief.cov * seen.by_heat_k + belief.var_film * seen.by_film_k
    # The reading was predicted from the belief's own mean; what was learnt since the prediction is small.
    return replace(
        belief,
        heat=belief.heat + towards_heat * lesson.off_k / variance,
        film=belief.film + towards_film * lesson.off_k / variance,
        var_heat=belief.var_heat - towards_heat**2 / variance,
        var_film=belief.var_film - towards_film**2 / variance,
        cov=belief.cov - towards_heat * towards_film / variance,
        readings=belief.readings + 1,
    )
