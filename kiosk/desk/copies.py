"""The copies counter: backups while the kiosk runs, to the folders the shop has set, and what is there of them.

A copy counts only once it has verified; a folder that cannot be written is told, and never stops the other.
Putting a copy back is done with the kiosk closed (`restore`).
"""

from __future__ import annotations

import secrets
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from kiosk import filing
from kiosk import settings as shop_settings
from kiosk.desk import far_folder
from kiosk.desk.session import Session
from kiosk.ledger import backup as ledger_backup
from kiosk.ledger.backup import Copy, CopyFault, RestoreDone
from kiosk.ledger.upgrade import NewerLedger
from kiosk.ledger.verify import Progress
from kiosk.ledger.witness import FOLDER
from kiosk.settings import SettingsFault

DAY_S = 24 * 3600.0


@dataclass(frozen=True, slots=True)
class CopyMade:
    """What came of a copy into one folder: `copy`, or why there is none.  fault: what stood in its way."""

    folder: Path
    copy: Copy | None
    why: str = ""
    fault: Exception | None = None


class CopiesCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    def folders(self) -> tuple[Path, ...]:
        """Where copies go: beside the ledger, and to the second folder if one is set."""
        second = self._session.settings.backup.second_folder
        first = self._session.book.path.parent / FOLDER
        return (first, _at_home(Path(second))) if second else (first,)

    def due(self, every_s: float = DAY_S) -> bool:
        """Whether no copy of this ledger was made within that time.

        One that is dated ahead was dated by a clock that was wrong: it says nothing, and stops no copy.
        """
        now_utc_s = self._session.now().utc_s
        owner = self._session.book.folder_name
        ages = [now_utc_s - path.stat().st_mtime for path in ledger_backup.copies(self.folders()[0], owner)]
        return self._session.book.last_id > 0 and not any(0.0 <= age_s < every_s for age_s in ages)

    def backup(self, target: Path | None = None, progress: Progress | None = None) -> tuple[CopyMade, ...]:
        """Copies the ledger to every folder (or to `target` alone), verifies, and drops the oldest beyond the limit.

        None is dropped while lines are lost and nobody has said so yet: an older copy may be the one that has them.
        May run on another thread than the desk's: it has connections of its own.
        """
        keep = None if self._session.book.lost else int(self._session.settings.backup.keep)
        targets = (target,) if target else self.folders()
        return backup(self._session.book.path.parent, targets, keep, progress)


def backup(
    folder: Path, targets: tuple[Path, ...], keep: int | None = None, progress: Progress | None = None
) -> tuple[CopyMade, ...]:
    """Copies the ledger of a data folder, settings beside it.  keep None: nothing old is dropped.

    A folder that does not answer is not waited for, from its first byte to its last: the thread that writes there is.
    """
    made: list[CopyMade] = []
    for target in targets:
        try:
            far_folder.ask(target, Path.is_dir)
            source = next((each.copy.path for each in made if each.copy is not None), None)
            doing = partial(_backup, folder, target, keep, progress, source)
            beside = target.parent == folder  # where the book itself lies
            made.append(CopyMade(target, doing() if beside else far_folder.work(target, doing)))
        except (CopyFault, NewerLedger, SettingsFault, OSError) as fault:
            cause = fault.__cause__ if isinstance(fault.__cause__, Exception) else fault
            made.append(CopyMade(target, None, str(fault), cause))
    return tuple(made)


def _backup(folder: Path, target: Path, keep: int | None, progress: Progress | None, source: Path | None) -> Copy:
    settings = folder / shop_settings.NAME
    kiosk = shop_settings.load(settings).kiosk.name
    copied = ledger_backup.copy(folder, target, time.time(), progress, kiosk, source)
    if settings.exists():
        filing.copy(settings, settings_of(copied.path))
    if keep is not None:
        for gone in ledger_backup.rotate(target, keep, ledger_backup.owner_of(folder), copied.path):
            settings_of(gone).unlink(missing_ok=True)
    return copied


def newest_in(data: Path, target: Path) -> float | None:
    """When the newest copy of a data folder's ledger in `target` was made, epoch seconds; None: none is to be seen."""

    def look(folder: Path) -> float | None:
        found = ledger_backup.copies(folder, ledger_backup.owner_of(data))
        return found[0].stat().st_mtime if found else None

    try:
        return far_folder.ask(target, look)
    except OSError:
        return None


def takes_copies(target: Path) -> None:
    """Makes the folder, writes into it and removes that again.  Raises OSError where no copy could be kept."""
    far_folder.ask(target, _takes_copies)


def _takes_copies(target: Path) -> None:
    target.mkdir(parents=True, exist_ok=True)
    proof = target / f"try-{secrets.token_hex(4)}.txt"
    filing.write(proof, "a copy of the kiosk's records can be kept here\n")
    proof.unlink()


def _at_home(folder: Path) -> Path:
    """With `~` taken for a home; as it is where nobody has that home, and then it is not there."""
    try:
        return folder.expanduser()
    except RuntimeError:
        return folder


def settings_of(copied: Path) -> Path:
    """Where the settings lie that belong to a copy: several kiosks may copy into one folder."""
    return copied.parent / f"{copied.stem}.toml"


def restore(folder: Path, file: Path, progress: Progress | None = None) -> RestoreDone:
    """Puts a copy back into a data folder whose kiosk is closed.  A folder without settings gets the copy's too.

    Raises InUse, CopyFault, NewerLedger, LedgerFault, SettingsFault.
    """
    beside = settings_of(file)
    if not beside.exists():
        beside = file.parent / shop_settings.NAME
    own = folder / shop_settings.NAME
    kiosk = shop_settings.load(own if own.exists() else beside).kiosk.name
    done = ledger_backup.restore(folder, file, time.time(), kiosk, progress=progress)
    if beside.exists() and not own.exists():
        filing.copy(beside, own)
    return done
