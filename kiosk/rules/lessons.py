"""What accepted readings taught a shop: its heat level and films, and what each type of holder has of its own.

Every reading speaks of the heat level and of the film of each stage its holder passed.  What types share (the unit,
the air, the water) is learnt from all of them together; the rest from a type's own readings.  All normal and linear
about what was expected when the reading was taken, so that the order of readings does not matter and a line holds
all there is to replay.  It must never learn what is new in every heat: readings of one heat share that, and a
hundred of them say little more than ten.

A shop changes: a sleeve scales up, a nozzle is moved.  What an earlier heat said fades with every heat read after it,
so that it says half as much once the type was read so often again, or the shop; what fades gives way to what is
expected before any reading.  Where the latest heats of a type are warmer or colder, together, than those before led to
expect, the earlier ones are of another shop and hardly count.  Source: discount factors and cumulative Bayes factors
(West and Harrison 1997, 6.3 and 11.5).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from kiosk.rules.belief import FilmSlope, Lesson
from kiosk.rules.cooling.mesh import Floats
from kiosk.rules.cooling.unknowns import COMMON, FILM, HEAT_LEVEL, SKIN, WRONG, Way

_WAYS = tuple(Way)
_MOST_OF_A_HEAT = 12  # the latest readings of one heat that are learnt from
_LEAST_K = 3.0  # of excess, for a logarithm to mean anything
_HALF_OF_TYPE, _HALF_OF_SHOP = 14, 200  # heats read since, of the same type and of any, after which half is left
_LEAST_LEFT = 0.002  # less is not worth the time
_CUTS = (2, 3, 4, 6, 8, 12, 16, 24)  # so many latest heats are put to all before them
_CHANGED_SIGMAS = 3.0  # where they differ by more, the shop did
_LEFT_OF_CHANGED = 0.1

Column = tuple[Way, str | None] | None  # None: heat level


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What is expected of the next heat of a type: ln(heat level), then ln(film / nominal film) by `Way`.

    mean: (1 + ways,) off what is expected before any reading.  cov: (1 + ways, 1 + ways) of what stays the same from
    heat to heat.
    """

    mean: Floats
    cov: Floats

    def film_var_share(self, way: Way) -> float:
        """How much of the variance of a film before any reading is left."""
        at = 1 + _WAYS.index(way)
        return float(self.cov[at, at]) / FILM[way].learnt ** 2


def untaught() -> Known:
    """Before any reading."""
    learnt = np.array([HEAT_LEVEL.learnt, *(FILM[way].learnt for way in _WAYS)])
    return Known(np.zeros(1 + len(_WAYS)), np.diag(learnt**2))


@dataclass(frozen=True, slots=True, eq=False)
class _Information:
    """What one heat says about its type.  precision: (k, k) and pull: (k,) in the order of `columns`."""

    columns: tuple[Column, ...]
    precision: Floats
    pull: Floats

    def faded(self, left: float) -> _Information:
        """So much of it."""
        return _Information(self.columns, self.precision * left, self.pull * left)


