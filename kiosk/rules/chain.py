"""Lines as they travel between the kiosks of one shop: one line of a kiosk's own chain, and its place in the order.

Every kiosk keeps a hash chain of its own, and one server gives all lines one order.  What a line says is not read
here: `body` is opaque.  No clock of a kiosk is ever compared with another's: what came first is told by what a kiosk
had *seen* when it wrote.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

EMPTY_BOOK = ""  # the book hash before any shared line


@dataclass(frozen=True)
class ChainLine:
    """One line of one kiosk's own chain, as it travels.

    kiosk: random id of the kiosk, never its name.  number: 1, 2, 3 ... within that kiosk's chain.  previous: hex digest
    of the line before, "" for the first.  digest: hex digest of this line.  seen: the last shared number this kiosk had
    applied when it wrote this, 0 for none.  seen_book: the book hash there.  body: the line as the ledger hashes it.
    """

    kiosk: str
    number: int
    previous: str
    digest: str
    seen: int
    seen_book: str
    body: str


@dataclass(frozen=True)
class SharedLine:
    """A line with its place in the shop's order.

    n: 1, 2, 3 ... gapless, in the order in which the server took them.  book: `next_book` of the book before.
    """

    n: int
    line: ChainLine
    book: str


def next_book(book: str, digest: str) -> str:
    """The book hash after a line: binds the order of all lines before it.  book: `EMPTY_BOOK` or 64 hex digits."""
    return hashlib.sha256((book + digest).encode("ascii")).hexdigest()


def concurrent(a: SharedLine, b: SharedLine) -> bool:
    """Whether neither kiosk had seen the other's line when it wrote its own.  A kiosk has always seen its own."""
    return a.line.kiosk != b.line.kiosk and a.line.seen < b.n and b.line.seen < a.n
