"""One writer: a lock on the ledger itself, held for as long as a kiosk has it open.

The lock is the operating system's, so that a killed kiosk leaves nothing to clean up; and it is on the ledger's own
file, so that nothing that can be deleted lets a second writer in.  The file `lock` beside it names the process, and
is locked too: on Windows, where a lock on the ledger would stop SQLite, it is the lock, and cannot be deleted while
it is open.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from kiosk.ledger.disk import FILE_MODE

_held: set[tuple[int, int]] = set()  # ledgers this process has: see `_on_ledger`


class InUse(RuntimeError):
    """Another kiosk has this data folder open.  `folder` names it."""

    def __init__(self, folder: Path) -> None:
        super().__init__(f"{folder} is open in another kiosk: close that one first, or give another --data folder")
        self.folder = folder


class FolderLock:
    """Held from construction to `release`.  ledger: the file in the folder, made empty where it is not there.

    Raises InUse; OSError where the files cannot be opened.
    """

    def __init__(self, folder: Path, ledger: str) -> None:
        self._folder = folder
        self._handles: list[int] = []
        self._known: tuple[int, int] | None = None
        try:
            named = self._on(folder / "lock")
            if sys.platform != "win32":
                self._on_ledger(folder / ledger)
            os.ftruncate(named, 0)
            os.write(named, str(os.getpid()).encode())
        except BaseException:
            self.release()
            raise

    def _on(self, path: Path) -> int:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, FILE_MODE)
        self._handles.append(handle)
        try:
            if sys.platform == "win32":
                import msvcrt

                msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            else:
                import fcntl

                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise InUse(self._folder) from None
        return handle

    def _on_ledger(self, path: Path) -> None:
        """The lock on the file itself.

        Where this process has it already, the file is not even opened: closing it again would drop the locks that
        SQLite holds on it (POSIX locks belong to a process and a file, https://www.sqlite.org/howtocorrupt.html).
        """
        if path.exists() and _identity(os.stat(path)) in _held:
            raise InUse(self._folder)
        opened = os.fstat(self._on(path))
        if _identity(opened) != _identity(os.stat(path)):  # a restore put another in its place just now
            raise InUse(self._folder)
        self._known = _identity(opened)
        _held.add(self._known)

    def take_over(self, path: Path) -> None:
        """Locks a ledger that is about to take this one's name."""
        if sys.platform != "win32":
            self._on(path)

    def release(self) -> None:
        _held.discard(self._known or (0, 0))
        while self._handles:
            os.close(self._handles.pop())


def _identity(found: os.stat_result) -> tuple[int, int]:
    return found.st_dev, found.st_ino
