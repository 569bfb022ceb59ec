"""How far the first steps of a new kiosk have come: one word in a file beside the record, so that they can go on.

Nothing depends on it but which question is asked next; a file that is lost or spoilt begins them anew.
"""

from __future__ import annotations

from pathlib import Path

from kiosk import filing

NAME = "first-steps"
FIRST = "language"

def step(data: Path) -> str:
    """The step that is next, as it was written down; the first where nothing was."""
    try:
        return filing.take_text(data / NAME).strip()[:20] or FIRST
    except (OSError, filing.FileUnusable):
        return FIRST


def reached(data: Path, step: str) -> None:
    """This step is next.  Raises OSError."""
    filing.write(data / NAME, step)
