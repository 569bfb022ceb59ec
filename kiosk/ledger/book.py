"""The book: appends lines, moves the derived tables along in the same transaction, replays and verifies.

A line is acknowledged only when `append` has returned: by then it is on disk (SQLite with WAL and
synchronous=FULL).  The book never decides what may be written and never changes or deletes a line.  There is
one writer for a data folder; readers (reports, the command line) open it read-only beside it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from peewee import DatabaseError, SqliteDatabase

from kiosk.ledger import tables as T
from kiosk.ledger import upgrade
from kiosk.ledger.clock import Counter, WatchedClock, boot_counter_s
from kiosk.ledger.derive import Broken, Change, Put, Row, Stamp, changes, mentions
from kiosk.ledger.lineform import GENESIS, Written, as_kept, line_hash, written
from kiosk.ledger.lock import FolderLock
from kiosk.ledger.statements import sentences
from kiosk.ledger.verify import Progress, Wrong, verify
from kiosk.rules.cards import Moment
from kiosk.rules.lines import Entry

NAME = "ledger.db"
CACHE_KIB = 32_000  # pages kept in memory: what a long ledger's index is looked up with

__all__ = ["NAME", "Book", "Broken", "LedgerFault", "Written", "Wrong", "rows"]


class LedgerFault(RuntimeError):
    """The ledger cannot be opened or written.  `path` names the file, `why` says what the disk said."""

    def __init__(self, path: Path, why: str, remedy: str) -> None:
        super().__init__(f"{path}: {why}; {remedy}")
        self.path = path
        self.why = why
        self.remedy = remedy


def rows(query: Any) -> list[Row]:
    """A query's rows as dictionaries by column name."""
    return list(query.dicts())


class SqlState:
    """The derived tables in the database, as `derive.changes` reads them and as changes are applied.

    Talks to the driver's own cursor: what runs at every scan must cost what the disk costs.
    """

    def __init__(self) -> None:
        self._said = {model._meta.table_name: sentences(model, T.database.param) for model in T.DERIVED}
        self.cursor: Any = T.database.cursor()

    def get(self, table: str, key: str | int) -> Row | None:
        said = self._said[table]
        found = self.cursor.execute(said.get, (key,)).fetchone()
        return dict(zip(said.columns, found, strict=True)) if found else None

    def all(self, table: str) -> list[Row]:
        said = self._said[table]
        return [dict(zip(said.columns, found, strict=True)) for found in self.cursor.execute(said.every).fetchall()]

    def apply(self, change: Change) -> None:
        said = self._said[change.table]
        if isinstance(change, Put):
            row = change.row
            self.cursor.execute(said.put, [row[name] for name in said.columns])
        else:
            self.cursor.execute(said.drop, (change.key,))


