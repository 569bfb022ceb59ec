"""What hands did before a label was read comes before what was read.

A touch waits in the window's own queue and is answered up to two frames after it was made; what the camera read comes
by another way, from a thread.  Where the window is busy, a label held up after a touch would be answered on the screen
that the touch leaves, and never be seen.  So what was read waits until every touch made before it has been answered,
which at an idle window is a frame or two.

Facts: Kivy collects what the system has of touches at the end of a frame, and hands them on in the next one.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from typing import Any

_Turn = tuple[float, Callable[[], Any]]


class Turns:
    """A queue for what was read.  `framed` at the beginning of every frame; all times by one clock, seconds."""

    def __init__(self) -> None:
        self._frames_s = (-math.inf, -math.inf, -math.inf)  # when the last three frames began, oldest first
        self._waiting: deque[_Turn] = deque()

    @property
    def now_s(self) -> float:
        """The time of what comes out of the window's own queue now: of keys."""
        return self._frames_s[-1]

    def framed(self, now_s: float) -> None:
        """A frame began: what was touched before the frame before the last has been answered."""
        self._frames_s = (*self._frames_s[1:], now_s)
        self._answer()

    def take(self, at_s: float, call: Callable[[], Any]) -> None:
        """Do this once every touch made before `at_s` has been answered; one after the other, as they came."""
        self._waiting.append((at_s, call))
        self._answer()

    def _answer(self) -> None:
        while self._waiting and self._waiting[0][0] <= self._frames_s[0]:
            self._waiting.popleft()[1]()
