"""The window as the service keeps it on the wall: no key leaves it, and the service manager hears that it lives.

"Alive" is said by the window's own loop, so that a window that stands still is heard of no more and is started anew;
and only while the desk answers, because a window that shows what was hot ten minutes ago is worse than none.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from typing import Any

from kivy.clock import Clock
from kivy.core.window import Window

from kiosk.screens.display import ask_to_show
from kiosk.sd_notify import ServiceManager

# To SDL: take the keys with the mouse, and make the window small neither at Alt and Tab nor behind another one.
SDL_HINTS = {"SDL_GRAB_KEYBOARD": "1", "SDL_ALLOW_ALT_TAB_WHILE_GRABBED": "0", "SDL_VIDEO_MINIMIZE_ON_FOCUS_LOSS": "0"}
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
        Window.bind(on_request_close=lambda *_, **__: True)  # Alt and F4, or a window manager's cross
        os.environ |= SDL_HINTS
        Window.grab_mouse()  # and the keys: a window manager hears of none, and shows no desktop and no menu
        for hidden in ("on_minimize", "on_hide"):  # by a hand's gesture, or a program
            Window.fbind(hidden, lambda *_: Clock.schedule_once(lambda _: come_back()))
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


def come_back() -> None:
    """Have a window manager show the window again.  SDL's own way waits for it, and one that shows its desktop never
    would."""
    if (info := Window.get_window_info()) is not None and (number := getattr(info, "window", None)):
        ask_to_show(int(number))
