"""Questions about the kiosk itself: how its parts are, and whether copies of the book still come."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kiosk.rules.wellbeing import Finding, Mark, Part, of_camera
from kiosk.screens.questions import Question
from kiosk.screens.questions.common import copies_go

if TYPE_CHECKING:  # the first screen is there before the desk is loaded
    from pathlib import Path

    from kiosk.desk import Desk
    from kiosk.desk.copies import CopyMade
    from kiosk.desk.health import CopyFolders

__all__ = [
    "CopyFolders", "Finding", "Mark", "Part", "copies", "copies_go", "copy_folders", "copy_now", "findings", "not_made",
    "of_camera", "printer", "stopped",
]  # fmt: skip


def findings() -> Question[tuple[Finding, ...]]:
    """Every part that the desk knows of."""

    def answer(desk: Desk) -> tuple[Finding, ...]:
        from kiosk.desk import health

        return health.findings(desk)

    return answer


def printer(queue: str) -> Finding:
    """The label printer: asked beside the desk, because a print system takes its time."""
    from kiosk.desk import health

    return health.printer(queue)


def copy_now(folder: Path, targets: tuple[Path, ...], keep: int) -> tuple[int, str]:
    """Copies the book while it runs, and reads each copy line by line.

    How many lines they have, and why there is none somewhere; empty: everywhere.  Needs no desk.
    """
    made = copies_made(folder, targets, keep)
    lines = max((each.copy.lines for each in made if each.copy is not None), default=0)
    return lines, " ".join(not_made(each) for each in made if each.copy is None)


def copies_made(folder: Path, targets: tuple[Path, ...], keep: int) -> tuple[CopyMade, ...]:
    """Copies the book into each folder in a process of its own; needs no desk, and waits for what does not answer."""
    from kiosk.desk import beside, copies

    try:
        return beside.run(copies.backup, folder, targets, keep)
    except ChildProcessError as fault:
        return tuple(copies.CopyMade(target, None, "its process ended early", fault) for target in targets)


def not_made(made: CopyMade) -> str:
    """Why there is no copy in a folder, in words."""
    from kiosk.telling import fault_words

    return f"{made.folder}: {fault_words(made.fault) if made.fault else made.why}"


def copy_folders() -> Question[CopyFolders]:
    """Where copies are folders."""

    def answer(desk: Desk) -> CopyFolders:
        from kiosk.desk import health

        return health.copy_folders(desk)

    return answer


def copies(folders: CopyFolders) -> tuple[Finding, ...]:
    """The copies: looked for beside the desk, because a folder in the network may not answer."""
    from kiosk.desk import health

    return health.copies(folders)


def stopped(folders: CopyFolders) -> Finding | None:
    """Copies of the book that no longer come; None: they do.  As `copies`."""
    from kiosk.desk import health

    return health.stopped(folders)
