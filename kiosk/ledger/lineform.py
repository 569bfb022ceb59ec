"""How a line stands in the database: its payload as JSON, and the hash that chains it to the line before.

Used when a line is written, read, verified and copied; knows no database.  The hash covers everything a line
says and the hash before it, so that no line can be changed, dropped or put in without the chain showing it.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import msgspec

from kiosk.ledger.derive import Stamp
from kiosk.rules.lines import KINDS, Entry

HASH_BEFORE_ANY_LINE = "0" * 64  # what the first line of a ledger is chained to
PHONE = "phone"  # the key in a payload that says which telephone a line came by
COLUMNS = ("id", "utc_s", "watched_s", "kiosk", "operator", "kind", "payload", "hash")

_ENCODER = msgspec.json.Encoder(order="sorted")
_DECODERS = {kind: msgspec.json.Decoder(entry) for kind, entry in KINDS.items()}


@dataclass(frozen=True, slots=True)
class Written:
    """A line as it stands in the book.  `phone`: the telephone it came by; empty: the kiosk's own window."""

    id: int
    utc_s: float
    watched_s: float
    kiosk: str
    operator: str | None
    entry: Entry
    hash: str
    phone: str = ""

    @property
    def kind(self) -> str:
        return self.entry.kind

    @property
    def stamp(self) -> Stamp:
        return Stamp(self.id, self.utc_s, self.watched_s, self.kiosk, self.operator)


def entry_of(kind: str, text: str) -> Entry:
    """Raises KeyError for a kind nobody knows, msgspec.MsgspecError for a payload that is not of it."""
    entry: Entry = _DECODERS[kind].decode(text)
    return entry


def as_kept(entry: Entry, phone: str = "") -> tuple[Entry, str]:
    """The line as a replay will see it (a length given as `12` is `12.0` from then on), and its payload.

    phone: the telephone it came by, kept beside the line's own fields; no kind of line has one of that name.
    Raises msgspec.ValidationError for a value of another type than the line's.
    """
    plain = entry_of(entry.kind, _ENCODER.encode(entry).decode())
    text = _ENCODER.encode(plain).decode()
    return plain, _ENCODER.encode(msgspec.json.decode(text) | {PHONE: phone}).decode() if phone else text


def phone_of(text: str) -> str:
    """The telephone a line came by, as its payload says; empty: the kiosk's own window."""
    found = msgspec.json.decode(text).get(PHONE, "") if f'"{PHONE}"' in text else ""
    return found if isinstance(found, str) else ""


def line_hash(before: str, stamp: Stamp, kind: str, text: str) -> str:
    """The hash that chains a line to the one before."""
    return hashlib.sha256(_ENCODER.encode([before, *stamp, kind, text])).hexdigest()


def beat_seal(kiosk: str, watched_s: float, line: int, last_hash: str) -> str:
    """What binds a beat to the line that was the last one then, so that a hand that moves watched time is found."""
    return hashlib.sha256(_ENCODER.encode(["beat", kiosk, watched_s, line, last_hash])).hexdigest()


def written(row: tuple[Any, ...]) -> Written:
    """A line from its row in the order of `COLUMNS`."""
    return Written(row[0], row[1], row[2], row[3], row[4], entry_of(row[5], row[6]), row[7], phone_of(row[6]))
