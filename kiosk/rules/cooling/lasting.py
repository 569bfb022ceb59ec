"""How long skin stays hot: when it was last above a limit, which of several stays of unknown length keeps it so, and
at which moments that is looked at.

A holder that may have gone on standing somewhere for longer than was counted is any of many: `taken` puts a few in
their place that are together warmer than all of them (`flow.Longer`), `longest` says which of these is hot last.
It must never leave one out that is hot for longer by more than what they are warmer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from kiosk.rules.cooling.flow import Course, Courses, Longer, Piece
from kiosk.rules.cooling.mesh import Floats
from kiosk.rules.cooling.stand import Stage

# On every excess shown or judged: this grid and the reference's differ by up to 1 % of it.
GUARD = 1.01
PER_PIECE = 24
HORIZON_S = 60_000.0
_ROUND_S = 0.5  # a step of the reference solution
_LAST, _EARLIER, _LEAST = 60, 42, 6  # moments of the last stage; of those before it together, and of each at least
_PARTS = 4
_SHARES = tuple((part / _PARTS) ** 3 for part in range(_PARTS + 1))  # heat goes deeper fast at first
_WITHOUT_END_S = (0.0, 1.0, 6.0, 20.0, 60.0, 150.0, 400.0, 1000.0)


def last_above_s(course: Course, limit_k: float) -> float:
    """When the skin was last more than `limit_k` over its ambient, seconds since heating; 0 if it never was."""
    for piece in reversed(course.pieces):
        times = _looked_at_s(piece)
        over = np.flatnonzero(piece.skin(times).max(axis=0) > limit_k)
        if len(over):
            at = over[-1]
            if at + 1 == len(times):
                return float(times[at])
            fine = np.linspace(times[at], times[at + 1], 25)
            still = np.flatnonzero(piece.skin(fine).max(axis=0) > limit_k)
            return float(fine[min(still[-1] + 1, 24)] if len(still) else fine[-1])
    return 0.0


def _looked_at_s(piece: Piece) -> Floats:
    """Moments of a piece at which skin may be above a limit."""
    long_s = min(piece.end_s - piece.start_s, HORIZON_S)
    return np.asarray(piece.start_s + np.append(0.0, _spread_out(0.25, long_s, 2 * PER_PIECE)), np.float64)


@lru_cache(maxsize=512)
def _spread_out(first_s: float, long_s: float, count: int) -> Floats:
    """So many moments up to `long_s`, dense at first.  Stages and tangents of many holders are equally long."""
    found = np.geomspace(min(first_s, long_s), long_s, count)
    found.flags.writeable = False
    return found


def taken(stages: Sequence[Stage]) -> tuple[tuple[Stage, ...], ...]:
    """All that is solved in place of stages of which the first that may have been longer is not known to a second.

    Where others may have been longer too, they are as warm as ever they may have been.
    """
    at = next((at for at, stage in enumerate(stages[:-1]) if stage.longer_s > 0), None)
    if at is None or any(stage.taken for stage in stages):
        return (tuple(stages),)
    most_s = stages[at].longer_s
    without_end = most_s > _WITHOUT_END_S[-1]
    moments = _WITHOUT_END_S if without_end else tuple(most_s * share for share in _SHARES)
    spans = zip((moments[0], *moments[:-1]), moments, (*moments[1:], math.inf if without_end else most_s), strict=True)
    return tuple((*stages[:at], stages[at]._replace(taken=Longer(*span)), *stages[at + 1 :]) for span in spans)


def other_ends(stages: Sequence[Stage]) -> tuple[tuple[Stage, ...], ...]:
    """The same with the shortest and with the longest of the stays that may have been where another was taken.

    None where none was, or one without end.
    """
    for stage in stages:
        if stage.taken is not None and math.isfinite(stage.longer_s):
            first, *_, last = taken([each._replace(taken=None) for each in stages])
            return tuple(each for each in (first, last) if each != tuple(stages))
    return ()


def longest(courses: Courses, limit_k: float) -> int:
    """Which of these has skin above the limit last."""
    each = courses.each()
    for piece in reversed(courses.pieces):
        over = piece.skin(_looked_at_s(piece)).max(axis=-2) > limit_k
        if over.any():  # only those that are above it at the last of these moments can be the last ones
            last = np.flatnonzero(over[:, np.flatnonzero(over.any(axis=0))[-1]]).tolist()
            return max(last, key=lambda at: last_above_s(each[at], limit_k))
    return 0


def touch_safe_of(course: Course, limit_k: float) -> float:
    """When the skin was last above a limit, guarded and rounded up to a second, seconds since heating."""
    above_s = last_above_s(course, limit_k / GUARD)
    return float(math.ceil(above_s + _ROUND_S)) if above_s else 0.0


def grid(course: Course, limit_k: float, tolerance_um: float) -> Floats:
    """Moments worth looking at, seconds, until it is well under the limit and measurable."""
    parts = [np.zeros(1)]
    for piece in course.pieces:
        if math.isinf(piece.end_s):
            marks = piece.start_s + _spread_out(30.0, HORIZON_S, 60)
            quiet = (GUARD * course.hottest(marks) < 0.3 * limit_k) & (
                np.abs(course.growth_um(marks)) < 0.9 * tolerance_um
            )
            long_s, count = (marks[int(quiet.argmax())] - piece.start_s if quiet.any() else HORIZON_S), 2 * PER_PIECE
        else:
            long_s, count = piece.end_s - piece.start_s, PER_PIECE
        parts.append(piece.start_s + _spread_out(0.25, float(long_s), count))
    return np.unique(np.concatenate(parts))


def moments(stages: Sequence[Stage], until_s: float) -> Floats:
    """Moments at which draws are followed, seconds: dense after each change, the last stage to `until_s`."""
    parts = [np.zeros(1)]
    earlier = max(_EARLIER // max(len(stages) - 1, 1), _LEAST)
    for stage in stages:
        last = stage.end_s is None
        end_s = max(until_s, stage.start_s + 60.0) if stage.end_s is None else stage.end_s
        if end_s > stage.start_s:
            long_s = end_s - stage.start_s
            parts.append(stage.start_s + _spread_out(1.0, float(long_s), _LAST if last else earlier))
    return np.unique(np.concatenate(parts))
