"""A shift in large figures: what was built, heated, handed out and brought back, and what was refused and why.

Shows what the desk counted; which stretch of time it counts is chosen here, a shift or a day at a time.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.shift import ShiftCounts, ShiftReport
from kiosk.screens.clerk import fault_words
from kiosk.screens.dates import day_words, span_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.lines import RowText
from kiosk.screens.press import Press
from kiosk.screens.questions import records as asks
from kiosk.screens.questions.records import Kept, Paper
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

HOUR_S, DAY_S = 3600.0, 86400.0
FIRST, FIRST_ROOMY = 2, 4  # reasons beside the figures, the most by far first; all of them are one touch away


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    FIGURES = "figures"
    REASONS = "reasons"


class ShiftScreen(View):
    """The figures, and the list of every reason."""

    name = "shift"
    rail = "audit"
    covers = Covers.RAIL

    page = OptionProperty(Page.FIGURES, options=list(Page))
    title = StringProperty()
    note = StringProperty()
    built = NumericProperty(0)
    heated = NumericProperty(0)
    issued = NumericProperty(0)
    brought = NumericProperty(0)  # out of machines
    differences = NumericProperty(0)
    refused = NumericProperty(0)
    first = ListProperty()  # what was refused, in words, most often first
    reasons = ListProperty()
    last = BooleanProperty(True)  # nothing later can be chosen
    told = StringProperty()  # what became of saving
    trouble = StringProperty()  # what went wrong

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._now_s = 0.0  # when the screen was opened: shifts are counted back from it
        self._until_s = 0.0

    def shown(self, **_: Any) -> None:
        self.page, self.told, self.trouble, self._now_s = Page.FIGURES, "", "", 0.0
        self._ask()

    def back(self) -> None:
        """One step back."""
        if self.page == Page.REASONS:
            self.page = Page.FIGURES
        else:
            self.clerk.back()

    # Which shift --------------------------------------------------------------------------------------------

    @property
    def _length_s(self) -> float:
        return float(self.clerk.settings.kiosk.shift_h) * HOUR_S

    def turn(self, shifts: int) -> None:
        """So many shifts on, or back."""
        self._to(self._until_s + shifts * self._length_s)

    def day_back(self) -> None:
        """The same hours of the day before."""
        self._to(self._until_s - DAY_S)

    def _to(self, until_s: float) -> None:
        self._until_s = min(until_s, self._now_s)
        self.told = self.trouble = ""
        self._ask()

    def _ask(self) -> None:
        until_s, length_s = self._until_s if self._now_s else None, self._length_s
        self.clerk.ask(asks.shift(until_s, length_s), self.show, self._failed)

    def show(self, report: ShiftReport) -> None:
        """Show a shift as the desk counted it."""
        self._now_s = self._now_s or report.until_utc_s
        self._until_s = report.until_utc_s
        self.last = self._until_s >= self._now_s
        self.title = span_words(report.since_utc_s, report.until_utc_s)
        day = day_words(datetime.fromtimestamp(report.since_utc_s))
        self.note = t("shift.now", day=day) if self.last else day
        counts = report.counts
        self.built, self.heated = counts.built, counts.heated
        self.issued, self.brought = counts.issued, counts.returned
        self.refused, self.differences = counts.refused, sum(count for _, count in counts.differences)
        self.reasons = _reasons(counts)
        self.first = [f"{count} × {t(f'term.reason.{name}')}" for name, count in counts.refusals]

    def nth(self, at: int, first: list[str], told: str, roomy: bool) -> str:
        """The reason at this place beside the figures; empty where there is none, or something else is told."""
        return first[at] if at < min(len(first), FIRST_ROOMY if roomy else FIRST) and not told else ""

    def rest(self, first: list[str], roomy: bool) -> str:
        """How many more there are, in words."""
        more = len(first) - (FIRST_ROOMY if roomy else FIRST)
        return t("shift.more", count=more) if more > 0 else ""

    # What becomes of it -------------------------------------------------------------------------------------

    def why(self) -> None:
        """Every reason, in a list."""
        self.page = Page.REASONS

    def preview(self) -> None:
        """The summary as it is printed."""
        self.clerk.go("report", since_s=self._until_s - self._length_s, until_s=self._until_s)

    def save(self) -> None:
        """Write the summary as PDF and CSV beside the book."""
        since_s, until_s = self._until_s - self._length_s, self._until_s
        self.clerk.ask(asks.shift_paper(since_s, until_s), self._keep, self._failed)

    def _keep(self, paper: Paper) -> None:
        self._press.run(lambda *_: asks.keep(paper), self._kept, self._failed)

    def _kept(self, kept: Kept) -> None:
        self.clerk.play(Sound.DONE)
        self.told, self.trouble = kept_words(kept), ""

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)


def kept_words(kept: Kept) -> str:
    """Where the two files are; their names begin with what they are and its day."""
    return t("report.saved", folder=kept.pdf.parent.name)


def _reasons(counts: ShiftCounts) -> list[RowText]:
    refused = [
        RowText(f"refused/{name}", t(f"term.reason.{name}"), t("shift.was_refused"), f"{count} ×", "×", "stop")
        for name, count in counts.refusals
    ]
    waited = [
        RowText(f"waited/{name}", t(f"report.shift.figure.{name}"), t("shift.heated"), str(minutes))
        for name, minutes in (("waited_min", counts.waited_min), ("saved_min", counts.saved_min))
        if counts.waited_min
    ]
    return (
        waited
        + refused
        + [
            RowText(f"differs/{name}", t(f"term.difference.{name}"), t("shift.in_audits"), f"{count} ×", "?")
            for name, count in counts.differences
        ]
    )


load_beside(__file__)
