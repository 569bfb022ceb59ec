"""Which part of a frame may be kept of a label that stays unread, and when it is time to keep it.

Only the place where the label was: what lies outside its outline and a small margin is painted over, and an outline
that would take most of the frame along is not kept at all, because there may be a face in it.  Without an outline there
is nothing to keep.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.symbols import Corners

MARGIN = 0.25
"""Of the outline's longer diagonal, half on each side: the quiet zone, and an outline that is a little off."""
MOST_OF_FRAME = 0.5
"""A place larger than this share of the frame is not kept."""
LEAST_PX, MOST_PX = 16, 1024
"""Edges of a kept picture: below nothing can be seen, above it is made smaller."""
GONE_S = 1.0
"""Not seen for this long, an unread label is gone."""
_PAINT = 128


def place_of(image: NDArray[np.uint8], corners: Corners) -> NDArray[np.uint8] | None:
    """The place of a label in a frame, (H, W) or (H, W, 3), as a picture of its own; None where it may not be kept."""
    height, width = image.shape[:2]
    points = np.array(corners, np.float64).reshape(-1, 2)
    if len(points) != 4 or not np.isfinite(points).all():
        return None
    middle = points.mean(0)
    around = middle + (1 + MARGIN) * (points - middle)
    low = np.clip(np.floor(around.min(0)), 0, (width, height)).astype(int)
    high = np.clip(np.ceil(around.max(0)), 0, (width, height)).astype(int)
    across, down = (int(edge) for edge in high - low)
    if min(across, down) < LEAST_PX or across * down > MOST_OF_FRAME * width * height:
        return None
    inside = np.zeros((down, across), np.uint8)
    cv2.fillConvexPoly(inside, cv2.convexHull(np.round(around - low).astype(np.int32)), 1)
    place = image[low[1] : high[1], low[0] : high[0]].copy()
    place[inside == 0] = _PAINT
    scale = MOST_PX / max(across, down)
    if scale < 1:
        place = np.asarray(cv2.resize(place, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    return place


class Leaving:
    """Says when a label left the view unread, with what was last seen of it.  Pure: time comes with the frames."""

    def __init__(self) -> None:
        self._place: NDArray[np.uint8] | None = None
        self._seen_s = 0.0

    def feed(
        self, read: bool, unread: Corners | None, image: NDArray[np.uint8], at_s: float
    ) -> NDArray[np.uint8] | None:
        """One frame.  read: a label was read in it.  unread: where one is that has stayed unread long enough."""
        if read:
            self._place = None
        elif unread is not None:
            place = place_of(image, unread)
            if place is not None:
                self._place, self._seen_s = place, at_s
        elif self._place is not None and at_s - self._seen_s >= GONE_S:
            place, self._place = self._place, None
            return place
        return None
