"""The reports counter: audits and shifts as papers, to be looked at, printed and kept beside the book.

Gathers what a paper says from the book; drawing and keeping it needs no desk, so that both can be done while the
desk answers scans.  What is kept is what was shown, byte for byte.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from kiosk import filing, words
from kiosk.desk.audit_book import AuditBook, AuditRow
from kiosk.desk.audits import AuditCounter
from kiosk.desk.records import RecordsCounter
from kiosk.desk.session import Session
from kiosk.labels.queue import Job, Media, Printing, listed, system_printing
from kiosk.labels.sizes import PAPERS
from kiosk.ledger import tables as T
from kiosk.rules.audit import AuditReport, Mark
from kiosk.rules.shift import ShiftReport

FOLDER = "reports"
TREND = 50  # audits before this one that its plots are drawn from
ALL = 100_000


@dataclass(frozen=True, slots=True)
class Paper:
    """What is to be put on paper.  `stem`: name of its files; `folder`: where they go.  `trend`: of an audit."""

    stem: str
    folder: Path
    report: AuditReport | ShiftReport
    trend: tuple[Mark, ...] = ()

    def pdf(self, sheet: str = "A4") -> bytes:
        """Drawn in the shop's language.  sheet: `A4` or `Letter`."""
        from kiosk.exchange import report_audit, report_shift  # drawing takes long to load

        with words.for_everybody():
            if isinstance(self.report, AuditReport):
                return report_audit.drawn(self.report, words.say, self.trend, sheet)
            return report_shift.drawn(self.report, words.say, sheet)

    def csv(self) -> str:
        from kiosk.exchange import report_audit, report_shift

        if isinstance(self.report, AuditReport):
            return report_audit.csv(self.report)
        return report_shift.csv(self.report)


@dataclass(frozen=True, slots=True)
class Kept:
    """The two files of a paper."""

    pdf: Path
    csv: Path


def keep(paper: Paper, pdf: bytes | None = None) -> Kept:
    """Writes both files, each whole or not at all.  pdf: what was drawn of it before.  Raises OSError."""
    from kiosk.exchange import report_page

    kept = Kept(paper.folder / f"{paper.stem}.pdf", paper.folder / f"{paper.stem}.csv")
    report_page.keep(kept.pdf, paper.pdf() if pdf is None else pdf)
    report_page.keep(kept.csv, paper.csv().encode("utf-8"))
    return kept


def print_out(paper: Paper, queue: str, sheet: str | None = None, printing: Printing | None = None) -> Job:
    """Sends a paper to a print queue, once and at true size.

    sheet: `A4` or `Letter`; None: what the queue has loaded, else what it knows, A4 first.  Raises LabelError; nothing
    was printed then, unless it says that nobody knows (`FateUnknown`).
    """
    spooler = printing or system_printing()
    listed(spooler.queues(), queue)
    stocks = {each.name: spooler.stock(queue, each.width_mm, each.height_mm) for each in PAPERS}
    known = sorted((name for name, stock in stocks.items() if stock), key=lambda name: not _loaded(stocks[name]))
    name = sheet or (known[0] if known else PAPERS[0].name)
    with tempfile.TemporaryDirectory(prefix="report-") as folder:
        pdf = Path(folder) / f"{paper.stem}.pdf"
        filing.write(pdf, paper.pdf(name))
        return spooler.send(queue, pdf, title=paper.stem, media=stocks[name])


def _loaded(stock: Media | None) -> bool:
    return stock is not None and stock.loaded


@dataclass(frozen=True, slots=True)
class PastAudits:
    """Closed audits, newest first, their figures oldest first, and every place that was ever audited."""

    audits: tuple[AuditRow, ...]
    trend: tuple[Mark, ...]
    places: tuple[tuple[str, str], ...]  # code, name


class ReportsCounter:
    def __init__(self, session: Session, audits: AuditCounter, records: RecordsCounter) -> None:
        self._folder = session.book.path.parent / FOLDER
        self._book = AuditBook(session)
        self._audits = audits
        self._records = records

    def audit(self, key: str) -> Paper:
        """A closed audit, with the trend of its place as it was when it was closed.  Raises NotThere."""
        report = self._audits.report(key)
        row = self._book.audit_row(key)
        marks = self._audits.trend(row["place"], newest=ALL)
        trend = tuple(mark for mark in marks if mark.closed_utc_s <= row["closed_utc_s"])[-TREND:]
        return Paper(key.replace(" ", "-"), self._folder, report, trend)

    def shift(self, since_utc_s: float, until_utc_s: float) -> Paper:
        """A stretch of wall time as a shift."""
        since, until = (datetime.fromtimestamp(utc_s) for utc_s in (since_utc_s, until_utc_s))
        stem = f"shift-{since:%Y-%m-%d-%H%M}-{until:%H%M}"
        return Paper(stem, self._folder, self._records.shift(since_utc_s, until_utc_s))

    def past(self, place: str | None = None, newest: int = 100) -> PastAudits:
        """The audits that were closed, of one place or of all."""
        found: Any = T.Audit.select(T.Audit.place).where(T.Audit.closed_line.is_null(False)).distinct().tuples()
        places = sorted(((code, self._book.name(code)) for (code,) in found), key=lambda pair: pair[1])
        return PastAudits(self._audits.past(place, newest), self._audits.trend(place, newest), tuple(places))
