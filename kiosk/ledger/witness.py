"""The newest copy as a witness: a ledger that has not got so far as a copy of itself has lost its end.

Ledger and anchor put back together to the same older state agree with each other; a copy made since then does not.
Only copies of this data folder are asked, and only those made after the last restore, because a restore goes back on
purpose.  Reads only.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from kiosk.rules.lines import Restored

FOLDER = "backups"  # beside the ledger
_ALONE = "SELECT id, hash FROM line{} ORDER BY id DESC LIMIT 1"
# Of a kiosk that has others: only its own chain, whose numbers stay as they are.
_OWN = (
    'SELECT "number", "hash" FROM "chained" JOIN "line" ON "line"."id" = "chained"."line" '
    'JOIN "joined" ON "own" = "chain"{} ORDER BY "number" DESC LIMIT 1'
)
_RESTORED = f" WHERE kind = '{Restored.kind}'"


def _last(ask: Callable[[str], Any], which: str = "") -> tuple[int, str] | None:
    """Number and hash of the last line of this kiosk's in a ledger.  which: of those only."""
    tables = {row[0] for row in ask("SELECT name FROM sqlite_master").fetchall()}
    shares = "joined" in tables and ask('SELECT 1 FROM "joined"').fetchone() is not None
    found: tuple[int, str] | None = ask((_OWN if shares else _ALONE).format(which)).fetchone()
    return found


def disagrees(folder: Path, owner: str, ask: Callable[[str], Any], hash_of: Callable[[int], str | None]) -> Path | None:
    """The newest copy beside the ledger, where that has a line which the ledger has not; None: nothing says so.

    owner: random name of the data folder.  ask: runs a query on the ledger.  hash_of: the hash of one of its lines.
    """
    for path in sorted((folder / FOLDER).glob(f"ledger-*-{owner}-*.db"), key=_age, reverse=True)[:1] if owner else ():
        try:
            with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as copy:
                last = _last(copy.execute)
                same_past = _last(copy.execute, _RESTORED) == _last(ask, _RESTORED)
        except sqlite3.Error:
            continue  # a copy that cannot be read says nothing
        if last and same_past and hash_of(last[0]) != last[1]:
            return path
    return None


def _age(path: Path) -> float:
    return path.stat().st_mtime
