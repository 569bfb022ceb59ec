"""The copies counter: backups while the kiosk runs, to the folders the shop has set, and what is there of them.

A copy counts only once it has verified; a folder that cannot be written is told, and never stops the other.
Putting a copy back is done with the kiosk closed (`restore`).
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from kiosk import filing
from kiosk import settings as shop_settings
from kiosk.desk.session import Session
from kiosk.ledger import backup as ledger_backup
from kiosk.ledger.backup import Copy, CopyFault, RestoreDone
from kiosk.ledger.upgrade import NewerLedger
from kiosk.ledger.verify import Progress

FOLDER = "backups"  # beside the ledger
DAY_S = 24 * 3600.0


@dataclass(frozen=True, slots=True)
class CopyMade:
    """What came of a copy into one folder: `copy`, or why there is none."""

    folder: Path
    copy: Copy | None
    why: str = ""


class CopiesCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    def folders(self) -> tuple[Path, ...]:
        """Where copies go: beside the ledger, and to the second folder if one is set."""
        second = self._session.settings.backup.second_folder
        first = self._session.book.path.parent / FOLDER
        return (first, Path(second).expanduser()) if second else (first,)

    def due(self, every_s: float = DAY_S) -> bool:
        """Whether the last copy is older than that, and something was written since."""
        newest = next(iter(ledger_backup.copies(self.folders()[0])), None)
        if newest is None:
            return self._session.book.last_id > 0
        return self._session.now().utc_s - newest.stat().st_mtime >= every_s

    def backup(self, target: Path | None = None, progress: Progress | None = None) -> tuple[CopyMade, ...]:
        """Copies the ledger to every folder (or to `target` alone), verifies, and drops the oldest beyond the limit.

        May run on another thread than the desk's: it has connections of its own.
        """
        keep = int(self._session.settings.backup.keep)
        return backup(self._session.book.path.parent, (target,) if target else self.folders(), keep, progress)


def backup(
    folder: Path, targets: tuple[Path, ...], keep: int | None = None, progress: Progress | None = None
) -> tuple[CopyMade, ...]:
    """Copies the ledger of a data folder, settings beside it.  keep None: nothing old is dropped."""
    made = []
    for target in targets:
        try:
            copied = ledger_backup.copy(folder, target, time.time(), progress)
            settings = folder / shop_settings.NAME
            if settings.exists():
                filing.copy(settings, target / shop_settings.NAME)
            if keep is not None:
                ledger_backup.rotate(target, keep)
            made.append(CopyMade(target, copied))
        except (CopyFault, NewerLedger, OSError) as fault:
            made.append(CopyMade(target, None, str(fault)))
    return tuple(made)


def restore(folder: Path, file: Path, progress: Progress | None = None) -> RestoreDone:
    """Puts a copy back into a data folder whose kiosk is closed.  A folder without settings gets the copy's too.

    Raises InUse, CopyFault, NewerLedger, LedgerFault, SettingsFault.
    """
    beside = file.parent / shop_settings.NAME
    own = folder / shop_settings.NAME
    kiosk = shop_settings.load(own if own.exists() else beside).kiosk.name
    done = ledger_backup.restore(folder, file, time.time(), kiosk, progress=progress)
    if beside.exists() and not own.exists():
        filing.copy(beside, own)
    return done
