"""How much of a read label's error correction its damage has spent, so that it is printed anew before it fails.

What a decoder corrected in one frame says more of blur and bend than of the label.  Here the symbol is drawn as it must
be, from its text, the picture of it is laid flat onto the drawing, and the codewords that are still wrong in the best
of several looks are counted.  That takes milliseconds, so it is for a label that has just come into view, never for
each frame.  QR only (ISO/IEC 18004); a symbol that is too small, too bent or written another way is not judged.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.codewords import drawn, spent
from kiosk.reader.layout import SMALLEST, layout
from kiosk.reader.rectify import MARGIN, Flat, Step, modules, readings, relative, resampled, straighten
from kiosk.reader.symbols import Corners, Reading, Symbol
from kiosk.reader.timing import LEAST_BEAT, beat

LEAST_MODULE_PX = 2.5
"""Below that a module's neighbours are in it, and blur passes for damage."""
SLANTEST = 0.6
"""Shorter side over longer side of the outline: past that, modules are hidden or squeezed."""
LARGEST = 41
"""Modules along an edge, version 6: what lies on holders is smaller."""
MOST_FIXED_WRONG = 0.12
"""Share of the fixed modules that may be wrong: past that the picture is not flat, or not of this symbol."""
_MOST_NEEDED = 2.0  # twice as much can be corrected where it is known where to doubt; past that nothing was read here
_PITCH = 4
_STEPS = (Step(6, 1), Step(4, 1)), (Step(3, 1), Step(2.2, 1))
_LOOKS = 2  # as the modules are, and with their neighbours' spill taken out


def worn(image: NDArray[np.uint8], reading: Reading) -> Reading:
    """The same reading with `spent` said of every symbol of which it can be told.  image: the picture that was read."""
    symbols = tuple(replace(symbol, spent=spent_of(image, symbol)) for symbol in reading.symbols)
    return replace(reading, symbols=symbols)


def spent_of(image: NDArray[np.uint8], symbol: Symbol) -> float | None:
    """Share of the symbol's error correction that its damage needs, 0 to 1; None where it cannot be told.

    image: (H, W) grey or (H, W, 3) blue-green-red.  Of a colour picture only the symbol's place is looked at.
    """
    if symbol.format != "QRCode" or not _judged(symbol.corners):
        return None
    grey, corners = piece_around(image, symbol.corners)
    if min(grey.shape) < SMALLEST:
        return None
    flat = _laid_flat(grey, corners)
    if flat is None:
        return None
    true = drawn(symbol.text, flat.layout.size, np.asarray(1 - 2 * relative(modules(flat)), np.float32))
    if true is None:
        return None
    least = _needed(flat, true)
    for steps in _STEPS:
        if least == 0:
            break
        flat = straighten(grey, flat, steps, true)
        least = min(least, _needed(flat, true))
    return min(least, 1.0) if least <= _MOST_NEEDED else None


def _judged(corners: Corners) -> bool:
    """Whether the outline is large and straight enough for the smallest symbol."""
    sides = [math.dist(one, other) for one, other in zip(corners, corners[1:] + corners[:1], strict=True)]
    return min(sides) >= LEAST_MODULE_PX * SMALLEST and min(sides) >= SLANTEST * max(sides)


def piece_around(image: NDArray[np.uint8], corners: Corners) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """The symbol's place with its quiet zone, grey, and the corners (4, 2) in it."""
    points = np.array(corners, np.float32)
    margin = 0.2 * float((points.max(0) - points.min(0)).max())
    height, width = image.shape[:2]
    low = np.clip(points.min(0) - margin, 0, (width, height)).astype(int)
    high = np.clip(points.max(0) + margin + 1, 0, (width, height)).astype(int)
    piece = np.ascontiguousarray(image[low[1] : high[1], low[0] : high[0]])
    if piece.ndim == 3 and piece.size:
        piece = np.asarray(cv2.cvtColor(piece, cv2.COLOR_BGR2GRAY), np.uint8)
    return piece, points - low.astype(np.float32)


def _laid_flat(grey: NDArray[np.uint8], corners: NDArray[np.float32]) -> Flat | None:
    """The symbol as if its four corners lay in a plane, of the size whose timing pattern beats best."""
    edge = float(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).min())
    best: tuple[float, int, NDArray[np.float64]] | None = None
    for size in range(SMALLEST, min(LARGEST, int(edge / LEAST_MODULE_PX)) + 1, 4):
        square = np.array([[0, 0], [size, 0], [size, size], [0, size]], np.float32)
        plane = np.asarray(cv2.getPerspectiveTransform(square, corners), np.float64)
        timing = beat(grey, lambda points, plane=plane: _seen_at(plane, points), size)  # type: ignore[misc]
        if best is None or timing > best[0]:
            best = timing, size, plane
    if best is None or best[0] <= LEAST_BEAT:
        return None
    _, size, plane = best
    steps = (np.arange((size + 2 * MARGIN) * _PITCH) + 0.5) / _PITCH - MARGIN
    where = _seen_at(plane, np.stack(np.meshgrid(steps, steps), axis=-1)).astype(np.float32)
    return resampled(grey, where, layout(size), _PITCH)


def _seen_at(plane: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Pixels of points (..., 2), modules from the top left corner."""
    seen = points @ plane[:, :2].T + plane[:, 2]
    return np.asarray(seen[..., :2] / seen[..., 2:], np.float64)


def _needed(flat: Flat, true: NDArray[np.int8]) -> float:
    """The least of several looks at a flat picture; infinite where it is not flat."""
    grey = modules(flat)
    fixed = flat.layout.fixed
    off = ((relative(grey) < 0.5) != (true > 0))[fixed].mean()
    if off > MOST_FIXED_WRONG:
        return math.inf
    least = math.inf
    for bits in islice(readings(flat), _LOOKS):
        least = min(least, spent(bits > 0, true))
        if least == 0:
            break
    return least
