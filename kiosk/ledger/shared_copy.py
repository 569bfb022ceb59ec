"""What the link reads of the ledger: this kiosk's own chain, and its copy of the shop's book, for whoever lost them.

Read through a connection of its own, because the link has a thread of its own; it can only read.  What it gives is what
a transaction had finished, so that nothing travels that a power cut could take back.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from kiosk.ledger.book import NAME
from kiosk.ledger.shared_form import SAID, is_whole, kept, travelling
from kiosk.rules.chain import EMPTY_BOOK, ChainLine, SharedLine


class SharedCopy:
    """Opened when it is first asked; asked by one thread at a time.  Raises sqlite3.Error, OSError."""

    def __init__(self, folder: Path, kiosk: str) -> None:
        """folder: of the data.  kiosk: the random id of this one."""
        self.kiosk = kiosk
        self._path = folder / NAME
        self._connection: sqlite3.Connection | None = None

    def _rows(self, sentence: str, values: Sequence[Any] = ()) -> list[Any]:
        if self._connection is None:
            where = f"{self._path.resolve().as_uri()}?mode=ro"
            # Made by the thread that makes the link, and asked by the link's from then on.
            self._connection = sqlite3.connect(
                where, uri=True, isolation_level=None, timeout=5.0, check_same_thread=False
            )
        return self._connection.execute(sentence, values).fetchall()

    def applied(self) -> tuple[int, str]:
        found = self._rows('SELECT "line", "book" FROM "chained" WHERE "book" IS NOT NULL ORDER BY "line" DESC LIMIT 1')
        return found[0] if found else (0, EMPTY_BOOK)

    def own_last(self) -> int:
        found = self._rows('SELECT MAX("number") FROM "chained" WHERE "chain" = ?', (self.kiosk,))
        return found[0][0] or 0

    def own_after(self, number: int, most: int) -> list[ChainLine]:
        asked = f'{SAID} WHERE "chain" = ? AND "number" > ? ORDER BY "number" LIMIT ?'
        found = kept(self._rows(asked, (self.kiosk, number, most)))
        return [travelling(each.chain, each.said) for each in found]

    def shared_after(self, n: int, most: int) -> list[SharedLine]:
        asked = f'{SAID} WHERE "book" IS NOT NULL AND "chained"."line" > ? ORDER BY "chained"."line" LIMIT ?'
        found = kept(self._rows(asked, (n, most)))
        return [SharedLine(each.line, travelling(each.chain, each.said), each.book or "") for each in found]

    def book_at(self, n: int) -> str | None:
        if n == 0:
            return EMPTY_BOOK
        found = self._rows('SELECT "book" FROM "chained" WHERE "line" = ? AND "book" IS NOT NULL', (n,))
        return found[0][0] if found else None

    def is_whole(self, line: ChainLine) -> bool:
        return is_whole(line)

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None
