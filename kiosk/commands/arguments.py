"""What may be said after a command's name: numbers within bounds, texts and paths that a system can carry.

Every wrong argument is one line that names it.  Nothing here knows a command; bounds stand where commands are declared.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, NoReturn

LONGEST = 4096  # characters: no system takes a longer path, and nobody types a longer text
LARGEST = 2**63 - 1  # a ledger counts its lines with this


class WrongArgument(ValueError):
    """What stands after a command's name cannot be used; the text names it."""


class Parser(argparse.ArgumentParser):
    """A parser whose complaints are one line each, and that refuses texts no file or ledger could hold."""

    def error(self, message: str) -> NoReturn:
        command = self.prog.partition(" ")[2]
        raise WrongArgument(f"{command}: {_one_line(message)}" if command else _one_line(message))

    def parse_checked(self, given: list[str]) -> argparse.Namespace:
        """The arguments.  Raises WrongArgument."""
        for text in given:
            if len(text) > LONGEST:
                self.error(f"{text[:40]}...: {len(text)} characters; {LONGEST} are the most")
            if "\0" in text:
                self.error(f"{text[:80]!a}: holds a NUL, which no name or text can")
        arguments = self.parse_args(given)
        for name, value in vars(arguments).items():
            for text in _texts(value):
                if any("\ud800" <= sign <= "\udfff" for sign in text):
                    self.error(f"{name}: {text[:80]!a}: is not UTF-8 text")
        return arguments


def _texts(value: Any) -> Iterable[str]:
    """The texts in an argument; paths are left out, since a file may be called anything."""
    if isinstance(value, str):
        return (value,)
    return [each for each in value if isinstance(each, str)] if isinstance(value, list) else ()


def _one_line(message: str) -> str:
    plain = " ".join(message.split())
    return plain if len(plain) <= 500 else f"{plain[:500]}..."


def measure(low: float, high: float) -> Callable[[str], float]:
    """A type for a number from `low` to `high`; a decimal comma is understood."""

    def read(text: str) -> float:
        try:
            value = float(text.replace(",", ".").replace("_", "?"))
        except ValueError:
            raise argparse.ArgumentTypeError(f"{text[:40]!r} is not a number") from None
        if not math.isfinite(value) or not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text[:40]} lies outside {low:g} to {high:g}")
        return value

    return read


def whole(low: int, high: int) -> Callable[[str], int]:
    """A type for a whole number from `low` to `high`."""

    def read(text: str) -> int:
        try:
            value = int(text.replace("_", "?"))
        except ValueError:
            raise argparse.ArgumentTypeError(f"{text[:40]!r} is not a whole number") from None
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text[:40]} lies outside {low} to {high}")
        return value

    return read


def figure(line: str, field: str, *, counted: bool = False) -> Callable[[str], float]:
    """A type for a figure that a kind of line keeps, within its bounds.  line: its class in `rules/lines.py`.

    The one table of bounds is loaded only when a figure is given: `--help` has no need of it.
    """

    def read(text: str) -> float:
        from kiosk.rules import bounds_of_lines, lines

        bound = bounds_of_lines.BOUNDS[getattr(lines, line)][field]
        if counted:
            return whole(int(bound.least), int(bound.most))(text)
        return measure(bound.least, bound.most)(text)

    return read


def window_size(text: str) -> tuple[int, int]:
    """`800x480`, in pixels."""
    width, found, height = text.lower().partition("x")
    try:
        size = int(width), int(height)
    except ValueError:
        size = 0, 0
    if not found or not all(200 <= side <= 16384 for side in size):
        raise argparse.ArgumentTypeError(f"{text[:40]!r} is not WIDTHxHEIGHT of a window, e.g. 800x480")
    return size


def shown(path: Path) -> str:
    """A file's name as text that every ledger and terminal takes."""
    return path.name.encode("utf-8", "backslashreplace").decode("utf-8")


def asks_badge(command: argparse.ArgumentParser) -> argparse.ArgumentParser:
    """Gives a command `--badge`."""
    command.add_argument("--badge", metavar="CODE", help="whose work it is, where the shop asks for a badge")
    return command


def asks_pin(command: argparse.ArgumentParser) -> argparse.ArgumentParser:
    """Gives a command `--badge`, `--supervisor` and `--pin-file`."""
    asks_badge(command)
    command.add_argument("--supervisor", metavar="NAME", help="who answers for a correction; the PIN is asked for")
    command.add_argument("--pin-file", metavar="FILE|-", help="read the PIN from here; -: from standard input")
    return command
