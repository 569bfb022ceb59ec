"""Large buttons side by side, with words of one size.

`BigKeys` are those whose words are only known while the kiosk runs: what can be done about a thing, reasons.  They
show what they are given, in that order, and report which was touched.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kivy.clock import Clock
from kivy.properties import BooleanProperty, ListProperty, NumericProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.gridlayout import GridLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.text import line_px, lines_of
from kiosk.screens.parts.touch import ActButton, BigButton
from kiosk.screens.theme import look

_STEP = 0.96


class Row(BoxLayout):
    """Parts side by side; one that is folded away, with no width, takes no gap with it.

    With its gap, what stands beside it would end short of the edge where everything above and below it ends.
    """

    def _iterate_layout(self, sizes: list[Any]) -> Iterator[tuple[int, float, float, float, float]]:
        """Of each part that has a width: its number, x, y, width and height, px."""
        wide = [at for at, (size, hint, *_) in enumerate(sizes) if hint[0] is not None or size[0] > 0]
        for at, *box in super()._iterate_layout([sizes[at] for at in wide]):
            yield wide[at], *box


class EvenKeys(GridLayout):
    """Buttons whose words all have one font size: the largest, of at most `largest` px, that suits all of them.

    `shared`: no cell stays empty; the rows that have a button less than `cols` make theirs wider.
    """

    largest = NumericProperty()
    shared = BooleanProperty(False)

    def __init__(self, **kwargs: Any) -> None:
        self._even_soon = Clock.create_trigger(self._even, -1)
        super().__init__(**kwargs)
        for name in ("children", "largest"):
            self.fbind(name, self._even_soon)
        self.fbind("shared", self._trigger_layout)

    def add_widget(self, widget: Any, *args: Any, **kwargs: Any) -> None:
        for name in ("text", "note", "largest", "size"):  # `largest`: the rule of all buttons sets its own anew
            widget.fbind(name, self._even_soon)
        super().add_widget(widget, *args, **kwargs)

    def _iterate_layout(self, count: int) -> Iterator[tuple[int, float, float, float, float]]:
        """Of each key: its number, x, y, width and height, px.

        Where Kivy's grid puts them, but as `shared` says: put there after it, both would lay them out for ever.
        """
        if not self.shared:
            yield from super()._iterate_layout(count)
            return
        (between_px, below_px), (left, top, right, bottom) = self.spacing, self.padding
        counts = row_counts(count, int(self.cols or 1))
        tall = (self.height - top - bottom - below_px * (len(counts) - 1)) / len(counts)
        at = count  # Kivy counts from the last
        for row, keys in enumerate(counts):
            wide = (self.width - left - right - between_px * (keys - 1)) / keys
            y = self.top - top - (tall + below_px) * row - tall
            for column in range(keys):
                at -= 1
                yield at, self.x + left + (wide + between_px) * column, y, wide, tall

    def _even(self, *_: object) -> None:
        size = self.largest
        while size > look.least and not all(_suits(key, size) for key in self.children):
            size = max(look.least, size * _STEP)
        for key in self.children:
            key.largest = size


def row_counts(keys: int, across: int) -> list[int]:
    """How many keys stand in each row when no row has more than `across` and none two fewer than another."""
    rows = -(-keys // across)
    return [keys // rows + (row < keys % rows) for row in range(rows)]


def _suits(key: BigButton, size_px: float) -> bool:
    """Whether the words of the key and its note find room at that font size, px."""
    left, over, right, under = key.padding
    width = key.width - left - right - (8 * look.mm * max(1, size_px / look.body) + key.spacing if key.icon else 0)
    height = 0.0
    for text, px, bold in ((key.text, size_px, True), (key.note, look.small * max(1, size_px / look.body), False)):
        lines = lines_of(text, px, width, bold, "B612") if text else 0
        if lines is None:
            return False
        height += lines * line_px(px)
    return height <= key.height - over - under


class BigKeys(EvenKeys):
    """A button for each of `choices` (`Choice`s).  `acts`: the first is what a hand most likely wants.

    `fills`: the buttons share the height given; else each is as high as a touch.  Event `on_choose(key)`.
    """

    choices = ListProperty()
    across = NumericProperty(3)  # buttons in a row of a wide window
    across_tall = NumericProperty(1)
    acts = BooleanProperty(True)
    fills = BooleanProperty(False)
    down = NumericProperty(1)  # rows of buttons

    __events__ = ("on_choose",)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("choices", "acts", "fills"):
            self.fbind(name, self._lay)
        self._lay()

    def _lay(self, *_: object) -> None:
        self.clear_widgets()
        for at, choice in enumerate(self.choices):
            kind = ActButton if self.acts and at == 0 else BigButton
            hint = {"size_hint_y": 1} if self.fills else {}
            key = kind(text=choice.text, note=choice.note, icon=choice.sign, **hint)
            key.bind(on_release=lambda _, chosen=choice.key: self.dispatch("on_choose", chosen))
            self.add_widget(key)

    def on_choose(self, key: str) -> None:
        """A button was touched."""


load_beside(__file__)
