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
from kiosk.rules import lines as L

_SECRET = frozenset({"pin_hash"})  # fields that leave the ledger in no file
_WITH_SECRETS = frozenset(
    kind for kind, entry in L.KINDS.items() if any(each.name in _SECRET for each in fields(entry))
)


def line_rows(kept: Collection[str]) -> Iterator[LineRow]:
    """All lines.  kept: keys of people of whose badges nothing is said, whoever was turned away with one included."""
    badges = T.Binding.select(T.Binding.text).where(T.Binding.what == "operator", T.Binding.subject.in_(kept))
    texts = [re.escape(msgspec.json.encode(row["text"]).decode()) for row in rows(badges)]
    badge = re.compile(f"(?:{'|'.join(texts)})(?!:)") if texts else None  # a value; names of fields stay
    found: Any = (
        T.KeptLine.select(*(getattr(T.KeptLine, name) for name in COLUMNS)).order_by(T.KeptLine.id).tuples().iterator()
    )
    for row in found:
        line = LineRow(*row)
        said = _without_secrets(line.payload) if line.kind in _WITH_SECRETS else line.payload
        yield replace(line, payload=badge.sub("null", said) if badge else said)


def _without_secrets(payload: str) -> str:
    """A line's JSON with nothing where a secret was."""
    said: dict[str, Any] = msgspec.json.decode(payload)
    return msgspec.json.encode({name: None if name in _SECRET else value for name, value in said.items()}).decode()
