"""What a reading is worth: whether the model can explain it, and how many of a pair were accepted.

A reading the model cannot explain is questioned and changes nothing until a second one confirms it.  A pair is a type
of holder at a cooling place; until enough of its readings were accepted only a reading ends its holds.  What accepted
readings teach about heat level and films: `lessons`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from kiosk.rules.cooling.mesh import Zone
from kiosk.rules.cooling.unknowns import FILM, HEAT_LEVEL, Way

ENOUGH_READINGS = 3  # before the computed bound alone may end a hold of this pair
_ALLOWED_SIGMAS = 3.0
_CONFIRMS_RATIO = 1.35  # two doubted readings tell the same story if their excesses differ by no more
_CONFIRMS_K = 6.0
_APART_S = 5.0  # two readings, not one written twice
PROBE_TOLERANCE_K = 2.5
"""Limit of error of a contact probe nobody looked up: a thermocouple of class 2 (IEC 60584-1; class 1 keeps 1.5 K)."""
_OF_TOLERANCE, _LEAST_SD_K = 0.6, 0.5  # a limit is 1.7 deviations (rectangular) less what contact and display add
_SAME_HEATING = (0.55, 1.8)  # share of the expected excess beyond which it was another heating, or none at all


class Instrument(Enum):
    """What read the temperature; the value is how the ledger writes it."""

    PROBE = "probe"
    INFRARED = "infrared"  # on a matt spot or tape; on bright steel it reads far too cold

    @property
    def noise(self) -> tuple[float, float]:
        """Standard deviation of one reading: K, and share of the excess over ambient."""
        return self.noise_within(PROBE_TOLERANCE_K)

    def noise_within(self, tolerance_k: float) -> tuple[float, float]:
        """The same of a probe whose limit of error is known; of infrared the spot errs, not the instrument."""
        if self is Instrument.INFRARED:
            return (3.0, 0.03)
        return (max(_OF_TOLERANCE * tolerance_k, _LEAST_SD_K), 0.01)

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
class FilmSlope:
    """How a reading hangs on the film of one way of cooling its holder went through, and at which place.

    by_k: K for a unit of ln(film).  about: what ln(film / nominal film) was taken for.
    """

    way: Way
    place: str | None
    by_k: float
    about: float


@dataclass(frozen=True, slots=True)
class Prediction:
    """What the model expects a reading to show.

    expected_c: hottest skin of the zone, after what was read before.  by_heat_k, by_film_k: K for a unit of ln(heat
    level), ln(film now).  other_sd_k: standard deviation from what no reading teaches.  Lines older than the rest
    have none of it: spread_k: standard deviation from all that was not known then.  usual_c: what the holder to
    expect before any reading of this heat shows.  about_heat: what its ln(heat level) was taken for.
    """

    ambient_c: float
    expected_c: float
    by_heat_k: float
    by_film_k: float
    other_sd_k: float
    spread_k: float | None = None
    usual_c: float | None = None
    about_heat: float = 0.0
    films: tuple[FilmSlope, ...] = ()


@dataclass(frozen=True, slots=True)
class Lesson:
    """One reading with what was expected: all that is needed to judge it and learn from it again.

    at_s: watched time, by the clock of kiosk `clock`.  way: of cooling where it stood.  type: of its holder.  heating:
    number of the line that began its heat; readings of one heat share what is new in it.  line: its own number.
    """

    at_s: float
    zone: Zone
    instrument: Instrument
    value_c: float
    prediction: Prediction
    way: Way = Way.FREE_AIR
    type: str = ""
    heating: int | None = None
    line: int = 0
    clock: str = ""

    @property
    def off_k(self) -> float:
        return self.value_c - self.prediction.expected_c

    @property
    def sd_k(self) -> float:
        """Standard deviation of what it may be off by."""
        seen = self.prediction
        if seen.spread_k is not None:
            spread = seen.spread_k**2
        else:
            heat, film = HEAT_LEVEL.whole, FILM[self.way].whole
            spread = (seen.by_heat_k * heat) ** 2 + (seen.by_film_k * film) ** 2 + seen.other_sd_k**2
        return math.sqrt(spread + self.instrument.noise_k(seen.expected_c - seen.ambient_c) ** 2)


@dataclass(frozen=True, slots=True)
class Standing:
    """How a pair stands.  readings: how many were accepted.  doubted: a questioned one that waits for a second."""

    readings: int = 0
    doubted: Lesson | None = None

    @property
    def needs_reading(self) -> bool:
        """Whether a hold of this pair may end only with a reading."""
        return self.readings < ENOUGH_READINGS or self.doubted is not None


class Taken(NamedTuple):
    """After a reading: how the pair stands, what the reading was worth, and which readings may be learnt from now."""

    standing: Standing
    verdict: Verdict
    accepted: tuple[Lesson, ...]


def judge(standing: Standing, lesson: Lesson) -> Verdict:
    """Whether the model can explain the reading, and if not, whether it confirms an earlier doubted one."""
    if abs(lesson.off_k) <= _ALLOWED_SIGMAS * lesson.sd_k:
        return Verdict.AGREES
    first = standing.doubted
    if first is None or first.heating != lesson.heating:
        return Verdict.QUESTIONED  # what another holder showed confirms nothing about this one
    if lesson.clock != first.clock or abs(lesson.at_s - first.at_s) < _APART_S:
        return Verdict.QUESTIONED  # perhaps one reading written twice; two clocks cannot say how far apart
    if lesson.off_k * first.off_k < 0:
        return Verdict.QUESTIONED
    cold = lesson.off_k < 0
    if cold and first.instrument is lesson.instrument is Instrument.INFRARED:
        return Verdict.QUESTIONED  # bright steel reads cold twice; a probe must say so
    if abs(lesson.off_k - first.off_k) <= _CONFIRMS_K or _alike(first, lesson):
        return Verdict.CONFIRMED
    return Verdict.QUESTIONED


def take(standing: Standing, lesson: Lesson) -> Taken:
    """How a pair stands after one more reading."""
    verdict = judge(standing, lesson)
    if verdict is Verdict.QUESTIONED:
        return Taken(Standing(standing.readings, lesson), verdict, ())
    if verdict is Verdict.CONFIRMED:
        if not is_such_a_heating(lesson):
            # Twice far from anything this pair can do: scanned in and never heated, or out of another coil.  True of
            # this holder; were it learnt, the next one that really is hot would be let go too early.
            return Taken(Standing(standing.readings), verdict, ())
        first = (standing.doubted,) if standing.doubted else ()
        return Taken(Standing(standing.readings + 1 + len(first)), verdict, (*first, lesson))
    return Taken(Standing(standing.readings + 1), verdict, (lesson,))


def replay(lessons: Iterable[Lesson]) -> tuple[Standing, tuple[Lesson, ...]]:
    """How a pair stands after readings in order, and which of them were accepted."""
    standing = Standing()
    accepted: list[Lesson] = []
    for lesson in lessons:
        standing, _, more = take(standing, lesson)
        accepted += more
    return standing, tuple(accepted)


def is_such_a_heating(lesson: Lesson) -> bool:
    """Whether a reading, however far off, can still come of the heating and the cooling that were scanned."""
    expected_k = lesson.prediction.expected_c - lesson.prediction.ambient_c
    if expected_k < 10.0:
        return True  # too little is left of it to tell
    share = (lesson.value_c - lesson.prediction.ambient_c) / expected_k
    return _SAME_HEATING[0] <= share <= _SAME_HEATING[1]


def _alike(first: Lesson, second: Lesson) -> bool:
    shares = [
        max(one.value_c - one.prediction.ambient_c, 1.0)
        / max(one.prediction.expected_c - one.prediction.ambient_c, 1.0)
        for one in (first, second)
    ]
    return max(shares) / min(shares) <= _CONFIRMS_RATIO
