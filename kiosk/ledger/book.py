"""The book: appends lines, moves the derived tables along in the same transaction, replays and verifies.

A line is acknowledged only when `append` has returned: by then it is on disk (SQLite with WAL and
synchronous=FULL).  The book never decides what may be written and never changes or deletes a line.  There is
one writer for a data folder; readers (reports, the command line) open it read-only beside it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
from peewee import DatabaseError, OperationalError, SqliteDatabase

from kiosk.ledger import tables as T
from kiosk.ledger import upgrade
from kiosk.ledger.clock import Counter, WatchedClock, boot_counter_s
from kiosk.ledger.derive import KEYS, Broken, Change, MemoryState, Put, Row, Stamp, changes, mentions
from kiosk.ledger.lock import FolderLock
from kiosk.rules.cards import Moment
from kiosk.rules.lines import KINDS, Entry

GENESIS = "0" * 64
NAME = "ledger.db"
_MODELS: dict[str, type[T.Table]] = {model._meta.table_name: model for model in T.DERIVED}
_ENCODER = msgspec.json.Encoder(order="sorted")
_DECODERS = {kind: msgspec.json.Decoder(entry) for kind, entry in KINDS.items()}


class LedgerFault(RuntimeError):
    """The ledger cannot be opened or written.  `path` names the file, `why` says what the disk said."""

    def __init__(self, path: Path, why: str, remedy: str) -> None:
        super().__init__(f"{path}: {why}; {remedy}")
        self.path = path
        self.why = why
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class Written:
    """A line as it stands in the book."""

    id: int
    utc_s: float
    watched_s: float
    kiosk: str
    operator: str | None
    entry: Entry
    hash: str

    @property
    def kind(self) -> str:
        return self.entry.kind


@dataclass(frozen=True, slots=True)
class Wrong:
    """Something `check` found: where, and how book and table differ."""

    where: str
    what: str


def line_hash(before: str, stamp: Stamp, kind: str, payload: str) -> str:
    """The hash that chains a line to the one before."""
    body = _ENCODER.encode([before, *stamp, kind, payload])
    return hashlib.sha256(body).hexdigest()


def rows(query: Any) -> list[Row]:
    """A query's rows as dictionaries by column name."""
    return list(query.dicts())


class SqlState:
    """The derived tables in the database, as `derive.changes` reads them and as changes are applied."""

    def get(self, table: str, key: str | int) -> Row | None:
        model = _MODELS[table]
        row: Row | None = model.select().where(model._meta.primary_key == key).dicts().first()
        return row

    def all(self, table: str) -> list[Row]:
        return rows(_MODELS[table].select())

    def apply(self, change: Change) -> None:
        model = _MODELS[change.table]
        if isinstance(change, Put):
            key = KEYS[change.table]
            rest = {name: value for name, value in change.row.items() if name != key}
            model.insert(**change.row).on_conflict(conflict_target=[key], update=rest).execute()
        else:
            model.delete().where(model._meta.primary_key == change.key).execute()


