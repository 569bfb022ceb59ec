"""Questions of files in and out: what an import would change, writing it and taking it back.

Everything below the second rule asks nothing of the desk and may wait for a slow stick: it belongs on a `Press`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from kiosk.desk import Desk, far_folder
from kiosk.desk.inbox import Inbox, where_to_put
from kiosk.desk.intake import ImportRefused, ImportRow, UndoneImport
from kiosk.desk.intake import read as _read
from kiosk.desk.session import GaveWay, GivenUp
from kiosk.desk.sticks import Found, StillWritten, settled
from kiosk.desk.sticks import found as _found
from kiosk.exchange.faults import Fault, FileFaults
from kiosk.rules.intake import Change, How, Plan
from kiosk.rules.lines import Entry
from kiosk.rules.places import Place
from kiosk.screens.questions import Question

__all__ = [
    "Change", "Fault", "FileFaults", "Found", "GaveWay", "GivenUp", "How", "ImportRefused", "ImportRow", "Look", "Plan",
    "StillWritten", "UndoneImport", "Where", "against", "fill", "found", "imports", "read", "take",
    "undo", "where",
]  # fmt: skip


class Where(NamedTuple):
    """The data folder, its folder for imports in words, and the places that tables may name."""

    data: Path
    inbox: str
    places: Mapping[str, Place]


class Look(NamedTuple):
    """What a file would change.  locked: a supervisor gives a PIN before it is written."""

    plan: Plan
    locked: bool


def where() -> Question[Where]:
    """Where files for this kiosk are put."""

    def answer(desk: Desk) -> Where:
        data = desk.session.book.path.parent
        return Where(data, where_to_put(data, Inbox.IMPORTS), desk.intake.places())

    return answer


def against(entries: Sequence[Entry]) -> Question[Look]:
    """What the lines of a file would change.  Writes nothing.  Raises GaveWay."""

    def answer(desk: Desk) -> Look:
        plan = desk.intake.against(entries, desk.intake.giving_way())
        return Look(plan, plan.corrects and desk.shop.setting_up.needs_supervisor)

    return answer


def take(plan: Plan, source: str, at: Callable[[int], object]) -> Question[int]:
    """Writes it: how many lines there are.  at: told how far it is.

    Raises ImportRefused, Locked, ActRefused, GaveWay.
    """
    return lambda desk: len(desk.intake.take(plan, source, desk.intake.giving_way(at)))


def imports() -> Question[tuple[ImportRow, ...]]:
    """What was imported, newest first."""
    return lambda desk: desk.intake.imports(100)


def undo(line: int, reason: str, at: Callable[[int], object]) -> Question[UndoneImport]:
    """Takes an import back.  at: as of `take`.  Raises NotThere, Locked, NeedsReason, ActRefused, GaveWay."""
    return lambda desk: desk.intake.undo(line, reason, desk.intake.giving_way(at))


# Files ----------------------------------------------------------------------------------------------------------


def found(data: Path) -> tuple[Found, ...]:
    """What lies in the kiosk's own folder and on every stick and shared folder."""
    return _found(data)


def read(path: Path, places: Mapping[str, Place]) -> tuple[Entry, ...]:
    """The lines of a file or folder; one that hangs is not waited for.  Raises FileFaults, StillWritten, OSError."""

    def whole() -> tuple[Entry, ...]:
        settled(path)
        return _read((path,), places)

    return far_folder.work(path, whole)


def fill(path: Path) -> int:
    """Makes the codes that are missing and writes them into the file: how many.  Raises FileFaults, OSError."""
    from kiosk.exchange.missing_codes import fill as fill_one

    def whole() -> int:
        tables = sorted(path.glob("*.csv")) if path.is_dir() else [path]
        return sum(fill_one(table) for table in tables)

    return far_folder.work(path, whole)