class Book:
    """An open ledger.  Use `Book.open`; close it with `close` or a with statement."""

    def __init__(self, path: Path, kiosk: str, clock: WatchedClock, lock: FolderLock | None) -> None:
        self.path = path
        self.kiosk = kiosk
        self.state = SqlState()
        self._insert_line = sentences(T.Line, T.database.param).insert
        self._insert_mention = sentences(T.Mention, T.database.param).insert
        self._clock = clock
        self._lock = lock
        last = T.Line.select().order_by(T.Line.id.desc()).first()
        self._last_id: int = last.id if last else 0
        self._last_hash: str = last.hash if last else GENESIS

    @classmethod
    def open(
        cls,
        folder: Path,
        kiosk: str = "kiosk",
        *,
        read_only: bool = False,
        counter: Counter = boot_counter_s,
        wall: Counter | None = None,
    ) -> Book:
        """The ledger in `folder`, made if it is not there (unless read_only).

        Raises LedgerFault (folder cannot be written, file damaged), InUse, NewerLedger.
        """
        path = folder / NAME
        if read_only and not path.exists():
            raise LedgerFault(path, "there is no ledger here", "open the kiosk once, or give another --data folder")
        try:
            folder.mkdir(parents=True, exist_ok=True)
            lock = None if read_only else FolderLock(folder)
        except OSError as error:
            raise LedgerFault(folder, str(error), "give a --data folder that can be written") from error
        pragmas: dict[str, str | int] = {"foreign_keys": 1, "busy_timeout": 5000, "cache_size": -CACHE_KIB}
        if read_only:
            pragmas["query_only"] = 1
        else:
            pragmas |= {"journal_mode": "wal", "synchronous": "full"}
        database = SqliteDatabase(str(path), pragmas=pragmas)
        T.database.initialize(database)
        try:
            database.connect(reuse_if_open=True)
            if not read_only:
                upgrade.bring_up(database, str(path))
            elif (found := T.Schema.get_by_id("ledger").version) > upgrade.VERSION:
                raise upgrade.NewerLedger(str(path), found)
            watched = cls._watched_s(kiosk)
            clock = WatchedClock(watched, counter, wall) if wall else WatchedClock(watched, counter)
            return cls(path, kiosk, clock, lock)
        except BaseException as error:
            database.close()
            if lock:
                lock.release()
            if isinstance(error, DatabaseError):
                raise LedgerFault(path, str(error), "put back a backup with `restore`") from error
            raise

    @staticmethod
    def _watched_s(kiosk: str) -> float:
        row = T.Watch.get_or_none(T.Watch.kiosk == kiosk)
        last = T.Line.select().where(T.Line.kiosk == kiosk).order_by(T.Line.id.desc()).first()
        return max(row.watched_s if row else 0.0, last.watched_s if last else 0.0)

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        if self._lock:
            with suppress(DatabaseError):
                self.beat()
        T.database.close()
        if self._lock:
            self._lock.release()
            self._lock = None

    @property
    def last_id(self) -> int:
        return self._last_id

    @property
    def last_hash(self) -> str:
        return self._last_hash

    def now(self) -> Moment:
        return self._clock.now()

    def beat(self) -> None:
        """Writes down how far watched time has come, so that a power cut costs at most the time since."""
        watched_s = self.now().watched_s
        with self._kept():
            T.Watch.insert(kiosk=self.kiosk, watched_s=watched_s).on_conflict(
                conflict_target=[T.Watch.kiosk], update={T.Watch.watched_s: watched_s}
            ).execute()

    @contextmanager
    def _kept(self) -> Iterator[None]:
        """Tells what a disk said in words for the person at the kiosk."""
        try:
            yield
        except (DatabaseError, sqlite3.Error) as error:
            first: BaseException = error
            while isinstance(first.__context__, DatabaseError | sqlite3.Error):  # a full disk spoils rolling back too
                first = first.__context__
            remedy = "nothing of this step was kept; free the disk, then scan again"
            raise LedgerFault(self.path, str(first), remedy) from error

    def append(self, entries: Sequence[Entry], operator: str | None = None) -> tuple[Written, ...]:
        """Writes lines and moves the tables along, all or nothing; returns when the disk has them.

        Raises Broken where a line cannot follow, LedgerFault where the disk refuses (full, gone, read-only).
        """
        moment = self.now()
        kept: list[Written] = []
        last_id, last_hash = self._last_id, self._last_hash
        with self._kept(), T.database.atomic():
            for given in entries:
                last_id += 1
                stamp = Stamp(last_id, moment.utc_s, moment.watched_s, self.kiosk, operator)
                entry, text = as_kept(given)
                last_hash = line_hash(last_hash, stamp, entry.kind, text)
                self.state.cursor.execute(self._insert_line, (*stamp, entry.kind, text, last_hash))
                self._carry(entry, stamp)
                kept.append(Written(*stamp, entry, last_hash))
        self._last_id, self._last_hash = last_id, last_hash
        return tuple(kept)

    def _carry(self, entry: Entry, stamp: Stamp) -> None:
        """Moves the index and the derived tables along with a line."""
        told = [(subject, stamp.id) for subject in mentions(entry, stamp)]
        self.state.cursor.executemany(self._insert_mention, told)
        for change in changes(entry, stamp, self.state):
            self.state.apply(change)

    def lines(self, after: int = 0, subject: str | None = None, newest: int | None = None) -> Iterator[Written]:
        """Lines in order from `after` on; of one subject; or only the `newest` N (newest first)."""
        query = T.Line.select().where(T.Line.id > after)
        if subject is not None:
            query = query.join(T.Mention, on=(T.Mention.line == T.Line.id)).where(T.Mention.subject == subject)
        # The index's own order: the newest are found without sorting all there are.
        order: Any = T.Line.id if subject is None else T.Mention.line
        query = query.order_by(order.desc()).limit(newest) if newest is not None else query.order_by(order)
        found: Any = query.tuples().iterator()
        for row in found:
            yield written(row)

    def line(self, number: int) -> Written | None:
        found: Any = T.Line.select().where(T.Line.id == number).tuples()
        for row in found:
            return written(row)
        return None

    def check(self, progress: Progress | None = None) -> list[Wrong]:
        """Replays every line and compares hashes, tables and the index of mentions with what is stored."""
        try:
            found = verify(T.database.execute_sql, progress)
            if problem := T.database.execute_sql("PRAGMA quick_check").fetchone()[0].replace("ok", ""):
                found.append(Wrong("file", problem))
        except DatabaseError as error:  # too damaged to be read to the end
            return [Wrong("file", str(error))]
        return found

    def rebuild(self) -> None:
        """Throws the derived tables away and builds them again from the lines."""
        with self._kept(), T.database.atomic():
            for model in T.DERIVED:
                model.delete().execute()
            T.Mention.delete().execute()
            for line in self.lines():
                self._carry(line.entry, line.stamp)
