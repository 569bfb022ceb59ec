"""The rows of the derived tables and what may be read of them while a line is carried along.

`Put` and `Drop` are all a line may ask for; `LedgerState` is all it may look at, be it SQL or plain dictionaries.
"""

from __future__ import annotations

from typing import Any, NamedTuple, Protocol

import msgspec

TableRow = dict[str, Any]

SHARED_CLOCK = "*"  # the clock of rows that count by ages: everybody's, and no kiosk's
UNSEEN = {"reading_only": 1, "readings": "[]", "to_be_heated": None}  # of a hold that only readings end from now on
STILL_WARM_S = 6 * 3600.0  # longer than any holder needs to come back to the shop's temperature

KEYS = {
    "place": "code", "cutter": "key", "holder": "key", "assembly": "key", "binding": "text", "printed": "text",
    "worn_label": "text", "hold": "holder", "doubted": "holder", "teaching": "line", "operator": "key", "audit": "key",
    "sighting": "key", "settled": "key", "setting": "name", "claim": "key", "difference": "key", "member": "key",
}  # fmt: skip


class Put(NamedTuple):
    """A whole row of a derived table, new or in place of the one with its key."""

    table: str
    row: TableRow


class Drop(NamedTuple):
    table: str
    key: str | int


Change = Put | Drop


class LedgerState(Protocol):
    """What `changes` may read."""

    def get(self, table: str, key: Any) -> TableRow | None: ...

    def all(self, table: str) -> list[TableRow]: ...


class MemoryState:
    """The derived tables as dictionaries."""

    def __init__(self) -> None:
        self.tables: dict[str, dict[str | int, TableRow]] = {name: {} for name in KEYS}

    def get(self, table: str, key: Any) -> TableRow | None:
        return self.tables[table].get(key)

    def all(self, table: str) -> list[TableRow]:
        return list(self.tables[table].values())

    def apply(self, change: Change) -> None:
        if isinstance(change, Put):
            self.tables[change.table][change.row[KEYS[change.table]]] = change.row
        else:
            self.tables[change.table].pop(change.key, None)


class Stamp(NamedTuple):
    """The part of a line that is not its payload."""

    id: int
    utc_s: float
    watched_s: float
    kiosk: str
    operator: str | None


class Broken(ValueError):
    """A line that cannot follow from those before it.  `line` is its number."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(f"line {line}: {why}")
        self.line = line
        self.why = why


def text(value: object) -> str:
    """JSON with sorted keys, for a nested value in a text column."""
    return msgspec.json.encode(value, order="sorted").decode()


def must(state: LedgerState, table: str, key: str, at: Stamp) -> TableRow:
    row = state.get(table, key)
    if row is None:
        raise Broken(at.id, f"there is no {table} {key!r}")
    return dict(row)
