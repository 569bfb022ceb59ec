"""QR finder patterns: from seeds in rows and columns to outlines measured along rays.

This only proposes: a proposal becomes a reading when the symbol's error correction confirms it.  It never needs a
quiet zone or an unbroken ring, because along most lines through the centre the runs are there even where oil,
glare or a bent surface spoils the rest.  Proportions are those of ISO/IEC 18004, finder pattern.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader import runs
from kiosk.reader.quads import diagonals, quad_around
from kiosk.reader.runs import Level

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Finder:
    """A finder pattern.  centre: pixels.  corners: (4, 2) of the black ring's outside, in order around it.

    module_px: mean module size.  score: share of the directions in which all three edges stand where they should.
    """

    centre: Floats
    corners: Floats
    module_px: float
    score: float

    def moved(self, left: float, top: float, scale: float | Floats) -> Finder:
        """The same finder in a crop that starts at (left, top) and was resized by `scale`, or by one in x and y."""
        start = np.array([left, top])
        size = float(np.sqrt(np.prod(scale))) if isinstance(scale, np.ndarray) else scale
        return Finder(
            (self.centre - start) * scale, (self.corners - start) * scale, self.module_px * size, self.score
        )


def find(
    grey: NDArray[np.uint8],
    window_px: int = 48,
    step: int = 2,
    done: Sequence[Floats] = (),
    levels: Sequence[Level] = tuple(Level),
    least: float | None = None,
) -> list[Finder]:
    """Finder patterns of `grey`, best first.

    window_px: neighbourhood that decides between black and white.  step: every how many rows are looked at.  done:
    outlines (n, 2) of symbols already read, in which nothing is looked for.  levels: ways to tell black from white,
    one after the other.  least: lowest score, None for the one that keeps chance finds out of whole pictures.
    """
    if min(grey.shape) < 16:
        return []
    seeds = runs.seeds(grey, window_px, step, done, levels)
    if not len(seeds):
        return []
    finders = outlines(grey, seeds, LEAST_SCORE if least is None else least)
    return _distinct(sorted(finders, key=lambda finder: -finder.score))


LEAST_SCORE = 0.66  # the worst finders of symbols that could be read had 0.71, chance finds rarely 0.69
RAYS = 48
_ANGLES = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
_DIRECTIONS = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)], axis=1)
_PITCH = 0.05  # step along a ray, as a difference of logarithms: a change of scale is then a shift
_RADII = np.exp(np.arange(np.log(0.5), np.log(4.4), _PITCH))  # modules from the centre
_SHIFTS = 36
_NEAREST = -18
_PROFILE = np.where((_RADII < 1.5) | ((_RADII > 2.5) & (_RADII < 3.5)), -1.0, 1.0)
_WEIGHT = _RADII * np.where(_RADII > 3.5, 0.6, 1.0)  # what lies beyond the ring may be a missing quiet zone
_WEIGHT /= _WEIGHT.sum()
_CENTRED = _PROFILE - (_WEIGHT * _PROFILE).sum()
_CENTRED /= np.sqrt((_WEIGHT * _CENTRED**2).sum())
_RINGS = len(_RADII) + _SHIFTS
_RADII_OUT = (0.5 * np.exp(_PITCH * (np.arange(_RINGS) + _NEAREST))).astype(np.float32)


def _sliding(kernel: Floats) -> NDArray[np.float32]:
    """(rings, shifts): the matrix that correlates a ray with `kernel` at every shift."""
    return np.stack([np.pad(kernel, (k, _SHIFTS - k)) for k in range(_SHIFTS + 1)], axis=1).astype(np.float32)


_MEAN, _MATCH = _sliding(_WEIGHT), _sliding(_WEIGHT * _CENTRED)


def outlines(grey: NDArray[np.uint8], table: Floats, least: float = LEAST_SCORE) -> list[Finder]:
    """The finders around seeds, from how well each ray out of a centre agrees with black, white, black, white.

    Agreement is a correlation, so neither blur nor uneven light has to be known.
    """
    if not len(table):
        return []
    hopeful = _agreement(grey, table, 4).max(2).clip(0, 1).mean(1) > least - 0.08
    table = table[hopeful]
    if not len(table):
        return []
    agreement = _agreement(grey, table, 1).astype(np.float64)
    scores = agreement.max(2).clip(0, 1).mean(1)
    finders = []
    for seed, match, score in zip(table, agreement, scores, strict=True):
        if score > least and (finder := _outline(seed, match, float(score))) is not None:
            finders.append(finder)
    return finders


def _spokes(table: Floats) -> tuple[Floats, Floats]:
    """Directions (seeds, rays, 2), longer where modules are, and the module size they are relative to (seeds,)."""
    reach = np.sqrt(table[:, 2] * table[:, 3])
    return _DIRECTIONS[None] * (table[:, 2:] / reach[:, None])[:, None], reach


def _agreement(grey: NDArray[np.uint8], table: Floats, every: int) -> NDArray[np.float32]:
    """(seeds, rays, shifts) correlation, -1 to 1, of every so many rays with the profile of a finder."""
    spokes, reach = (part.astype(np.float32) for part in _spokes(table))
    radii = _RADII_OUT * reach[:, None]
    at = spokes[:, ::every, None] * radii[:, None, :, None]
    at += table[:, None, None, :2].astype(np.float32)
    count, rays = at.shape[:2]
    at = at.reshape(count * rays, _RINGS, 2)
    values = np.concatenate(
        [
            cv2.remap(grey, part, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            for part in np.array_split(at, len(at) // 30000 + 1)  # remap takes no more than 32767 rows
        ]
    ).astype(np.float32)
    mean = values @ _MEAN
    spread = np.sqrt(np.maximum((values * values) @ _MEAN - mean * mean, 1.0))
    return np.asarray((values @ _MATCH / spread).reshape(count, rays, -1), np.float32)


def _outline(seed: Floats, agreement: Floats, score: float) -> Finder | None:
    """The finder at a seed that its rays agree on, (rays, shifts) from -1 to 1; None where no outline fits."""
    best = agreement.argmax(1)
    rays = np.arange(RAYS)
    quality = agreement[rays, best]
    good = (quality > 0.6) & (best > 0) & (best < agreement.shape[1] - 1)
    if good.mean() < 0.5:
        return None
    spokes, reach = _spokes(seed[None])
    middle = np.clip(best, 1, agreement.shape[1] - 2)
    before, at_best, after = (agreement[rays, middle + k] for k in (-1, 0, 1))
    bend = before - 2 * at_best + after
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(bend < 0, 0.5 * (before - after) / bend, 0.0)
    ring_px = 3.5 * reach[0] * np.exp(_PITCH * (middle + np.clip(part, -0.5, 0.5) + _NEAREST))
    good &= _smooth(np.log(ring_px), good)
    if good.sum() < 12:
        return None
    quad = quad_around(seed[:2] + spokes[0][good] * ring_px[good][:, None])
    if quad is None:
        return None
    area = float(cv2.contourArea(quad.astype(np.float32)))
    sides = np.linalg.norm(quad - np.roll(quad, -1, axis=0), axis=1)
    if area < 40 or sides.min() < 0.16 * sides.max():
        return None
    return Finder(diagonals(quad), quad, float(np.sqrt(area)) / 7, score)


def _smooth(values: Floats, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which rays reach about as far as their neighbours; a scratch makes one of them stand out."""
    rays = np.arange(RAYS)
    filled = np.interp(rays, rays[good], values[good], period=RAYS)
    around = np.sort(filled[(rays[:, None] + np.arange(-3, 4)) % RAYS], axis=1)
    close: NDArray[np.bool_] = np.abs(values - around[:, 3]) < 0.14
    return close


def _distinct(finders: Sequence[Finder]) -> list[Finder]:
    kept: list[Finder] = []
    for finder in finders:
        if all(np.hypot(*(finder.centre - other.centre)) > 3 * other.module_px for other in kept):
            kept.append(finder)
    return kept
