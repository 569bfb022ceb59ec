"""What happened to a holder, at a place, by a person: lines of the book, newest first, in large rows.

Only reads; the next page is asked for when the last one is reached.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, StringProperty

from kiosk.desk.records import Filter, HistoryRow
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.lines import Line
from kiosk.screens.view import Covers, View
from kiosk.words import say

PAGE = 60


class HistoryScreen(View):
    """`title`: whose history."""

    name = "history"
    rail = "find"
    covers = Covers.RAIL

    title = StringProperty()
    rows = ListProperty()
    trouble = StringProperty()
    empty = BooleanProperty(False)  # the book has nothing about it

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._subject = ""
        self._lines: list[HistoryRow] = []
        self._whole = False  # nothing older is there

    def shown(self, subject: str = "", title: str = "", **_: Any) -> None:
        """`subject`: a holder's key, a place's code, an operator's key."""
        self._subject, self.title, self.trouble = subject, title, ""
        self._lines, self.rows, self._whole, self.empty = [], [], False, False
        self._ask()

    def turn(self, pages: int) -> None:
        """Turn pages."""
        rows = self.ids.rows
        rows.turn(pages)
        if rows.page == rows.pages - 1 and not self._whole:
            self._ask()

    def _ask(self) -> None:
        subject = self._subject
        before = self._lines[-1].line if self._lines else None
        which = Filter(newest=PAGE, before=before)
        self.clerk.ask(
            lambda desk: desk.records.history(subject, which),
            lambda lines: self.show(lines) if subject == self._subject else None,
            self._failed,
        )

    def show(self, lines: tuple[HistoryRow, ...]) -> None:
        """Show lines, older than those that are shown already."""
        older = [line for line in lines if not self._lines or line.line < self._lines[-1].line]
        self._whole = len(lines) < PAGE
        self._lines += older
        self.empty = not self._lines
        self.rows = [_line(line, self.title) for line in self._lines]

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


def _line(row: HistoryRow, title: str) -> Line:
    """What happened, without the name that stands above the list."""
    at = datetime.fromtimestamp(row.utc_s)
    who = " · ".join(part for part in (at.strftime("%d.%m.%Y %H:%M:%S"), row.operator, row.kiosk) if part)
    said = say(row.say).removeprefix(title).removeprefix(":").strip()
    return Line(str(row.line), said, who)


load_beside(__file__)
