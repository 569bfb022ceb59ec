"""Copies of the ledger: made while the kiosk runs, verified before they count, and put back so that nobody burns.

A copy that does not verify is never kept, a ledger that is replaced is never deleted, and a restored one counts
every holder as hot that may be: heated within the last day by either ledger, or still under a hold.  SQLite's
online backup makes the copies (https://www.sqlite.org/backup.html).
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from kiosk.ledger import tables as T
from kiosk.ledger import upgrade
from kiosk.ledger.book import NAME, Book, LedgerFault, rows
from kiosk.ledger.clock import Counter, boot_counter_s
from kiosk.ledger.lineform import entry_of
from kiosk.ledger.lock import FolderLock
from kiosk.ledger.verify import Progress, Wrong, verify
from kiosk.rules.assembly import Clamping
from kiosk.rules.lines import Heated, Restored

DAY_S = 86400.0
STEM = "ledger-"
ASIDE = "replaced"  # folder, beside the ledger, for those that were replaced


class CopyFault(RuntimeError):
    """A copy that cannot be made or used.  `path`, `why`; `wrong`: what its check found."""

    def __init__(self, path: Path, why: str, wrong: Sequence[Wrong] = ()) -> None:
        super().__init__(f"{path}: {why}")
        self.path = path
        self.why = why
        self.wrong = tuple(wrong)


@dataclass(frozen=True, slots=True)
class Copy:
    """A verified copy: its file, the last line in it and that line's hash."""

    path: Path
    made_utc_s: float
    line: int
    hash: str


@dataclass(frozen=True, slots=True)
class RestoreDone:
    """What a restore did.

    aside: where the replaced ledger lies now.  holders: hot until read.  unsure: nobody knows how warm, because
    the replaced ledger could not say what happened after the copy was made.
    """

    aside: Path | None
    line: int
    holders: tuple[str, ...]
    unsure: tuple[str, ...]


def copy(folder: Path, target: Path, now_utc_s: float, progress: Progress | None = None) -> Copy:
    """Copies the ledger in `folder` into the folder `target`, verifies the copy, and only then gives it its name.

    Works beside a writer and holds nobody up.  Raises CopyFault.
    """
    stamp = datetime.fromtimestamp(now_utc_s, UTC).strftime("%Y%m%d-%H%M%S")
    path = target / f"{STEM}{stamp}.db"
    part = path.with_suffix(".part")
    try:
        target.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with _reading(folder / NAME) as source, closing(sqlite3.connect(part)) as made:
            source.backup(made)
            made.execute("PRAGMA journal_mode = DELETE")  # one file, without a log beside it
        wrong, line, last_hash = look(part, progress)
        if wrong:
            raise CopyFault(path, f"the copy does not verify: {wrong[0].where} {wrong[0].what}", wrong)
        _to_disk(part)
        part.replace(path)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise CopyFault(path, str(error)) from error
    except CopyFault:
        part.unlink(missing_ok=True)
        raise
    return Copy(path, now_utc_s, line, last_hash)


def rotate(target: Path, keep: int) -> list[Path]:
    """Deletes the oldest copies in a folder beyond `keep`; never the newest.  The deleted files."""
    gone = copies(target)[max(1, keep) :]
    for path in gone:
        path.unlink(missing_ok=True)
    return gone


def copies(target: Path) -> list[Path]:
    """Copies in a folder, newest first."""
    return sorted(target.glob(f"{STEM}*.db"), reverse=True)


def look(path: Path, progress: Progress | None = None) -> tuple[list[Wrong], int, str]:
    """What is wrong with a ledger's file, the number of its last line and that line's hash.

    Raises NewerLedger, CopyFault where it is no ledger.
    """
    try:
        with _reading(path) as found:
            version = found.execute("SELECT version FROM schema WHERE name = 'ledger'").fetchone()[0]
            if version > upgrade.VERSION:
                raise upgrade.NewerLedger(str(path), version)
            whole = found.execute("PRAGMA integrity_check").fetchone()[0]
            wrong = [] if whole == "ok" else [Wrong("file", whole)]
            if version == upgrade.VERSION and not wrong:  # an older one is verified once it is brought up
                wrong = verify(found.execute, progress)
            last = found.execute("SELECT id, hash FROM line ORDER BY id DESC LIMIT 1").fetchone()
    except (sqlite3.Error, TypeError) as error:
        raise CopyFault(path, f"is no ledger of a kiosk: {error}") from error
    return wrong, *(last or (0, ""))


