"""Finding: type a diameter, a radius, part of a name, and see at once what there is, soonest usable first.

What matches and in which order is the desk's; this shows it, page by page, and leads to the place.
"""

from __future__ import annotations

from enum import StrEnum
from functools import partial
from typing import Any

from kivy.properties import (
    BooleanProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk.rules.finding import Usable
from kiosk.rules.place_drawing import PlaceDrawing
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.lines import RowText
from kiosk.screens.questions import find as asks
from kiosk.screens.questions.find import Found, FoundRow
from kiosk.screens.theme import HEAT
from kiosk.screens.view import Covers, View
from kiosk.telling import old_words
from kiosk.words import capitals, t

PAGE = 50
LOOK_AGAIN_S = 5

SIGNS = {
    Usable.READY: ("✓", "done"), Usable.NEAR: ("✓", "plain"), Usable.COOLING: (HEAT, "heat"),
    Usable.UNPROVEN: (HEAT, "heat"), Usable.IN_MACHINE: ("→", "plain"), Usable.NOWHERE: ("?", "stop"),
    Usable.OUT: ("–", "plain"),
    Usable.REMEASURE: ("!", "plain"), Usable.WORN: ("×", "stop"), Usable.BROKEN: ("×", "stop"),
}  # fmt: skip


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    TYPE = "type"
    ROWS = "rows"


class FindScreen(View):
    """The pad, and the list of what was found."""

    name = "find"
    rail = "find"
    covers = Covers.RAIL

    page = OptionProperty(Page.TYPE, options=list(Page))
    asked = StringProperty()
    typed = StringProperty()  # the same as it is shown
    rows = ListProperty()
    total = NumericProperty(0)
    first = StringProperty()  # the best find while typing, in a line
    roomy = BooleanProperty(False)  # there is room beside the rows for where the first of them is
    best = StringProperty()
    best_at = ListProperty()  # the way there, station by station
    picture = ObjectProperty(None, allownone=True)  # and drawn
    trouble = StringProperty()
    whose = StringProperty()  # an unknown label: the holder touched is the one it is on

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._found: list[FoundRow] = []
        self._age_s = 0

    def shown(self, whose: str = "", **_: Any) -> None:
        self.whose = whose
        self.ids.pad.text = ""
        self.page = Page.TYPE
        self.ask("")

    def on_page(self, *_: object) -> None:
        """What is looked for anew is seen from its best."""
        if self.page == Page.ROWS:
            self.ids.rows.page = 0

    def returned(self) -> None:
        self.ask(self.asked)

    def tick(self) -> None:
        """What is cooling is cooler by now."""
        self._age_s += 1
        if self.page == Page.ROWS and self._age_s >= LOOK_AGAIN_S:
            self.ask(self.asked)

    def ask(self, text: str) -> None:
        """Look for what was typed so far."""
        self._age_s = 0
        self.asked, self.typed = text, capitals(text)
        count = max(PAGE, len(self._found)) if self.page == Page.ROWS else PAGE
        self.clerk.ask(asks.find(text, 0, count), lambda found: self.show(text, found), self._failed)

    def show(self, text: str, found: Found) -> None:
        """Show what was found, unless more was typed since."""
        if text != self.asked:
            return
        self.trouble = ""
        self._take(list(found.rows), found.total)

    def _take(self, rows: list[FoundRow], total: int) -> None:
        self._found = rows
        self.total = total
        self.rows = [_line(row) for row in rows]
        best = self.rows[0] if self.rows else None
        self.best, self.best_at, self.picture = best.text if best else "", [], None
        if best and self.roomy and self.page == Page.ROWS:
            self.clerk.ask(asks.way(best.key), partial(self._beside, best.key), lambda _: None)
        self.first = f"{best.text} · {best.word}" if best else t("find.nothing")

    def _beside(self, key: str, found: tuple[asks.WayThere, tuple[str, ...], PlaceDrawing]) -> None:
        """Where the first one is, beside the rows."""
        if self.rows and self.rows[0].key == key:
            way, _, picture = found
            self.best_at, self.picture = list(way.path), picture or None

    def turn(self, pages: int) -> None:
        """Turn pages; the next ones are asked for when the last is reached."""
        rows = self.ids.rows
        rows.turn(pages)
        if rows.page == rows.pages - 1 and len(self._found) < self.total:
            text, first = self.asked, len(self._found)
            self.clerk.ask(asks.find(text, first, PAGE), lambda found: self._more(text, first, found))

    def _more(self, text: str, first: int, found: Found) -> None:
        if text == self.asked and first == len(self._found):
            self._take([*self._found, *found.rows], found.total)

    def choose(self, line: RowText) -> None:
        """A row was touched."""
        if self.whose:
            self.clerk.go("adopt", key=line.key)
        else:
            self.clerk.go("place", key=line.key)

    def leave(self) -> None:
        """Back to where it was asked."""
        if self.whose:
            self.clerk.go("adopt")
        else:
            self.clerk.back()

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


def usable_words(usable: Usable, place: str | None, left_s: float | None) -> str:
    """How soon it is of use, in a few words: `in the cabinet`, `cooling 12:30`."""
    return t(f"find.now.{usable.name.lower()}", place=place, left_s=left_s)


def _line(row: FoundRow) -> RowText:
    sign, tone = SIGNS[row.usable]
    word = usable_words(row.usable, row.place_name, row.left_s)
    place = row.place_name if row.place_name and row.place_name not in word else None
    parts = (place, old_words(row.as_of), row.holder_name)
    note = " · ".join(part for part in parts if part and part != row.name)
    return RowText(row.key, row.name, note, word, sign, tone)


load_beside(__file__)
