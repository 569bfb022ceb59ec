"""What the book says of audits: their scopes, sightings and settled differences, and what `rules.audit` makes of them.

Reads only; opening, scanning and settling is `desk.audits`' business.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from kiosk.desk.session import NotThere, Session
from kiosk.ledger import stock, tables
from kiosk.ledger.book import rows
from kiosk.ledger.derive import TableRow
from kiosk.rules import audit as audit_rules
from kiosk.rules import lines
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
    difference: audit_rules.Difference
    name: str
    text: str  # holder key, or the label's text
    holder: str | None
    booked: str | None
    booked_name: str | None
    found: str | None
    found_name: str | None
    actions: tuple[audit_rules.Action, ...]


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

    def audit_row(self, key: str) -> TableRow:
        for row in rows(tables.Audit.select().where(tables.Audit.key == key)):
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
        return EVERYTHING_HOT if place == audit_rules.HOT else place_name(places.path(place))

    def names(self) -> dict[str, str]:
        operators: Any = tables.Operator.select(tables.Operator.key, tables.Operator.name).tuples()
        return dict(operators)

    def people(self, key: str) -> tuple[str, ...]:
        names = self.names()
        query = tables.KeptLine.select(tables.KeptLine.operator).join(
            tables.Mention, on=(tables.Mention.line == tables.KeptLine.id)
        )
        operators: Any = (
            query.where(tables.Mention.subject == key, tables.KeptLine.operator.is_null(False)).distinct().tuples()
        )
        return tuple(sorted(names.get(operator, operator) for (operator,) in operators))

    def scope(self, place: str) -> audit_rules.Scope:
        places = self._session.cards.places
        if place == audit_rules.HOT:
            everywhere = {code: frozenset({code}) for code in places.rows}
            kinds = {code: Kind(row["kind"]) for code, row in places.rows.items()}
            named = sorted((row["name"], code) for code, row in places.rows.items() if kinds[code].may_be_hot)
            groups = tuple(audit_rules.Group(code, name, (self._spot(code),)) for name, code in named)
            return audit_rules.Scope(audit_rules.HOT, self.name(place), groups, everywhere, kinds)
        within = places.within(place)
        inside = {code: frozenset(places.within(code)) for code in within}
        kinds = {code: Kind(places.rows[code]["kind"]) for code in within}
        walked = [code for code in within if code == place or places.inside.get(code)]
        groups = tuple(audit_rules.Group(code, places.rows[code]["name"], self._spots(code)) for code in walked)
        return audit_rules.Scope(place, self.name(place), groups, inside, kinds)

    def _spots(self, code: str) -> tuple[audit_rules.Spot, ...]:
        """The place itself and what is directly in it, as far as that has nothing inside of its own."""
        places = self._session.cards.places
        leaves = [c for c in places.within(code)[1:] if places.rows[c]["parent"] == code and not places.inside.get(c)]
        return tuple(self._spot(each) for each in (code, *leaves))

    def _spot(self, code: str) -> audit_rules.Spot:
        row = self._session.cards.places.rows[code]
        return audit_rules.Spot(code, row["name"], Kind(row["kind"]), row["number"])

    def inside(self, code: str) -> frozenset[str]:
        places = self._session.cards.places
        return frozenset(places.within(code)) if code in places.rows else frozenset()

    def place_name(self, code: str | None) -> str | None:
        places = self._session.cards.places
        return place_name(places.path(code)) if code in places.rows and code else None

    def findings(self, key: str) -> tuple[TableRow, audit_rules.Findings, tuple[audit_rules.Settled, ...]]:
        session = self._session
        row = self.audit_row(key)
        scope = self.scope(row["place"])
        sightings = self.sightings(key)
        seen = {each.holder for each in sightings if each.holder}
        if scope.place == audit_rules.HOT:
            hot = set(stock.hot_keys())
            items = {item.key: item for item in stock.items(session.cards, hot)}
        else:
            items = {item.key: item for item in stock.items_at(session.cards, scope.members)}
            settled_keys = {each.text for each in self.settled(key)}
            items |= {item.key: item for item in stock.items(session.cards, (seen | settled_keys) - items.keys())}
        heat = session.settings.heat.cycles_limit
        standard = audit_rules.Standard(session.now().utc_s, session.settings.audit.measured_days * 86400.0, heat)
        settled = self.settled(key)
        return row, evaluate(scope, items, sightings, settled, row["opened_line"], standard), settled

    def worked_at_s(self, key: str) -> tuple[tuple[str, float], ...]:
        """The kiosk and the watched time of an audit's lines, in order."""
        query = tables.KeptLine.select(tables.KeptLine.kiosk, tables.KeptLine.watched_s).join(
            tables.Mention, on=(tables.Mention.line == tables.KeptLine.id)
        )
        times: Any = query.where(tables.Mention.subject == key).order_by(tables.Mention.line).tuples()
        return tuple(times)

    def sightings(self, key: str) -> tuple[audit_rules.Sighting, ...]:
        sighted = rows(tables.Sighting.select().where(tables.Sighting.audit == key).order_by(tables.Sighting.line))
        strange = [row["text"] for row in sighted if row["holder"] is None]
        bound: dict[str, bool] = {}
        for some in stock.parts(strange):
            query = tables.Binding.select(tables.Binding.text, tables.Binding.retired_line).where(
                tables.Binding.text.in_(some)
            )
            answer: Any = query.tuples()
            bound |= {text: retired is None for text, retired in answer}
        return tuple(
            audit_rules.Sighting(
                row["text"], row["holder"], row["place"], row["line"], bound.get(row["text"]) is False,
                bound.get(row["text"]) is True, row["twin"], bool(row["stands_empty"]),
            )
            for row in sighted
        )  # fmt: skip

    def settled(self, key: str) -> tuple[audit_rules.Settled, ...]:
        query = (
            tables.Settled.select(tables.Settled, tables.KeptLine.utc_s, tables.KeptLine.operator)
            .join(tables.KeptLine, on=(tables.Settled.line == tables.KeptLine.id))
            .where(tables.Settled.audit == key)
            .order_by(tables.Settled.line)
        )
        return tuple(
            audit_rules.Settled(
                row["text"], audit_rules.Difference(row["difference"]), audit_rules.Action(row["action"]),
                row["reason"], row["booked"], row["found"], row["line"], row["name"], row["utc_s"], row["operator"],
            )
            for row in rows(query)
        )  # fmt: skip

    def card(self, each: audit_rules.Open) -> DifferenceCard:
        labels = (
            audit_rules.Difference.UNKNOWN_CODE,
            audit_rules.Difference.RETIRED_LABEL,
            audit_rules.Difference.DUPLICATE_LABEL,
        )
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


def counts_of(closed: lines.AuditClosed) -> audit_rules.Counts:
    """The counts in a closing line."""
    return audit_rules.Counts(
        closed.expected, closed.seen, closed.missing, closed.misplaced, closed.unexpected, closed.unknown, closed.hot
    )
