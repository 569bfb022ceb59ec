"""Audits that were closed: each with what was found right the first time, and whether it gets better, as a plot.

Of all places or of one; a touch on one leads to its report.  Nothing is counted here.
"""

from __future__ import annotations

import math
from datetime import datetime
from enum import StrEnum
from typing import Any

from kivy.properties import ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.audit import Mark
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice, ticked
from kiosk.screens.parts.lines import RowText
from kiosk.screens.questions import records as asks
from kiosk.screens.questions.records import AuditRow, PastAudits
from kiosk.screens.view import Covers, View
from kiosk.words import clock, date, t

NEWEST = 100
SHOWN = 12  # points of a plot
LOWEST_SHARE = 90.0  # the scale begins here unless something was worse


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    AUDITS = "audits"
    PLACES = "places"


class AuditsScreen(View):
    """The list with its two plots, and the choice of a place."""

    name = "audits"
    rail = "audit"
    covers = Covers.RAIL

    page = OptionProperty(Page.AUDITS, options=list(Page))
    rows = ListProperty()
    place = StringProperty()  # name of the one chosen
    choices = ListProperty()
    trouble = StringProperty()

    right = ListProperty()
    right_low = NumericProperty(LOWEST_SHARE)
    right_said = StringProperty()
    pace = ListProperty()
    pace_high = NumericProperty(60.0)
    pace_said = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._code = ""

    def shown(self, **_: Any) -> None:
        self._code, self.place, self.page = "", t("audits.every_place"), Page.AUDITS
        self._ask()

    def returned(self) -> None:
        self._ask()

    def back(self) -> None:
        """One step back."""
        if self.page == Page.PLACES:
            self.page = Page.AUDITS
        else:
            self.clerk.back()

    def choose_place(self) -> None:
        """Only one place's audits."""
        self.page = Page.PLACES

    def take_place(self, choice: Choice) -> None:
        """This one's, or every place's again."""
        self._code, self.place, self.page = choice.key, choice.text, Page.AUDITS
        self._ask()

    def open(self, line: RowText) -> None:
        """An audit was touched: its report."""
        self.clerk.go("report", audit=line.key)

    def _ask(self) -> None:
        self.trouble = ""
        code = self._code
        self.clerk.ask(
            asks.past_audits(code, NEWEST),
            lambda past: self.show(past) if code == self._code else None,
            self._failed,
        )

    def show(self, past: PastAudits) -> None:
        """Show audits as the desk gives them."""
        marks = {mark.key: mark for mark in past.trend}
        self.rows = [_line(row, marks.get(row.key)) for row in past.audits]
        places = [Choice("", t("audits.every_place")), *(Choice(code, _said(name)) for code, name in past.places)]
        self.choices = ticked(places, self._code)
        shown = past.trend[-SHOWN:]
        right = [(_day(mark), mark.counts.right_share * 100.0) for mark in shown]
        pace = [(_day(mark), mark.seconds_per_hundred) for mark in shown if mark.seconds_per_hundred is not None]
        self.right_low = min([LOWEST_SHARE, *(value // 10 * 10 for _, value in right)])
        self.right_said = _share(shown[-1]) if shown else ""
        self.pace_high = max([60.0, *(value for _, value in pace)])
        self.pace_said = clock(pace[-1][1]) if pace else ""
        self.right, self.pace = right, pace

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


def _said(name: str) -> str:
    return t(name) if name.startswith("term.") else name


def _day(mark: Mark) -> str:
    return date(datetime.fromtimestamp(mark.closed_utc_s), year=False)


def _share(mark: Mark) -> str:
    """`97.5 %` right the first time; rounded down, so that only what is whole is called so."""
    return t("audits.share", share=math.floor(mark.counts.right_share * 1000.0) / 10.0)


def _line(row: AuditRow, mark: Mark | None) -> RowText:
    at = datetime.fromtimestamp(row.closed_utc_s or row.opened_utc_s)
    closed = f"{date(at)} {at:%H:%M}"
    note = " · ".join(part for part in (closed, row.opened_by) if part)
    whole = mark is not None and mark.counts.right_share >= 1.0
    sign, tone = ("✓", "done") if whole else ("?", "plain")
    return RowText(row.key, _said(row.name), note, _share(mark) if mark else "", sign, tone)


load_beside(__file__)