class Heats:
    """Accepted readings, heat by heat, of all types of a shop.  Grows as readings come in."""

    def __init__(self, lessons: Iterable[Lesson] = ()) -> None:
        self._heats: dict[tuple[str, int], list[Lesson]] = {}
        self._said: dict[tuple[str, int], tuple[int, _Information]] = {}
        for lesson in lessons:
            self.add(lesson)

    def add(self, lesson: Lesson) -> None:
        heating = lesson.heating if lesson.heating is not None else -lesson.line
        self._heats.setdefault((lesson.type, heating), []).append(lesson)

    def known(self, of_type: str, places: Mapping[Way, str | None], before: int | None = None) -> Known:
        """What is expected of a heat of a type that goes through some places.

        before: number of the line that began it; only what was read earlier counts, so that a running hold is the
        same whenever it is worked out.
        """
        read: list[tuple[int, tuple[str, int], list[Lesson]]] = []
        for key, lessons in self._heats.items():
            if earlier := [each for each in lessons if before is None or each.line < before]:
                read.append((max(each.line for each in earlier), key, earlier))
        by_type: dict[str, list[_Information]] = {}
        own: list[_Information] = []  # not faded
        latest_first = sorted(read, key=lambda heat: heat[:2], reverse=True)
        for since, (_, key, lessons) in enumerate(latest_first):
            heats = by_type.setdefault(key[0], [])
            left = 0.5 ** (len(heats) / _HALF_OF_TYPE + since / _HALF_OF_SHOP)
            if left < _LEAST_LEFT:
                continue
            heats.append(self._of_heat(key, lessons).faded(left))
            if key[0] == of_type:
                own.append(self._of_heat(key, lessons))
        faded = by_type.pop(of_type, [])
        precision, pull = np.linalg.inv(untaught().cov * COMMON), np.zeros(1 + len(_WAYS))
        for heats in by_type.values():
            columns, said, towards = _together(heats, ())
            onto, apart = _onto(columns), np.diag(_own_var(columns))
            inner = np.linalg.inv(np.eye(len(columns)) + said @ apart)
            precision = precision + onto.T @ inner @ said @ onto
            pull = pull + onto.T @ inner @ towards
        shared = np.linalg.inv((precision + precision.T) / 2)
        here: tuple[Column, ...] = (None, *((way, places.get(way)) for way in _WAYS))
        columns, said, towards = _together(faded, here)
        onto = _onto(columns)
        before_own = np.asarray(np.linalg.inv(onto @ shared @ onto.T + np.diag(_own_var(columns))), np.float64)
        expected: Floats = before_own @ (onto @ (shared @ pull))
        since = _since_a_change(own, faded, columns, before_own, expected)
        if since < len(own):
            changed = [heat.faded(_LEFT_OF_CHANGED) for heat in faded[since:]]
            _, said, towards = _together([*faded[:since], *changed], columns)
        cov = np.linalg.inv(before_own + said)
        mean = cov @ (expected + towards)
        wanted = [columns.index(column) for column in here]
        cov = cov[np.ix_(wanted, wanted)]
        return Known(mean[wanted], (cov + cov.T) / 2)

    def _of_heat(self, key: tuple[str, int], lessons: Sequence[Lesson]) -> _Information:
        kept = self._said.get(key)
        if kept is None or kept[0] != len(lessons):
            kept = (len(lessons), _said_by(lessons[-_MOST_OF_A_HEAT:]))
            self._said[key] = kept
        return kept[1]


def _slopes(lesson: Lesson) -> tuple[FilmSlope, ...]:
    """By film; a line from before they were kept has only that of the place it stood at."""
    seen = lesson.prediction
    return seen.films or (FilmSlope(lesson.way, None, seen.by_film_k, math.log(SKIN)),)


def _said_by(lessons: Sequence[Lesson]) -> _Information:
    """What the readings of one heat say about what stays the same from heat to heat."""
    columns: tuple[Column, ...] = (None, *dict.fromkeys((s.way, s.place) for each in lessons for s in _slopes(each)))
    slope, off = np.zeros((len(lessons), len(columns))), np.zeros(len(lessons))
    shared, alone = np.zeros(len(lessons)), np.zeros(len(lessons))
    for row, lesson in enumerate(lessons):
        seen = lesson.prediction
        usual_k = max((seen.usual_c if seen.usual_c is not None else seen.expected_c) - seen.ambient_c, _LEAST_K)
        shown_k = max(lesson.value_c - seen.ambient_c, _LEAST_K, 0.2 * usual_k)
        slope[row, 0] = seen.by_heat_k / usual_k
        off[row] = math.log(shown_k / usual_k) + slope[row, 0] * seen.about_heat
        for film in _slopes(lesson):
            at = columns.index((film.way, film.place))
            slope[row, at] = film.by_k / usual_k
            off[row] += slope[row, at] * (film.about - math.log(SKIN))
        shared[row] = seen.other_sd_k / usual_k
        noise = lesson.instrument.noise_k(usual_k) / min(usual_k, shown_k)
        alone[row] = noise**2 / _trust(lesson)
    fresh = np.diag([_fresh_var(column) for column in columns])
    spread = slope @ fresh @ slope.T + np.outer(shared, shared) + np.diag(alone)
    weighed = np.linalg.solve(spread, np.concatenate([slope, off[:, None]], axis=1))
    return _Information(columns, slope.T @ weighed[:, :-1], slope.T @ weighed[:, -1])


