"""How far the first steps of a new kiosk have come, in a file beside the record, so that they can go on.

Its first line is the step that is next; below it stands what was answered and is not in the book yet.  Nothing else
depends on it: a file that is lost or spoilt begins them anew.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from kiosk import filing

NAME = "first-steps"
FIRST = "language"
_STANDS, _SUPERVISOR = "stands: ", "supervisor: "
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Steps:
    """`step`: the one that is next.  `stands`: kinds of things that stand beside the kiosk and are asked for later.

    `supervisor`: the name of whoever is about to choose a PIN, and is nobody before that.
    """

    step: str = FIRST
    stands: tuple[str, ...] = ()
    supervisor: str = ""


def read(data: Path) -> Steps:
    """What was written down; the first step where nothing was."""
    try:
        step, *answers = filing.take_text(data / NAME).splitlines() or [""]
    except (OSError, filing.FileUnusable):
        return Steps()
    found = Steps(step.strip()[:20] or FIRST)
    for line in answers:
        if line.startswith(_STANDS):
            found = replace(found, stands=tuple(line[:_LONGEST].removeprefix(_STANDS).split()))
        elif line.startswith(_SUPERVISOR):
            found = replace(found, supervisor=line[:_LONGEST].removeprefix(_SUPERVISOR))
    return found


def reached(data: Path, step: str) -> None:
    """This step is next.  Raises OSError."""
    _write(data, replace(read(data), step=step))


def stands(data: Path, kind: str) -> None:
    """A thing of this kind stands beside the kiosk.  Raises OSError."""
    steps = read(data)
    if kind not in steps.stands:
        _write(data, replace(steps, stands=(*steps.stands, kind)))


def supervisor(data: Path, name: str) -> None:
    """Whoever is called so is about to choose a PIN.  Raises OSError."""
    _write(data, replace(read(data), supervisor=" ".join(name.split())))


def _write(data: Path, steps: Steps) -> None:
    answers = [_STANDS + " ".join(steps.stands)] if steps.stands else []
    if steps.supervisor:
        answers.append(_SUPERVISOR + steps.supervisor)
    filing.write(data / NAME, "\n".join([steps.step, *answers, ""]))
