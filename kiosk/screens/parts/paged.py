"""A list of large rows that turns pages by large arrows.

Only the rows that are seen exist as widgets, so a list of five hundred costs no more than one of five.  Every
row is reached by touch alone, without a swipe.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, ObjectProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.text import Column
from kiosk.screens.parts.touch import Touchable
from kiosk.screens.theme import LIST_MM


class PagedRow(Touchable, BoxLayout):
    """A row of a list: shows `value`, is the `chosen` one or not.  A value has a `key`."""

    value = ObjectProperty(None, allownone=True, rebind=True)
    chosen = BooleanProperty(False)
    least_mm = NumericProperty(LIST_MM)


class PagedList(Column):
    """Shows as many of `rows` as its height holds, each as a `row_class` of at least `row_height` px.

    `page` of `pages` counts from 0.  `chosen`: key of the row marked.  Event `on_choose(value)`: one was touched.
    """

    rows = ListProperty()
    row_class = ObjectProperty(PagedRow)
    row_height = NumericProperty()
    page = NumericProperty(0)
    pages = NumericProperty(1)
    chosen = StringProperty()

    __events__ = ("on_choose",)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("rows", "size", "row_height", "spacing", "row_class", "page", "chosen"):
            self.fbind(name, self._lay)
        self._lay()

    @property
    def fitting(self) -> int:
        """Rows that the height holds."""
        return max(1, int((self.height + self.spacing) / max(1.0, self.row_height + self.spacing)))

    def turn(self, pages: int) -> None:
        """Turn pages, on (1) or back (-1), and stop at the ends."""
        self.page = min(max(0, self.page + pages), self.pages - 1)

    def show(self, key: str) -> None:
        """Turn to the page with that row and mark it."""
        self.chosen = key
        for at, value in enumerate(self.rows):
            if value.key == key:
                self.page = at // self.fitting

    def on_choose(self, value: object) -> None:
        """A row was touched."""

    def _lay(self, *_: object) -> None:
        fitting = self.fitting
        self.pages = max(1, -(-len(self.rows) // fitting))
        if self.page >= self.pages:
            self.page = self.pages - 1
            return
        seen = self.rows[int(self.page) * fitting :][:fitting]
        while len(self.children) > len(seen):
            self.remove_widget(self.children[0])
        while len(self.children) < len(seen):
            row = self.row_class(size_hint_y=None)
            row.bind(on_release=lambda row: self.dispatch("on_choose", row.value))
            self.add_widget(row)
        height = (self.height - self.spacing * (fitting - 1)) / fitting
        for row, value in zip(reversed(self.children), seen, strict=True):
            row.height = min(max(height, self.row_height), self.row_height * 1.35)
            row.value = value
            row.chosen = value.key == self.chosen and bool(self.chosen)


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
