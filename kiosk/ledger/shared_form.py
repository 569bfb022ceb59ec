"""A line as it travels between kiosks: the text its hash covers, taken apart and put together.

Lines written before a kiosk had others travel as they were hashed then; later ones say more, inside the same hash: how
far into the shop's order their kiosk had seen, and how long the stay they are about had lasted at least by its count.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import msgspec

from kiosk.ledger.derive import Stamp
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE, entry_of
from kiosk.rules.chain import EMPTY_BOOK, ChainLine
from kiosk.rules.lines import Entry

WAITING = 2**40  # the id of an own line that has no place in the order yet is this and its number

_ENCODER = msgspec.json.Encoder(order="sorted")
_OLD = 8  # fields of a line that no other kiosk was there to see
_NEW = 12


@dataclass(frozen=True, slots=True)
class Told:
    """What a line's body says.

    number: in its own chain.  seen, seen_book: how far its kiosk had applied the shared lines.  stay: id of the line
    that began the stay it is about, as its kiosk had it (`WAITING` for one of its own that waited), and age_s: how long
    that had lasted at least; None: it is about none.
    """

    previous: str
    number: int
    utc_s: float
    watched_s: float
    kiosk: str
    operator: str | None
    kind: str
    payload: str
    seen: int = 0
    seen_book: str = EMPTY_BOOK
    stay: int | None = None
    age_s: float | None = None

    @property
    def body(self) -> str:
        """The text that is hashed."""
        plain = [
            self.previous, self.number, self.utc_s, self.watched_s, self.kiosk, self.operator, self.kind, self.payload
        ]  # fmt: skip
        if self.seen:
            plain += [self.seen, self.seen_book, self.stay, self.age_s]
        return _ENCODER.encode(plain).decode()

    @property
    def entry(self) -> Entry:
        """Raises KeyError for a kind nobody knows, msgspec.MsgspecError for a payload that is not of it."""
        return entry_of(self.kind, self.payload)

    def stamp(self, line: int) -> Stamp:
        """As the tables know it.  line: its id there."""
        return Stamp(line, self.utc_s, self.watched_s, self.kiosk, self.operator)


def digest_of(body: str) -> str:
    return hashlib.sha256(body.encode()).hexdigest()


def told(body: str) -> Told:
    """Raises msgspec.MsgspecError, TypeError where the text is no line's."""
    found = msgspec.json.decode(body)
    if not isinstance(found, list) or len(found) not in (_OLD, _NEW):
        raise TypeError("not the body of a line")
    return msgspec.convert(dict(zip(Told.__slots__, found, strict=False)), Told)


def travelling(chain: str, line: Told) -> ChainLine:
    """The line of a chain as it travels."""
    body = line.body
    previous = "" if line.previous == HASH_BEFORE_ANY_LINE else line.previous
    return ChainLine(chain, line.number, previous, digest_of(body), line.seen, line.seen_book, body)


def is_whole(line: ChainLine) -> bool:
    """Whether digest, number, previous and what it had seen agree with its body, and the body with its kiosk.

    What no other kiosk saw was written under a name of the kiosk and not its identity.
    """
    try:
        said = told(line.body)
    except (msgspec.MsgspecError, TypeError):
        return False
    return line == travelling(line.kiosk, said) and (said.seen == 0 or said.kiosk == line.kiosk)


@dataclass(frozen=True, slots=True)
class Kept:
    """A line as it is kept.  line: its id; book: the book hash there, None while it waits."""

    line: int
    chain: str
    said: Told
    digest: str
    book: str | None


SAID = (
    'SELECT "line"."id", "chain", "hash", "book", "previous", "number", "utc_s", "watched_s", "kiosk", "operator", '
    '"kind", "payload", "seen", "seen_book", "stay", "age_s" '
    'FROM "line" JOIN "chained" ON "chained"."line" = "line"."id"'
)


def kept(rows: Sequence[Any]) -> list[Kept]:
    """Rows of `SAID`."""
    return [Kept(row[0], row[1], Told(*row[4:]), row[2], row[3]) for row in rows]
