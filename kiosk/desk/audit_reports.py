"""Closed audits: the list of them, their reports and the trend.

Reads only; a report is what the closing line and the lines before it say, however the book went on since.
"""

from __future__ import annotations

import msgspec

from kiosk.desk.audit_book import AuditBook, AuditRow, counts_of
from kiosk.desk.session import NotThere, Session
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules import lines as L
from kiosk.rules.audit import AuditReport, Mark, ReportedDifference

_closed = msgspec.json.Decoder(L.AuditClosed)


class AuditReports:
    """Questions about audits that are over."""

    def __init__(self, session: Session, book: AuditBook) -> None:
        self._session = session
        self._book = book

    def past(self, place: str | None = None, newest: int = 100) -> tuple[AuditRow, ...]:
        """Closed audits, newest first, of one place or of all."""
        query = T.Audit.select().where(T.Audit.closed_line.is_null(False))
        if place is not None:
            query = query.where(T.Audit.place == place)
        return tuple(self._book.row(row) for row in rows(query.order_by(T.Audit.closed_line.desc()).limit(newest)))

    def report(self, key: str) -> AuditReport:
        """A closed audit as it is printed.  Raises NotThere."""
        row = self._book.audit_row(key)
        line = self._session.book.line(row["closed_line"]) if row["closed_line"] else None
        if line is None or not isinstance(line.entry, L.AuditClosed):
            raise NotThere("closed audit", key)
        names = self._book.names()
        told = tuple(
            ReportedDifference(
                each.difference, each.name, each.text, self._book.place_name(each.booked),
                self._book.place_name(each.found), each.action, each.reason,
                names.get(each.operator or "", each.operator), each.utc_s,
            )
            for each in self._book.settled(key)
        )  # fmt: skip
        return AuditReport(
            key, self._book.row(row).name, line.kiosk, row["opened_utc_s"], line.utc_s, self._book.people(key),
            counts_of(line.entry), line.entry.active_s, told, line.id, line.hash,
        )  # fmt: skip

    def trend(self, place: str | None = None, newest: int = 50) -> tuple[Mark, ...]:
        """Closed audits as points, oldest first: share right the first time, seconds per hundred holders."""
        query = T.Audit.select().where(T.Audit.closed_line.is_null(False))
        if place is not None:
            query = query.where(T.Audit.place == place)
        marks = []
        for row in rows(query.order_by(T.Audit.closed_line.desc()).limit(newest)):
            closed = _closed.decode(row["summary"])
            marks.append(Mark(row["key"], row["closed_utc_s"], counts_of(closed), closed.active_s))
        return tuple(marks[::-1])
