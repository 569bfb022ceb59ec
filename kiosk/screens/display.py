"""The display the window opens on: whether there is one, and how large it is before any window is there.

Where no window manager runs nobody makes a window as large as the screen, so it is opened as large.
"""

from __future__ import annotations

import ctypes
import os
import socket
import sys
from contextlib import suppress
from pathlib import Path

_CLIENT_MESSAGE = 33  # X.h
_TO_MANAGER = 1 << 19 | 1 << 20  # SubstructureNotifyMask and SubstructureRedirectMask
_BY_A_HAND = 2  # EWMH: a wish that is not a program's own, and is followed


class _Wish(ctypes.Structure):
    """XClientMessageEvent of Xlib.h, with room for the largest event."""

    _fields_ = (
        ("type", ctypes.c_int),
        ("serial", ctypes.c_ulong),
        ("send_event", ctypes.c_int),
        ("display", ctypes.c_void_p),
        ("window", ctypes.c_ulong),
        ("message_type", ctypes.c_ulong),
        ("format", ctypes.c_int),
        ("values", ctypes.c_long * 5),
        ("rest", ctypes.c_long * 24),
    )


class NoDisplay(OSError):
    """No window can be opened.  `remedy`: what to do next."""

    def __init__(self, name: str) -> None:
        where = f"the display {name} does not answer" if name else "there is no display here"
        self.remedy = "the kiosk needs a desktop: log in at the screen it hangs on, and it starts there"
        super().__init__(f"{where}; {self.remedy}")


def demand() -> None:
    """Raises NoDisplay where no display answers.

    SDL would draw into memory then, and the kiosk would run where nobody sees it.
    """
    if sys.platform != "linux" or os.environ.get("SDL_VIDEODRIVER"):
        return
    if not (_wayland_answers() or x_screen_px()):
        raise NoDisplay(named())
    os.environ["SDL_VIDEODRIVER"] = "x11,wayland"  # those of SDL's ways that a person can see


def named() -> str:
    """What this system's display is called; empty where there is none.  Only Linux asks for a name."""
    if sys.platform != "linux":
        return sys.platform
    return os.environ.get("WAYLAND_DISPLAY") or os.environ.get("DISPLAY") or ""


def _wayland_answers() -> bool:
    name = os.environ.get("WAYLAND_DISPLAY")
    if not name:
        return False
    with suppress(OSError), socket.socket(socket.AF_UNIX) as wire:
        wire.connect(str(Path(os.environ.get("XDG_RUNTIME_DIR", "")) / name))
        return True
    return False


def x_screen_px() -> tuple[int, int] | None:
    """Width and height of the X screen; None: there is none."""
    if sys.platform != "linux" or not os.environ.get("DISPLAY"):
        return None
    try:
        x = ctypes.CDLL("libX11.so.6")
    except OSError:
        return None
    x.XOpenDisplay.restype = ctypes.c_void_p
    for asked in (x.XDefaultScreen, x.XCloseDisplay):
        asked.argtypes = [ctypes.c_void_p]
    for asked in (x.XDisplayWidth, x.XDisplayHeight):
        asked.argtypes = [ctypes.c_void_p, ctypes.c_int]
    display = x.XOpenDisplay(None)
    if not display:
        return None
    screen = x.XDefaultScreen(display)
    size = x.XDisplayWidth(display, screen), x.XDisplayHeight(display, screen)
    x.XCloseDisplay(display)
    return size


def ask_to_show(window: int) -> None:
    """Ask the window manager, if there is one, to show a window of X before all others (EWMH, _NET_ACTIVE_WINDOW)."""
    try:
        x = ctypes.CDLL("libX11.so.6")
    except OSError:
        return
    x.XOpenDisplay.restype = ctypes.c_void_p
    x.XDefaultRootWindow.restype = x.XInternAtom.restype = ctypes.c_ulong
    x.XDefaultRootWindow.argtypes = x.XCloseDisplay.argtypes = [ctypes.c_void_p]
    x.XInternAtom.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int]
    x.XSendEvent.argtypes = [ctypes.c_void_p, ctypes.c_ulong, ctypes.c_int, ctypes.c_long, ctypes.POINTER(_Wish)]
    display = x.XOpenDisplay(None)
    if not display:
        return
    wish = _Wish(type=_CLIENT_MESSAGE, window=window, format=32)
    wish.message_type = x.XInternAtom(display, b"_NET_ACTIVE_WINDOW", 0)
    wish.values[0] = _BY_A_HAND
    x.XSendEvent(display, x.XDefaultRootWindow(display), 0, _TO_MANAGER, ctypes.byref(wish))
    x.XCloseDisplay(display)  # which sends it
