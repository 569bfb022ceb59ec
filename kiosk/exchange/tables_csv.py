"""Tables as text: read whatever a shop's programs write, write what every program reads.

It never guesses a value: what cannot be read is a fault with file, line and field.  In: UTF-8 or UTF-16, with or
without a byte order mark, `,` `;` or tab, decimal point or comma.  Out: cells that a spreadsheet would run as a
formula get an apostrophe in front, which reading takes off again.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from kiosk.exchange.faults import Fault, FieldFault, FileFaults, fault_at

DELIMITERS = ",;\t"
FORMULA_STARTS = frozenset("=+-@\t\r＝＋－＠")
YES = frozenset({"yes", "y", "true", "1", "ja", "x"})
NO = frozenset({"no", "n", "false", "0", "nein", ""})
MOST = 1e7  # no length, speed or mass of a shop is larger
MOST_COLUMNS = 256  # the widest table of ours has 58
MOST_LINES = 500_000
LONGEST_CELL = 20_000  # characters: a ledger's line in a spreadsheet is the longest there is
LONGEST_NAME = 200  # of a column
LONGEST_NUMBER = 40

Cell = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a table is written."""

    delimiter: str = ","
    decimal: Literal[".", ","] = "."
    byte_order_mark: bool = False  # some spreadsheets take a file without it for an 8-bit one

    def __post_init__(self) -> None:
        if self.delimiter not in DELIMITERS or len(self.delimiter) != 1:
            raise ValueError(f"delimiter must be a comma, a semicolon or a tab, not {self.delimiter!r}")


PLAIN = Dialect()


@dataclass(frozen=True, slots=True)
class Record:
    """One row by column name, with the line it begins on.  Every reading raises FieldFault."""

    line: int
    values: Mapping[str, str]

    def maybe(self, name: str) -> str | None:
        """Text, or None where the cell is empty or the column is not there."""
        return self.values.get(name, "").strip() or None

    def text(self, name: str) -> str:
        value = self.maybe(name)
        if value is None:
            raise FieldFault(name, "empty")
        return value

    def maybe_number(self, name: str, *, signed: bool = False) -> float | None:
        value = self.maybe(name)
        return None if value is None else number(value, name, signed=signed)

    def number(self, name: str) -> float:
        return number(self.text(name), name)

    def maybe_whole(self, name: str) -> int | None:
        value = self.maybe_number(name)
        if value is not None and value != int(value):
            raise FieldFault(name, "not_whole", said=self.text(name))
        return None if value is None else int(value)

    def flag(self, name: str) -> bool:
        value = (self.maybe(name) or "").lower()
        if value in YES:
            return True
        if value in NO:
            return False
        raise FieldFault(name, "yes_or_no", said=repr(value))


@dataclass(frozen=True, slots=True)
class Table:
    """A table as read.  `faults`: rows that could not be split into their columns."""

    file: str
    columns: tuple[str, ...]
    records: tuple[Record, ...]
    faults: tuple[Fault, ...]


_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_GROUPED = re.compile(r"[+-]?\d{1,3}((?P<group>[., '])\d{3})((?P=group)\d{3})*(?!(?P=group))[.,]\d+")


def number(text: str, field: str, *, signed: bool = False) -> float:
    """A number with decimal point or comma.  Raises FieldFault for anything else, and for what cannot be.

    A lone comma is a decimal comma: 1,234 is a little more than one.  Thousands marks are only understood where
    a decimal sign of the other kind follows: 1.234,5.
    """
    plain = text.strip().replace("\u00a0", " ").replace("\u2212", "-")
    if len(plain) > LONGEST_NUMBER:
        start, signs = plain[:LONGEST_NUMBER], len(plain)
        raise FieldFault(field, "number_too_long", start=f"{start}...", signs=signs, most=LONGEST_NUMBER)
    if grouped := _GROUPED.fullmatch(plain):
        plain = plain.replace(grouped["group"], "")
    if not _NUMBER.fullmatch(plain):
        raise FieldFault(field, "not_a_number", said=repr(text.strip()))
    value = float(plain.replace(",", "."))
    if not abs(value) < MOST or (value < 0 and not signed):
        raise FieldFault(field, "impossible", said=text.strip())
    return value


def neutral(text: str) -> str:
    """A text no spreadsheet takes for a formula.  `original` gives it back unchanged."""
    lead = text.lstrip(" ")[:1]
    quoted = lead == "'" and text.lstrip(" ")[1:].lstrip(" ")[:1] in FORMULA_STARTS | {"'"}
    return f"'{text}" if quoted or (lead and lead in FORMULA_STARTS) else text


def original(text: str) -> str:
    """Takes the apostrophe off that `neutral` put on."""
    if text.startswith("'") and (text[1:].lstrip(" ")[:1] or "x") in FORMULA_STARTS | {"'"}:
        return text[1:]
    return text


