"""Time that can be trusted: what this kiosk itself watched go by.

Watched time grows with the kernel's boot-time counter, which runs through suspend and cannot be set, and only
while the kiosk runs: across a reboot, a power cut, a start or a copied database it goes on from where it was
last written down.  Wall time is read beside it, for people; nothing is ever counted with it.
"""

from __future__ import annotations

import ctypes
import sys
import time
from collections.abc import Callable

from kiosk.rules.cards import Moment

SecondsSource = Callable[[], float]


def boot_counter_s() -> float:
    """Seconds since the machine started, suspend included.  No user and no time server can set it."""
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    if sys.platform == "win32":
        return float(ctypes.windll.kernel32.GetTickCount64()) / 1000
    return time.clock_gettime(time.CLOCK_MONOTONIC)  # macOS: goes on while asleep


class WatchedClock:
    """Counts on from `watched_s` for as long as this object lives.

    A counter that runs backwards (a faulty machine) is taken to have stood still.
    """

    def __init__(
        self, watched_s: float = 0.0, counter: SecondsSource = boot_counter_s, wall: SecondsSource = time.time
    ) -> None:
        self._counter = counter
        self._wall = wall
        self._watched_s = watched_s
        self._last_s = counter()

    def now(self) -> Moment:
        count_s = self._counter()
        self._watched_s += max(0.0, count_s - self._last_s)
        self._last_s = count_s
        return Moment(self._wall(), self._watched_s)

    def from_now(self) -> SecondsSource:
        """Watched time for another thread, which moves nothing here."""
        base_s, start_s = self.now().watched_s, self._last_s
        return lambda: base_s + max(0.0, self._counter() - start_s)
