"""The book: appends lines, moves the derived tables along in the same transaction, replays and verifies.

A line is acknowledged only when `append` has returned: by then it is on disk (SQLite with WAL and synchronous=FULL).
The book never decides what may be written and never changes or deletes a line.  There is one writer for a data folder;
readers (reports, the command line) open it read-only beside it.
"""

from __future__ import annotations

import secrets
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from peewee import DatabaseError, SqliteDatabase

from kiosk.ledger import anchor as anchors
from kiosk.ledger import tables as T
from kiosk.ledger import upgrade
from kiosk.ledger.anchor import Anchor, Mark
from kiosk.ledger.clock import SecondsSource, WatchedClock, boot_counter_s
from kiosk.ledger.derive import Broken, Stamp, TableRow
from kiosk.ledger.deriving import carry, derive_again, several_clocks
from kiosk.ledger.disk import make_private, make_private_folder, which_file
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE, Written, as_kept, beat_seal, line_hash, written
from kiosk.ledger.lock import FolderLock
from kiosk.ledger.shared_form import WAITING
from kiosk.ledger.sharing import AgeOf, Asked, Sharing, never, uncounted
from kiosk.ledger.sql_state import SqlState
from kiosk.ledger.statements import sentences
from kiosk.ledger.trouble import Cause, LedgerFault, fault_of
from kiosk.ledger.verify import Progress, Wrong, verify
from kiosk.ledger.witness import disagrees
from kiosk.rules.assembly import Clamping
from kiosk.rules.cards import Heat, Moment
from kiosk.rules.chain import SharedLine
from kiosk.rules.lines import Entry, Heated, Restored
from kiosk.rules.slices import Between, in_slices, not_asked

NAME = "ledger.db"
CACHE_KIB = 32_000  # pages kept in memory: what a long ledger's index is looked up with
_PRAGMAS: dict[str, str | int] = {"foreign_keys": 1, "busy_timeout": 5000, "cache_size": -CACHE_KIB}

__all__ = ["NAME", "Book", "Broken", "LedgerFault", "Written", "Wrong", "rows"]


def rows(query: Any) -> list[TableRow]:
    """A query's rows as dictionaries by column name."""
    return list(query.dicts())


