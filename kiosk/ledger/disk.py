"""What the ledger asks of a disk: files nobody else may read, and the promise that what was written is there.

Never writes what a file says; that is its owner's business.  A data folder is its owner's alone (0700, files
0600), because the ledger holds the hashes of PINs.  Systems without such modes (Windows, a FAT stick) keep their
own ways.
"""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from pathlib import Path

FILE_MODE, FOLDER_MODE = 0o600, 0o700


def make_private_folder(folder: Path, holds: str) -> None:
    """Makes a folder that only its owner may look into.

    One that is there is closed to others where it is ours: empty, or with the file `holds` in it.  A folder that
    others use as well (somebody gave /tmp) keeps its mode; the files in it are private all the same.
    """
    if not folder.is_dir():
        folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
    with suppress(OSError):
        found = folder.stat()
        ours = not found.st_mode & stat.S_ISVTX and ((folder / holds).exists() or not any(folder.iterdir()))
        if ours and stat.S_IMODE(found.st_mode) != FOLDER_MODE:
            folder.chmod(FOLDER_MODE)


def make_private(path: Path) -> None:
    """Takes a file away from everybody but its owner, where it is there."""
    with suppress(OSError):
        if stat.S_IMODE(path.stat().st_mode) != FILE_MODE:
            path.chmod(FILE_MODE)


def touch_private(path: Path) -> None:
    """An empty file of the owner's alone; one that is there is only made private."""
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, FILE_MODE))
    make_private(path)


def to_disk(path: Path) -> None:
    """Waits until the disk has a file, or what a folder lists."""
    if path.is_dir() and os.name == "nt":
        return  # that system cannot, and does it by itself
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        if not path.is_dir():  # some disks cannot do this for a folder
            raise
    finally:
        os.close(handle)


def which_file(path: Path) -> tuple[int, int] | None:
    """Which file has this name; None: there is none that can be looked at."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
