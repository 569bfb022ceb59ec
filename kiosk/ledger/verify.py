"""The check of a whole ledger: every hash, every derived table, the history's index, watched time, the schema.

Replays the lines into plain dictionaries and compares them with what is stored, value by value; it writes nothing,
and because it asks a bare connection it can look at a backup or work beside an open kiosk.  What differs is named.
A hash chain alone does not show that its end is gone or was written anew: the anchor does (`anchor.py`).
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import msgspec

from kiosk.ledger import tables as T
from kiosk.ledger import upgrade
from kiosk.ledger.anchor import Mark
from kiosk.ledger.derive import KEYS, Broken, MemoryState, Stamp, changes, mentions
from kiosk.ledger.lineform import COLUMNS, HASH_BEFORE_ANY_LINE, beat_seal, entry_of, line_hash
from kiosk.ledger.statements import sentences
from kiosk.ledger.verify_shared import Fold, replayed

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


def verify(execute: Execute, progress: Progress | None = None, mark: Mark | None = None) -> list[Wrong]:
    """Everything wrong in the ledger behind `execute`.

    progress is called with lines done and lines in all; it may raise Stopped.  mark: what the anchor beside it says;
    None: there is none to compare watched time with.
    """
    memory, told = MemoryState(), _Told()
    found = list(_form(execute))
    if found:
        return found  # another form than this program knows cannot be compared with it
    if execute('SELECT COUNT(*) FROM "joined"').fetchone()[0]:
        fold = Fold()
        memory = fold.memory
        found += _replay_all(execute, fold, told)
    else:
        found += _replay(execute, memory, told, progress)
    found += _mentions(execute, told)
    found += _beat(execute, mark, told)
    found += _compare(execute, memory)
    return found


class _Told:
    """What a replay gave besides the tables."""

    def __init__(self) -> None:
        self.mentioned: dict[Any, int] = {}  # subject -> sum over its lines, each by a number nobody can foresee
        self.hashes: dict[int, str] = {0: HASH_BEFORE_ANY_LINE}  # of the last line, and of the one the beat names
        self.last_watched_s = 0.0


def _form(execute: Execute) -> Iterator[Wrong]:
    """Tables, columns and version are this program's, and nothing else acts on them."""
    rows = [tuple(row) for row in execute('SELECT "name", "version" FROM "schema"')]
    if rows != [("ledger", upgrade.VERSION)]:
        yield Wrong("schema", f"says {rows!r} where it says {[('ledger', upgrade.VERSION)]!r}")
    there: dict[str, set[str]] = {"table": set(), "index": set(), "trigger": set(), "view": set()}
    for kind, name in execute("SELECT type, name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"):
        there[kind].add(name)
    for kind in ("trigger", "view"):
        for name in sorted(there[kind]):
            yield Wrong(f"{kind} {name}", "was put in by a hand")
    for model in T.ALL:
        name = model._meta.table_name
        there["table"].discard(name)
        columns = {row[1] for row in execute(f'PRAGMA table_info("{name}")')}
        wanted = {field.column_name for field in model._meta.sorted_fields}
        if columns != wanted:
            differ = ", ".join(sorted(columns ^ wanted))
            yield Wrong(f"table {name}", f"has other columns than it should: {differ}")
    for name in sorted(there["table"]):
        yield Wrong(f"table {name}", "was put in by a hand")


def _replay(execute: Execute, memory: MemoryState, told: _Told, progress: Progress | None) -> Iterator[Wrong]:
    total = execute('SELECT COUNT(*) FROM "line"').fetchone()[0]
    beaten = {row[0] for row in execute('SELECT "line" FROM "watch"')}
    before, expected = HASH_BEFORE_ANY_LINE, 1
    names = ", ".join(f'"{name}"' for name in COLUMNS)
    for number, utc_s, watched_s, kiosk, operator, kind, text, stored in execute(
        f'SELECT {names} FROM "line" ORDER BY "id"'
    ):
        stamp = Stamp(number, utc_s, watched_s, kiosk, operator)
        if number != expected:
            yield Wrong(f"line {expected}", f"is missing; the next one there is {number}")
        expected = number + 1
        try:
            whole = line_hash(before, stamp, kind, text) == stored
        except (TypeError, ValueError):  # a value no line ever had, such as bytes that are no text
            whole = False
        if not whole:
            yield Wrong(f"line {number}", "does not match its hash: it or the line before was changed")
        before = stored
        if number in beaten:
            told.hashes[number] = stored
        told.last_watched_s = watched_s if isinstance(watched_s, float) else 0.0
        try:
            entry = entry_of(kind, text)
            signed = hash((_SALT, number))
            for subject in mentions(entry, stamp):
                told.mentioned[subject] = told.mentioned.get(subject, 0) + signed
            for change in changes(entry, stamp, memory):
                memory.apply(change)
        except (Broken, msgspec.MsgspecError, KeyError, TypeError) as error:
            yield Wrong(f"line {number}", f"cannot be replayed: {error}")
        if progress and number % REPORT_EVERY == 0:
            progress(number, total)
    if progress:
        progress(total, total)


def _replay_all(execute: Execute, fold: Fold, told: _Told) -> Iterator[Wrong]:
    """Where this kiosk has others."""

    def mentioned(line: int, subjects: set[str]) -> None:
        for subject in subjects:
            told.mentioned[subject] = told.mentioned.get(subject, 0) + hash((_SALT, line))

    beaten = {row[0]: "" for row in execute('SELECT "line" FROM "watch"')}
    for where, what in replayed(execute, fold, mentioned, beaten):
        yield Wrong(where, what)
    told.hashes |= {number: digest for number, digest in beaten.items() if digest}


_SALT = secrets.randbits(64)  # so that no edit of the index can be made to come to the same sum


def _mentions(execute: Execute, told: _Told) -> Iterator[Wrong]:
    """The history's index against the lines: who is spoken of where, not only how often."""
    stored: dict[Any, int] = {}
    for subject, number in execute('SELECT "subject", "line_id" FROM "mention"'):
        stored[subject] = stored.get(subject, 0) + hash((_SALT, number))
    differ = [key for key in stored.keys() | told.mentioned.keys() if stored.get(key) != told.mentioned.get(key)]
    for subject in sorted(differ, key=str):
        yield Wrong("history index", f"has other lines for {subject!r} than speak of it")


def _beat(execute: Execute, mark: Mark | None, told: _Told) -> Iterator[Wrong]:
    """Watched time as it was written down last."""
    rows = list(execute('SELECT "kiosk", "watched_s", "line", "seal" FROM "watch"'))
    if len(rows) != 1:
        yield Wrong("watch", f"has {len(rows)} rows where a ledger has one clock")
    for kiosk, watched_s, line, seal in rows:
        known = told.hashes.get(line)
        if known is None or seal != beat_seal(kiosk, watched_s, line, known):
            yield Wrong(f"watch {kiosk}", "does not match its seal: it, or the line it was sealed with, was changed")
        elif mark is not None and watched_s > max(mark.watched_s, told.last_watched_s):
            yield Wrong(f"watch {kiosk}", f"is {watched_s:.0f} s where the anchor knows {mark.watched_s:.0f} s")


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
