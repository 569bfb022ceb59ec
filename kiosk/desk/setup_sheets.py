"""The setup sheet counter: sheets written, changed, copied, taken away and brought back by hand.

A sheet is a file beside the book, whoever wrote it: an office's program and a hand at the kiosk share one folder.
Nothing is ever deleted: what is taken away lies in a folder inside.  A new sheet is anybody's work; a change takes a
supervisor once the shop has one with a PIN, and says in the kiosk's log who it was and why.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from kiosk import filing
from kiosk.desk.inbox import TABLES, Inbox, Paper, folder, newest_first, papers
from kiosk.desk.session import NotThere, Session
from kiosk.exchange.faults import Read
from kiosk.exchange.sheet import read_sheet, write_sheet
from kiosk.exchange.tables_csv import decoded
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules.finding_words import folded
from kiosk.rules.fitting.setup_sheet import Need
from kiosk.rules.shop_things.making import named, refused

GONE = "gone"  # folder within the sheets'
_NOT_IN_A_NAME = frozenset('/\\:*?"<>|')  # of a file, on any system the folder may be shared with
MOST_NAMES = 200

log = logging.getLogger("kiosk.desk.setup_sheets")


@dataclass(frozen=True, slots=True)
class OpenSheet:
    """A sheet as it was read.  `seen`: its bytes, so that nothing is written over what somebody changed meanwhile."""

    path: Path
    read: Read[Need]
    seen: bytes


class SetupSheetCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._data = session.book.path.parent

    @property
    def folder(self) -> Path:
        return folder(self._data, Inbox.SETUPS)

    def gone(self) -> tuple[Paper, ...]:
        """Sheets that were taken away, the newest first."""
        found = (self.folder / GONE).glob("*") if (self.folder / GONE).is_dir() else ()
        gone = [Paper(path, path.stat().st_mtime) for path in found if path.suffix.lower() in TABLES]
        return tuple(sorted(gone, key=newest_first))

    def open(self, path: Path) -> OpenSheet:
        """A sheet.  Raises FileFaults where it is no table at all, OSError."""
        seen = filing.take(path)
        return OpenSheet(path, read_sheet(decoded(seen, path.name), path.name), seen)

    def free(self, name: str) -> str:
        """A name as a new sheet will have it.  Raises ThingFault where it is taken or no file's."""
        plain = named(name)
        if plain.startswith(".") or plain.endswith(".") or _NOT_IN_A_NAME & set(plain):
            raise refused("sheet_name")
        if plain.casefold() in {paper.name.casefold() for paper in papers(self._data, Inbox.SETUPS)}:
            raise refused("name_taken", name=plain)
        return plain

    def add(self, name: str, needs: Sequence[Need]) -> Path:
        """A new sheet.  Raises ThingFault where the name is taken or no file's, ActRefused, OSError."""
        self._session.signed_in()
        return self._write(self.folder / f"{self.free(name)}.csv", needs)

    def change(self, sheet: OpenSheet, needs: Sequence[Need], reason: str) -> None:
        """Other lines of a sheet.

        Raises ThingFault where it has lines that cannot be read, which would be lost, or was changed meanwhile;
        Locked, NeedsReason, ActRefused, OSError.
        """
        self._answers_for(sheet.path.stem, "changed", reason)
        if sheet.read.faults:
            raise refused("sheet_unreadable", name=sheet.path.stem)
        if not sheet.path.exists() or filing.take(sheet.path) != sheet.seen:
            raise refused("sheet_changed", name=sheet.path.stem)
        self._write(sheet.path, needs)

    def retire(self, path: Path, reason: str) -> None:
        """A sheet nobody needs any more is laid aside.  Raises NotThere, Locked, NeedsReason, ActRefused, OSError."""
        self._answers_for(path.stem, "laid aside", reason)
        self._move(path, self.folder / GONE)

    def bring_back(self, path: Path, reason: str) -> None:
        """A sheet that was laid aside lies with the others again.

        Raises NotThere, ThingFault where one has its name by now, Locked, NeedsReason, ActRefused, OSError.
        """
        self._answers_for(path.stem, "brought back", reason)
        self.free(path.stem)
        self._move(path, self.folder)

    def tools(self, text: str) -> tuple[str, ...]:
        """Names of what is built, each once, that have every word of a text."""
        wanted = folded(text).split()
        query = T.Assembly.select(T.Assembly.name).where(T.Assembly.torn_line.is_null()).distinct()
        names = sorted({str(row["name"]) for row in rows(query)}, key=str.casefold)
        return tuple(name for name in names if all(word in folded(name) for word in wanted))[:MOST_NAMES]

    # ------------------------------------------------------------------------------------------------------------

    def _answers_for(self, name: str, what: str, reason: str) -> None:
        """Raises Locked, NeedsReason, ActRefused."""
        by = self._session.supervised(reason)
        if by is None:
            self._session.signed_in()
            by = self._session.operator.key if self._session.operator else "nobody who signed in"
        log.info("The setup sheet %s is %s by %s: %s", name, what, by, reason)

    @staticmethod
    def _write(path: Path, needs: Sequence[Need]) -> Path:
        if not needs:
            raise refused("sheet_empty")
        path.parent.mkdir(parents=True, exist_ok=True)
        return filing.write(path, write_sheet(needs))

    @staticmethod
    def _move(path: Path, goal: Path) -> None:
        """One rename: there is never none of it, nor two; what has the name there already keeps it."""
        if not path.is_file():
            raise NotThere("setup sheet", path.stem)
        goal.mkdir(parents=True, exist_ok=True)
        free = goal / path.name
        count = 1
        while free.exists():
            count += 1
            free = goal / f"{path.stem} {count}{path.suffix}"
        path.rename(free)
