"""The derived tables in the database, as what derives them reads and moves them.

Talks to the driver's own cursor: what runs at every scan must cost what the disk costs.  Never decides what a row says.
"""

from __future__ import annotations

from typing import Any

from kiosk.ledger import tables as T
from kiosk.ledger.derive import Change, Put, TableRow
from kiosk.ledger.statements import sentences


class SqlState:
    """The derived tables in the database, as `derive.changes` reads them and as changes are applied.

    Talks to the driver's own cursor: what runs at every scan must cost what the disk costs.
    """

    def __init__(self) -> None:
        self._said = {model._meta.table_name: sentences(model, T.database.param) for model in T.DERIVED}
        self.cursor: Any = T.database.cursor()

    def get(self, table: str, key: str | int) -> TableRow | None:
        said = self._said[table]
        found = self.cursor.execute(said.get, (key,)).fetchone()
        return dict(zip(said.columns, found, strict=True)) if found else None

    def all(self, table: str) -> list[TableRow]:
        said = self._said[table]
        return [dict(zip(said.columns, found, strict=True)) for found in self.cursor.execute(said.every).fetchall()]

    def apply(self, change: Change) -> None:
        said = self._said[change.table]
        if isinstance(change, Put):
            row = change.row
            self.cursor.execute(said.put, [row[name] for name in said.columns])
        else:
            self.cursor.execute(said.drop, (change.key,))
