"""A label of ours laid flat from about where it lies, by nothing but its fixed modules.

Three finder patterns measured one by one are the better start where there are three; on a worn label there are none.
Here all fixed modules and the paper around them pull together at a plane that may bow (Lucas and Kanade's method with
twelve unknowns), from soft to sharp, in each of four turns.  It never looks at what the label says.  Fixed modules
follow ISO/IEC 18004, version 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.layout import SMALLEST as SIZE
from kiosk.reader.layout import layout
from kiosk.reader.rectify import MARGIN, Flat, Image, resampled
from kiosk.reader.symbols import Corners

_PITCH = 6
_EDGE = (SIZE + 2 * MARGIN) * _PITCH
_TURN = (1.3, 3, 3), (0.9, 3, 3)  # blur in modules, terms of the shift's polynomial, rounds: what tells the turns apart
_FIT = (0.6, 6, 4), (0.35, 6, 4)
_PULL_OF_PAPER = 0.5  # of the ring around the symbol, whose inside the label's caption may share
_MOST_SHIFT = 1.0  # modules a round
_CLOSE_CALL = 0.12  # likeness by which a turn must lead for the others to be left alone


@dataclass(frozen=True, slots=True)
class Laid:
    """A label laid flat.  like: how much its fixed modules are like what they must be, 1 at most."""

    flat: Flat
    like: float


def laid_flat(grey: NDArray[np.uint8], corners: Corners) -> Laid:
    """The symbol about within four corners, pixels of `grey`, in the turn that is most like one."""
    points = np.array(corners, np.float32)
    tries = sorted(
        (_fitted(grey, _plane(np.roll(points, turn, axis=0)), _TURN) for turn in range(4)),
        key=lambda tried: -tried[0],
    )
    chosen = [where for like, where in tries if like > tries[0][0] - _CLOSE_CALL][:2]
    like, where = max((_fitted(grey, where, _FIT) for where in chosen), key=lambda tried: tried[0])
    return Laid(resampled(grey, where, layout(SIZE), _PITCH), like)


def _plane(corners: NDArray[np.float32]) -> Image:
    """(s, s, 2): pixels of each point of the flat symbol, as if it were a plane between its corners."""
    square = np.array([[0, 0], [SIZE, 0], [SIZE, SIZE], [0, SIZE]], np.float32)
    plane = cv2.getPerspectiveTransform(square, np.ascontiguousarray(corners))
    steps = ((np.arange(_EDGE) + 0.5) / _PITCH - MARGIN).astype(np.float32)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1)
    return np.asarray(cv2.perspectiveTransform(grid, plane), np.float32)


def _fitted(grey: NDArray[np.uint8], where: Image, stages: tuple[tuple[float, int, int], ...]) -> tuple[float, Image]:
    """How like its fixed modules are, and where it lies, once it was pulled there."""
    columns, rows = _grid()
    for blur, terms, rounds in stages:
        wanted, pulls, normal, basis = _wanted(blur, terms)
        for _ in range(rounds):
            seen = _levelled(_soft(_seen(grey, where), 0.8 * blur))
            shift = np.linalg.solve(normal, pulls @ (seen - wanted).ravel())
            most = _MOST_SHIFT * _PITCH
            dx, dy = (
                np.clip(np.tensordot(part, basis, 1), -most, most).astype(np.float32)
                for part in (shift[:terms], shift[terms:])
            )
            where = cv2.remap(where, columns - dx, rows - dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    blur = stages[-1][0]
    return _alike(_levelled(_soft(_seen(grey, where), 0.8 * blur)), _wanted(blur, stages[-1][1])[0]), where


def _seen(grey: NDArray[np.uint8], where: Image) -> Image:
    return np.asarray(cv2.remap(grey, where, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _soft(picture: Image, modules: float) -> Image:
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), modules * _PITCH), np.float32)


def _alike(seen: Image, wanted: Image) -> float:
    weight = _weight()
    both = float((seen * wanted * weight).sum())
    return both / float(np.sqrt((seen * seen * weight).sum() * (wanted * wanted * weight).sum()) + 1e-9)


@cache
def _grid() -> tuple[Image, Image]:
    along = np.arange(_EDGE, dtype=np.float32)
    columns, rows = np.meshgrid(along, along)
    return columns, rows


def _drawn(modules: Image) -> Image:
    return np.asarray(cv2.resize(modules, (_EDGE, _EDGE), interpolation=cv2.INTER_NEAREST), np.float32)


@cache
def _weight() -> Image:
    """Which pixels count: fixed modules, and half as much the ring of paper around them."""
    ring = np.pad(layout(SIZE).fixed.astype(np.float32), 1, constant_values=_PULL_OF_PAPER)
    return _drawn(np.pad(ring, MARGIN - 1))


@cache
def _share() -> Image:
    return _around(_weight()) + 1e-3


def _around(picture: Image) -> Image:
    return np.asarray(cv2.blur(picture, (9 * _PITCH | 1, 9 * _PITCH | 1)), np.float32)


def _levelled(picture: Image) -> Image:
    """Mean 0 and spread 1 of the pixels that count, over a neighbourhood of nine modules."""
    weighed = picture * _weight()
    mean = _around(weighed) / _share()
    spread = np.sqrt(np.maximum(_around(weighed * picture) / _share() - mean * mean, 4.0))
    return np.asarray((picture - mean) / spread, np.float32)


@cache
def _wanted(blur: float, terms: int) -> tuple[Image, Image, NDArray[np.float64], Image]:
    """What a label must look like; what each unknown answers for; their normal equations; the shift's polynomials."""
    bits = layout(SIZE).bits
    paper = np.where(bits < 0, 0.5, 1 - bits).astype(np.float32) * 255
    wanted = _levelled(_soft(_drawn(np.pad(paper, MARGIN, constant_values=255)), blur))
    x, y = ((line - (_EDGE - 1) / 2) / (_EDGE / 2) for line in _grid())
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y][:terms])
    slopes = [cv2.Sobel(wanted, cv2.CV_32F, *way, scale=0.125) for way in ((1, 0), (0, 1))]
    answers = np.concatenate([basis * slope for slope in slopes]).reshape(2 * terms, -1)
    pulls = answers * _weight().ravel()
    normal = (pulls @ answers.T).astype(np.float64)
    normal += 1e-3 * float(np.trace(normal)) / len(normal) * np.eye(len(normal))
    return wanted, np.asarray(pulls, np.float32), normal, np.asarray(basis, np.float32)
