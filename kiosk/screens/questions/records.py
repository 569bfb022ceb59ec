"""Questions about what was done, and the papers made of the answers.

Those from `unread_pictures` on ask nothing: they read, draw, write and print what was answered, and belong on a
`Press`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image

from kiosk.desk import Desk, reports
from kiosk.desk.audit_book import AuditRow
from kiosk.desk.records import Filter, HeatPlot, HeatRecord, HistoryRow, WasAt
from kiosk.desk.reports import Kept, Paper, PastAudits
from kiosk.labels.faults import LabelError
from kiosk.labels.queue import Job, Queue, system_printing
from kiosk.reader.files import load
from kiosk.reader.kept import FOLDER, Ring
from kiosk.reader.kept import Kept as KeptPicture
from kiosk.rules.cards import OperatorCard
from kiosk.rules.shift import ShiftReport
from kiosk.screens.questions import Question

__all__ = [
    "About", "AuditRow", "Filter", "HeatPlot", "HeatRecord", "HistoryRow", "Job", "Kept", "KeptPicture", "LabelError",
    "Paper", "PastAudits", "Queue", "WasAt",
    "about", "audit_paper", "drawn", "heat_plot", "heatings", "history", "keep", "named", "page", "past_audits",
    "print_out", "queues", "shift", "shift_paper", "unread_folder", "unread_picture", "unread_pictures", "where_at",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class About:
    """Who is asked about: what a filter may offer, and the moment it is."""

    people: tuple[OperatorCard, ...]
    is_holder: bool
    now_utc_s: float


def about(subject: str) -> Question[About]:
    """What a history can be narrowed to.  subject: "" for everything in the book."""

    def answer(desk: Desk) -> About:
        people = tuple(sorted(desk.people.operators(), key=lambda card: (card.retired, card.name)))
        is_holder = bool(subject) and desk.session.cards.holder(subject) is not None
        return About(people, is_holder, desk.now().utc_s)

    return answer


def named(text: str) -> Question[tuple[str, str]]:
    """What a label stands on, as `history` wants it, and its name.  Raises NotThere."""

    def answer(desk: Desk) -> tuple[str, str]:
        subject = desk.records.subject(text)
        return subject, getattr(desk.session.cards.subject(text), "name", text)

    return answer


def history(subject: str, which: Filter) -> Question[tuple[HistoryRow, ...]]:
    """Lines about a holder, place or person, newest first; subject "": all lines."""
    return lambda desk: desk.records.history(subject, which) if subject else desk.records.everything(which)


def where_at(subject: str, utc_s: float) -> Question[WasAt]:
    """Where a holder was at a moment."""
    return lambda desk: desk.records.where_at(subject, utc_s)


def heatings(key: str, newest: int) -> Question[tuple[HeatRecord, ...]]:
    """A holder's heatings, newest first."""
    return lambda desk: desk.records.heatings(key, newest)


def heat_plot(record: HeatRecord) -> Question[HeatPlot]:
    """The curve of a heating."""
    return lambda desk: desk.records.heat_plot(record)


def shift(until_s: float | None, length_s: float) -> Question[ShiftReport]:
    """What was done in so many seconds before `until_s`, wall time; None: before now."""

    def answer(desk: Desk) -> ShiftReport:
        end_s = desk.now().utc_s if until_s is None else until_s
        return desk.records.shift(end_s - length_s, end_s)

    return answer


def past_audits(code: str, newest: int) -> Question[PastAudits]:
    """Closed audits of a place; code "": of every place."""
    return lambda desk: desk.reports.past(code or None, newest)


def audit_paper(key: str) -> Question[Paper]:
    """A closed audit as a paper."""
    return lambda desk: desk.reports.audit(key)


def shift_paper(since_s: float, until_s: float) -> Question[Paper]:
    """A stretch of wall time as a paper."""
    return lambda desk: desk.reports.shift(since_s, until_s)


def unread_folder() -> Question[Path]:
    """Where pictures of labels nobody could read are kept."""
    return lambda desk: desk.session.book.path.parent / FOLDER


def unread_pictures(folder: Path) -> tuple[KeptPicture, ...]:
    """Those that are kept, newest first.  Raises OSError."""
    return tuple(reversed(Ring(folder).pictures()))


def unread_picture(kept: KeptPicture) -> Image.Image:
    """One of them, in grey.  Raises PictureError."""
    return Image.fromarray(load(kept.path))


def keep(paper: Paper, pdf: bytes | None = None) -> Kept:
    """Write a paper beside the book, as it was drawn if it was.  Raises OSError."""
    return reports.keep(paper, pdf)


def queues() -> tuple[Queue, ...]:
    """The printers a paper can be sent to, the system's own first.  Raises LabelError."""
    return system_printing().queues()


def print_out(paper: Paper, queue: str) -> Job:
    """Print a paper, on what the queue has loaded.  Raises LabelError."""
    return reports.print_out(paper, queue)


def drawn(paper: Paper) -> tuple[bytes, int]:
    """A paper as PDF, and how many pages it has."""
    from kiosk.labels import pages

    pdf = paper.pdf()
    return pdf, pages.count(pdf)


def page(pdf: bytes, number: int, dpi: float) -> Any:
    """The picture of a page of a PDF, `number` counted from 0."""
    from kiosk.labels import pages

    return pages.picture(pdf, number, dpi)