def _trust(lesson: Lesson) -> float:
    """The chance that a reading is right: one that is far off, though explicable, is more likely a wrong one."""
    seen = lesson.prediction
    right = math.exp(-0.5 * (lesson.off_k / lesson.sd_k) ** 2) / (lesson.sd_k * math.sqrt(2 * math.pi))
    excess_k = max(lesson.value_c - seen.ambient_c, _LEAST_K)
    wrong = 1.0 / (excess_k * math.log(400.0 / _LEAST_K))
    return max((1 - WRONG) * right / ((1 - WRONG) * right + WRONG * wrong), 1e-6)


def _together(heats: Sequence[_Information], also: Sequence[Column]) -> tuple[list[Column], Floats, Floats]:
    """Columns of all, and the sums of what was said in their order."""
    alike: dict[tuple[Column, ...], list[_Information]] = {}
    for heat in heats:
        alike.setdefault(heat.columns, []).append(heat)
    columns: list[Column] = list(dict.fromkeys([*also, *(column for each in alike for column in each)]))
    precision, pull = np.zeros((len(columns), len(columns))), np.zeros(len(columns))
    for these, some in alike.items():
        at = [columns.index(column) for column in these]
        precision[np.ix_(at, at)] += np.sum([heat.precision for heat in some], axis=0)
        pull[at] += np.sum([heat.pull for heat in some], axis=0)
    return columns, precision, pull


def _since_a_change(
    own: Sequence[_Information],
    faded: Sequence[_Information],
    columns: Sequence[Column],
    before: Floats,
    expected: Floats,
) -> int:
    """How many of a type's heats, latest first, are of the shop as it is now; all of them where it did not change.

    own, faded: the same heats, whole and as they count.  before, expected: precision and pull before any of them.
    Asked along one direction only, everything warmer at once: that is what hangs on it, and all that one reading of a
    heat can tell.
    """
    warmer = np.array([_spread_at(column)[0] * (1.0 if column is None else -1.0) for column in columns])
    furthest, since = _CHANGED_SIGMAS, len(own)
    for cut in (cut for cut in _CUTS if cut < len(own)):
        _, said, towards = _together(own[:cut], columns)
        _, said_before, towards_before = _together(faded[cut:], columns)
        cov = np.linalg.inv(before + said_before)
        off = warmer @ (towards - said @ (cov @ (expected + towards_before)))
        sigmas = abs(float(off)) / math.sqrt(float(warmer @ (said + said @ cov @ said) @ warmer) or math.inf)
        if sigmas > furthest:
            furthest, since = sigmas, cut
    return since


def _spread_at(column: Column) -> tuple[float, float]:
    spread = HEAT_LEVEL if column is None else FILM[column[0]]
    return spread.learnt, spread.fresh


def _own_var(columns: Sequence[Column]) -> list[float]:
    return [(1 - COMMON) * _spread_at(column)[0] ** 2 for column in columns]


def _fresh_var(column: Column) -> float:
    return _spread_at(column)[1] ** 2


def _onto(columns: Sequence[Column]) -> Floats:
    """(columns, 1 + ways) which of what is shared each column has a part in."""
    onto = np.zeros((len(columns), 1 + len(_WAYS)))
    for row, column in enumerate(columns):
        onto[row, 0 if column is None else 1 + _WAYS.index(column[0])] = 1.0
    return onto
