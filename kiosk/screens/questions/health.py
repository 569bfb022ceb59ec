"""Questions about the kiosk itself: how its parts are, and whether copies of the book still come."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kiosk import words
from kiosk.rules.reasons import quoted
from kiosk.rules.wellbeing import Finding, Mark, Part, of_camera
from kiosk.screens.questions import Question
from kiosk.screens.questions.common import copies_go

if TYPE_CHECKING:  # the first screen is there before the desk is loaded
    from pathlib import Path

    from kiosk.desk import Desk

__all__ = ["Finding", "Mark", "Part", "copies_go", "copy_now", "findings", "of_camera", "printer", "stopped"]


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
    from kiosk.desk import copies

    made = copies.backup(folder, targets, keep)
    lines = max((each.copy.lines for each in made if each.copy is not None), default=0)
    return lines, " ".join(f"{each.folder}: {words.say(quoted(each.why))}" for each in made if each.copy is None)


def stopped(desk: Desk) -> Finding | None:
    """Copies of the book that no longer come; None: they do."""
    from kiosk.desk import health

    return health.stopped(desk)
