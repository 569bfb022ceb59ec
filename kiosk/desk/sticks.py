"""Sticks and shared folders: where a system mounts them, and what of a shop lies there to be taken in.

Looks and never writes.  A stick may be pulled out and a shared folder may hang at any moment, so this is asked on a
thread that nobody waits for, and what cannot be looked into or does not answer (`far_folder`) is not there.
"""

from __future__ import annotations

import os
import string
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from kiosk.desk import far_folder
from kiosk.desk.inbox import TABLES, Inbox, folder

MOUNTED_UNDER = (Path("/media"), Path("/run/media"), Path("/mnt"))  # udisks' and the administrator's custom on Linux
SHOP = "shop.toml"
MOST = 200  # entries of one folder that are looked at
FRESH_S = 5.0  # a file younger than this may still be written
PAUSE_S = 1.0


class StillWritten(OSError):
    """A file that grew or changed while it was looked at.  `path`."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path.name} is still being written; wait until it is whole")
        self.path = path


@dataclass(frozen=True, slots=True)
class Found:
    """Shop data that can be taken in: a table, or a folder with a whole shop.  drive: what it lies on, by name."""

    path: Path
    drive: str
    whole: bool
    changed_utc_s: float


def drives(under: Iterable[Path] | None = None) -> tuple[Path, ...]:
    """Every stick and shared folder that is mounted now, by name."""
    if sys.platform == "win32":
        letters = (Path(f"{letter}:\\") for letter in string.ascii_uppercase[3:])
        return tuple(each for each in letters if each.exists())
    found: list[Path] = []
    for root in MOUNTED_UNDER if under is None else under:
        for inside in entries(root):
            with suppress(far_folder.Silent):
                found += far_folder.ask(inside, _mounts)
    return tuple(sorted(set(found)))


def _mounts(inside: Path) -> list[Path]:
    """A stick lies at once below (/mnt) or in its user's folder (/media/NAME)."""
    return [each for each in (inside, *entries(inside)) if os.path.ismount(each)]


def found(data: Path) -> tuple[Found, ...]:
    """What lies in the kiosk's own folder for it and on every drive, the newest first."""
    seen = list(_in(folder(data, Inbox.IMPORTS), Inbox.IMPORTS.value))
    for drive in drives():
        with suppress(far_folder.Silent):
            seen += far_folder.ask(drive, lambda folder: list(_in(folder, folder.name)))
    return tuple(sorted(seen, key=lambda each: (-each.changed_utc_s, each.path)))


def _in(root: Path, drive: str) -> Iterator[Found]:
    for path in (root, *entries(root)):
        try:
            whole = (path / SHOP).is_file()
            table = path.suffix.lower() in TABLES and path.is_file()
            if (whole or table) and not path.name.startswith("."):
                yield Found(path, drive, whole, ((path / SHOP) if whole else path).stat().st_mtime)
        except OSError:
            continue


def entries(root: Path) -> list[Path]:
    """What lies there, by name; what cannot be looked into has nothing, and what has no readable name is not there."""
    try:
        return [each for each in sorted(root.iterdir())[:MOST] if can_be_read(each.name)]
    except OSError:
        return []


def can_be_read(name: str) -> bool:
    """Whether a name is text: no window could draw the bytes of another, and no line say them."""
    try:
        name.encode()
    except UnicodeEncodeError:
        return False
    return True


def settled(path: Path, now_utc_s: float | None = None) -> None:
    """Waits a moment for a file that was written just now, or by a clock ahead of ours.

    Raises StillWritten where it is not the same afterwards, OSError where it is gone.
    """
    files = [path] if path.is_file() else [each for each in path.iterdir() if each.is_file()]
    before = {each: each.stat() for each in files}
    now_s = time.time() if now_utc_s is None else now_utc_s
    if all(now_s - each.st_mtime > FRESH_S for each in before.values()):
        return
    time.sleep(PAUSE_S)
    for each, stood in before.items():
        now = each.stat()
        if (now.st_size, now.st_mtime_ns) != (stood.st_size, stood.st_mtime_ns):
            raise StillWritten(each)
