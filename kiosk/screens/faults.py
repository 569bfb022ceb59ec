"""What a disk or a damaged book said, in words for the person at the kiosk, with what to do next.

Errors of the operating system and of the database speak English and to engineers; here the few causes a person
can act on get a sentence of their own.  Facts: errno values of POSIX, the messages of SQLite's result codes.
"""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator

from msgspec import MsgspecError
from peewee import PeeweeException

from kiosk.desk.session import Locked, NeedsReason, NotThere, StillHot
from kiosk.ledger.book import Broken, LedgerFault
from kiosk.rules.bounds import OutOfBounds
from kiosk.words import t

_OF_ERRNO = {
    errno.ENOSPC: "disk_full", errno.EDQUOT: "disk_full",
    errno.EACCES: "not_allowed", errno.EPERM: "not_allowed", errno.EROFS: "not_allowed",
    errno.ENOENT: "gone", errno.ENOTDIR: "gone", errno.ENODEV: "gone", errno.ENXIO: "gone",
}  # fmt: skip
_OF_SQLITE = (
    ("is full", "disk_full"),
    ("readonly", "not_allowed"),
    ("malformed", "damaged"),
    ("not a database", "damaged"),
    ("no such table", "damaged"),
    ("no such column", "damaged"),
    ("locked", "busy"),
    ("unable to open", "gone"),
)
_OF_DESK = {Locked: "locked", NeedsReason: "needs_reason"}


def cause_words(error: BaseException) -> str | None:
    """The sentence for a cause that a person can act on; None: this is no such error."""
    if isinstance(error, NotThere):
        return t("fault.not_there", thing=error.key)
    if isinstance(error, StillHot):
        return t("fault.still_hot", name=error.name)
    if isinstance(error, OutOfBounds):
        least, most, unit, _ = error.bound
        return t("pad.bounds", least=float(least), most=float(most), unit=unit)
    for kind, name in _OF_DESK.items():
        if isinstance(error, kind):
            return t(f"fault.{name}")
    cause = _cause(error)
    return t(f"fault.{cause}") if cause else None


def _cause(error: BaseException) -> str | None:
    if isinstance(error, MsgspecError | Broken):
        return "damaged"  # a line or a table that no longer reads as what was written
    if isinstance(error, LedgerFault | PeeweeException | sqlite3.Error):
        said = [str(each).casefold() for each in _chain(error)]
        found = (cause for part, cause in _OF_SQLITE if any(part in each for each in said))
        return next(found, "disk")
    if isinstance(error, OSError) and type(error).__module__ == "builtins":
        return _OF_ERRNO.get(error.errno or 0, "disk")
    return None


def _chain(error: BaseException) -> Iterator[BaseException]:
    """The error and what it came from: a full disk spoils rolling back too, and that is what is said last."""
    at: BaseException | None = error
    while at is not None:
        yield at
        at = at.__cause__ or at.__context__
