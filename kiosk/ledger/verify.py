"""The check of a whole ledger: every hash, every derived table, every entry of the history's index.

Replays the lines into plain dictionaries and compares them with what is stored; it writes nothing, and because
it asks a bare connection it can look at a backup or work beside an open kiosk.  What differs is named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import msgspec

from kiosk.ledger import tables as T
from kiosk.ledger.derive import KEYS, Broken, MemoryState, Stamp, changes, mentions
from kiosk.ledger.lineform import COLUMNS, GENESIS, entry_of, line_hash
from kiosk.ledger.statements import sentences

Progress = Callable[[int, int], None]
REPORT_EVERY = 5000  # lines between two calls of the progress


class Cursor(Protocol):
    """What is needed of a database's cursor."""

    def __iter__(self) -> Iterator[Any]: ...

    def fetchone(self) -> Any: ...


Execute = Callable[[str], Cursor]


@dataclass(frozen=True, slots=True)
class Wrong:
    """Something the check found: where, and how book and table differ."""

    where: str
    what: str


class Stopped(RuntimeError):
    """The check was told to stop before its end, so nothing is known."""


def verify(execute: Execute, progress: Progress | None = None) -> list[Wrong]:
    """Everything wrong in the ledger behind `execute`.

    progress is called with lines done and lines in all; it may raise Stopped.
    """
    memory = MemoryState()
    found = list(_replay(execute, memory, progress))
    found += _compare(execute, memory)
    return found


def _replay(execute: Execute, memory: MemoryState, progress: Progress | None) -> Iterator[Wrong]:
    total = execute('SELECT COUNT(*) FROM "line"').fetchone()[0]
    before, expected, mentioned = GENESIS, 1, 0
    names = ", ".join(f'"{name}"' for name in COLUMNS)
    for number, utc_s, watched_s, kiosk, operator, kind, text, stored in execute(
        f'SELECT {names} FROM "line" ORDER BY "id"'
    ):
        stamp = Stamp(number, utc_s, watched_s, kiosk, operator)
        if number != expected:
            yield Wrong(f"line {expected}", f"is missing; the next one there is {number}")
        expected = number + 1
        if line_hash(before, stamp, kind, text) != stored:
            yield Wrong(f"line {number}", "does not match its hash: it or the line before was changed")
        before = stored
        try:
            entry = entry_of(kind, text)
            mentioned += len(mentions(entry, stamp))
            for change in changes(entry, stamp, memory):
                memory.apply(change)
        except (Broken, msgspec.MsgspecError, KeyError) as error:
            yield Wrong(f"line {number}", f"cannot be replayed: {error}")
        if progress and number % REPORT_EVERY == 0:
            progress(number, total)
    if progress:
        progress(total, total)
    if (kept := execute('SELECT COUNT(*) FROM "mention"').fetchone()[0]) != mentioned:
        yield Wrong("history index", f"has {kept} entries where the lines give {mentioned}")


def _compare(execute: Execute, memory: MemoryState) -> Iterator[Wrong]:
    for model in T.DERIVED:
        name = model._meta.table_name
        said = sentences(model, "?")
        stored = {}
        for values in execute(said.every):
            row = dict(zip(said.columns, values, strict=True))
            stored[row[KEYS[name]]] = row
        wanted = memory.tables[name]
        for missing in wanted.keys() - stored.keys():
            yield Wrong(f"{name} {missing}", "is in the lines but not in the table")
        for extra in stored.keys() - wanted.keys():
            yield Wrong(f"{name} {extra}", "is in the table but in no line")
        for shared in stored.keys() & wanted.keys():
            if stored[shared] == wanted[shared]:
                continue
            for field, value in wanted[shared].items():
                if stored[shared][field] != value:
                    what = f"{field} is {stored[shared][field]!r} in the table and {value!r} by the lines"
                    yield Wrong(f"{name} {shared}", what)
