"""What is wrong in a file, said so that whoever wrote the file can mend it.

A fault never hides another: readers go through the whole file and report all of them.  Line numbers count from
1 with the header, as an editor shows them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing wrong in a file.  `line` 0: the whole file.  `field` empty: the whole line."""

    file: str
    line: int
    field: str
    why: str

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}" if self.line else self.file
        return f"{where}, {self.field}: {self.why}" if self.field else f"{where}: {self.why}"


class FileFaults(ValueError):
    """A file that cannot be used as it is; `faults` names every place."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = tuple(faults)


class FieldFault(ValueError):
    """A value that cannot be; raised where the value is read, reported with its file and line."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(f"{field}: {why}")
        self.field = field
        self.why = why


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
