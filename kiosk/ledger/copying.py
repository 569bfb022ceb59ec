"""Copies of the ledger: made while the kiosk runs, and verified before they count.

A copy that does not verify is never kept.  Its name carries the kiosk and its data folder, because several kiosks may
copy into one folder, and no kiosk touches what another one put there.  SQLite's online backup makes the copies
(https://www.sqlite.org/backup.html).
"""

from __future__ import annotations

import os
import re
import sqlite3
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from kiosk.ledger import anchor, upgrade
from kiosk.ledger.book import NAME
from kiosk.ledger.disk import make_private_folder, to_disk, touch_private
from kiosk.ledger.trouble import REMEDY, Cause, cause_at
from kiosk.ledger.verify import Progress, Wrong, verify

STEM = "ledger-"
PART = ".part"
_STAMP = "%Y%m%d-%H%M%S"
_DAY_S = 86400.0
_DATED = re.compile(r"(\d{8}-\d{6})\.db$")
_MAKING = re.compile(r"\.(\d+)\.part$")


class CopyFault(RuntimeError):
    """A copy that cannot be made or used.  `path`, `why`; `wrong`: what its check found."""

    def __init__(self, path: Path, why: str, wrong: Sequence[Wrong] = ()) -> None:
        super().__init__(f"{path}: {why}")
        self.path = path
        self.why = why
        self.wrong = tuple(wrong)


@dataclass(frozen=True, slots=True)
class Copy:
    """A verified copy: its file, how many lines are in it and the last one's hash."""

    path: Path
    made_utc_s: float
    lines: int
    hash: str


def owner_of(folder: Path) -> str:
    """The random name of a data folder, as its copies carry it; empty before a kiosk was opened there."""
    mark = anchor.read(folder)
    return mark.folder if mark else ""


def copy(
    folder: Path,
    target: Path,
    now_utc_s: float,
    progress: Progress | None = None,
    kiosk: str = "kiosk",
    source: Path | None = None,
) -> Copy:
    """Copies the ledger in `folder` into the folder `target`, verifies the copy, and only then gives it its name.

    Works beside a writer and holds nobody up.  source: a copy of it that was made just now, and that is copied in its
    place: one into a folder that hangs keeps no place in the book's own log.  Raises CopyFault.
    """
    owner = owner_of(folder)
    stamp = datetime.fromtimestamp(now_utc_s, UTC).strftime(_STAMP)
    named = "-".join(part for part in (_plain(kiosk), owner, stamp) if part)
    path = target / f"{STEM}{named}.db"
    part = target / f"{STEM}{named}.{os.getpid()}{PART}"
    try:
        make_private_folder(target, path.name)
        sweep(target, owner, now_utc_s)
        touch_private(part)
        with reading(source or folder / NAME) as book, closing(sqlite3.connect(part)) as made:
            book.backup(made)
            made.execute("PRAGMA journal_mode = DELETE")  # one file, without a log beside it
        wrong, lines, last_hash = look(part, progress)
        if wrong:
            raise CopyFault(path, f"the copy does not verify: {wrong[0].where} {wrong[0].what}", wrong)
        to_disk(part)
        part.replace(path)
        to_disk(target)
    except (OSError, sqlite3.Error) as error:
        _forget(part)
        raise CopyFault(path, told(path, error)) from error
    except BaseException:
        _forget(part)
        raise
    return Copy(path, now_utc_s, lines, last_hash)


def rotate(target: Path, keep: int, owner: str = "", made: Path | None = None) -> list[Path]:
    """Deletes the oldest copies in a folder beyond `keep`; the deleted files.

    owner: only those of this data folder; empty: all there are.  made: the copy just made, which always stays.  One
    that is dated later than it was dated by a clock that was wrong, and counts as the oldest.
    """
    found = copies(target, owner)
    if made is not None:
        date = _date(made)
        found.sort(key=lambda path: (path == made, _date(path) <= date, _date(path)), reverse=True)
    gone = found[max(1, keep) :]
    for path in gone:
        path.unlink(missing_ok=True)
    return gone


