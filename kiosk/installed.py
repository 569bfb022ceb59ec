"""Which version of the kiosk runs where one was updated: the first one that was installed, or a later one beside it.

A later version is a whole environment of its own in `updates/` of the first one's, and one small file says which of
them is meant; it is replaced in one step, so that whatever ends an update leaves the one or the other.  A version that
was never seen working is on trial: it is started once, and where it does not say that it reached its first picture and
its book, the next start goes back to the one before by itself, with the copy of the book that was made just before the
trial where the older one cannot read what the newer one made of it.  Nothing of the kiosk is imported here but
`filing`: this runs before everything else, and must run whatever the newer version is like.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path

from kiosk import filing

FOLDER, NAME = "updates", "current.json"
WHOLE = "whole"  # a file in an environment that was made to its end
HOPPED = "HOLDER_KIOSK_STARTED"  # in the environment of a program that was started from here: it starts no other
_LONGEST_S = 240.0  # of a copy or of putting one back, before a window


@dataclass(frozen=True, slots=True)
class Current:
    """What `current.json` says.  name: folder of the environment; empty: the first one.

    was: the one before.  trial: it was never seen working.  tried: it was started once.  copy: the book as it was just
    before, and data: whose.  failed: a later one that was tried and left again, for people to know.
    """

    name: str
    was: str = ""
    trial: bool = False
    tried: bool = False
    copy: str = ""
    data: str = ""
    failed: str = ""


def first() -> Path:
    """The environment that was installed first, in which the others lie."""
    here = Path(sys.prefix)
    return here.parent.parent if here.parent.name == FOLDER and (here / WHOLE).exists() else here


def current() -> Current:
    """Which one is meant; where that one is not whole the one before it, and where nothing can be read the first."""
    with suppress(OSError, ValueError, TypeError):
        told = json.loads((first() / FOLDER / NAME).read_text("utf-8"))
        said = Current(**{field.name: told[field.name] for field in fields(Current) if field.name in told})
        if _is_whole(said.name):
            return said
        if _is_whole(said.was):  # the first one may be too old to read the book
            return Current(said.was)
    return Current("")


def _is_whole(name: str) -> bool:
    return not name or (first() / FOLDER / name / WHOLE).is_file()


def mean(said: Current) -> None:
    """From the next start on this one, in one step.  Raises OSError, and then nothing changed."""
    filing.write(first() / FOLDER / NAME, json.dumps(asdict(said)))


def python_of(name: str) -> Path:
    """The interpreter of an environment."""
    home = first() / FOLDER / name if name else first()
    return home / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def reached() -> None:
    """This program, where it is on trial, has shown its first picture and read its book: it stays."""
    if on_trial():
        with suppress(OSError):  # then the next start goes back: better than to stay without having said so
            mean(replace(current(), trial=False))


def on_trial() -> bool:
    """Whether this program has still to show that it opens the book: where it cannot, the next start goes back."""
    said = current()
    return said.trial and said.tried and Path(sys.prefix) == first() / FOLDER / said.name


def updated() -> bool:
    """Whether there was ever an update: one look at the disk, at every start."""
    return (first() / FOLDER / NAME).exists()


def start(arguments: Sequence[str], data: Callable[[], Path]) -> None:
    """Starts the version that is meant in place of this program; comes back where that is this one.

    data: the data folder, asked where the book is copied before a trial.
    """
    if os.environ.pop(HOPPED, "") or not updated():
        return
    said = current()
    if said.trial and arguments[0] == "open":
        said = _go_back(said) if said.tried else _try(said, data())
    elif said.trial and not said.tried:
        said = Current(said.was)  # a command meanwhile is the older one's, which has the book
    python = python_of(said.name)
    if python == python_of("" if Path(sys.prefix) == first() else Path(sys.prefix).name) or not python.exists():
        return
    os.environ[HOPPED] = "1"
    words = [str(python), "-P", "-m", "kiosk", *arguments]
    sys.stdout.flush()
    if os.name == "nt":
        sys.exit(subprocess.run(words, check=False).returncode)
    os.execv(python, words)


def _try(said: Current, data: Path) -> Current:
    """The trial begins, once there is a copy of the book as the older version left it."""
    kept = first() / FOLDER / f"before-{said.name}"
    if (data / "ledger.db").exists():
        done = _ask(said.was, "backup", str(kept), "--data", str(data))
        copies = sorted(kept.glob("*.db"), key=lambda path: path.stat().st_mtime) if kept.is_dir() else []
        if done != 0 or not copies:
            _tell("the book could not be copied before the update, so the kiosk stays as it was")
            back = Current(said.was)
            mean(back)
            return back
        said = replace(said, copy=str(copies[-1]), data=str(data.absolute()))
    said = replace(said, tried=True)
    mean(said)
    return said


def _go_back(said: Current) -> Current:
    """The version on trial did not get as far as its first picture and its book: the one before it, and its book.

    Which version is meant is said last: whoever ends this, the next start does it again.
    """
    _tell("the update did not reach its first picture; the version before it is back")
    if said.copy and _ask(said.was, "check", "--data", said.data) == 2 and Path(said.copy).exists():
        _ask(said.was, "restore", said.copy, "--data", said.data)
    back = Current(said.was, failed=said.name)
    mean(back)
    return back


def _ask(name: str, *command: str) -> int:
    """A command of that version; its exit code."""
    words = [str(python_of(name)), "-P", "-m", "kiosk", *command]
    try:
        return subprocess.run(
            words, env=os.environ | {HOPPED: "1"}, stdout=subprocess.DEVNULL, timeout=_LONGEST_S, check=False
        ).returncode
    except (OSError, subprocess.TimeoutExpired):
        return -1


def _tell(what: str) -> None:
    print(f"holder-kiosk: {what}", file=sys.stderr, flush=True)