def decoded(data: bytes, file: str, *, eight_bit: bool = False) -> str:
    """The text of a file.  eight_bit: take what is not UTF-8 for Windows-1252, as older controls write.

    Raises FileFaults.
    """
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        if wide or not eight_bit:
            line = data.count(b"\n", 0, error.start) + 1
            raise FileFaults([fault_at(file, line, "", "not_utf_8")]) from error
        text = data.decode("cp1252", errors="replace")
    if (at := text.find("\0")) >= 0:
        line = text.count("\n", 0, at) + 1
        raise FileFaults([fault_at(file, line, "", "no_text")])
    return text


def delimiter_of(text: str) -> str:
    """The mark that separates the columns: what the first line has most of outside quotes."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    outside = re.sub(r'"[^"]*"', "", first)
    return max(DELIMITERS, key=lambda mark: (outside.count(mark), -DELIMITERS.index(mark)))


def read_table(text: str, file: str, *, delimiter: str | None = None, skip_lines: int = 0) -> Table:
    """Splits a table with a header.  Rows that do not have the header's width become faults.

    A first line `sep=;` is heeded.  Raises FileFaults where there is no usable header, or more than MOST_COLUMNS,
    MOST_LINES: then nothing is split.
    """
    if (count := text.count("\n")) > MOST_LINES:
        raise FileFaults([fault_at(file, 0, "", "too_many_lines", lines=count, most=MOST_LINES)])
    lines = text.splitlines(keepends=True)
    if not delimiter and lines and (said := re.fullmatch(r"sep=(.)\s*", lines[0])):
        delimiter, skip_lines = said[1], max(skip_lines, 1)
    body = "".join(lines[skip_lines:])
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=delimiter or delimiter_of(body), strict=True)
    header: tuple[str, ...] = ()
    records: list[Record] = []
    faults: list[Fault] = []
    while True:
        line = reader.line_num + 1 + skip_lines
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            faults.append(fault_at(file, line, "", "not_split", reported=str(error)))
            continue
        cells = [original(cell.strip()) for cell in cells]
        if not any(cells):
            continue
        if not header:
            header = _header(cells, file, line)
            continue
        if (at := next((at for at, cell in enumerate(cells) if len(cell) > LONGEST_CELL), -1)) >= 0:
            field = header[at] if at < len(header) else f"column {at + 1}"
            characters = len(cells[at])
            faults.append(fault_at(file, line, field, "too_many_characters", characters=characters, most=LONGEST_CELL))
            continue
        while len(cells) > len(header) and not cells[-1]:
            cells.pop()  # a delimiter at the end of the line
        if len(cells) != len(header):
            faults.append(fault_at(file, line, "", "other_width", columns=len(cells), header=len(header)))
        else:
            records.append(Record(line, dict(zip(header, cells, strict=True))))
    if not header:
        raise FileFaults([fault_at(file, 0, "", "no_header")])
    return Table(file, header, tuple(records), tuple(faults))


def _header(cells: Sequence[str], file: str, line: int) -> tuple[str, ...]:
    while cells and not cells[-1]:
        cells = cells[:-1]  # a delimiter at the end of each line
    if len(cells) > MOST_COLUMNS:
        raise FileFaults([fault_at(file, line, "", "too_many_columns", columns=len(cells), most=MOST_COLUMNS)])
    if (longest := max(map(len, cells))) > LONGEST_NAME:
        raise FileFaults([fault_at(file, line, "", "column_name_too_long", characters=longest, most=LONGEST_NAME)])
    twice = [name for name, count in Counter(cells).items() if name and count > 1]
    faults = [fault_at(file, line, name, "there_twice") for name in twice]
    if "" in cells:
        faults.append(fault_at(file, line, f"column {cells.index('') + 1}", "no_name"))
    if faults:
        raise FileFaults(faults)
    return tuple(cells)


def cell_text(value: Cell, dialect: Dialect) -> str:
    """A cell as it is written: yes and no, numbers to the nanometre without an exponent, safe texts."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        plain = f"{value:.6f}".rstrip("0").rstrip(".")
        return ("0" if plain == "-0" else plain).replace(".", dialect.decimal)
    return neutral(value)


def write_table(columns: Sequence[str], rows: Iterable[Sequence[Cell]], dialect: Dialect = PLAIN) -> str:
    """A table with a header.  Rows must have the header's width."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=dialect.delimiter, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        if len(row) != len(columns):
            raise ValueError(f"a row of {len(row)} cells under {len(columns)} columns")
        writer.writerow([cell_text(value, dialect) for value in row])
    return ("\ufeff" if dialect.byte_order_mark else "") + out.getvalue()