def copies(target: Path, owner: str = "") -> list[Path]:
    """Copies in a folder, newest first.  owner: only those of this data folder; empty: all there are."""
    found = (path for path in target.glob(f"{STEM}*.db") if not owner or f"-{owner}-" in path.name)
    return sorted(found, key=lambda path: (_date(path), path.name), reverse=True)


def made_utc_s(path: Path) -> float | None:
    """When a copy was made, as its name says, epoch seconds; None: it does not say."""
    try:
        return datetime.strptime(_date(path), _STAMP).replace(tzinfo=UTC).timestamp()
    except ValueError:
        return None


def sweep(target: Path, owner: str, now_utc_s: float) -> None:
    """Deletes what copies that were cut short left behind: ours, and anybody's that nobody has touched for a day."""
    for path in target.glob(f"{STEM}*{PART}*"):
        with suppress(OSError):
            idle_s = abs(now_utc_s - path.stat().st_mtime)  # a clock may have been set either way
            mine = bool(owner) and f"-{owner}-" in path.name
            making = _MAKING.search(path.name)
            dead = mine and (making is None or not _runs(int(making[1])))
            if dead or idle_s > _DAY_S:
                path.unlink()


def look(path: Path, progress: Progress | None = None) -> tuple[list[Wrong], int, str]:
    """What is wrong with a ledger's file, how many lines it has and the last one's hash.

    Raises NewerLedger, CopyFault where it is no ledger.
    """
    try:
        with reading(path) as copy:
            copy.execute("BEGIN")  # one state of it
            asked = "SELECT COUNT(*) FROM sqlite_master WHERE type = 'table' AND name IN ('line', 'schema')"
            if copy.execute(asked).fetchone() != (2,):  # a view in their place may go on for ever
                raise CopyFault(path, "is no ledger of a kiosk")
            (version,) = copy.execute("SELECT version FROM schema WHERE name = 'ledger'").fetchone()
            if version > upgrade.VERSION:
                raise upgrade.NewerLedger(str(path), version)
            (whole,) = copy.execute("PRAGMA integrity_check").fetchone()
            wrong = [] if whole == "ok" else [Wrong("file", whole)]
            if version == upgrade.VERSION and not wrong:  # an older one is verified once it is brought up
                wrong = verify(copy.execute, progress)
            last = copy.execute("SELECT hash FROM line ORDER BY id DESC LIMIT 1").fetchone()
            (lines,) = copy.execute("SELECT COUNT(*) FROM line").fetchone()  # where others write, ids are no numbers
    except (sqlite3.Error, TypeError) as error:
        if cause_at(path, error) in (None, Cause.DAMAGED):
            raise CopyFault(path, f"is no ledger of a kiosk: {error}") from error
        raise CopyFault(path, told(path, error)) from error
    return wrong, lines, last[0] if last else ""


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection of its own that only reads.  Raises CopyFault where no file is there."""
    if not path.is_file():
        raise CopyFault(path, "is no file" if path.exists() else "is not there")
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        connection.execute("PRAGMA busy_timeout = 5000")
        yield connection


def told(path: Path, error: BaseException) -> str:
    """What the disk said of a file, and what to do about it."""
    cause = cause_at(path, error)
    return f"{error}; {REMEDY[cause]}" if cause else str(error)


def _forget(part: Path) -> None:
    for ending in ("", "-journal", "-wal", "-shm"):
        with suppress(OSError):
            part.with_name(part.name + ending).unlink(missing_ok=True)


def _plain(kiosk: str) -> str:
    """A kiosk's name as a file's name may carry it."""
    return "-".join(re.findall(r"[a-z0-9]+", kiosk.casefold()))[:24].strip("-") or "kiosk"


def _date(path: Path) -> str:
    dated = _DATED.search(path.name)
    return dated[1] if dated else ""


def _runs(process: int) -> bool:
    """Whether a process of this machine is there."""
    if process == os.getpid():
        return True
    if sys.platform == "win32":
        return True  # asking would end it; what it left goes after a day
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
