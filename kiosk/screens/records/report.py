"""A report as it comes out of the printer: page by page, whole or closer; then printed, or saved as files.

Drawn from the book on a thread of its own, and saved as it was shown, byte for byte.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.audit import AuditReport
from kiosk.screens.clerk import fault_words
from kiosk.screens.dates import clock_words, span_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.paper import PagePicture, page_picture
from kiosk.screens.press import Press
from kiosk.screens.questions import records as asks
from kiosk.screens.questions.records import Job, Kept, LabelError, Paper, Queue
from kiosk.screens.records.shift import kept_words
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    PAPER = "paper"
    PRINTER = "printer"


class ReportScreen(View):
    """`page` of `pages`, counted from 0.  `told`: what became of drawing, printing or saving it."""

    name = "report"
    rail = "audit"
    covers = Covers.RAIL

    in_sight = OptionProperty(Page.PAPER, options=list(Page))
    printers = ListProperty()
    looked_for = BooleanProperty(True)  # the printers there are
    title = StringProperty()
    note = StringProperty()
    told = StringProperty()
    page = NumericProperty(0)
    pages = NumericProperty(1)
    ready = BooleanProperty(False)  # it is drawn and can be saved

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._paper: Paper | None = None
        self._pdf = b""
        self._pictured: tuple[int, int, float] | None = None  # of which drawing, page and dots the picture is

    def shown(self, audit: str = "", since_s: float = 0.0, until_s: float = 0.0, **_: Any) -> None:
        """`audit`: key of a closed one; else the shift from `since_s` to `until_s`, wall time."""
        self._paper, self._pdf, self._pictured, self.ready = None, b"", None, False
        self.title, self.note, self.told = "", "", t("report.drawing")
        self.page, self.pages = 0, 1
        self.in_sight = Page.PAPER
        view = self.ids.paper
        view.whole, view.piece = True, 0
        view.show(None)
        if audit:
            self.clerk.ask(asks.audit_paper(audit), self._got, self._failed)
        else:
            self.clerk.ask(asks.shift_paper(since_s, until_s), self._got, self._failed)

    def _got(self, paper: Paper) -> None:
        self._paper = paper
        report = paper.report
        if isinstance(report, AuditReport):
            self.title = t(report.place) if report.place.startswith("term.") else report.place
            self.note = clock_words(report.closed_utc_s)
        else:
            self.title, self.note = t("records.shift"), span_words(report.since_utc_s, report.until_utc_s)
        self._press.run(lambda *_: asks.drawn(paper), lambda drawn: self._drawn(paper, *drawn), self._failed)

    def _drawn(self, paper: Paper, pdf: bytes, count: int) -> None:
        if paper is self._paper:
            self._pdf, self.pages, self.ready, self.told = pdf, count, True, ""
            self.picture_page()

    def picture_page(self) -> None:
        """Have the page in sight drawn for the room it has."""
        pdf, page, dpi = self._pdf, int(self.page), round(self.ids.paper.dpi, 1)
        wanted = (id(pdf), page, dpi)
        if not pdf or dpi < 1.0 or wanted == self._pictured:
            return
        self._pictured = wanted
        self._press.run(
            lambda *_: page_picture(asks.page(pdf, page, dpi)),
            lambda picture: self.show_page(picture) if wanted == self._pictured else None,
            self._failed,
        )

    def show_page(self, picture: PagePicture) -> None:
        """Show the picture of the page."""
        self.ids.paper.show(picture)

    # Turning ------------------------------------------------------------------------------------------------

    def turn(self, step: int) -> None:
        """To the next piece of the page, and after the last to the next page."""
        view = self.ids.paper
        piece = int(view.piece) + step
        if 0 <= piece < view.pieces:
            view.piece = piece
        elif 0 <= self.page + step < self.pages:
            self.page += step
            view.piece = 0 if step > 0 else int(view.pieces) - 1
            self.picture_page()

    def closer(self) -> None:
        """The page across its width, or whole again."""
        view = self.ids.paper
        view.piece = 0
        view.whole = not view.whole

    # Printing -----------------------------------------------------------------------------------------------

    def choose_printer(self) -> None:
        """Which printer?  The system's own comes first."""
        self.printers, self.looked_for = [], False
        self.in_sight = Page.PRINTER
        self._press.run(lambda *_: asks.queues(), self.show_printers, self._no_printers)

    def show_printers(self, queues: tuple[Queue, ...]) -> None:
        """Show the printers there are."""
        self.looked_for = True
        self.printers = [Choice(queue.name, queue.name, _queue_words(queue)) for queue in queues]

    def _no_printers(self, error: Exception) -> None:
        self.looked_for, self.in_sight = True, Page.PAPER
        self._failed(error)

    def print_on(self, choice: Choice) -> None:
        """A printer was touched: print on it, once."""
        paper, queue = self._paper, choice.key
        self.in_sight = Page.PAPER
        if paper is not None and self.ready:
            self.ready, self.told = False, t("report.sending")
            self._press.run(lambda *_: asks.print_out(paper, queue), self._sent, self._failed)

    def _sent(self, job: Job) -> None:
        self.ready = bool(self._pdf)
        self.clerk.play(Sound.DONE)
        self.told = t("report.sent", queue=job.queue, number=job.number)

    def back(self) -> None:
        """To the paper, or to where this screen was opened from."""
        if self.in_sight == Page.PAPER:
            self.clerk.back()
        self.in_sight = Page.PAPER

    # Saving -------------------------------------------------------------------------------------------------

    def save(self) -> None:
        """Write what is shown as PDF, and its figures as CSV, beside the book."""
        paper, pdf = self._paper, self._pdf
        if paper is not None and pdf:
            self._press.run(lambda *_: asks.keep(paper, pdf), self._kept, self._failed)

    def _kept(self, kept: Kept) -> None:
        self.clerk.play(Sound.DONE)
        self.told = kept_words(kept)

    def _failed(self, error: Exception) -> None:
        self.ready = bool(self._pdf)
        self.clerk.play(Sound.REFUSED)
        self.told = say(error.say) if isinstance(error, LabelError) else fault_words(error)


def _queue_words(queue: Queue) -> str:
    return ", ".join(t(f"term.trouble.{trouble.value}") for trouble in queue.troubles) or queue.description


load_beside(__file__)
