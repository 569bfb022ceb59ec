"""Every line of the book for a spreadsheet, without what opens the shop: PINs, and badges that choose the first one.

A line's hash is that of the line as it stands in the ledger, with what is left out here.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import fields, replace
from typing import Any

import msgspec

from kiosk.exchange.shop_out import LineRow
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.lineform import COLUMNS
from kiosk.rules import codes
from kiosk.rules import lines as L

_SECRET = frozenset({"pin_hash"})  # fields that leave the ledger in no file
_WITH_SECRETS = frozenset(
    kind for kind, entry in L.KINDS.items() if any(each.name in _SECRET for each in fields(entry))
)


def line_rows(kept: Collection[str]) -> Iterator[LineRow]:
    """All lines.  kept: keys of people of whose badges nothing is said, whoever was turned away with one included."""
    badges = T.Binding.select(T.Binding.text).where(T.Binding.what == "operator", T.Binding.subject.in_(kept))
    texts = frozenset(row["text"] for row in rows(badges))
    found_in = (re.escape(msgspec.json.encode(text).decode()) for text in texts)
    badge = re.compile(f"(?:{'|'.join(found_in)})(?!:)") if texts else None  # a value; names of fields stay
    found: Any = (
        T.KeptLine.select(*(getattr(T.KeptLine, name) for name in COLUMNS)).order_by(T.KeptLine.id).tuples().iterator()
    )
    for row in found:
        line = LineRow(*row)
        said = _without(_SECRET, line.payload) if line.kind in _WITH_SECRETS else line.payload
        if line.kind == L.TurnedAway.kind and texts and _speaks_of(texts, said):
            said = _without(frozenset({"text"}), said)
        yield replace(line, payload=badge.sub("null", said) if badge else said)


def _speaks_of(badges: Collection[str], payload: str) -> bool:
    """Whether somebody was turned away with one of these, however a hand wrote it, or one slip from it."""
    text = msgspec.json.decode(payload, type=L.TurnedAway).text
    return "".join(text.split()).upper() in badges or any(code.text in badges for code in codes.slips(text))


def _without(names: Collection[str], payload: str) -> str:
    """A line's JSON with nothing in these fields."""
    said: dict[str, Any] = msgspec.json.decode(payload)
    return msgspec.json.encode({name: None if name in names else value for name, value in said.items()}).decode()
