"""Questions of setup sheets written by hand: what there is, and writing, changing, laying aside, bringing back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from kiosk.desk import Desk
from kiosk.desk.inbox import Inbox, Paper
from kiosk.desk.setup_sheets import OpenSheet
from kiosk.rules.fitting.setup_sheet import Need
from kiosk.rules.shop_things.making import ThingFault
from kiosk.screens.questions import Question
from kiosk.screens.questions.common import folder

__all__ = [
    "Guard", "Known", "Need", "OpenSheet", "Opened", "Paper", "add", "bring_back", "change", "free", "guard",
    "is_of_the_name", "known", "open_one", "retire", "tools",
]  # fmt: skip


class Known(NamedTuple):
    """The sheets there are, and those laid aside."""

    sheets: tuple[Paper, ...]
    gone: tuple[Paper, ...]


class Opened(NamedTuple):
    """A sheet and what a form needs.

    machines: their names.  locked: a PIN comes before a change.  why: it needs a reason.
    """

    sheet: OpenSheet | None
    machines: tuple[str, ...]
    locked: bool
    why: bool


class Guard(NamedTuple):
    """locked: a PIN comes before a change.  why: it needs a reason."""

    locked: bool
    why: bool


def known() -> Question[Known]:
    """Every sheet."""
    return lambda desk: Known(folder(desk, Inbox.SETUPS).papers, desk.setup_sheets.gone())


def open_one(path: Path | None) -> Question[Opened]:
    """A sheet; None: a new one.  Raises FileFaults, OSError."""

    def answer(desk: Desk) -> Opened:
        counter = desk.shop.setting_up
        sheet = desk.setup_sheets.open(path) if path else None
        return Opened(sheet, tuple(desk.papers.magazines()), counter.needs_supervisor, counter.has_pin)

    return answer


def guard() -> Question[Guard]:
    """What comes before a change now."""
    return lambda desk: Guard(desk.shop.setting_up.needs_supervisor, desk.shop.setting_up.has_pin)


def free(name: str) -> Question[str]:
    """The name as it will be written.  Raises ThingFault where it is taken or no file's."""
    return lambda desk: desk.setup_sheets.free(name)


def is_of_the_name(error: Exception) -> bool:
    """Whether another name would help."""
    return isinstance(error, ThingFault) and error.why.key in ("things.name_taken", "things.sheet_name")


def tools(text: str) -> Question[tuple[str, ...]]:
    """Names of what is built that answer to a text."""
    return lambda desk: desk.setup_sheets.tools(text)


def add(name: str, needs: Sequence[Need]) -> Question[Path]:
    """A new sheet.  Raises ThingFault, ActRefused, OSError."""
    return lambda desk: desk.setup_sheets.add(name, needs)


def change(sheet: OpenSheet, needs: Sequence[Need], reason: str) -> Question[None]:
    """Other lines of a sheet.  Raises ThingFault, Locked, NeedsReason, ActRefused, OSError."""
    return lambda desk: desk.setup_sheets.change(sheet, needs, reason)


def retire(path: Path, reason: str) -> Question[None]:
    """A sheet is laid aside.  Raises Locked, NeedsReason, NotThere, ActRefused, OSError."""
    return lambda desk: desk.setup_sheets.retire(path, reason)


def bring_back(path: Path, reason: str) -> Question[None]:
    """A sheet is needed again.  Raises ThingFault, Locked, NeedsReason, NotThere, ActRefused, OSError."""
    return lambda desk: desk.setup_sheets.bring_back(path, reason)
