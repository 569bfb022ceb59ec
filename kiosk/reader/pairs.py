"""Symbols of which only two finder patterns can be seen, the third lost in glare, dirt or beyond the light.

Two finders and a size say where the third must be on a plane; the timing patterns say which guess is right.  This
only proposes, like `finders`.  Proportions are those of ISO/IEC 18004.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import chain, combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.finders import Finder
from kiosk.reader.layout import sizes_near
from kiosk.reader.surface import Camera, fit
from kiosk.reader.timing import beat
from kiosk.reader.triples import Triple, facing

Floats = NDArray[np.float64]
_SQUARE = np.array([[0, 0], [7, 0], [7, 7], [0, 7]], np.float64)
_STRONG = 0.8  # score of a finder that may stand for two
_LEAST_BEAT = 0.5  # two finders prove less than three, so the timing patterns must prove more
_CORNER, _RIGHT, _BELOW = range(3)


def completed(
    grey: NDArray[np.uint8],
    finders: Sequence[Finder],
    camera: Camera,
    over: Callable[[], bool] = lambda: False,
    limit: int = 2,
) -> Iterator[Triple]:
    """Triples made of two seen finders and a third where it must be; the surest first.  over: says when time is up."""
    strong = sorted((finder for finder in finders if finder.score > _STRONG), key=lambda finder: -finder.score)[:4]
    pairs = [
        (one, other)
        for one, other in combinations(strong, 2)
        if max(one.module_px, other.module_px) < 2 * min(one.module_px, other.module_px)
    ]
    ranked: list[tuple[float, Triple]] = []
    # on a bent surface the two do not agree on one plane
    for some, bend in ((pairs, None), (pairs[:2], camera)):
        for roles in () if ranked else chain.from_iterable(_roles(*pair) for pair in some):
            if not over():
                ranked += _proposals(grey, *roles, bend)
    ranked.sort(key=lambda rank: -rank[0])
    for _, triple in ranked[:limit]:
        yield triple


Seen = tuple[Finder, int]
Projection = Callable[[Floats], Floats]


def _roles(one: Finder, other: Finder) -> Iterator[tuple[Seen, Seen, Floats, Floats]]:
    """What the two finders may be: each with its role, then the directions right and down."""
    leg = other.centre - one.centre
    sides = [one.corners[1] - one.corners[0], one.corners[2] - one.corners[1]]
    off = [abs(_cosine(side, leg)) for side in sides]
    if max(off) > 0.94:  # they lie along an edge: the third stands at a right angle to it, at either end
        aside = sides[int(np.argmin(off))]
        for down in (aside, -aside):
            if _turns(leg, down):
                yield (one, _CORNER), (other, _RIGHT), leg, down
                yield (other, _CORNER), (one, _BELOW), down, -leg
            else:
                yield (one, _CORNER), (other, _BELOW), down, leg
                yield (other, _CORNER), (one, _RIGHT), -leg, down
    elif max(off) < 0.9:  # they lie across: the third is one of the other two corners of the parallelogram
        for first, second in (sides, sides[::-1]):
            along, down = _parts(leg, first, second)
            if _turns(-along, down):
                yield (one, _RIGHT), (other, _BELOW), -along, down
            else:
                yield (other, _RIGHT), (one, _BELOW), -down, along


def _proposals(
    grey: NDArray[np.uint8], one: Seen, other: Seen, right: Floats, down: Floats, camera: Camera | None
) -> Iterator[tuple[float, Triple]]:
    """Guesses that the timing patterns bear out, with their beat: on a plane, or bent where a camera is given."""
    quads = [facing(finder.corners, right, down) for finder, _ in (one, other)]
    legs = np.linalg.norm(other[0].centre - one[0].centre)
    module = (one[0].module_px + other[0].module_px) / 2
    across = {_RIGHT, _BELOW} == {one[1], other[1]}
    missing = ({_CORNER, _RIGHT, _BELOW} - {one[1], other[1]}).pop()
    for size in sizes_near(float(legs / module) / (1.414 if across else 1) + 7, 0.12):
        places = {_CORNER: (0, 0), _RIGHT: (size - 7, 0), _BELOW: (0, size - 7)}
        label = np.concatenate([_SQUARE + places[one[1]], _SQUARE + places[other[1]]])
        seen = np.concatenate(quads)
        project = _plane(label, seen) if camera is None else _bent(label, seen, size, camera)
        if project is None:
            continue
        third = project(_SQUARE + places[missing])
        if not np.isfinite(third).all() or np.abs(third).max() > 1e5:
            continue
        sure = beat(grey, project, size)
        if sure < _LEAST_BEAT:
            continue
        made = {
            one[1]: Finder(one[0].centre, quads[0], one[0].module_px, one[0].score),
            other[1]: Finder(other[0].centre, quads[1], other[0].module_px, other[0].score),
            missing: Finder(third.mean(0), third, module, 0.0),
        }
        yield sure, Triple((made[_CORNER], made[_RIGHT], made[_BELOW]), float(size), 1 - sure, missing)


def _plane(label: Floats, pixels: Floats) -> Projection | None:
    matrix, _ = cv2.findHomography(label, pixels)
    if matrix is None:
        return None

    def project(points: Floats) -> Floats:
        return np.asarray(cv2.perspectiveTransform(points.reshape(-1, 1, 2), matrix), np.float64).reshape(points.shape)

    return project


def _bent(label: Floats, pixels: Floats, size: int, camera: Camera) -> Projection | None:
    surface = fit(label, pixels, size, camera)
    return None if surface is None or surface.misfit > 0.5 else surface.project


def _turns(one: Floats, other: Floats) -> bool:
    return bool(one[0] * other[1] - one[1] * other[0] > 0)


def _cosine(one: Floats, other: Floats) -> float:
    return float(one @ other / (np.linalg.norm(one) * np.linalg.norm(other) + 1e-9))


def _parts(leg: Floats, first: Floats, second: Floats) -> tuple[Floats, Floats]:
    """The leg as a step along `first` and a step along `second`."""
    try:
        a, b = np.linalg.solve(np.stack([first, second], axis=1), leg)
    except np.linalg.LinAlgError:
        return leg, leg
    return a * first, b * second
