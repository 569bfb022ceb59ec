"""Copies of the book that can be put back: where they lie, what is in each, and what would be lost by it.

Looks and never writes; putting one back is `copies.restore`, for the command and the window alike.  Needs no desk: it
is asked where the book cannot be opened, too.  Sticks and shared folders may be gone at any moment or never answer, so
it belongs on a thread that nobody waits for.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from pathlib import Path

from kiosk import settings as shop_settings
from kiosk.desk import far_folder, sticks
from kiosk.desk.copies import settings_of
from kiosk.ledger import backup
from kiosk.ledger.backup import CopyFault
from kiosk.ledger.book import NAME
from kiosk.ledger.copying import made_utc_s, reading
from kiosk.ledger.disk import FOLDER_MODE
from kiosk.ledger.restore import ASIDE
from kiosk.ledger.upgrade import NewerLedger
from kiosk.ledger.verify import Progress
from kiosk.ledger.witness import FOLDER

NEAR = "near"  # folder, beside the book, for a copy that lies elsewhere while it is put back
LATEST_UTC_S = 250_000_000_000.0  # year 9892: what a name or a disk may say beyond is no date in any zone
_WHAT_A_SHOP_HAS = ("place", "holder", "cutter", "operator")  # tables


class Lies(StrEnum):
    """What kind of folder a copy lies in."""

    OWN = "own"  # beside the book
    SECOND = "second"
    REPLACED = "replaced"  # a book that a copy took the place of
    DRIVE = "drive"  # a stick or a shared folder


@dataclass(frozen=True, slots=True)
class Kept:
    """A copy that was found.  drive: what it lies on, by name, where that is a stick or a shared folder."""

    path: Path
    lies: Lies
    drive: str
    made_utc_s: float


@dataclass(frozen=True, slots=True)
class Seen:
    """What is in a copy.  kiosk: who wrote its last line.  hash: of that line; empty: it has none.

    fault: why it cannot be put back (damaged, of a newer kiosk, gone); None: every line was read, and it is whole.
    """

    lines: int
    kiosk: str
    hash: str
    fault: Exception | None = None


@dataclass(frozen=True, slots=True)
class Lost:
    """What the book has that a copy lacks.  lines: how many; None: the book cannot be read, so nobody can say.

    earlier: the book goes on from the copy.  another: they have not one line in common, and the book is not a new one.
    new: the book has neither a thing nor a person yet.
    """

    lines: int | None
    earlier: bool = False
    another: bool = False
    new: bool = False


def found(data: Path, second: str = "") -> tuple[Kept, ...]:
    """Every copy in a data folder, in the second folder and on every drive, the newest first."""
    seen = [*_in(data / FOLDER, Lies.OWN), *_in(data / ASIDE, Lies.REPLACED)]
    places = [(Path(second), Lies.SECOND)] if second else []
    places += [(drive, Lies.DRIVE) for drive in sticks.drives()]
    for folder, lies in places:
        with suppress(OSError, RuntimeError, ValueError):  # nobody has that home; no folder is called so
            seen += far_folder.ask(folder.expanduser(), partial(_below, lies=lies))
    once = {each.path.resolve(): each for each in reversed(seen)}  # the second folder may lie on a stick
    return tuple(sorted(once.values(), key=lambda each: (-each.made_utc_s, each.path)))


def _below(root: Path, lies: Lies) -> tuple[Kept, ...]:
    """What lies there and, on a drive, in its folders and in the folder of copies of a whole data folder."""
    inside = [each for each in sticks.entries(root) if not each.name.startswith(".")] if lies is Lies.DRIVE else []
    folders = (root, *inside, *(each / FOLDER for each in inside))
    return tuple(kept for folder in folders for kept in _in(folder, lies, root.name))


def _in(folder: Path, lies: Lies, drive: str = "") -> Iterator[Kept]:
    try:
        copies = [each for each in backup.copies(folder) if sticks.can_be_read(each.name)][: sticks.MOST]
    except OSError:
        return  # what cannot be looked into has nothing
    for path in copies:
        with suppress(OSError, RuntimeError):  # a name that leads nowhere, or round in a circle
            made_s = made_utc_s(path)
            written_s = path.resolve().stat().st_mtime
            yield Kept(path, lies, drive, min(max(0.0, written_s if made_s is None else made_s), LATEST_UTC_S))


def look(path: Path, progress: Progress | None = None) -> Seen:
    """Reads every line of a copy."""
    try:
        wrong, lines, last_hash = backup.look(path, progress)
        with reading(path) as copy:
            last = copy.execute("SELECT kiosk FROM line ORDER BY id DESC LIMIT 1").fetchone()
    except (CopyFault, NewerLedger, OSError, sqlite3.Error) as error:
        return Seen(0, "", "", error)
    fault = CopyFault(path, f"does not verify: {wrong[0].where} {wrong[0].what}", wrong) if wrong else None
    return Seen(lines, last[0] if last else "", last_hash, fault)


def lost(data: Path, path: Path, seen: Seen) -> Lost:
    """What is in the book of a data folder and not in a copy, of which `look` told.  Raises far_folder.Silent."""
    return far_folder.work(path.parent, lambda: _lost(data, path, seen))


@contextmanager
def near(data: Path, kept: Kept, progress: Progress) -> Iterator[Path]:
    """A copy, with its settings, where no share or stick is waited for any more while the book is closed for it.

    Raises CopyFault where it cannot be brought here.
    """
    if kept.lies in (Lies.OWN, Lies.REPLACED):
        yield kept.path
        return
    here = data / NEAR / kept.path.name
    try:
        try:
            shutil.rmtree(here.parent, ignore_errors=True)
            here.parent.mkdir(mode=FOLDER_MODE, parents=True)
            far_folder.fetch(kept.path, here, progress)
            log = kept.path.with_name(f"{kept.path.name}-wal")  # of one that was copied by hand while its kiosk ran
            for beside in (log, settings_of(kept.path), kept.path.parent / shop_settings.NAME):
                with suppress(FileNotFoundError):
                    far_folder.fetch(beside, here.with_name(beside.name), _nobody_looks)
        except FileNotFoundError as error:
            raise CopyFault(kept.path, "is not there") from error
        except OSError as error:
            raise CopyFault(kept.path, str(error)) from error
        yield here
    finally:
        shutil.rmtree(here.parent, ignore_errors=True)


def _nobody_looks(*_: int) -> None:
    """A few lines are here at once."""


def _lost(data: Path, path: Path, seen: Seen) -> Lost:
    try:
        with reading(data / NAME) as book:
            book.execute("ATTACH ? AS copy", (f"{path.resolve().as_uri()}?mode=ro",))
            missing = "SELECT COUNT(*) FROM main.line WHERE hash NOT IN (SELECT hash FROM copy.line)"
            (lines,) = book.execute(missing).fetchone()
            (all_lines,) = book.execute("SELECT COUNT(*) FROM main.line").fetchone()
            earlier = book.execute("SELECT 1 FROM main.line WHERE hash = ?", (seen.hash,)).fetchone() is not None
            works = book.execute("SELECT 1 FROM place LIMIT 1").fetchone() is not None
            new = not any(book.execute(f"SELECT 1 FROM {each} LIMIT 1").fetchone() for each in _WHAT_A_SHOP_HAS)
    except (sqlite3.Error, CopyFault):
        return Lost(None)
    return Lost(lines, earlier or not all_lines, another=works and lines == all_lines, new=new)
