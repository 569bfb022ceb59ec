"""What every command shares: exit codes, the data folder, JSON and errors on the right stream."""

from __future__ import annotations

import argparse
import json
import sys
import traceback
from collections.abc import Callable
from dataclasses import asdict, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import platformdirs

from kiosk import words
from kiosk.commands import DONE as DONE
from kiosk.commands import WANTING as WANTING
from kiosk.commands import WRONG as WRONG
from kiosk.rules.cards import HolderCard
from kiosk.rules.say import Say

if TYPE_CHECKING:
    from kiosk.desk import Desk


def default_folder() -> Path:
    """Where this machine keeps its ledger when --data is not given."""
    return Path(platformdirs.user_data_dir("holder-kiosk", appauthor=False))


def data_folder(arguments: argparse.Namespace) -> Path:
    return arguments.data or default_folder()


def desk_read(arguments: argparse.Namespace) -> Desk:
    """The desk of a command that only reads, and on stderr what makes the book's word doubtful.

    Raises what `Desk.open` does.
    """
    return _desk(arguments, read_only=True)


def desk_to_write(arguments: argparse.Namespace) -> Desk:
    """The desk of a command that writes, and on stderr what `desk_read` says too; its first line keeps that.

    Raises what `Desk.open` does.
    """
    return _desk(arguments, read_only=False)


def _desk(arguments: argparse.Namespace, *, read_only: bool) -> Desk:
    from kiosk.desk import Desk

    desk = Desk.open(data_folder(arguments), read_only=read_only)
    if desk.past_lost:
        complain(
            "lines of this book are lost, so nothing it calls cool is certain; "
            "`check` says more, `restore` puts a copy back"
        )
    return desk


def print_json(value: Any) -> None:
    """One object a line."""
    print(json.dumps(value, ensure_ascii=False, default=_plain), flush=True)


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, frozenset | set):
        return sorted(value, key=str)
    return getattr(value, "value", None) or str(value)


def complain(what: object) -> int:
    """Says what is wrong on stderr, and nothing a terminal would obey; the value is the exit code."""
    said = in_words(what)
    safe = "".join(sign if sign.isprintable() or sign == "\n" else ascii(sign)[1:-1] for sign in said)
    print(f"holder-kiosk: {safe}", file=sys.stderr)
    return WRONG


def in_words(what: object) -> str:
    """An error as text; one of the system names its file first."""
    said = str(what)
    if isinstance(what, OSError) and what.filename is not None and said.startswith("[Errno"):
        return f"{what.filename or '.'}: {what.strerror}"
    return said


def refused(fault: Exception) -> int:
    """Says why something is not done now and what to do next; the value is the exit code."""
    why, remedy = getattr(fault, "why", None), getattr(fault, "remedy", None)
    said = f"{words.say(why)}. {words.say(remedy)}" if isinstance(why, Say) and isinstance(remedy, Say) else fault
    complain(said)
    return WANTING


def unforeseen(fault: Exception) -> int:
    """One line about a mistake in the program itself; `python -X dev` shows the way to it."""
    if sys.flags.dev_mode:
        traceback.print_exception(fault)
    at = traceback.extract_tb(fault.__traceback__)[-1]
    what = " ".join(str(fault).split())[:200]
    return complain(f"a mistake in the program ({type(fault).__name__}: {what}; {Path(at.filename).name}:{at.lineno})")


def counting(what: str) -> Callable[[int, int], None]:
    """Progress on a terminal's stderr, silent elsewhere."""

    def tell(done: int, total: int) -> None:
        if sys.stderr.isatty():
            print(f"\r{done} of {total} {what}", end="" if done < total else "\n", file=sys.stderr, flush=True)

    return tell


def place_of(card: HolderCard | None) -> str | None:
    return card.at.name if card and card.at else None


def hot_line(card: HolderCard) -> str:
    """A hot holder as one line."""
    hold = card.hold
    assert hold is not None  # asked for hot ones only
    left = words.clock(hold.remaining_s) if hold.remaining_s is not None else "unknown"
    ends = "a reading ends it, likely in" if hold.needs_reading else "safe in"
    where = place_of(card) or "nowhere known"
    return f"{card.name} ({card.code})  {where}  about {hold.hottest_c:.0f} °C  {ends} {left}"
