"""The inbox: files that people or other programs put into the data folder for the kiosk to read.

It lists and reads them and never changes or deletes one; what a file means is the reader's business.  Each kind
has a folder of its own beside the book, so that nobody has to type a path with gloves on.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from kiosk import filing

TABLES = (".csv", ".txt")
SAMPLES = (*TABLES, ".toml")


class Inbox(Enum):
    """What is put in; the value is the folder's name."""

    SETUPS = "setups"
    CONTROLS = "controls"
    PRESETTER = "presetter"
    IMPORTS = "imports"
    UPDATES = "updates"
    TEMPLATES = "templates"


@dataclass(frozen=True, slots=True)
class Paper:
    """A file that waits.  `changed_utc_s`: when it was last written, epoch seconds."""

    path: Path
    changed_utc_s: float

    @property
    def name(self) -> str:
        return self.path.stem


def folder(data: Path, inbox: Inbox) -> Path:
    """Where files of this kind are put."""
    return data / inbox.value


def where_to_put(data: Path, inbox: Inbox) -> str:
    """The folder as a screen has room for it: its name and the data folder's."""
    return f"…/{data.resolve().name}/{inbox.value}"


def papers(data: Path, inbox: Inbox, kinds: tuple[str, ...] = TABLES) -> tuple[Paper, ...]:
    """What is there, the newest first; none where nobody made the folder yet."""
    try:
        found = [path for path in folder(data, inbox).iterdir() if path.suffix.lower() in kinds and path.is_file()]
    except FileNotFoundError:
        return ()
    return tuple(sorted((Paper(path, path.stat().st_mtime) for path in found), key=newest_first))


def newest_first(paper: Paper) -> tuple[float, str]:
    return -paper.changed_utc_s, paper.name.casefold()


def fill(data: Path, samples: Path) -> None:
    """Puts a demo shop's files where people would put theirs; what is there already stays as it is."""
    for inbox in Inbox:
        for sample in sorted((samples / inbox.value).glob("*")):
            goal = folder(data, inbox) / sample.name
            if sample.suffix.lower() in SAMPLES and not goal.exists():
                goal.parent.mkdir(parents=True, exist_ok=True)
                filing.copy(sample, goal)
