"""What the book says of audits: their scopes, sightings and settled differences, and what `rules.audit` makes of them.

Reads only; opening, scanning and settling is `desk.audits`' business.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from kiosk.desk.session import NotThere, Session
from kiosk.ledger import stock
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.derive import Row as TableRow
from kiosk.rules import audit as A
from kiosk.rules import lines as L
from kiosk.rules.audit_findings import evaluate
from kiosk.rules.cards import place_name
from kiosk.rules.places import Kind

EVERYTHING_HOT = "term.everything_hot"  # the name of the audit of all that is hot
TURN = {Kind.SLOT: Kind.CABINET, Kind.POCKET: Kind.MACHINE, Kind.SPINDLE: Kind.MACHINE}  # what is audited instead


@dataclass(frozen=True, slots=True)
class AuditRow:
    """An audit in a list."""

    key: str
    place: str  # a place's code, or `hot`
    name: str
    opened_utc_s: float
    opened_by: str | None
    paused: bool
    closed_utc_s: float | None


@dataclass(frozen=True, slots=True)
class DifferenceCard:
    """A difference that waits, as the list shows it."""

    key: str  # what `settle` takes
    difference: A.Difference
    name: str
    text: str  # holder key, or the label's text
    holder: str | None
    booked: str | None
    booked_name: str | None
    found: str | None
    found_name: str | None
    actions: tuple[A.Action, ...]


class AuditBook:
    """Audits as the book of one desk has them."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def audited(self, code: str) -> str:
        """The place an audit is made of when this label is scanned."""
        places = self._session.cards.places
        kind = places.place(code).kind
        at: str | None = code
        while kind in TURN and at is not None:
            if places.place(at).kind is TURN[kind]:
                return at
            at = places.rows[at]["parent"]
        return code

    def found(self, key: str) -> TableRow:
        for row in rows(T.Audit.select().where(T.Audit.key == key)):
            return row
        raise NotThere("audit", key)

    def row(self, row: TableRow) -> AuditRow:
        by = self.names().get(row["operator"] or "", row["operator"])
        name = self.name(row["place"])
        paused = bool(row["paused"])
        return AuditRow(row["key"], row["place"], name, row["opened_utc_s"], by, paused, row["closed_utc_s"])

    def name(self, place: str) -> str:
        """What an audit of this place is called."""
        places = self._session.cards.places
        return EVERYTHING_HOT if place == A.HOT else place_name(places.path(place))

    def names(self) -> dict[str, str]:
        found: Any = T.Operator.select(T.Operator.key, T.Operator.name).tuples()
        return dict(found)

    def people(self, key: str) -> tuple[str, ...]:
        names = self.names()
        query = T.Line.select(T.Line.operator).join(T.Mention, on=(T.Mention.line == T.Line.id))
        found: Any = query.where(T.Mention.subject == key, T.Line.operator.is_null(False)).distinct().tuples()
        return tuple(sorted(names.get(operator, operator) for (operator,) in found))

    def scope(self, place: str) -> A.Scope:
        places = self._session.cards.places
        if place == A.HOT:
            everywhere = {code: frozenset({code}) for code in places.rows}
            kinds = {code: Kind(row["kind"]) for code, row in places.rows.items()}
            named = sorted((row["name"], code) for code, row in places.rows.items() if kinds[code].may_be_hot)
            groups = tuple(A.Group(code, name, (self._spot(code),)) for name, code in named)
            return A.Scope(A.HOT, self.name(place), groups, everywhere, kinds)
        within = places.within(place)
        inside = {code: frozenset(places.within(code)) for code in within}
        kinds = {code: Kind(places.rows[code]["kind"]) for code in within}
        walked = [code for code in within if code == place or places.inside.get(code)]
        groups = tuple(A.Group(code, places.rows[code]["name"], self._spots(code)) for code in walked)
        return A.Scope(place, self.name(place), groups, inside, kinds)

    def _spots(self, code: str) -> tuple[A.Spot, ...]:
        """The place itself and what is directly in it, as far as that has nothing inside of its own."""
        places = self._session.cards.places
        leaves = [c for c in places.within(code)[1:] if places.rows[c]["parent"] == code and not places.inside.get(c)]
        return tuple(self._spot(each) for each in (code, *leaves))

    def _spot(self, code: str) -> A.Spot:
        row = self._session.cards.places.rows[code]
        return A.Spot(code, row["name"], Kind(row["kind"]), row["number"])

    def inside(self, code: str) -> frozenset[str]:
        places = self._session.cards.places
        return frozenset(places.within(code)) if code in places.rows else frozenset()

    def place_name(self, code: str | None) -> str | None:
        places = self._session.cards.places
        return place_name(places.path(code)) if code in places.rows and code else None

    def findings(self, key: str) -> tuple[TableRow, A.Findings, tuple[A.Settled, ...]]:
        session = self._session
        row = self.found(key)
        scope = self.scope(row["place"])
        places = session.cards.places
        sightings = self.sightings(key)
        seen = {each.holder for each in sightings if each.holder}
        if scope.place == A.HOT:
            hot = set(stock.hot_keys())
            items = {item.key: item for item in stock.items(places, hot)}
        else:
            items = {item.key: item for item in stock.items_at(places, scope.members)}
            settled_keys = {each.text for each in self.settled(key)}
            items |= {item.key: item for item in stock.items(places, (seen | settled_keys) - items.keys())}
        heat = session.settings.heat.cycles_limit
        standard = A.Standard(session.now().utc_s, session.settings.audit.measured_days * 86400.0, heat)
        settled = self.settled(key)
        return row, evaluate(scope, items, sightings, settled, row["opened_line"], standard), settled

    def worked_at_s(self, key: str) -> tuple[tuple[str, float], ...]:
        """The kiosk and the watched time of an audit's lines, in order."""
        query = T.Line.select(T.Line.kiosk, T.Line.watched_s).join(T.Mention, on=(T.Mention.line == T.Line.id))
        found: Any = query.where(T.Mention.subject == key).order_by(T.Mention.line).tuples()
        return tuple(found)

    def sightings(self, key: str) -> tuple[A.Sighting, ...]:
        found = rows(T.Sighting.select().where(T.Sighting.audit == key).order_by(T.Sighting.line))
        strange = [row["text"] for row in found if row["holder"] is None]
        bound: dict[str, bool] = {}
        for some in stock.parts(strange):
            query = T.Binding.select(T.Binding.text, T.Binding.retired_line).where(T.Binding.text.in_(some))
            answer: Any = query.tuples()
            bound |= {text: retired is None for text, retired in answer}
        return tuple(
            A.Sighting(
                row["text"], row["holder"], row["place"], row["line"], bound.get(row["text"]) is False,
                bound.get(row["text"]) is True, row["twin"], bool(row["stands_empty"]),
            )
            for row in found
        )  # fmt: skip

    def settled(self, key: str) -> tuple[A.Settled, ...]:
        query = (
            T.Settled.select(T.Settled, T.Line.utc_s, T.Line.operator)
            .join(T.Line, on=(T.Settled.line == T.Line.id))
            .where(T.Settled.audit == key)
            .order_by(T.Settled.line)
        )
        return tuple(
            A.Settled(
                row["text"], A.Difference(row["difference"]), A.Action(row["action"]), row["reason"], row["booked"],
                row["found"], row["line"], row["name"], row["utc_s"], row["operator"],
            )
            for row in rows(query)
        )  # fmt: skip

    def card(self, each: A.Open) -> DifferenceCard:
        labels = (A.Difference.UNKNOWN_CODE, A.Difference.RETIRED_LABEL, A.Difference.DUPLICATE_LABEL)
        return DifferenceCard(
            each.key,
            each.difference,
            each.name,
            each.text,
            None if each.difference in labels else each.text,
            each.booked,
            self.place_name(each.booked),
            each.found,
            self.place_name(each.found),
            each.actions,
        )


def counts_of(closed: L.AuditClosed) -> A.Counts:
    """The counts in a closing line."""
    return A.Counts(
        closed.expected, closed.seen, closed.missing, closed.misplaced, closed.unexpected, closed.unknown, closed.hot
    )
