"""What is wrong in a file, said so that whoever wrote the file can mend it.

A fault never hides another: readers go through the whole file and report all of them.  Line numbers count from
1 with the header, as an editor shows them.  A fault carries a message with its values, never a finished sentence: the
window says it in its own language, the command line in English.  What a library reported, in English and to engineers,
is the message's value `reported`: the command line quotes it, the window never does.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from kiosk.rules.assembly import SIZES, Family
from kiosk.rules.codes import CodeFault
from kiosk.rules.say import Say, Value, say
from kiosk.words import catalogue

Row = TypeVar("Row")


def file_say(key: str, **values: Value) -> Say:
    """The message of that name among those about files, `file_fault.<key>`."""
    return say(f"file_fault.{key}", **values)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file.  `line` 0: the whole file.  `field` empty: the whole line.  `say`: what is wrong."""

    file: str
    line: int
    field: str
    say: Say

    @property
    def why(self) -> str:
        """What is wrong, as the command line says it."""
        reported = dict(self.say.values).get("reported")
        return f"{english(self.say)}: {reported}" if reported else english(self.say)

    def __lt__(self, other: Fault) -> bool:
        """In the order of the file."""
        return (self.file, self.line, self.field, self.why) < (other.file, other.line, other.field, other.why)

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}" if self.line else self.file
        return f"{where}, {self.field}: {self.why}" if self.field else f"{where}: {self.why}"


def fault_at(file: str, line: int, field: str, key: str, **values: Value) -> Fault:
    """The fault `file_fault.<key>` at that place."""
    return Fault(file, line, field, file_say(key, **values))


def no_toml(file: str, reported: str) -> Fault:
    """A file that is no TOML, at the line that the decoder names."""
    line = re.search(r"\bline (\d+)", reported)
    return fault_at(file, int(line[1]) if line else 0, "", "no_toml", reported=reported)


def does_not_fit(file: str, error: Exception) -> Fault:
    """A value of another type than is wanted there, at the key that `msgspec` names: `Expected ... - at `$.columns`."""
    key = re.search(r"at `\$\.([^`]+)`", str(error))
    return fault_at(file, 0, key[1] if key else "", "does_not_fit", reported=str(error))


def english(message: Say) -> str:
    """As the command line says it, whatever language the window speaks."""
    return catalogue("en").say(message.key, **dict(message.values))


class FileFaults(ValueError):
    """A file that cannot be used as it is; `faults` names every place."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = tuple(faults)


class FieldFault(ValueError):
    """A value that cannot be; raised where the value is read, reported with its file and line."""

    def __init__(self, field: str, key: str, **values: Value) -> None:
        self.field = field
        self.say = file_say(key, **values)
        super().__init__(f"{field}: {english(self.say)}")

    @property
    def why(self) -> str:
        """What is wrong with it, as the command line says it."""
        return english(self.say)


def no_code(text: str, fault: CodeFault) -> FieldFault:
    """A text where a code was expected."""
    return FieldFault("code", f"no_code.{fault.fault.value}", said=repr(text))


def no_coupling(field: str, text: str) -> FieldFault:
    """A text where a coupling was expected."""
    known = ", ".join(f"{family.value}{size}" for family in Family for size in SIZES[family])
    return FieldFault(field, "no_coupling", said=repr(text), known=known)


@dataclass(frozen=True, slots=True)
class Read(Generic[Row]):
    """Rows that can be used, and everything wrong with the others."""

    good: tuple[Row, ...]
    faults: tuple[Fault, ...]

    def whole(self) -> tuple[Row, ...]:
        """All rows.  Raises FileFaults where any row had a fault: nothing is taken in by halves."""
        if self.faults:
            raise FileFaults(self.faults)
        return self.good
