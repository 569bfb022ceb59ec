"""A grid of slots (a drawer, a shelf, pockets side by side), each with its state in shape, word and colour.

Seen ✓, expected and not seen ? in a dashed frame, in the wrong slot ↔, a label nobody knows ×, empty –; hot is
the hot surface, drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

from kivy.graphics import Color, InstructionGroup, Rectangle
from kivy.properties import AliasProperty, ListProperty, NumericProperty, ObjectProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.gridlayout import GridLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.touch import Touchable
from kiosk.screens.theme import HEAT, LIST_MM, look


class SlotState(Enum):
    """What is known of a slot."""

    EMPTY = "empty"
    FULL = "full"  # something is in it, nothing more to say
    SEEN = "seen"
    MISSING = "missing"
    MISPLACED = "misplaced"
    HOT = "hot"
    BLOCKED = "blocked"  # covered by a wide neighbour
    PROPOSED = "proposed"
    OWN = "own"  # kept for one holder
    FREE = "free"  # what is asked about may go there
    UNKNOWN = "unknown"  # a label that nothing in the book has


SIGNS = {
    SlotState.EMPTY: "–", SlotState.FULL: "●", SlotState.SEEN: "✓", SlotState.MISSING: "?", SlotState.MISPLACED: "↔",
    SlotState.HOT: HEAT, SlotState.BLOCKED: "×", SlotState.PROPOSED: "→",
    SlotState.OWN: "★", SlotState.FREE: " ", SlotState.UNKNOWN: "×",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Slot:
    """One slot: its key, what is written on it, its state."""

    key: str
    label: str
    state: SlotState


class SlotKey(Touchable, BoxLayout):
    """One slot of a grid.  What is missing has a dashed frame."""

    value = ObjectProperty(None, allownone=True, rebind=True)
    chosen = StringProperty()
    least_mm = NumericProperty(LIST_MM)

    def _state(self) -> str:
        return self.value.state.value if self.value else SlotState.EMPTY.value

    def _sign(self) -> str:
        return SIGNS[self.value.state] if self.value else ""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._frame = InstructionGroup()
        self.canvas.after.add(self._frame)
        for name in ("value", "size", "pos"):
            self.fbind(name, self._dash)

    def _dash(self, *_: object) -> None:
        """Kivy dashes lines of one pixel only: the frame is drawn dash by dash."""
        self._frame.clear()
        if self.value is None or self.value.state is not SlotState.MISSING:
            return
        self._frame.add(Color(*look.text))
        dash, thick = look.mm * 1.2, max(1.5, look.mm * 0.3)
        across, up = max(2, round(self.width / dash / 1.8)), max(2, round(self.height / dash / 1.8))
        for at in range(across):
            x = self.x + at * (self.width - dash) / (across - 1)
            for y in (self.y, self.y + self.height - thick):
                self._frame.add(Rectangle(pos=(x, y), size=(dash, thick)))
        for at in range(up):
            y = self.y + at * (self.height - dash) / (up - 1)
            for x in (self.x, self.x + self.width - thick):
                self._frame.add(Rectangle(pos=(x, y), size=(thick, dash)))

    def _is_chosen(self) -> bool:
        return bool(self.value and self.chosen and self.value.key == self.chosen)

    is_chosen = AliasProperty(_is_chosen, bind=["value", "chosen"])
    state_of = AliasProperty(_state, bind=["value"])
    sign = AliasProperty(_sign, bind=["value"])


class SlotGrid(GridLayout):
    """Shows the `slots` of one page; `page` of `pages` counts from 0.  Event `on_choose(slot)`."""

    slots = ListProperty()
    chosen = StringProperty()
    least_px = NumericProperty()
    most_px = NumericProperty()
    page = NumericProperty(0)
    pages = NumericProperty(1)

    __events__ = ("on_choose",)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("slots", "size", "least_px", "page", "chosen"):
            self.fbind(name, self._lay)
        self._lay()

    def turn(self, pages: int) -> None:
        """Turn pages, on (1) or back (-1), and stop at the ends."""
        self.page = min(max(0, self.page + pages), self.pages - 1)

    def on_choose(self, slot: Slot) -> None:
        """A slot was touched."""

    def _lay(self, *_: object) -> None:
        gap = self.spacing[0]
        cell = max(1.0, self.least_px)
        width = self.width - self.padding[0] - self.padding[2]
        tall = self.height - self.padding[1] - self.padding[3]
        for larger in (3.0, 2.5, 2.0, 1.7, 1.4, 1.2):  # as large as shows them all at once
            columns, rows = (int((long + gap) / (cell * larger + gap)) for long in (width, tall))
            if columns * rows >= len(self.slots):
                cell *= larger
                break
        columns = max(1, int((width + gap) / (cell + gap)))
        rows = max(1, int((tall + gap) / (cell + gap)))
        self.pages = max(1, -(-len(self.slots) // (columns * rows)))
        if self.page >= self.pages:
            self.page = self.pages - 1
            return
        shown = self.slots[int(self.page) * columns * rows :][: columns * rows]
        self.cols = columns
        while len(self.children) > len(shown):
            self.remove_widget(self.children[0])
        while len(self.children) < len(shown):
            key = SlotKey(size_hint_y=None)
            key.bind(on_release=lambda key: self.dispatch("on_choose", key.value))
            self.add_widget(key)
        used = max(1, -(-len(shown) // columns))
        height = max(cell, min(self.most_px, (tall - gap * (used - 1)) / used))
        for key, slot in zip(reversed(self.children), shown, strict=True):
            key.height = height
            key.value = slot
            key.chosen = self.chosen


load_beside(__file__)
