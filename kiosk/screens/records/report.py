"""A report as it comes out of the printer: page by page, whole or closer, before it is saved or after.

Drawn from the book on a thread of its own, and saved as it was shown, byte for byte.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, StringProperty

from kiosk.rules.audit import AuditReport
from kiosk.screens.clerk import fault_words
from kiosk.screens.dates import clock_words, span_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paper import PagePicture, page_picture
from kiosk.screens.press import Press
from kiosk.screens.questions import records as asks
from kiosk.screens.questions.records import Kept, Paper
from kiosk.screens.records.shift import kept_words
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t


class ReportScreen(View):
    """`page` of `pages`, counted from 0.  `told`: what became of drawing or saving it."""

    name = "report"
    rail = "audit"
    covers = Covers.RAIL

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
        self.clerk.play(Sound.REFUSED)
        self.told = fault_words(error)


load_beside(__file__)
