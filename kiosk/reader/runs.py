"""Where a picture's rows and columns both show 1:1:3:1:1, black and white: seeds of QR finder patterns.

It only says where to look closer: many seeds are chance, and `finders` asks each one's surroundings.  What is
black is decided by a pixel's neighbourhood, never by one level for the whole picture, because shop light falls
unevenly.  Proportions are those of ISO/IEC 18004, finder pattern.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Level(Enum):
    """What a pixel must be darker than to count as black."""

    MIDDLE = "middle of the range around it"
    MEAN = "mean around it"


def seeds(
    grey: NDArray[np.uint8], window_px: int, step: int, done: Sequence[Floats], levels: Sequence[Level]
) -> Floats:
    """(n, 4): x, y, module size across and down of every place worth a closer look, most often crossed first.

    Arguments as in `finders.find`.
    """
    found: list[Floats] = []
    lively = _lively(grey)
    for outline in done:
        cv2.fillConvexPoly(lively, outline.astype(np.int32), 0)
    for level in levels:
        binary = (_nearer_black if level is Level.MIDDLE else _under_mean)(grey, window_px) & lively
        across = _runs(binary, step)
        down = _runs(np.ascontiguousarray(binary.T), step)[:, [1, 0, 2]]
        if len(across) and len(down):
            found += _crossings(across, down, step)
    return _unlike(np.array(found)) if found else np.empty((0, 4))


def _lively(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """1 where black and white can be told apart, else 0: noise and turning marks make hundreds of chance runs."""
    height, width = grey.shape
    low, high = _extremes(cv2.blur(grey, (3, 3)), 8, 3)
    span = (high - low).astype(np.float32)
    noise = 2 * float(np.percentile(span, 20))
    differs = span > np.maximum(8, np.clip(noise, 0.22 * high, 0.4 * high))
    return np.asarray(
        cv2.resize(differs.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST), np.uint8
    )


def _under_mean(grey: NDArray[np.uint8], window_px: int) -> NDArray[np.uint8]:
    """1 where a pixel is darker than its neighbourhood's mean, else 0: keeps lines that blur has left pale."""
    method, kind = cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV
    return np.asarray(cv2.adaptiveThreshold(grey, 1, method, kind, window_px * 3 // 4 | 1, 3), np.uint8)


def _nearer_black(grey: NDArray[np.uint8], window_px: int) -> NDArray[np.uint8]:
    """1 where a pixel is nearer to the darkest than to the brightest of its neighbourhood, else 0.

    The middle of the range, unlike the mean, does not move with the share of black, so edges stay where they are.
    """
    block = max(window_px // 6, 2)
    height, width = grey.shape
    low, high = (edge.astype(np.float32) for edge in _extremes(grey, block, 5))
    middle = np.where(high - low < 6, 0, (low + high) / 2)
    middle = cv2.blur(middle, (3, 3))
    rows, columns = middle.shape
    level = cv2.resize(middle, (columns * block, rows * block), interpolation=cv2.INTER_LINEAR)
    return np.asarray(grey < level[:height, :width], np.uint8)


def _extremes(
    grey: NDArray[np.uint8], block: int, around: int
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Darkest and brightest of each block of pixels and of its neighbours, `around` by `around` blocks together."""
    own, near = np.ones((block, block), np.uint8), np.ones((around, around), np.uint8)
    middles = slice(block // 2, None, block)
    height, width = (-(-edge // block) * block for edge in grey.shape)
    whole = cv2.copyMakeBorder(
        grey, 0, height - grey.shape[0], 0, width - grey.shape[1], cv2.BORDER_REPLICATE
    )
    low = cv2.erode(np.ascontiguousarray(cv2.erode(whole, own)[middles, middles]), near)
    high = cv2.dilate(np.ascontiguousarray(cv2.dilate(whole, own)[middles, middles]), near)
    return np.asarray(low, np.uint8), np.asarray(high, np.uint8)


def _unlike(seeds: Floats) -> Floats:
    """Seeds without those that say the same as an earlier one."""
    keep = np.ones(len(seeds), bool)
    for place, seed in enumerate(seeds):
        if keep[place]:
            near = np.hypot(seeds[:, 0] - seed[0], seeds[:, 1] - seed[1]) < 0.7 * min(seed[2], seed[3])
            keep[place + 1 :] &= ~near[place + 1 :]
    return seeds[keep]


def _runs(binary: NDArray[np.uint8], step: int) -> Floats:
    """(n, 3): x, y and module size wherever a row of `binary` (1 is black) shows 1:1:3:1:1."""
    rows = binary[::step]
    padded = np.zeros((rows.shape[0], rows.shape[1] + 2), np.uint8)
    padded[:, 1:-1] = rows
    flat = padded.ravel()
    edges = np.flatnonzero(flat[1:] != flat[:-1])  # a row starts and ends white, so even entries begin black runs
    if len(edges) < 6:
        return np.empty((0, 3))
    width = padded.shape[1]
    starts = np.arange(0, len(edges) - 5, 2)
    first, last = edges[starts], edges[starts + 5]
    lengths = np.stack([edges[starts + k + 1] - edges[starts + k] for k in range(5)]).astype(np.float64)
    module = (last - first) / 7.0
    ring = lengths[[0, 1, 3, 4]]
    fits = (
        (first // width == last // width)
        & (module >= 1.0)
        & (ring > 0.3 * module).all(0)
        & (ring < 2.0 * module).all(0)
        & (lengths[2] > 1.8 * module)
        & (lengths[2] < 4.3 * module)
    )
    first, lengths, module = first[fits], lengths[:, fits], module[fits]
    x = first % width + lengths[0] + lengths[1] + lengths[2] / 2
    return np.stack([x, (first // width) * float(step), module], axis=1)


def _repeated(hits: Floats, step: int) -> Floats:
    """Hits that the next row shows too; patterns so small that only one row may cross them are let through."""
    from scipy.spatial import cKDTree

    if len(hits) < 2:
        return hits
    near, which = cKDTree(hits[:, :2]).query(hits[:, :2], k=2)
    alike = np.abs(np.log(hits[which[:, 1], 2] / hits[:, 2])) < 0.4
    kept: Floats = hits[((near[:, 1] < 2.3 * step) & alike) | (hits[:, 2] < 0.8 * step)]
    return kept


def _crossings(across: Floats, down: Floats, step: int) -> list[Floats]:
    """Places where runs across and runs down cross in the same centre: x, y, module across, module down."""
    from scipy.spatial import cKDTree

    across, down = _repeated(across, step), _repeated(down, step)
    if not len(across) or not len(down):
        return []
    near, which = cKDTree(down[:, :2]).query(across[:, :2])
    meets = near < 1.2 * np.minimum(across[:, 2], down[which, 2]) + step
    meets &= np.maximum(across[:, 2], down[which, 2]) < 4.5 * np.minimum(across[:, 2], down[which, 2])
    if not meets.any():
        return []
    seeds = np.stack([across[meets, 0], down[which[meets], 1], across[meets, 2], down[which[meets], 2]], axis=1)
    # a lone crossing is noise, unless the pattern is so small that few rows cross it
    nearest = cKDTree(seeds[:, :2]).query(seeds[:, :2], k=2)[0][:, 1]
    size = seeds[:, 2:].max(1)
    seeds = seeds[(nearest < 1.5 * size) | (size < 1.5 * step)][:4000]
    places: list[tuple[int, Floats]] = []
    while len(seeds):
        gap = np.hypot(seeds[:, 0] - seeds[0, 0], seeds[:, 1] - seeds[0, 1])
        same = gap < 1.5 * max(seeds[0, 2], seeds[0, 3])
        places.append((int(same.sum()), seeds[same].mean(0)))
        seeds = seeds[~same]
    places.sort(key=lambda place: -place[0])
    return [place for _, place in places[:100]]
