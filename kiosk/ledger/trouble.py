"""What a disk or SQLite said, as one of the few causes a person can act on, and what to do about each.

Full, read-only, in use, gone and damaged ask for five different hands; only damage asks for a backup.  Facts:
errno values of POSIX, the messages of SQLite's result codes (https://www.sqlite.org/rescode.html).
"""

from __future__ import annotations

import errno
import shutil
import sqlite3
from collections.abc import Iterator
from enum import Enum
from pathlib import Path

from peewee import PeeweeException


class Cause(Enum):
    """Why the disk did not do it."""

    FULL = "disk_full"
    READ_ONLY = "not_allowed"
    BUSY = "busy"
    GONE = "gone"
    DAMAGED = "damaged"
    DISK = "disk"  # it did not say more


_OF_ERRNO = {
    errno.ENOSPC: Cause.FULL, errno.EDQUOT: Cause.FULL, errno.EFBIG: Cause.FULL,
    errno.EACCES: Cause.READ_ONLY, errno.EPERM: Cause.READ_ONLY, errno.EROFS: Cause.READ_ONLY,
    errno.ENOENT: Cause.GONE, errno.ENOTDIR: Cause.GONE, errno.ENODEV: Cause.GONE, errno.ENXIO: Cause.GONE,
    errno.EEXIST: Cause.GONE, errno.EBUSY: Cause.BUSY, errno.EAGAIN: Cause.BUSY,
}  # fmt: skip
_OF_SQLITE = (
    ("is full", Cause.FULL),
    ("readonly", Cause.READ_ONLY),
    ("malformed", Cause.DAMAGED),
    ("not a database", Cause.DAMAGED),
    ("no such table", Cause.DAMAGED),
    ("no such column", Cause.DAMAGED),
    ("constraint failed", Cause.DAMAGED),  # what the book tells of itself meets no other: an index is not its table
    ("locked", Cause.BUSY),
    ("unable to open", Cause.GONE),
)
_LEAST_ROOM = 64 * 1024  # bytes: the index of SQLite's log alone takes half of it
REMEDY = {
    Cause.FULL: "the disk is full: nothing of this step was kept; make room on it, then do it again",
    Cause.READ_ONLY: "the kiosk may not write there: give it the right to, or another --data folder; "
    "commands that only read still work",
    Cause.BUSY: "another program has the ledger: wait or close it, then do it again",
    Cause.GONE: "the file or the disk is not there: plug it in, or give another --data folder",
    Cause.DAMAGED: "the ledger is damaged: put back a copy with `restore`; until then every holder counts as hot",
    Cause.DISK: "nothing of this step was kept: do it again; if that fails too, check the disk",
}


class LedgerFault(RuntimeError):
    """The ledger cannot be opened or written.  `path` names the file, `why` says what the disk said.

    remedy: what to do next; None: what the cause asks for.
    """

    def __init__(self, path: Path, why: str, remedy: str | None = None, cause: Cause = Cause.DISK) -> None:
        self.path = path
        self.why = why
        self.cause = cause
        self.remedy = remedy or REMEDY[cause]
        super().__init__(f"{path}: {why}; {self.remedy}")


def fault_of(path: Path, error: BaseException) -> LedgerFault:
    """The fault that an error of the disk or the database comes to, in words for the person at the kiosk."""
    first = error
    while isinstance(first.__context__, PeeweeException | sqlite3.Error):  # a full disk spoils rolling back too
        first = first.__context__
    cause = cause_at(path, error) or Cause.DISK
    if cause is Cause.GONE and path.exists():
        cause = Cause.READ_ONLY  # SQLite says "unable to open" of a folder it may not write in
    return LedgerFault(path, str(first), cause=cause)


def cause_of(error: BaseException) -> Cause | None:
    """None: this is no error of a disk or a database."""
    if isinstance(error, LedgerFault) and error.cause is not Cause.DISK:
        return error.cause
    if isinstance(error, LedgerFault | PeeweeException | sqlite3.Error):
        said = [str(each).casefold() for each in _chain(error)]
        return next((cause for part, cause in _OF_SQLITE if any(part in each for each in said)), Cause.DISK)
    if isinstance(error, OSError) and type(error).__module__ == "builtins":
        return _OF_ERRNO.get(error.errno or 0, Cause.DISK)
    return None


def cause_at(path: Path, error: BaseException) -> Cause | None:
    """`cause_of`, with a look at the disk: where not even a log's index finds room, SQLite says "disk I/O error"."""
    cause = cause_of(error)
    return Cause.FULL if cause is Cause.DISK and _no_room(path) else cause


def _no_room(path: Path) -> bool:
    """Whether the disk a file lies on, or would, takes nothing more."""
    there = next((each for each in path.parents if each.is_dir()), Path())
    try:
        return shutil.disk_usage(there).free < _LEAST_ROOM
    except OSError:
        return False


def _chain(error: BaseException) -> Iterator[BaseException]:
    """The error and what it came from: what is said last is not always what happened first."""
    at: BaseException | None = error
    while at is not None:
        yield at
        at = at.__cause__ or at.__context__
