"""What in a live picture is worth a search: where it differs from a still picture that was searched through.

A kiosk on a wall looks at the same bench for hours.  Once every remedy has gone over a picture that stands still and
shows no label, only what differs from it is searched, and all of it again from time to time: daylight moves, and what
one frame hides another may show.  Knows nothing of labels; whether there was one it is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.remedies import Grey
from kiosk.reader.symbols import Part

_BLOCK_PX = 8  # brightness is compared over squares of this edge; the smallest label covers several
_LEAST_CHANGE = 5.0  # levels of 255; compression and sensor leave less of a square's mean
_OVER_FLICKER = 6.0  # times what the picture as a whole flickers
_MARGIN_BLOCKS = 4  # of what is searched around a change: a label's quiet zone and what a hand covers of it
_LEAST_BLOCKS = 24  # edge of the smallest part that is searched
_MOST_PARTS = 4
_DOUBTFUL = 0.2  # what a search counts that found what may be a label: rust and rings look like finder patterns
AGAIN_EVERY = 10
"""A picture that stands still is searched in one frame of so many."""

Squares = NDArray[np.float32]


class Background:
    """The still picture behind whatever is held up.  calm_frames: so many searches without a find make one."""

    def __init__(self, calm_frames: int) -> None:
        self._calm_frames = calm_frames
        self._known: Squares | None = None  # searched through and through, and no label in it
        self._now: Squares | None = None  # what has stood still since `_calm` frames
        self._calm, self._still = 0.0, 0
        self.moves = True  # the last frame differs from the one before

    def differs(self, grey: Grey) -> tuple[Part, ...]:
        """The parts of a frame (H, W) that are worth a search, largest first, none of which meet.

        All of it while no background is known, and in turn; none where nothing changed and it is not its turn.
        """
        height, width = grey.shape
        across, down = max(width // _BLOCK_PX, 1), max(height // _BLOCK_PX, 1)
        seen = np.asarray(cv2.resize(grey, (across, down), interpolation=cv2.INTER_AREA), np.float32)
        if self._now is None or self._now.shape != seen.shape:
            self._known = self._now = None
        self.moves = self._now is None or bool(_changed(seen, self._now).any())
        if self.moves:
            self._now, self._calm = seen, 0
        whole = (Part(0, 0, width, height),)
        if self._known is None:
            return whole
        changed = _changed(seen, self._known)
        if not changed.any():
            self._still += 1
            return whole if self._still % AGAIN_EVERY == 0 else ()
        px, py = width / across, height / down
        return tuple(
            Part(int(part.left * px), int(part.top * py), round(part.right * px), round(part.bottom * py))
            for part in _parts(changed)
        )

    def searched(self, doubtful: bool, label: bool) -> None:
        """The frame was searched.  doubtful: it shows what may be a label; label: it shows one, read or held up."""
        self._calm = 0 if label else self._calm + (_DOUBTFUL if doubtful else 1)
        if self._calm >= self._calm_frames:
            self._known = self._now


def _changed(seen: Squares, before: Squares) -> NDArray[np.uint8]:
    """Where one picture differs from another, 1 or 0; a lamp that makes all of it lighter is no difference."""
    apart = seen - before
    apart -= _middle(apart)
    size = np.abs(apart)
    limit = max(_LEAST_CHANGE, _OVER_FLICKER * float(_middle(size)))
    # a square alone is noise: no label is that small
    return np.asarray(cv2.morphologyEx((size > limit).astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)))


def _middle(values: Squares) -> np.float32:
    """About the median: a quarter of the squares tells it as well, and numpy's own asks for more than it needs."""
    some = values[::2, ::2].ravel()
    return np.float32(np.partition(some, len(some) // 2)[len(some) // 2])


def _parts(changed: NDArray[np.uint8]) -> list[Part]:
    """What is searched around changes (rows, columns), in squares, largest first; parts that meet are one."""
    rows, columns = changed.shape
    margin = np.ones((2 * _MARGIN_BLOCKS + 1,) * 2, np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(cv2.dilate(changed, margin))
    parts: list[Part] = []
    for x, y, wide, high, _ in stats[1:].tolist():
        left, right = _reach(x, wide, columns)
        top, bottom = _reach(y, high, rows)
        parts = with_part(parts, Part(left, top, right, bottom))
    while len(parts) > _MOST_PARTS:
        one, other = min(combinations(parts, 2), key=lambda pair: _wasted(*pair))
        parts = with_part([part for part in parts if part not in (one, other)], one.joined(other))
    return sorted(parts, key=_area, reverse=True)


def with_part(parts: Sequence[Part], more: Part) -> list[Part]:
    """Parts of which none meet, and one more: joined with those that it meets."""
    while touching := [part for part in parts if part.meets(more)]:
        parts = [part for part in parts if part not in touching]
        for part in touching:
            more = more.joined(part)
    return [*parts, more]


def _area(part: Part) -> int:
    return (part.right - part.left) * (part.bottom - part.top)


def _wasted(one: Part, other: Part) -> int:
    """What is searched for nothing when two are made one."""
    return _area(one.joined(other)) - _area(one) - _area(other)


def _reach(first: int, length: int, most: int) -> tuple[int, int]:
    """First and end of a stretch, no shorter than the least part where there is room for it."""
    spare = max(0, (_LEAST_BLOCKS - length + 1) // 2)
    return max(first - spare, 0), min(first + length + spare, most)