def restore(
    folder: Path,
    backup: Path,
    now_utc_s: float,
    kiosk: str = "kiosk",
    *,
    counter: Counter = boot_counter_s,
    progress: Progress | None = None,
) -> RestoreDone:
    """Puts `backup` in the place of the ledger in `folder`; the kiosk must not be open.

    The replaced ledger stays, in the folder `replaced`.  Raises InUse, CopyFault, NewerLedger, LedgerFault.
    """
    wrong, _, backup_hash = look(backup, progress)
    if wrong:
        raise CopyFault(backup, f"does not verify: {wrong[0].where} {wrong[0].what}", wrong)
    folder.mkdir(parents=True, exist_ok=True)
    lock = FolderLock(folder)
    try:
        fresh = folder / f"{NAME}.new"
        shutil.copyfile(backup, fresh)
        _to_disk(fresh)
        aside, heated, known = _put_aside(folder, backup_hash, now_utc_s)
        fresh.replace(folder / NAME)
        _to_disk(folder)
    except (OSError, sqlite3.Error) as error:
        raise CopyFault(folder / NAME, str(error)) from error
    finally:
        lock.release()
    with _reading(folder / NAME) as there:
        heated |= _heated_lately(there, now_utc_s)
    with Book.open(folder, kiosk, counter=counter) as book:
        standing = rows(T.Holder.select().where(T.Holder.retired == 0))
        heated |= {row["holder"] for row in rows(T.Hold.select().where(T.Hold.ended_line.is_null()))}
        holders = tuple(sorted(row["key"] for row in standing if row["key"] in heated))
        shrinks = (row["key"] for row in standing if row["clamping"] == Clamping.SHRINK_FIT.value)
        unsure = () if known else tuple(sorted(key for key in shrinks if key not in heated))
        written = book.append([Restored(backup.name, holders, unsure)])
        if wrong := book.check():
            raise LedgerFault(book.path, f"{wrong[0].where} {wrong[0].what}", "restore another backup")
    return RestoreDone(aside, written[-1].id, holders, unsure)


def _put_aside(folder: Path, backup_hash: str, now_utc_s: float) -> tuple[Path | None, set[str], bool]:
    """Moves the ledger out of the way: where to, what it knows to be heated lately, and whether it knows all that
    happened since the backup was made.
    """
    there = folder / NAME
    if not there.exists():
        return None, set(), False
    heated: set[str] = set()
    known = False
    try:
        with closing(sqlite3.connect(there)) as old:
            heated = _heated_lately(old, now_utc_s)
            known = old.execute("SELECT 1 FROM line WHERE hash = ?", (backup_hash,)).fetchone() is not None
            old.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except (sqlite3.Error, KeyError, ValueError):
        known = False  # damaged: what it knew is lost, and is treated so
    stamp = datetime.fromtimestamp(now_utc_s, UTC).strftime("%Y%m%d-%H%M%S")
    aside = folder / ASIDE
    aside.mkdir(exist_ok=True)
    moved = aside / f"{STEM}{stamp}.db"
    for ending in ("-wal", "-shm", ""):
        part = there.with_name(there.name + ending)
        if part.exists():
            part.replace(moved.with_name(moved.name + ending))
    return moved, heated, known


def _heated_lately(ledger: sqlite3.Connection, now_utc_s: float) -> set[str]:
    """Holders heated within the last day, by wall time or by what the ledger's kiosk watched: whichever is more.

    A wall clock that was set wrongly, or a kiosk that was off, must not make a hot holder look old.
    """
    last = "SELECT watched_s FROM (SELECT watched_s FROM line ORDER BY id DESC LIMIT 1)"
    watched = ledger.execute(f"SELECT MAX(watched_s) FROM (SELECT watched_s FROM watch UNION {last})")
    watched_s = watched.fetchone()[0] or 0.0
    found = ledger.execute(
        "SELECT payload FROM line WHERE kind = ? AND (utc_s >= ? OR watched_s >= ?)",
        (Heated.kind, now_utc_s - DAY_S, watched_s - DAY_S),
    )
    lines = (entry_of(Heated.kind, payload) for (payload,) in found)
    return {line.holder for line in lines if isinstance(line, Heated)}


@contextmanager
def _reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection of its own that only reads."""
    if not path.exists():
        raise CopyFault(path, "is not there")
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        connection.execute("PRAGMA busy_timeout = 5000")
        yield connection


def _to_disk(path: Path) -> None:
    """Waits until the disk has it."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        if not path.is_dir():  # some systems cannot do this for a folder
            raise
    finally:
        os.close(handle)
