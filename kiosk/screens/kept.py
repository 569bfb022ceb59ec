"""The window as the service keeps it on the wall: no key leaves it, and the service manager hears that it lives.

"Alive" is said by the window's own loop, so that a window that stands still is heard of no more and is started anew;
and only while the desk answers, because a window that shows what was hot ten minutes ago is worse than none.
"""

from __future__ import annotations

import signal
import time
from collections.abc import Callable
from typing import Any

from kivy.clock import Clock
from kivy.core.window import Window

from kiosk.sd_notify import ServiceManager

DESK_SILENT_S = 600.0  # the longest answer, an import of a large shop, takes less


class Kept:
    """One for the window.  `heard` is called whenever the desk has answered."""

    def __init__(self, manager: ServiceManager, leave: Callable[[], Any]) -> None:
        """`leave` closes the window; the service manager may, and whoever calls it for a supervisor."""
        self._manager = manager
        self._ready = False
        self._heard_s = time.monotonic()
        # Its own handler, because SDL would make of the signal what a closed window is, and that is refused here.
        signal.signal(signal.SIGTERM, lambda *_: Clock.schedule_once(lambda _: leave()))

    def guard(self) -> None:
        """The window is there: keep it, and begin to say that it lives."""
        Window.allow_screensaver = False
        Window.bind(on_request_close=lambda *_, **__: True)  # Alt and F4, or a window manager's cross
        Window.grab_mouse()  # with the keyboard: what a window manager would do at Alt and Tab
        if self._manager.pulse_s is not None:
            Clock.schedule_interval(self._say_alive, self._manager.pulse_s)

    def heard(self) -> None:
        self._heard_s = time.monotonic()
        if not self._ready:
            self._ready = True
            self._manager.ready()

    def ending(self) -> None:
        self._manager.stopping()

    def _say_alive(self, _: float) -> None:
        if time.monotonic() - self._heard_s < DESK_SILENT_S:
            self._manager.alive()
