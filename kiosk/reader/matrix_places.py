"""Where in a picture a Data Matrix symbol may stand: spots whose detail runs in two directions, as in no lathe's grain.

Turned steel, edges and lamps change in one direction; modules and craters change in two.  Says only where to look, and
looks at nothing twice; what stands there is for `matrix_frame` to say.
"""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.remedies import Grey

MOST_PLACES = 6
_SIDES_PX = (24, 34)  # of squares that must be full of corners
_SHRINKS = (1.0, 0.5, 0.25, 0.125)  # larger symbols are looked for in smaller pictures
_FOR_SIZE = 0.4  # a larger square that is as full is the better find
_LEAST_FULL = 0.12  # of the emptiest quarter


class Blob(NamedTuple):
    """A spot with detail in two directions: middle (2,), and side of a square that holds it, pixels."""

    middle: NDArray[np.float64]
    side_px: float
    strength: float


def places(corners: NDArray[np.float32]) -> list[Blob]:
    """Spots where a symbol may stand, the likeliest first.  corners: `corner_map` of the picture."""
    found: list[Blob] = []
    for scale in _SHRINKS:
        small = corners if scale == 1 else cv2.resize(corners, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        for side in _SIDES_PX:
            found += [
                Blob(blob.middle / scale, side / scale, blob.strength * (side / scale) ** _FOR_SIZE)
                for blob in _peaks(small, side)
            ]
    found.sort(key=lambda blob: -blob.strength)
    kept: list[Blob] = []
    for blob in found:
        if all(_apart(blob, other) for other in kept):
            kept.append(blob)
    return kept[:MOST_PLACES]


def _apart(one: Blob, other: Blob) -> bool:
    away = float(np.abs(one.middle - other.middle).max())
    return away > 0.4 * min(one.side_px, other.side_px) or not 0.55 < one.side_px / other.side_px < 1.8


def _peaks(corners: NDArray[np.float32], side: int) -> list[Blob]:
    """Where all four quarters of a square are full of corners: an edge or a bright spot fills two at most."""
    half = side // 2 | 1
    quarters = cv2.blur(corners, (half, half))
    reach = half // 2
    framed = cv2.copyMakeBorder(quarters, reach, reach, reach, reach, cv2.BORDER_CONSTANT)
    rows = np.minimum(framed[: -2 * reach], framed[2 * reach :])
    full = np.minimum(rows[:, : -2 * reach], rows[:, 2 * reach :])
    stands_out = full - cv2.blur(corners, (3 * side, 3 * side))
    top = (stands_out >= cv2.dilate(stands_out, np.ones((half, half), np.uint8))) & (full > _LEAST_FULL)
    places = np.argwhere(top)
    places = places[np.argsort(-stands_out[places[:, 0], places[:, 1]])][:6]
    return [Blob(np.array([x, y], np.float64), float(side), float(stands_out[y, x])) for y, x in places]


def corner_map(grey: Grey) -> NDArray[np.float32]:
    """How much every spot is a corner, 0 to 1: it changes in two directions within a module or so."""
    plain = cv2.GaussianBlur(grey, (0, 0), 0.9).astype(np.float32)
    plain = plain / (cv2.blur(plain, (31, 31)) + 12)  # light falls off; detail counts by its contrast
    gx, gy = cv2.Sobel(plain, cv2.CV_32F, 1, 0), cv2.Sobel(plain, cv2.CV_32F, 0, 1)
    xx, xy, yy = (cv2.GaussianBlur(term, (0, 0), 2.0) for term in (gx * gx, gx * gy, gy * gy))
    half, off = (xx + yy) / 2, np.sqrt(((xx - yy) / 2) ** 2 + xy * xy)
    least = np.maximum(half - off, 0)
    noise = 6 * cv2.blur(np.minimum(least, 3 * float(np.median(least)) + 1e-6), (61, 61)) + 0.003
    return np.asarray(least / (least + noise), np.float32)