class Book:
    """An open ledger.  Use `Book.open`; close it with `close` or a with statement."""

    def __init__(self, path: Path, kiosk: str, clock: WatchedClock, lock: FolderLock | None) -> None:
        self.path = path
        self.kiosk = kiosk
        self.state = SqlState()
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
        pragmas: dict[str, str | int] = {"foreign_keys": 1, "busy_timeout": 5000}
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
        T.Watch.insert(kiosk=self.kiosk, watched_s=watched_s).on_conflict(
            conflict_target=[T.Watch.kiosk], update={T.Watch.watched_s: watched_s}
        ).execute()

    def append(self, entries: Sequence[Entry], operator: str | None = None) -> tuple[Written, ...]:
        """Writes lines and moves the tables along, all or nothing; returns when the disk has them.

        Raises Broken where a line cannot follow, LedgerFault where the disk refuses (full, gone, read-only).
        """
        moment = self.now()
        written = []
        last_id, last_hash = self._last_id, self._last_hash
        try:
            with T.database.atomic():
                for entry in entries:
                    stamp = Stamp(last_id + 1, moment.utc_s, moment.watched_s, self.kiosk, operator)
                    payload = _ENCODER.encode(entry).decode()
                    last_hash = line_hash(last_hash, stamp, entry.kind, payload)
                    T.Line.insert(**stamp._asdict(), kind=entry.kind, payload=payload, hash=last_hash).execute()
                    if subjects := [(subject, stamp.id) for subject in mentions(entry, stamp)]:
                        T.Mention.insert_many(subjects, fields=[T.Mention.subject, T.Mention.line]).execute()
                    for change in changes(entry, stamp, self.state):
                        self.state.apply(change)
                    last_id = stamp.id
                    written.append(Written(*stamp, entry, last_hash))
        except OperationalError as error:
            remedy = "nothing of this step was kept; free the disk, then scan again"
            raise LedgerFault(self.path, str(error), remedy) from error
        self._last_id, self._last_hash = last_id, last_hash
        return tuple(written)

    def lines(self, after: int = 0, subject: str | None = None, newest: int | None = None) -> Iterator[Written]:
        """Lines in order from `after` on; of one subject; or only the `newest` N (newest first)."""
        query = T.Line.select().where(T.Line.id > after)
        if subject is not None:
            query = query.join(T.Mention, on=(T.Mention.line == T.Line.id)).where(T.Mention.subject == subject)
        query = query.order_by(T.Line.id.desc()).limit(newest) if newest is not None else query.order_by(T.Line.id)
        for row in query.dicts().iterator():
            yield _written(row)

    def line(self, number: int) -> Written | None:
        row = T.Line.select().where(T.Line.id == number).dicts().first()
        return _written(row) if row else None

    def check(self, progress: Callable[[int, int], None] | None = None) -> list[Wrong]:
        """Replays every line and compares hashes, tables and the index of mentions with what is stored."""
        found: list[Wrong] = []
        memory = MemoryState()
        before, expected, mentioned = GENESIS, 1, 0
        total = T.Line.select().count()
        for row in T.Line.select().order_by(T.Line.id).tuples().iterator():
            number, utc_s, watched_s, kiosk, operator, kind, payload, stored = row
            stamp = Stamp(number, utc_s, watched_s, kiosk, operator)
            if number != expected:
                found.append(Wrong(f"line {expected}", f"is missing; the next one there is {number}"))
            expected = number + 1
            if line_hash(before, stamp, kind, payload) != stored:
                found.append(Wrong(f"line {number}", "does not match its hash: it or the line before was changed"))
            before = stored
            try:
                entry = _DECODERS[kind].decode(payload)
                mentioned += sum(1 for _ in mentions(entry, stamp))
                for change in changes(entry, stamp, memory):
                    memory.apply(change)
            except (Broken, msgspec.MsgspecError, KeyError) as error:
                found.append(Wrong(f"line {number}", f"cannot be replayed: {error}"))
            if progress and number % 1000 == 0:
                progress(number, total)
        if (stored_mentions := T.Mention.select().count()) != mentioned:
            found.append(Wrong("history index", f"has {stored_mentions} entries where the lines give {mentioned}"))
        found += _compare(memory)
        if problem := T.database.execute_sql("PRAGMA quick_check").fetchone()[0].replace("ok", ""):
            found.append(Wrong("file", problem))
        return found

    def rebuild(self) -> None:
        """Throws the derived tables away and builds them again from the lines."""
        with T.database.atomic():
            for model in T.DERIVED:
                model.delete().execute()
            T.Mention.delete().execute()
            for written in self.lines():
                stamp = Stamp(written.id, written.utc_s, written.watched_s, written.kiosk, written.operator)
                for subject in mentions(written.entry, stamp):
                    T.Mention.create(subject=subject, line=stamp.id)
                for change in changes(written.entry, stamp, self.state):
                    self.state.apply(change)


def _written(row: dict[str, Any]) -> Written:
    entry = _DECODERS[row["kind"]].decode(row["payload"])
    return Written(row["id"], row["utc_s"], row["watched_s"], row["kiosk"], row["operator"], entry, row["hash"])


def _compare(memory: MemoryState) -> Iterator[Wrong]:
    for name, model in _MODELS.items():
        key = KEYS[name]
        stored = {row[key]: row for row in rows(model.select())}
        for missing in memory.tables[name].keys() - stored.keys():
            yield Wrong(f"{name} {missing}", "is in the lines but not in the table")
        for extra in stored.keys() - memory.tables[name].keys():
            yield Wrong(f"{name} {extra}", "is in the table but in no line")
        for shared in stored.keys() & memory.tables[name].keys():
            for field, value in memory.tables[name][shared].items():
                if stored[shared][field] != value:
                    what = f"{field} is {stored[shared][field]!r} in the table and {value!r} by the lines"
                    yield Wrong(f"{name} {shared}", what)
