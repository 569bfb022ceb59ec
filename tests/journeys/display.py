"""A screen of its own for the tests: an X server in memory, with a finger, a keyboard scanner and a camera on it.

Touches and keys go through X's XTEST extension, so that the window gets them as it would from a touch screen.
"""

from __future__ import annotations

import math
import os
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from Xlib import XK, X
from Xlib.display import Display as Connection
from Xlib.ext import xtest
from Xlib.protocol.event import ClientMessage

PICTURES = Path(__file__).resolve().parents[2] / ".pictures"
SCREEN = (1920, 1080)
APART_PX, APART_S = 60.0, 0.3  # two touches of one place that are both meant

_SIGNS = {".": "period", ":": "colon", "/": "slash", "_": "underscore", "-": "minus"}


class Display:
    """An Xvfb on a free display number."""

    def __init__(self, screen: tuple[int, int] = SCREEN) -> None:
        read, write = os.pipe()
        command = ["Xvfb", "-displayfd", str(write), "-screen", "0", f"{screen[0]}x{screen[1]}x24", "-nolisten", "tcp"]
        try:
            self._server = subprocess.Popen(
                command, pass_fds=(write,), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
        except FileNotFoundError:
            pytest.skip("there is no Xvfb here: kiosk/prepare --tests installs it")
        finally:
            os.close(write)
        with os.fdopen(read) as told:
            self.name = f":{told.readline().strip()}"
        self._x = Connection(self.name)
        self._touched = -APART_PX, -APART_PX

    def close(self) -> None:
        self._x.close()
        self._server.terminate()
        self._server.wait()

    @property
    def connection(self) -> Connection:
        """What the X server is asked through."""
        return self._x

    def touch(self, x: float, y: float, bounces: bool = False) -> None:
        """A finger comes down and lifts again, at the place touched last after a moment.

        bounces: it comes down once more at once, as a stiff glove does.
        """
        if math.dist((x, y), self._touched) < APART_PX:
            time.sleep(APART_S)
        for _ in range(2 if bounces else 1):
            self._touch(x, y)
        self._touched = x, y

    def _touch(self, x: float, y: float) -> None:
        xtest.fake_input(self._x, X.MotionNotify, x=round(x), y=round(y))
        self._x.sync()
        time.sleep(0.03)
        xtest.fake_input(self._x, X.ButtonPress, 1)
        self._x.sync()
        time.sleep(0.06)
        xtest.fake_input(self._x, X.ButtonRelease, 1)
        self._x.sync()

    def press(self, *keys: str) -> None:
        """Keys held together, by their X names."""
        codes = [self._x.keysym_to_keycode(XK.string_to_keysym(key)) for key in keys]
        for kind, pressed in ((X.KeyPress, codes), (X.KeyRelease, codes[::-1])):
            for code in pressed:
                xtest.fake_input(self._x, kind, code)
            self._x.sync()

    def managed_by(self, manager: str) -> subprocess.Popen[bytes]:
        """Start a window manager, and come back when it is there (EWMH, _NET_SUPPORTING_WM_CHECK)."""
        given = os.environ | {"DISPLAY": self.name}
        running = subprocess.Popen([manager], env=given, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        root, there = self._x.screen().root, self._x.intern_atom("_NET_SUPPORTING_WM_CHECK")
        end = time.monotonic() + 30
        while root.get_full_property(there, X.AnyPropertyType) is None:
            assert time.monotonic() < end, f"{manager} never began"
            time.sleep(0.05)
        return running

    def keys_are_taken(self) -> bool:
        """Whether somebody has the whole keyboard, a window manager's own keys with it."""
        root = self._x.screen().root
        found = root.grab_keyboard(False, X.GrabModeAsync, X.GrabModeAsync, X.CurrentTime)
        if found == X.GrabSuccess:
            self._x.ungrab_keyboard(X.CurrentTime)
            self._x.sync()
        return bool(found == X.AlreadyGrabbed)

    def panes(self) -> set[tuple[int, int, int, int]]:
        """Left, top, width and height of all that can be seen, frames and what they hold, each within the screen."""
        root = self._x.screen().root

        def seen(window: Any) -> Iterator[tuple[int, int, int, int]]:
            for each in window.query_tree().children:
                at, place = each.get_geometry(), root.translate_coords(each, 0, 0)
                if each.get_attributes().map_state == X.IsViewable and at.width > 1:  # one of 1 px takes the keys
                    yield place.x, place.y, at.width, at.height
                    yield from seen(each)

        return set(seen(root))

    def ask_manager(self, wish: str, *values: int) -> None:
        """What a program or a panel asks a window manager of each window (ICCCM 4.1.4, EWMH)."""
        root = self._x.screen().root
        asked = [root, *self._all(root)]
        for window in asked:
            told = (*values, 0, 0, 0, 0, 0)[:5]
            word = ClientMessage(window=window, client_type=self._x.intern_atom(wish), data=(32, told))
            root.send_event(word, event_mask=X.SubstructureRedirectMask | X.SubstructureNotifyMask)
        self._x.sync()

    def _all(self, window: Any) -> Iterator[Any]:
        for each in window.query_tree().children:
            yield each
            yield from self._all(each)

    def windows(self) -> list[tuple[int, int, int, int]]:
        """Left, top, width and height of every window that can be seen."""
        found = [w for w in self._x.screen().root.query_tree().children if w.get_attributes().map_state == X.IsViewable]
        return [(at.x, at.y, at.width, at.height) for at in (window.get_geometry() for window in found)]

    def ask_to_close(self) -> None:
        """What a window manager sends at Alt and F4, or at a touch of a window's cross (ICCCM 4.2.8.1)."""
        protocols, delete = (self._x.intern_atom(name) for name in ("WM_PROTOCOLS", "WM_DELETE_WINDOW"))
        for window in self._all(self._x.screen().root):
            word = ClientMessage(window=window, client_type=protocols, data=(32, [delete, X.CurrentTime, 0, 0, 0]))
            window.send_event(word)
        self._x.sync()

    def type(self, text: str) -> None:
        """A scanner types a text and Enter, two milliseconds a key."""
        root = self._x.screen().root
        windows = [w for w in root.query_tree().children if w.get_attributes().map_state == X.IsViewable]
        if windows:
            windows[-1].set_input_focus(X.RevertToParent, X.CurrentTime)
            self._x.sync()
            time.sleep(0.1)
        shift = self._x.keysym_to_keycode(XK.XK_Shift_L)
        for character in [*text, "Return"]:
            code = self._x.keysym_to_keycode(XK.string_to_keysym(_SIGNS.get(character, character)))
            keys = [shift, code] if character in ":_" or (character.isupper() and len(character) == 1) else [code]
            for key in keys:
                xtest.fake_input(self._x, X.KeyPress, key)
            for key in reversed(keys):
                xtest.fake_input(self._x, X.KeyRelease, key)
            self._x.sync()
            time.sleep(0.002)

    def picture(self, size: tuple[int, int], path: Path) -> Image.Image:
        """What the screen shows, as a picture file."""
        shot = self._x.screen().root.get_image(0, 0, *size, X.ZPixmap, 0xFFFFFFFF)
        image = Image.frombytes("RGB", size, shot.data, "raw", "BGRX")
        path.parent.mkdir(exist_ok=True)
        image.save(path)
        return image
