"""What the decision is shown of audits: the one this kiosk is in, the one a place's label opens, what settling needs.

Gathers and never decides; everything a scan cannot need is left out, because each costs a look into the book.
"""

from __future__ import annotations

import secrets
from dataclasses import replace
from typing import Any

from kiosk.desk.audit_book import AuditBook
from kiosk.desk.session import NotThere, Session
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules.audit import HOT, Action, Findings
from kiosk.rules.audit_scan import doubted
from kiosk.rules.audit_settling import ASTRAY, Settling, known_since
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.view import AuditToOpen, AuditView, Doubt, Glimpse, Stray


class AuditViews:
    """Views of audits for one desk's decisions."""

    def __init__(self, session: Session, book: AuditBook) -> None:
        self._session = session
        self._book = book

    def running(
        self, about: tuple[str, float] | None = None, at: PlaceCard | None = None, closing: bool = False
    ) -> AuditView | None:
        """This kiosk's audit.

        about: key of the holder just seen and when, where a place was scanned next: `at`.  closing: with the times of
        its lines.
        """
        session = self._session
        if session.audit is None:
            return None
        row, findings, _ = self._book.findings(session.audit)
        query = T.Sighting.select(T.Sighting.text, T.Sighting.place, T.Sighting.watched_s, T.KeptLine.kiosk)
        query = query.join(T.KeptLine, on=(T.Sighting.line == T.KeptLine.id))
        found: Any = query.where(T.Sighting.audit == session.audit).tuples()
        mine = session.book.kiosk
        doubt, strays = None, {}
        if about and at:
            doubt = self._doubt(findings, *about)
            strays = self._strays(findings, at) if doubt else {}
        return AuditView(
            session.audit,
            self._book.scope(row["place"]),
            session.cards.place(session.audit_at) if session.audit_at else None,
            {text: Glimpse(place, at_s if kiosk == mine else None) for text, place, at_s, kiosk in found},
            findings,
            doubt,
            strays,
            self._book.worked_at_s(session.audit) if closing else (),
        )

    def to_open(self, place: str) -> AuditToOpen:
        """The audit that is opened at a place (its code, or `hot`).  Raises NotThere."""
        code, retired = place, False
        if place != HOT:
            card = self._session.place(place)
            code, retired = self._book.audited(card.place.code), card.retired
        query = T.Audit.select(T.Audit.key).where(T.Audit.place == code, T.Audit.closed_line.is_null())
        running = next((str(row["key"]) for row in rows(query)), None)
        name = self._session.place(place).name if retired else self._book.name(code)
        key = f"audit {secrets.token_hex(4).upper()}"  # no other kiosk's, however many were opened
        return AuditToOpen(code, name, key, running, retired)

    def settling(
        self, audit: AuditView, key: str, action: Action, reason: str, goal: str | None
    ) -> tuple[Settling, AuditView]:
        """A difference of an audit with what closing it needs, and the audit with it.  Raises NotThere."""
        session = self._session
        difference = audit.findings.difference(key)
        if difference is None and action is Action.REGISTERED:
            difference = known_since(self._book.sightings(audit.key), key.rpartition("/")[0])
        if difference is None:
            raise NotThere("difference", key)
        place = session.place(goal) if goal else None
        found = session.cards.place(difference.found) if difference.found else None
        answers = session.cards.subject(difference.text) if action is Action.REGISTERED else None
        asked = Settling(
            difference,
            action,
            reason,
            session.cards.holder(difference.text),
            place,
            found,
            answers if isinstance(answers, HolderCard | PlaceCard) else None,
        )
        where = place or found
        if action is not Action.BOOK_MOVED or where is None:
            return asked, audit
        return asked, replace(audit, strays=self._strays(audit.findings, where))

    def _doubt(self, findings: Findings, holder: str, since_watched_s: float) -> Doubt | None:
        difference = doubted(findings, holder)
        card = self._session.cards.holder(holder)
        if difference is None or card is None:
            return None
        inside = self._book.inside(difference.found) if difference.found else frozenset[str]()
        return Doubt(card, difference, since_watched_s, inside)

    def _strays(self, findings: Findings, at: PlaceCard) -> dict[str, Stray]:
        """Holders that stand at a place by the book and were seen elsewhere, and those that stand where they were seen,
        and so on: as far as one may have to follow the other.
        """
        seen = {each.text: each.found for each in findings.open if each.difference in ASTRAY and each.found}
        strays: dict[str, Stray] = {}
        ahead = [*at.occupants]
        while ahead:
            key = ahead.pop()
            where = self._session.cards.place(seen[key]) if key in seen else None
            card = self._session.cards.holder(key)
            if key not in strays and where is not None and card is not None:
                strays[key] = Stray(card, where)
                ahead += where.occupants
        return strays
