"""What a screen shows when it has nothing, or not yet, to show; and where it stands in a task of several steps.

An empty state says what to do; a busy one how far it is and lets go on a touch; the header counts the steps.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.widget import Widget

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.text import Icon, Words, line_px, lines_of, width_px
from kiosk.screens.parts.touch import Panel
from kiosk.screens.theme import look

MOST_LINES = 3  # of a refusal, before its letters are smaller
_SET = {"left": 0.0, "center": 0.5, "right": 1.0}  # how much of what a line leaves stands before it


class EmptyState(BoxLayout):
    """`icon`, `text` (what is so) and `remedy` (what to do).

    `refused`: the remedy is the answer to what was just scanned or touched, and the icon says so (`hot`: heat is why).
    `lists`: a scan is asked for, and who has nothing to scan may choose from a list.  Event `on_choose`.
    """

    icon = StringProperty()
    text = StringProperty()
    remedy = StringProperty()
    refused = BooleanProperty(False)
    hot = BooleanProperty(False)
    beside = BooleanProperty(False)  # low and wide: the words stand beside the icon
    low = BooleanProperty(False)  # too low for words on the list's key
    lists = BooleanProperty(False)

    __events__ = ("on_choose",)

    def on_kv_post(self, _: Any) -> None:
        """The list's key takes room where there is a list, and nowhere else."""
        self._key: Any = self.ids.key.__self__
        self.on_lists()

    def on_lists(self, *_: object) -> None:
        """Put the key where it belongs; before the layout is there it has none."""
        key = getattr(self, "_key", None)
        if key is None:
            return
        if self.lists and key.parent is None:
            self.add_widget(key)
        elif not self.lists and key.parent is self:
            self.remove_widget(key)

    def on_choose(self) -> None:
        """The list was touched."""


class BusyState(BoxLayout):
    """`text` says what is being done; `done` of `total` how far it is (`total` 0: not known).  Event `on_cancel`.

    `trouble`: what was not done meanwhile, in the text's place.
    """

    text = StringProperty()
    trouble = StringProperty()
    done = NumericProperty(0)
    total = NumericProperty(0)

    __events__ = ("on_cancel",)

    def on_cancel(self) -> None:
        """The cancel button was touched."""


class StepHeader(BoxLayout):
    """`title` of the task and its step (`step` of `steps`; no count where `steps` is 0).  Event `on_back`.

    `trouble`: what was not done, and why; while there is any it stands in the title's place with its sign (`hot`: the
    hot surface, because heat is why).
    """

    title = StringProperty()
    step = NumericProperty(0)
    steps = NumericProperty(0)
    trouble = StringProperty()
    hot = BooleanProperty(False)

    __events__ = ("on_back",)

    def __init__(self, **kwargs: Any) -> None:
        self._sign: Any = None  # hardly ever needed, so it is made when it is
        super().__init__(**kwargs)

    def on_trouble(self, *_: object) -> None:
        """The sign stands between the way back and the words, while it is wanted."""
        if self.trouble and self._sign is None:
            self._sign = RefusalSign()
            self.add_widget(self._sign, index=len(self.children) - 1)
        elif not self.trouble and self._sign is not None:
            self.remove_widget(self._sign)
            self._sign = None

    def on_back(self) -> None:
        """The back button was touched."""


class RefusalSign(Icon):
    """The sign of what is not done, as its parent says it: ×, or the hot surface where heat is why (`hot`)."""


class CautionSign(Icon):
    """The drawing that its parent names."""


class CautionWords(Words):
    """What its parent says."""


class RefusalWords(Words):
    """What its parent says, in letters that are read from two metres."""


class NoteWords(Words):
    """A quiet `note`, and while there is one `trouble` in its place: what was not done, and why, beside its sign.

    `hot`: heat is why.  `plain`: the note is not quiet.  The sign is there only while it is wanted.
    """

    note = StringProperty()
    plain = BooleanProperty(False)
    trouble = StringProperty()
    hot = BooleanProperty(False)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("trouble", "pos", "size", "font_size", "padding"):
            self.fbind(name, self._sign)
        self._sign()

    def _sign(self, *_: object) -> None:
        """Where the words begin, however they are set."""
        if bool(self.children) != bool(self.trouble):
            self.clear_widgets()
            if self.trouble:
                self.add_widget(RefusalSign())
        for sign in self.children:
            room = self.width - self.padding[0]
            one = lines_of(self.text, self.font_size, room, self.bold, self.font_name) == 1
            left = room - min(room, width_px(self.text, self.font_size, self.bold, self.font_name)) if one else 0.0
            sign.x = self.x + left * _SET[self.halign]
            sign.y, sign.height = self.y, self.height


class Caution(Panel):
    """A caution with its drawing, wherever it is needed: how a temperature is read, gloves.

    Its parts are made when there is something to say for the first time.
    """

    parts: tuple[type[Widget], ...] = (CautionSign, CautionWords)
    icon = StringProperty()
    text = StringProperty()

    def on_text(self, *_: object) -> None:
        """There is something to say."""
        if self.text and not self.children:
            for part in self.parts:
                self.add_widget(part())


class Refusal(Caution):
    """Why something is not done, and what to do: with ×, or the hot surface where heat is why (`hot`)."""

    parts = (RefusalSign, RefusalWords)
    hot = BooleanProperty(False)
    tight = BooleanProperty(False)  # there is no room for larger letters
    unseen_px = NumericProperty(0.0)  # height without words: it gives its neighbours the space beside it back

    def on_parent(self, _: object, parent: Any) -> None:
        """A box leaves space beside what is not seen, too."""
        if isinstance(parent, BoxLayout):
            parent.bind(spacing=self._unseen, orientation=self._unseen)
            self._unseen(parent)

    def _unseen(self, parent: BoxLayout, *_: object) -> None:
        self.unseen_px = -parent.spacing if parent.orientation == "vertical" else 0.0

    def needed_px(self, text: str, width: float, largest: float) -> float:
        """Height that the words need: in letters of `largest` px while they take three lines, else in smaller ones."""
        inside = width - self.padding[0] * 2 - self.spacing - look.mm * (7 if look.wide else 5)
        size = largest
        while size > look.least and (lines_of(text, size, inside, False, "B612") or MOST_LINES + 1) > MOST_LINES:
            size = max(look.least, size * 0.96)
        lines = lines_of(text, size, inside, False, "B612") or MOST_LINES
        return lines * line_px(size) + self.padding[1] * 2 + look.mm


load_beside(__file__)
