"""When a key was pressed, as far as a busy screen can tell.

A scanner is told from a hand by the pauses between its keys, but a window learns of keys only between two
frames, and a slow frame must not look like a pause.  So only the pause that there has been for certain counts:
from the moment the last key was taken to the beginning of the frame before this one.
"""

from __future__ import annotations


class KeyTimes:
    """A clock for keys, seconds.  `framed` at every frame, `pressed` for every key."""

    def __init__(self) -> None:
        self._before_s = self._frame_s = 0.0
        self._taken_s = 0.0
        self._key_s = 0.0

    def framed(self, now_s: float) -> None:
        """A frame began."""
        self._before_s, self._frame_s = self._frame_s, now_s

    def pressed(self, now_s: float) -> float:
        """A key was taken now: its time."""
        self._key_s = self.certain()
        self._taken_s = now_s
        return self._key_s

    def certain(self) -> float:
        """The time it is at least, if no key is waiting that was not taken yet."""
        return self._key_s + max(0.0, self._before_s - self._taken_s)
