"""A list of large rows that turns pages by large arrows.

Only the rows that are seen exist as widgets, so a list of five hundred costs no more than one of five.  Every
row is reached by touch alone, without a swipe.  Room is used: few rows are shown larger, with larger letters, and rows
that a wide list could only turn pages for stand in columns beside each other.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, ObjectProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.text import Column
from kiosk.screens.parts.touch import Touchable
from kiosk.screens.theme import LIST_MM, look

GROWN_WIDE_MM = 76.0  # width, as `look.text_mm` has it, that a row is so many times as wide as when it is grown
GROWN = (2.0, 1.7, 1.4, 1.2)  # how many times larger few rows may be than their least
_SLACK = 1.35  # what a row may take of the room left over without larger letters


class PagedRow(Touchable, BoxLayout):
    """A row of a list: shows `value`, is the `chosen` one or not.  A value has a `key`.

    `grown`: how many times larger its letters are, where few rows have the room of many.  `least_wide_mm`: of a row
    beside another, as `look.text_mm` has it: a name and what tells it apart fit.
    """

    least_wide_mm = 80.0

    value = ObjectProperty(None, allownone=True, rebind=True)
    grown = NumericProperty(1.0)
    chosen = BooleanProperty(False)
    raised = BooleanProperty(False)  # it looks like a key: beside plain text that stands on the same ground
    least_mm = NumericProperty(LIST_MM)


class PagedList(Column):
    """Shows as many of `rows` as its size holds, each as a `row_class` of at least `row_height` px.

    `page` of `pages` counts from 0.  `chosen`: key of the row marked.  `grows`: few rows may be larger; not where rows
    come and go by themselves while a finger is on its way.  Event `on_choose(value)`: one was touched.
    """

    rows = ListProperty()
    row_class = ObjectProperty(PagedRow)
    row_height = NumericProperty()
    grows = BooleanProperty(True)
    page = NumericProperty(0)
    pages = NumericProperty(1)
    chosen = StringProperty()

    __events__ = ("on_choose",)

    def __init__(self, **kwargs: Any) -> None:
        self._columns, self._down = 1, 1
        super().__init__(**kwargs)
        for name in ("rows", "size", "row_height", "spacing", "row_class", "grows", "page", "chosen"):
            self.fbind(name, self._lay)
        look.bind(text_mm=self._lay)  # weakly: the look outlives every screen
        self._lay()

    def turn(self, pages: int) -> None:
        """Turn pages, on (1) or back (-1), and stop at the ends."""
        self.page = min(max(0, self.page + pages), self.pages - 1)

    def show(self, key: str) -> None:
        """Turn to the page with that row and mark it."""
        self.chosen = key
        columns, fitting, _ = self._shape()
        for at, value in enumerate(self.rows):
            if value.key == key:
                self.page = at // (fitting * columns)

    def on_choose(self, value: object) -> None:
        """A row was touched."""

    def _fitting(self, grown: float = 1.0) -> int:
        """Rows below each other that the height holds, so many times larger."""
        return int((self.height + self.spacing) / max(1.0, self.row_height * grown + self.spacing))

    def _wide(self, columns: int) -> float:
        """Width, px, of a row in one of so many columns."""
        return (self.width - self.spacing * (columns - 1)) / columns

    def _shape(self) -> tuple[int, int, float]:
        """Columns, rows that one of them holds, and how large they are: few columns, then large rows, then pages."""
        least_px, grown_px = self.row_class.least_wide_mm * look.text_mm, GROWN_WIDE_MM * look.text_mm
        most = max(1, int((self.width + self.spacing) / (least_px + self.spacing)))
        for columns in range(1, most + 1):
            for grown in (*GROWN, 1.0) if self.grows else (1.0,):
                fitting = self._fitting(grown)
                if fitting * columns >= len(self.rows) and (grown == 1.0 or self._wide(columns) >= grown_px * grown):
                    return columns, max(1, fitting), grown
        return most, max(1, self._fitting()), 1.0

    def _lay(self, *_: object) -> None:
        columns, fitting, grown = self._shape()
        self.pages = max(1, -(-len(self.rows) // (fitting * columns)))
        if self.page >= self.pages:
            self.page = self.pages - 1
            return
        seen = self.rows[int(self.page) * fitting * columns :][: fitting * columns]
        if self.children and type(self.children[0]) is not self.row_class:
            self.clear_widgets()  # a layout may name the rows before it says what a row is
        while len(self.children) > len(seen):
            self.remove_widget(self.children[0])
        while len(self.children) < len(seen):
            row = self.row_class(size_hint_y=None)
            row.bind(on_release=lambda row: self.dispatch("on_choose", row.value))
            self.add_widget(row)
        # What fits one page stands in columns of one length.
        self._columns, self._down = columns, fitting if self.pages > 1 else -(-len(seen) // columns)
        height = (self.height - self.spacing * (self._down - 1)) / max(1, self._down)
        least = self.row_height * grown
        for row, value in zip(reversed(self.children), seen, strict=True):
            row.grown = grown
            row.height = min(max(height, least), least * _SLACK)
            row.value = value
            row.chosen = value.key == self.chosen and bool(self.chosen)
        self._trigger_layout()

    def do_layout(self, *_: object) -> None:
        """Down the first column, then down the next."""
        wide = self._wide(self._columns)
        for at, row in enumerate(reversed(self.children)):
            column, down = divmod(at, max(1, self._down))
            row.width = wide
            row.pos = (
                self.x + column * (wide + self.spacing), self.top - (down + 1) * row.height - down * self.spacing,
            )  # fmt: skip


class PageKeys(BoxLayout):
    """Two large arrows for a list at `page` of `pages`.  Event `on_turn(step)`.  Takes no room for a single page.

    Where pages lie in groups: whether there are `several` at all, any `before` and any `after` the one in sight.
    """

    page = NumericProperty(0)
    pages = NumericProperty(1)
    several = BooleanProperty(False)
    before = BooleanProperty(False)
    after = BooleanProperty(False)

    __events__ = ("on_turn",)

    def on_turn(self, step: int) -> None:
        """An arrow was touched: -1 back, 1 on."""


load_beside(__file__)
