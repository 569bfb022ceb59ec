"""The pad one searches with: digits first, because most is asked by diameter and radius, letters on a second page.

It types; what the text means and what matches is the desk's.
"""

from __future__ import annotations

from string import ascii_uppercase
from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.pads import PadKey
from kiosk.screens.parts.touch import IconButton
from kiosk.screens.theme import KEY_MM, TOUCH_MM, look

DIGITS = ("7", "8", "9", "R", "del", "leave", "4", "5", "6", ".", "space", "more", "1", "2", "3", "0", "-", "show")
DIGITS_TALL = ("7", "8", "9", "del", "4", "5", "6", "R", "1", "2", "3", "-", ".", "0", "space", "more", "leave", "show")
LETTERS = (*ascii_uppercase, "-", "space", "del", "more", "leave", "show")
ICONS = {"del": "erase", "leave": "stop", "show": "find"}
LONGEST = 40


class SpaceKey(PadKey):
    """The space bar, drawn as one."""


class KeyRow(BoxLayout):
    """Keys beside each other.  `cols`: as many as a full row has; in one of fewer the last takes the room left over."""

    cols = NumericProperty(1)

    def __init__(self, keys: list[Any], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for key in keys:
            self.add_widget(key)
        self.fbind("width", self._keep)
        self.fbind("spacing", self._keep)

    def _keep(self, *_: object) -> None:
        """The others are as wide as those above them."""
        if len(self.children) < self.cols:
            for key in self.children[1:]:
                key.size_hint_x, key.width = None, (self.width - self.spacing * (self.cols - 1)) / self.cols


class SearchPad(BoxLayout):
    """`text`: what was typed.  Events `on_show` (show what was found) and `on_leave`."""

    text = StringProperty()
    letters = BooleanProperty(False)

    __events__ = ("on_show", "on_leave")

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.fbind("letters", self._lay)
        look.bind(wide=self._lay)  # weakly: the look outlives every screen
        self._lay()

    def _lay(self, *_: object) -> None:
        self.clear_widgets()
        cols = (8 if look.wide else 5) if self.letters else (6 if look.wide else 4)
        symbols = LETTERS if self.letters else DIGITS if look.wide else DIGITS_TALL
        for at in range(0, len(symbols), cols):
            self.add_widget(KeyRow([self._key(symbol) for symbol in symbols[at : at + cols]], cols=cols))

    def _key(self, symbol: str) -> Any:
        least_mm = KEY_MM if self.letters else TOUCH_MM
        given = {"size_hint_y": 1, "least_mm": least_mm}
        if symbol in ICONS:
            key = IconButton(icon=ICONS[symbol], size_hint=(1, 1), least_mm=least_mm, types=symbol == "del")
            if symbol == "show":
                key.fill, key.ink = look.act, look.act_ink
            key.bind(on_release=lambda _: self._do(symbol))
            return key
        if symbol == "space":
            key = SpaceKey(**given)
        else:
            words = ("123" if self.letters else "ABC") if symbol == "more" else symbol
            key = PadKey(text=words, types=symbol != "more", **given)
        key.bind(on_release=lambda _: self._do(symbol))
        return key

    def _do(self, symbol: str) -> None:
        if symbol == "show":
            self.dispatch("on_show")
        elif symbol == "leave":
            self.dispatch("on_leave")
        elif symbol == "more":
            self.letters = not self.letters
        elif symbol == "del":
            self.text = self.text[:-1]
        elif len(self.text) < LONGEST:
            self.text += " " if symbol == "space" else symbol

    def on_show(self) -> None:
        """What was found is wanted as a list."""

    def on_leave(self) -> None:
        """The pad was left."""


load_beside(__file__)
