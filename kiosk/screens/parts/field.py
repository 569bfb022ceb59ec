"""A field for words that a keyboard types; a label that a scanner types into it is a scan, and leaves it again."""

from __future__ import annotations

from functools import partial
from typing import Any

from kivy.clock import Clock

# A text field asks for this, and it starts programs: nobody waits where a screen is loaded.
from kivy.core import clipboard as clipboard
from kivy.properties import NumericProperty, ObjectProperty
from kivy.uix.textinput import TextInput

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.text import width_px
from kiosk.screens.theme import look

_STEP = 0.96  # smaller, of a text that does not fit
ENDINGS = ("enter", "numpadenter", "tab")


class Field(TextInput):
    """One line.  `clerk`: told that this field has the keyboard, and of every key that is struck in it.

    `largest`: font size, px, of what fits; a longer text is written smaller before its beginning goes out of sight.
    """

    clerk = ObjectProperty(None, allownone=True)
    largest = NumericProperty(0)
    scroll_x: float

    def __init__(self, **kwargs: Any) -> None:
        self._from_its_start = Clock.create_trigger(self._show_its_start, -1)
        super().__init__(**kwargs)
        for name in ("text", "width", "font_size", "scroll_x", "largest"):
            self.fbind(name, self._from_its_start)

    def _show_its_start(self, *_: object) -> None:
        """A text that fits is seen from its first letter, however long it was before; a longer one from a whole one."""
        self.scroll_x: float
        inside = self.width - self.padding[0] - self.padding[2]
        size = self.largest
        while not (fits := width_px(self.text, size) + self.cursor_width <= inside) and size > look.small:
            size = max(look.small, size * _STEP)
        self.font_size = size
        if self.scroll_x and fits:
            self.scroll_x = 0
        elif self.scroll_x:
            widths = partial(self._get_text_width, tab_width=self.tab_width, _label_cached=self._label_cached)
            starts = (widths(self.text[:at]) for at in range(len(self.text)))
            self.scroll_x = next((start for start in starts if start >= self.scroll_x), self.scroll_x)

    def on_focus(self, *_: object) -> None:
        if self.clerk is not None and (self.focus or self.clerk.field is self):
            self.clerk.field = self if self.focus else None

    def touched(self, letter: str) -> None:
        """A letter that was touched and not struck: no scanner's."""
        super().insert_text(letter)

    def insert_text(self, substring: str, from_undo: bool = False) -> None:
        super().insert_text(substring, from_undo)
        if len(substring) == 1 and not from_undo:  # more at once was pasted, and no key was struck for it
            self._struck(substring)

    def keyboard_on_key_down(self, window: Any, keycode: tuple[int, str], text: str, modifiers: list[str]) -> Any:
        """Enter after a label ends the scan and not the line."""
        if keycode[1] in ENDINGS and self._struck("\r"):
            return True
        return super().keyboard_on_key_down(window, keycode, text, modifiers)

    def take_out(self, count: int) -> None:
        """So many characters before the cursor were a scanner's."""
        for _ in range(min(count, self.cursor_index())):
            self.do_backspace()

    def _struck(self, character: str) -> bool:
        """Whether this key ended a scan."""
        keys = self.clerk.keys if self.clerk is not None else None
        return bool(keys is not None and keys(character))


load_beside(__file__)
