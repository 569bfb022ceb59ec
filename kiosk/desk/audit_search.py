"""Looking for a missing holder: where it was last, what stood beside it, and where this shop's mistakes point.

Reads only; `rules.likely` ranks the places.
"""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.desk.audit_book import AuditBook
from kiosk.desk.session import Session
from kiosk.ledger import history, stock, tables
from kiosk.ledger.book import Written, rows
from kiosk.rules import audit as audit_rules
from kiosk.rules import lines
from kiosk.rules.cards import HolderCard
from kiosk.rules.likely import Likely, Mistake, likely_places
from kiosk.rules.places import Kind

NEIGHBOURS = 12  # what else stood there, at most so many names
MISTAKES = 500  # of the shop's last so many the likely places are learnt


@dataclass(frozen=True, slots=True)
class LookFor:
    """Where a missing holder was last, and where to look."""

    place: str | None  # name
    by: str | None
    utc_s: float | None
    neighbours: tuple[str, ...]  # names of what else stood there then
    places: tuple[tuple[Likely, str], ...]  # each with its name, most likely first


class AuditSearch:
    """Questions about holders nobody can find."""

    def __init__(self, session: Session, book: AuditBook) -> None:
        self._session = session
        self._book = book

    def look_for(self, holder_key: str) -> LookFor:
        """Where a holder was last seen, what stood beside it then, and where to look first.  Raises NotThere."""
        session = self._session
        card = session.holder(holder_key)
        last = self._last_seen(card)
        place = self._booked_last(holder_key)
        if place is None:
            return LookFor(None, *self._who_when(last), (), ())
        places = {code: session.cards.places.place(code) for code in session.cards.places.rows}
        parent = places[place].parent if place in places else None
        around = self._book.inside(parent) if parent and places[place].kind is Kind.SLOT else frozenset({place})
        standing = history.stood_there(around, last.id) if last else {}
        keys = set().union(*standing.values()) - {holder_key} if standing else set()
        beside = sorted(item.name for item in stock.items(session.cards, keys))[:NEIGHBOURS]
        likely = likely_places(place, history.came_from(holder_key, place), self._mistakes(), places, self._ruled_out())
        return LookFor(
            self._book.place_name(place),
            *self._who_when(last),
            tuple(beside),
            tuple((each, self._book.place_name(each.place) or each.place) for each in likely),
        )

    def _who_when(self, line: Written | None) -> tuple[str | None, float | None]:
        if line is None:
            return None, None
        return self._book.names().get(line.operator or "", line.operator), line.utc_s

    def _last_seen(self, card: HolderCard) -> Written | None:
        """The last line in which somebody had it in hand or in sight."""
        kinds = frozenset(
            {lines.Moved.kind, lines.Seen.kind, lines.Built.kind, lines.MeasuredLine.kind, lines.TemperatureRead.kind}
        )
        newest = history.lines(history.Question(card.holder.key, kinds, newest=20))
        gone = (line for line in newest if not (isinstance(line.entry, lines.Moved) and line.entry.goal is None))
        return next(gone, None)

    def _booked_last(self, holder_key: str) -> str | None:
        """Where the book has it, or had it before it gave it up."""
        row = rows(tables.Holder.select(tables.Holder.place).where(tables.Holder.key == holder_key))[0]
        if row["place"]:
            return str(row["place"])
        for line in history.lines(history.Question(holder_key, frozenset({lines.Moved.kind}), newest=5)):
            if isinstance(line.entry, lines.Moved) and (place := line.entry.goal or line.entry.origin):
                return place
        return None

    def _mistakes(self) -> list[Mistake]:
        """The shop's last mistakes: what audits found astray, and where given-up holders turned up."""
        kinds = [kind.value for kind in audit_rules.ABOUT_STANDING]
        query = tables.Settled.select().where(tables.Settled.difference.in_(kinds))
        query = query.order_by(tables.Settled.line.desc()).limit(MISTAKES)
        mistakes = []
        for row in rows(query):
            booked, found = row["booked"], row["found"]
            if row["difference"] == audit_rules.Difference.MISSING.value:
                later = [
                    line.entry.goal
                    for line in history.between(row["text"], row["line"], None)
                    if isinstance(line.entry, lines.Moved) and line.entry.goal
                ]
                found = later[0] if later else None
            if booked and found and booked != found:
                mistakes.append(Mistake(booked, found, history.came_from(row["text"], booked, row["line"])))
        return mistakes

    def _ruled_out(self) -> frozenset[str]:
        """Slots in which this kiosk's audit saw something."""
        session = self._session
        if session.audit is None:
            return frozenset()
        places = session.cards.places.rows
        looked_at = (row.place for row in self._book.sightings(session.audit) if row.place)
        return frozenset(code for code in looked_at if code in places and places[code]["capacity"] == 1)
