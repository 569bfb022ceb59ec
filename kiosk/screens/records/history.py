"""What happened to a holder, at a place, by a person, or at all: lines of the book, newest first, in large rows.

Only reads; what is shown can be narrowed to a kind, a person and days, and the next page is asked for when the
last one is reached.  Where a holder was at a moment is the desk's answer.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, OptionProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.dates import clock_words, day_words, midnight
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice, ticked
from kiosk.screens.parts.lines import RowText
from kiosk.screens.questions import records as asks
from kiosk.screens.questions.records import About, Filter, HistoryRow, WasAt
from kiosk.screens.records.filters import GROUPS, When, span_of
from kiosk.screens.view import Covers, View
from kiosk.words import date, say, t, zone_if_twice

PAGE = 60
BACK = "back"
LEAST_S = 0.001  # the desk counts both ends of a stretch in; a day does not hold the next one's midnight
DAYS = (When.ALWAYS, When.TODAY, When.YESTERDAY, When.WEEK)


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LINES = "lines"
    WHAT = "what"
    WHO = "who"
    WHEN = "when"


class HistoryScreen(View):
    """Four states: the lines, and the choice of a kind, a person, a day.  `title`: whose history."""

    name = "history"
    rail = "find"
    covers = Covers.RAIL

    page = OptionProperty(Page.LINES, options=list(Page))
    title = StringProperty()
    rows = ListProperty()
    trouble = StringProperty()
    empty = BooleanProperty(False)  # the book has nothing of that kind
    narrowed = BooleanProperty(False)  # a filter is set

    what = StringProperty()
    who = StringProperty()
    when = StringProperty()
    whats = ListProperty()
    people = ListProperty()
    days = ListProperty()

    is_holder = BooleanProperty(False)
    day = StringProperty()
    hour = StringProperty()
    last_day = BooleanProperty(True)
    was_known = BooleanProperty(False)  # it was at a place then
    was_at = StringProperty()  # where it was at that moment
    was_note = StringProperty()
    was_hot = BooleanProperty(False)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._subject = ""
        self._lines: list[HistoryRow] = []
        self._whole = False  # nothing older is there
        self._group, self._person, self._when = "", "", When.ALWAYS
        self._now = datetime.now()
        self._moment = self._now  # what `Page.WHEN` shows
        groups = [Choice(group, t(f"history_filter.{group}")) for group in GROUPS]
        leave = Choice(BACK, f"← {t('reading.back')}")
        self._whats = [leave, Choice("", t("history_filter.everything")), *groups]
        self._days = [Choice(each.value, t(f"history_filter.{each.value}")) for each in DAYS]
        self._people: list[Choice] = []
        self._name_filters()

    def shown(self, subject: str = "", title: str = "", **_: Any) -> None:
        """`subject`: a holder's key, a place's code, an operator's key; none: everything in the book."""
        self._subject, self.title = subject, title or t("records.history")
        self._group, self._person, self._when = "", "", When.ALWAYS
        self.page, self.is_holder = Page.LINES, False
        self.clerk.ask(asks.about(subject), self.offer, self._failed)
        self._begin()

    def scanned(self, text: str) -> bool:
        """While everything is shown, a label asks for what it stands on."""
        if self._subject:
            return False
        self.clerk.ask(asks.named(text), lambda found: self.shown(*found), self._failed)
        return True

    def offer(self, about: About) -> None:
        """Take over who can be chosen, and what day it is."""
        self.is_holder = about.is_holder
        people = [Choice(card.key, card.name, t(f"role.{card.role}")) for card in about.people]
        self._people = [Choice("", t("history_filter.everybody")), *people]
        self._name_filters()
        self._now = datetime.fromtimestamp(about.now_utc_s)
        self._moment = self._now.replace(second=0, microsecond=0)

    # The lines ----------------------------------------------------------------------------------------------

    def turn(self, pages: int) -> None:
        """Turn pages."""
        rows = self.ids.rows
        rows.turn(pages)
        if rows.page == rows.pages - 1 and not self._whole:
            self._ask()

    def _begin(self) -> None:
        """Ask for the newest lines of what is chosen now."""
        self._lines, self.rows, self._whole, self.empty, self.trouble = [], [], False, False, ""
        self.ids.rows.page = 0
        self._name_filters()
        self._ask()

    def _ask(self) -> None:
        subject, before = self._subject, self._lines[-1].line if self._lines else None
        which = self._which(before)
        self.clerk.ask(
            asks.history(subject, which),
            lambda lines: self.show(lines) if which == self._which(before) and subject == self._subject else None,
            self._failed,
        )

    def _which(self, before: int | None) -> Filter:
        span = span_of(self._when, self._moment, self._now)
        since_s, until_s = (span[0], span[1] - LEAST_S) if span else (None, None)
        return Filter(GROUPS.get(self._group, frozenset()), self._person or None, since_s, until_s, PAGE, before)

    def show(self, lines: tuple[HistoryRow, ...]) -> None:
        """Show lines, older than those that are shown already."""
        older = [line for line in lines if not self._lines or line.line < self._lines[-1].line]
        self._whole = len(lines) < PAGE
        self._lines += older
        self.empty = not self._lines
        self.rows = [_line(line, self.title if self._subject else "", self._now.year) for line in self._lines]

    def heatings(self) -> None:
        """The heatings of this holder, with their curves."""
        self.clerk.go("heatings", key=self._subject, title=self.title)

    # Choosing -----------------------------------------------------------------------------------------------

    def back(self) -> None:
        """One step back."""
        if self.page == Page.LINES:
            self.clerk.back()
        else:
            self.page = Page.LINES

    def choose(self, page: str) -> None:
        """A filter was touched."""
        self.page = page
        if page == Page.WHEN:
            self._look()

    def take_what(self, key: str) -> None:
        """Only lines of these kinds."""
        self.page = Page.LINES
        if key != BACK:
            self._group = key
            self._begin()

    def take_who(self, choice: Choice) -> None:
        """Only what this person did."""
        self._person, self.page = choice.key, Page.LINES
        self._begin()

    def take_when(self, key: str) -> None:
        """Only these days."""
        self._when, self.page = When(key), Page.LINES
        self._begin()

    def take_day(self) -> None:
        """Only the day that is shown."""
        self.take_when(When.DAY.value)

    def move(self, days: int, hours: int = 0) -> None:
        """To another day or hour, never beyond now."""
        self._moment = min(self._moment + timedelta(days=days, hours=hours), self._now)
        self._look()

    def _look(self) -> None:
        """Say which day and hour are shown, and where the holder was then."""
        moment, subject = self._moment, self._subject
        self.day, self.hour = day_words(moment), f"{moment:%H:%M}"
        self.last_day = midnight(moment) == midnight(self._now)
        self.was_at, self.was_note, self.was_hot, self.was_known = "", "", False, False
        if self.is_holder:
            self.clerk.ask(
                asks.where_at(subject, moment.timestamp()),
                lambda was: self.show_was(was) if moment == self._moment and subject == self._subject else None,
                self._failed,
            )

    def show_was(self, was: WasAt) -> None:
        """Show where it was."""
        self.was_hot, self.was_known = was.hot, was.since_utc_s is not None
        if was.since_utc_s is None:
            self.was_at, self.was_note = t("history_filter.not_yet"), ""
            return
        self.was_at = was.place_name or t("hot.nowhere")
        self.was_note = t("history_filter.since", at=clock_words(was.since_utc_s), who=was.operator)

    def _name_filters(self) -> None:
        """What is written on the three buttons, and ticked behind them."""
        self.what = t(f"history_filter.{self._group or 'everything'}")
        person = next((choice for choice in self._people if choice.key == self._person), None)
        self.who = person.text if person and self._person else t("history_filter.everybody")
        chosen = self._when is When.DAY
        self.when = day_words(self._moment) if chosen else t(f"history_filter.{self._when.value}")
        self.whats, self.people = ticked(self._whats, self._group), ticked(self._people, self._person)
        self.days = ticked(self._days, self._when.value)
        self.narrowed = bool(self._group or self._person) or self._when is not When.ALWAYS

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


def _line(row: HistoryRow, title: str, this_year: int) -> RowText:
    """What happened, without the name that stands above the list."""
    at = datetime.fromtimestamp(row.utc_s)
    phone = t("history_filter.by_phone", phone=row.phone) if row.phone else ""
    when = f"{date(at, at.year != this_year)} {at:%H:%M:%S}{zone_if_twice(at)}"
    who = " · ".join(part for part in (when, row.operator, row.kiosk, phone) if part)
    said = say(row.say)
    if title:
        said = said.removeprefix(title).removeprefix(":").strip()
    return RowText(str(row.line), said, who)


load_beside(__file__)
