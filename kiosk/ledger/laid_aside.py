"""A ledger that is laid aside because its kiosk joins anew, and what only it knew to be hot.

Its shared lines every kiosk has.  What it wrote and nobody took are its waiting lines: a holder they speak of may have
been heated there, and no other kiosk will ever hear of it.  So the kiosk that goes on in that folder tells the shop,
once it knows all that the shop knows; until then the file `laid-aside.json` says that it owes this.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import msgspec

from kiosk import filing
from kiosk.ledger import anchor
from kiosk.ledger.book import NAME
from kiosk.ledger.lineform import entry_of
from kiosk.ledger.restore import ASIDE, in_one_file
from kiosk.ledger.shared_form import WAITING
from kiosk.ledger.trouble import fault_of
from kiosk.rules.lines import Heated, KioskRests, KioskStands, KioskStarted, Restored, SettingChanged

OWED = "laid-aside.json"
OF_ITSELF = (Restored.kind, KioskStarted.kind, KioskStands.kind, KioskRests.kind, SettingChanged.kind)


@dataclass(frozen=True, slots=True)
class OnlyHere:
    """Holders that lines nobody took speak of.  hot: heated by one of them; unsure: nobody knows how warm.

    whole: the ledgers could be read; else anything may have been heated.
    """

    hot: frozenset[str]
    unsure: frozenset[str]
    whole: bool = True


def may_lay_aside(folder: Path) -> bool:
    """Whether the ledger is whole in its one file: else what was heated last stays in the log beside it.

    Raises LedgerFault where another program reads it, or the disk is full.
    """
    try:
        return in_one_file(folder / NAME)
    except sqlite3.OperationalError as error:
        raise fault_of(folder / NAME, error) from error


def lay_aside(folder: Path, kiosk: str, *, owes: bool = True) -> Path:
    """The ledger of a closed kiosk goes beside the others that were replaced; where it lies.  Raises OSError.

    owes: the kiosk goes on among others, and somebody worked with this one.
    """
    whole = may_lay_aside(folder)
    aside = folder / ASIDE
    aside.mkdir(exist_ok=True)
    stem = "parted" if owes else "unused"
    goal = aside / f"{stem}-{kiosk}.db"
    again = 1
    while goal.exists():
        again += 1
        goal = aside / f"{stem}-{kiosk}-{again}.db"
    if owes:
        filing.write(folder / OWED, msgspec.json.encode([*_owed(folder), goal.name]), 0o600)
    (folder / anchor.NAME).unlink(missing_ok=True)  # first: it would miss the lines in the ledger that comes next
    (folder / NAME).rename(goal)
    for ending in () if whole else ("-wal", "-shm"):
        if (beside := folder / f"{NAME}{ending}").exists():
            beside.rename(goal.with_name(f"{goal.name}{ending}"))
    return goal


def only_here(folder: Path) -> OnlyHere | None:
    """What the laid aside ledgers alone know; None: nothing is owed.

    Asked are those that were replaced by a copy before they were laid aside, too.
    """
    if not (folder / OWED).exists():
        return None
    try:
        names = _owed(folder)
    except (OSError, msgspec.MsgspecError):
        return OnlyHere(frozenset(), frozenset(), whole=False)
    files = {folder / ASIDE / name for name in names} | set((folder / ASIDE).glob("ledger-*.db"))
    found = [_waiting(path) for path in sorted(files)]
    hot = frozenset[str]().union(*(each.hot for each in found))
    unsure = frozenset[str]().union(*(each.unsure for each in found))
    return OnlyHere(hot, unsure - hot, all(each.whole for each in found))


def told(folder: Path) -> None:
    """The shop has it.  Raises OSError."""
    (folder / OWED).unlink(missing_ok=True)


def _owed(folder: Path) -> list[str]:
    path = folder / OWED
    return msgspec.json.decode(filing.take(path, 100_000), type=list[str]) if path.exists() else []


def _waiting(path: Path) -> OnlyHere:
    hot, spoken_of = set[str](), set[str]()
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as ledger:
            if not ledger.execute("SELECT 1 FROM sqlite_master WHERE name = 'chained'").fetchone():
                return OnlyHere(frozenset(), frozenset())  # from before this kiosk had others
            asked = 'SELECT "id", "kind", "payload" FROM "line" WHERE "id" >= ?'
            for line, kind, payload in ledger.execute(asked, (WAITING,)).fetchall():
                if kind == Heated.kind:
                    hot |= {str(getattr(entry_of(kind, payload), "holder", ""))}
                elif kind == Restored.kind:
                    told = entry_of(kind, payload)
                    hot |= set(getattr(told, "holders", ()))
                    spoken_of |= set(getattr(told, "unsure", ()))
                if kind not in OF_ITSELF:
                    said = 'SELECT "subject" FROM "mention" WHERE "line_id" = ?'
                    spoken_of |= {subject for (subject,) in ledger.execute(said, (line,))}
            holders = {key for (key,) in ledger.execute('SELECT "key" FROM "holder"')}
    except (sqlite3.Error, msgspec.MsgspecError, KeyError, TypeError):
        return OnlyHere(frozenset(), frozenset(), whole=False)
    return OnlyHere(frozenset(hot), frozenset(spoken_of & holders - hot))