class Book:
    """An open ledger.  Use `Book.open`; close it with `close` or a with statement.

    lost: why the past of this ledger is not whole (one of `lines.RESTORED`), until a line says so; None: it is.
    """

    def __init__(
        self,
        path: Path,
        kiosk: str,
        clock: tuple[SecondsSource, SecondsSource],
        mark: Mark | None,
        lock: FolderLock | None,
    ) -> None:
        self.path = path
        self.kiosk = kiosk
        self.lost: str | None = None
        self.state = SqlState()
        self._insert_line = sentences(T.KeptLine, T.database.param).insert
        self._put_watch = sentences(T.Watch, T.database.param).put
        self._insert_mention = sentences(T.Mention, T.database.param).insert
        self._lock = lock
        self._file = which_file(path)
        self._anchor: Anchor | None = None
        self.sharing = Sharing.found(self.state)  # None: this kiosk has no others
        self.age_of: AgeOf = uncounted  # of the stay that began with a line, at least
        self.said_age_of: AgeOf = uncounted  # as an own line says it; None: not counted
        last = T.KeptLine.select().order_by(T.KeptLine.id.desc()).first()
        self._last_id: int = last.id if last else 0
        self._last_hash: str = last.hash if last else HASH_BEFORE_ANY_LINE
        last_s = last.watched_s if last else 0.0
        if self.sharing is not None:
            self.kiosk, last_s = self.sharing.own, self.sharing.last_watched_s()
            self._last_id, self._last_hash = self.sharing.tail.number, self.sharing.tail.digest
        self.clock = WatchedClock(max(last_s, self._beaten_s(mark)), *clock)

    @classmethod
    def open(
        cls,
        folder: Path,
        kiosk: str = "kiosk",
        *,
        read_only: bool = False,
        counter: SecondsSource = boot_counter_s,
        wall: SecondsSource | None = None,
    ) -> Book:
        """The ledger in `folder`, made if it is not there (unless read_only).

        Raises LedgerFault (folder cannot be written, file damaged), InUse, NewerLedger.
        """
        path = folder / NAME
        mark = anchors.read(folder)
        clock = (counter, wall or time.time)
        if not path.exists() or path.stat().st_size == 0:
            if read_only:
                raise LedgerFault(path, "there is no ledger here", "open the kiosk once, or give another --data folder")
            if mark and mark.line:
                remedy = f"put back a copy with `restore`; to begin an empty book, take {anchors.NAME} away"
                raise LedgerFault(path, f"is gone, though it had {mark.line} lines", remedy, Cause.DAMAGED)
        if read_only:
            return cls._open_to_read(path, kiosk, clock, mark)
        try:
            make_private_folder(folder, NAME)
            lock = FolderLock(folder, NAME)
        except OSError as error:
            raise fault_of(folder, error) from error
        make_private(path)
        pragmas = _PRAGMAS | {"journal_mode": "wal", "synchronous": "full"}
        T.database.initialize(SqliteDatabase(str(path), pragmas=pragmas))
        try:
            T.database.connect(reuse_if_open=True)
            with T.database.atomic():
                if stepped := upgrade.create_or_upgrade(T.database.obj, str(path)):
                    derive_again()
            book = cls(path, kiosk, clock, mark, lock)
            book._hold_anchor(mark, stepped)
            return book
        except BaseException as error:
            T.database.close()
            lock.release()
            if isinstance(error, DatabaseError | OSError):
                raise fault_of(path, error) from error
            raise

    @classmethod
    def _open_to_read(
        cls, path: Path, kiosk: str, clock: tuple[SecondsSource, SecondsSource], mark: Mark | None
    ) -> Book:
        """Reads beside a writer; and where the disk is full or takes no writing at all."""
        where = path.resolve().as_uri()
        # SQLite keeps an index of the log in a file beside it.  Where it cannot make that one, nobody writes: then
        # the ledger is read as it stands, unless a log was left, which only a disk that can be written brings in.
        ways = [f"{where}?mode=ro"]
        if not (log := path.with_name(f"{path.name}-wal")).exists() or log.stat().st_size == 0:
            ways.append(f"{where}?mode=ro&immutable=1")
        for way in ways:
            T.database.initialize(SqliteDatabase(way, uri=True, pragmas=_PRAGMAS | {"query_only": 1}))
            try:
                T.database.connect(reuse_if_open=True)
                if (found := upgrade.version_of(str(path))) > upgrade.VERSION:
                    raise upgrade.NewerLedger(str(path), found)
                if found < upgrade.VERSION:
                    older = f"was written by an older kiosk (schema {found})"
                    raise LedgerFault(path, older, "open the kiosk once: it brings the ledger up")
                book = cls(path, kiosk, clock, mark, None)
                book.lost = book._whole(mark)
                return book
            except BaseException as error:
                T.database.close()
                if not isinstance(error, DatabaseError | OSError):
                    raise
                fault = fault_of(path, error)
                if way == ways[-1] or fault.cause is Cause.DAMAGED:
                    raise fault from error
        raise AssertionError("one way or the other returned or raised")

    def _hold_anchor(self, mark: Mark | None, stepped: bool) -> None:
        """Compares the ledger with its anchor, and holds that from now on.  stepped: it comes from an older kiosk."""
        if stepped and mark is None:
            self.lost = "clocks" if several_clocks() else None
        else:
            self.lost = self._whole(mark)
        if mark is None:
            last_hash = self._last_hash if self.lost is None else ""  # no line has that one: it stays lost
            begun = Mark(secrets.token_hex(4), self._last_id, last_hash, self.now().watched_s)
            self._anchor = Anchor.begin(self.path.parent, begun)
        else:
            self._anchor = Anchor(self.path.parent, mark)
        if self.lost is None:
            self.beat()

    def _whole(self, mark: Mark | None) -> str | None:
        """Why this ledger is not what its anchor says; None: it is, or it goes on from there."""
        if self._last_id == 0 and (mark is None or mark.line == 0):
            return None
        if mark is None or not mark.stands_in(self.hash_of):
            return "lost"
        return "lost" if disagrees(self.path.parent, mark.folder, self.state.cursor.execute, self.hash_of) else None

    def hash_of(self, number: int) -> str | None:
        """The hash of a line of this kiosk's; None: there is no such line."""
        if self.sharing is not None:
            return self.sharing.hash_of(number)
        asks = f'SELECT "hash" FROM "line" WHERE "id" = {T.database.param}'
        row = self.state.cursor.execute(asks, (number,)).fetchone()
        return row[0] if row else None

    def _beaten_s(self, mark: Mark | None) -> float:
        """Watched time as it was last written down; 0 where that cannot be believed.

        The anchor is written before the beat, so a beat ahead of it was made by a hand.
        """
        beats = self.state.cursor.execute('SELECT "kiosk", "watched_s", "line", "seal" FROM "watch"').fetchall()
        sealed = [
            watched_s
            for kiosk, watched_s, line, seal in beats
            if seal == beat_seal(kiosk, watched_s, line, (self.hash_of(line) if line else HASH_BEFORE_ANY_LINE) or "")
        ]
        return min(max(sealed, default=0.0), mark.watched_s if mark else 0.0)

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        if self._lock and self._anchor:
            with suppress(LedgerFault):
                self.beat()
            self._anchor.close()
            self._anchor = None
        T.database.close()
        if self._lock:
            self._lock.release()
            self._lock = None

    @property
    def folder_name(self) -> str:
        """The random name of this data folder; empty before it was opened for writing."""
        mark = self._anchor.mark if self._anchor else anchors.read(self.path.parent)
        return mark.folder if mark else ""

    @property
    def last_id(self) -> int:
        return self._last_id

    @property
    def next_id(self) -> int:
        """What the next line's id will be."""
        return self._last_id + 1 + (WAITING if self.sharing is not None else 0)

    @property
    def changed(self) -> tuple[int, int]:
        """Another value whenever the tables changed: what was read of them with an older one is stale."""
        return self._last_id, self.sharing.generation if self.sharing is not None else 0

    @property
    def last_hash(self) -> str:
        return self._last_hash

    def now(self) -> Moment:
        return self.clock.now()

    def beat(self) -> None:
        """Writes down how far watched time has come, so that a power cut costs at most the time since.

        Not while lines are lost and nothing says so yet: the anchor keeps what it knows.
        """
        if self.lost is not None:
            return
        watched_s = self.now().watched_s
        with self._kept():
            self._anchored(self._last_id, self._last_hash, watched_s, firm=True)
            seal = beat_seal(self.kiosk, watched_s, self._last_id, self._last_hash)
            with T.database.atomic():
                T.Watch.delete().where(T.Watch.kiosk != self.kiosk).execute()
                self.state.cursor.execute(self._put_watch, (self.kiosk, watched_s, self._last_id, seal))

    @contextmanager
    def _kept(self) -> Iterator[None]:
        """Tells what a disk said in words for the person at the kiosk.

        A file that was put in the ledger's place, or its name taken away, while it is open would take the lines with
        it that are written from then on.
        """
        if self._lock and which_file(self.path) != self._file:
            raise LedgerFault(self.path, "was replaced or taken away while the kiosk ran", cause=Cause.GONE)
        try:
            yield
        except (DatabaseError, sqlite3.Error, OSError) as error:
            raise fault_of(self.path, error) from error

    def append(
        self, entries: Sequence[Entry], operator: str | None = None, phone: str = "", between: Between = not_asked
    ) -> tuple[Written, ...]:
        """Writes lines and moves the tables along, all or nothing; returns when the disk has them.

        phone: the telephone they came by.  between: where it raises, nothing was written.  Where lines were lost, the
        one that says so goes before them.  Raises Broken where a line cannot follow, LedgerFault for the disk.
        """
        moment = self.now()
        kept: list[Written] = []
        last_id, last_hash = self._last_id, self._last_hash
        told = () if self.lost is None else (self._doubts(self.lost),)
        with self._kept(), T.database.atomic():
            for given in in_slices((*told, *entries), between):
                last_id += 1
                stamp = Stamp(last_id, moment.utc_s, moment.watched_s, self.kiosk, operator)
                entry, text = as_kept(given, phone)
                if self.sharing is not None:
                    said = self.sharing.says(entry, stamp, text, last_hash, self.said_age_of)
                    last_hash = self.sharing.add(said)
                    kept.append(Written(*said.stamp(WAITING + last_id), entry, last_hash, phone))
                    continue
                last_hash = line_hash(last_hash, stamp, entry.kind, text)
                self.state.cursor.execute(self._insert_line, (*stamp, entry.kind, text, last_hash))
                carry(self.state, self._insert_mention, entry, stamp)
                kept.append(Written(*stamp, entry, last_hash, phone))
        self._last_id, self._last_hash, self.lost = last_id, last_hash, None
        if self.sharing is not None:
            self.sharing.grown(last_id, last_hash)
        if about_heat := any(isinstance(line.entry, Heated | Restored) for line in kept):
            self._into_the_file()
        with self._kept():
            self._anchored(last_id, last_hash, moment.watched_s, firm=about_heat)
        if told:
            self.beat()  # the beat that was there may be sealed with a line that is gone
        return tuple(kept[len(told) :])

    def share(self, own: str) -> None:
        """From now on this kiosk has others: its lines are the first chain, or it has none.  own: its identity."""
        with self._kept(), T.database.atomic():
            sharing = Sharing.begin(self.state, own)
        self.sharing, self.kiosk = sharing, own
        self.beat()

    def take(self, lines: Sequence[SharedLine], enough: Asked = never, gives_way: Asked = never) -> int:
        """Applies shared lines that come next until it was `enough`; how many.  Raises as `Sharing.take`."""
        if (sharing := self.sharing) is None or not lines:
            return 0
        try:
            with self._kept(), T.database.atomic():
                done = sharing.take(lines, enough, gives_way)
        except BaseException:
            sharing.read_ends()
            raise
        self._last_id, self._last_hash = sharing.tail.number, sharing.tail.digest
        return done

    def _anchored(self, line: int, last_hash: str, watched_s: float, *, firm: bool) -> None:
        if self._anchor:
            self._anchor.write(line, last_hash, watched_s, firm=firm)

    def _into_the_file(self) -> None:
        """Brings the log into the ledger's file, so that a heating does not hang on the file beside it.

        A reader may keep part of it back, a full disk all: the line stands in the log then, and the anchor tells.
        """
        with suppress(DatabaseError, sqlite3.Error):
            self.state.cursor.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()

    def _doubts(self, cause: str) -> Restored:
        """What the book knows for certain when part of its past is missing: nothing that can be heated is cool."""
        held = {row["holder"] for row in rows(T.Hold.select(T.Hold.holder).where(T.Hold.ended_line.is_null()))}
        if cause == "clocks":
            return Restored(self.path.name, tuple(sorted(held)), (), cause)
        held |= {row["key"] for row in rows(T.Holder.select(T.Holder.key).where(T.Holder.heat == Heat.HELD.value))}
        shrinks = rows(T.Holder.select(T.Holder.key).where(T.Holder.clamping == Clamping.SHRINK_FIT.value))
        unsure = sorted({row["key"] for row in shrinks} - held)
        return Restored(self.path.name, tuple(sorted(held)), tuple(unsure), cause)

    def lines(self, after: int = 0, subject: str | None = None, newest: int | None = None) -> Iterator[Written]:
        """Lines in order from `after` on; of one subject; or only the `newest` N (newest first)."""
        query = T.KeptLine.select().where(T.KeptLine.id > after)
        if subject is not None:
            query = query.join(T.Mention, on=(T.Mention.line == T.KeptLine.id)).where(T.Mention.subject == subject)
        # The index's own order: the newest are found without sorting all there are.
        order: Any = T.KeptLine.id if subject is None else T.Mention.line
        query = query.order_by(order.desc()).limit(newest) if newest is not None else query.order_by(order)
        found: Any = query.tuples().iterator()
        yield from map(written, found)

    def line(self, number: int) -> Written | None:
        kept: Any = T.KeptLine.select().where(T.KeptLine.id == number).tuples()
        return next((written(row) for row in kept), None)

    def check(self, progress: Progress | None = None) -> list[Wrong]:
        """Replays every line and compares hashes, tables, index and anchor with what is stored."""
        mark = anchors.read(self.path.parent)  # before the ledger is looked at: it goes on, the anchor follows
        found = []
        try:
            with T.database.atomic():  # one state of it, whatever a kiosk writes meanwhile
                found = verify(T.database.execute_sql, progress, mark)
                if problem := T.database.execute_sql("PRAGMA quick_check").fetchone()[0].replace("ok", ""):
                    found.append(Wrong("file", problem))
                if self._whole(mark):
                    found.append(Wrong("end of the ledger", anchors.disagreement(mark, self.last_id)))
        except DatabaseError as error:  # too damaged to be read to the end
            found.append(Wrong("file", str(error)))
        return found

    def rebuild(self) -> None:
        """Throws the derived tables away and builds them again from the lines."""
        with self._kept(), T.database.atomic():
            derive_again()
