"""Questions of files that go out: the shop, the tools as a table or as assets, a control's file by a template.

Everything below the second rule asks nothing of the desk and may wait for a slow stick: it belongs on a `Press`.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from kiosk import filing, where
from kiosk.desk import Desk
from kiosk.desk.inbox import Inbox, Paper, papers
from kiosk.desk.sticks import drives
from kiosk.screens.questions import Question

__all__ = ["EXPORTS", "Made", "Offer", "Paper", "goals", "keep", "offer", "offsets", "shop", "table"]

EXPORTS = "exports"
FOLDER = "holder-kiosk"  # on a stick
_IN_NO_NAME = str.maketrans(dict.fromkeys('/\\:*?"<>|', "-"))  # of a file, on any stick


class Offer(NamedTuple):
    """What can go out: the data folder, machines by name, and templates: the shop's, else those that came along."""

    data: Path
    machines: tuple[str, ...]
    templates: tuple[Paper, ...]


class Made(NamedTuple):
    """A file that is to be written, by its name."""

    name: str
    content: bytes


def offer() -> Question[Offer]:
    """What there is."""

    def answer(desk: Desk) -> Offer:
        data = desk.session.book.path.parent
        own = papers(data, Inbox.TEMPLATES) or papers(where.demo_tags(), Inbox.TEMPLATES)
        return Offer(data, tuple(desk.papers.magazines()), own)

    return answer


def shop(goal: Path) -> Question[Path]:
    """The whole shop as files that an import takes in again, without what happened in it.  Raises OSError."""

    def answer(desk: Desk) -> Path:
        desk.intake.export(goal, lines=False)
        return goal

    return answer


def table(assets: bool) -> Question[Made]:
    """Every holder with what is in it: as MTConnect's CuttingTool assets, else as a table with ISO 13399 columns."""

    def answer(desk: Desk) -> Made:
        if assets:
            return Made("tools.xml", desk.papers.as_mtconnect())
        return Made("tools.csv", desk.papers.as_csv().encode("utf-8"))

    return answer


def offsets(machine: str, template: Path) -> Question[Made]:
    """What a machine's control is told, by a template.  Raises FileFaults, CardFault, OSError."""

    def answer(desk: Desk) -> Made:
        content = desk.papers.offsets(machine, filing.take_text(template), template.name)
        return Made(f"{machine} {template.stem}.txt".translate(_IN_NO_NAME), content)

    return answer


# Files ----------------------------------------------------------------------------------------------------------


def goals(data: Path) -> tuple[Path, ...]:
    """Where files can be put: on each stick or shared folder, and in the kiosk's own folder."""
    return (*(drive / FOLDER for drive in drives()), data / EXPORTS)


def keep(goal: Path, made: Made) -> Path:
    """Writes a file, whole or not at all: where it lies.  Raises OSError."""
    goal.mkdir(parents=True, exist_ok=True)
    return filing.write(goal / made.name, made.content)
