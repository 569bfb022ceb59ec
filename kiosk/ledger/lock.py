"""One writer: a lock on the data folder, held for as long as a kiosk has it open.

The lock is the operating system's, so that a killed kiosk leaves nothing to clean up.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import IO


class InUse(RuntimeError):
    """Another kiosk has this data folder open.  `folder` names it."""

    def __init__(self, folder: Path) -> None:
        super().__init__(f"{folder} is open in another kiosk: close that one first, or give another --data folder")
        self.folder = folder


class FolderLock:
    """Held from construction to `release`.  Raises InUse."""

    def __init__(self, folder: Path) -> None:
        self._file: IO[str] = open(folder / "lock", "a+")  # noqa: SIM115 - held open on purpose
        try:
            if sys.platform == "win32":
                import msvcrt

                msvcrt.locking(self._file.fileno(), msvcrt.LK_NBLCK, 1)
            else:
                import fcntl

                fcntl.flock(self._file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self._file.close()
            raise InUse(folder) from None
        self._file.truncate(0)
        self._file.write(str(os.getpid()))
        self._file.flush()

    def release(self) -> None:
        self._file.close()
