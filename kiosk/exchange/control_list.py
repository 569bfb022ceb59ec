"""The tool list that a control exports, read by a column map of the shop's own, and the comparison written out.

No control is known here by name: the shop says once which column is which, in a small TOML file, and whatever
writes a table can be read.  A line that cannot be read is reported and never taken for an empty pocket.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, fields
from typing import Literal

import msgspec
import tomlkit

from kiosk import filing
from kiosk.exchange.faults import Fault, FieldFault, FileFaults, Read, does_not_fit, fault_at, no_toml
from kiosk.exchange.tables_csv import PLAIN, Dialect, Record, decoded, read_table, write_table
from kiosk.rules.compare import Comparison, Listed, Tolerance
from kiosk.rules.say import Say

MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column of the list is which; empty: the list has none.  Either diameter or radius, or neither."""

    name: str = ""
    number: str = ""
    pocket: str = ""
    length: str = ""
    diameter: str = ""
    radius: str = ""


@dataclass(frozen=True, slots=True)
class ListMap:
    """How a control writes its list.  The shop's file has these keys; `[columns]` is a table."""

    columns: Columns
    unit: Literal["mm", "inch"] = "mm"
    skip_lines: int = 0  # before the header
    delimiter: str = ""  # empty: found out
    spindle: tuple[str, ...] = ()  # what stands in the pocket column for the spindle
    empty: tuple[str, ...] = ("", "-")  # names that mean an empty pocket
    length_tolerance_mm: float = 0.01
    diameter_tolerance_mm: float = 0.01

    @property
    def tolerance(self) -> Tolerance:
        return Tolerance(self.length_tolerance_mm, self.diameter_tolerance_mm)


def read_map(text: str, file: str) -> ListMap:
    """The column map in a TOML file.  Raises FileFaults with every key that is wrong."""
    try:
        data = filing.toml_values(text)
    except filing.TomlFault as fault:
        raise FileFaults([no_toml(file, fault.why)]) from None
    faults = _unknown(data, ListMap, file, "")
    columns = data.get("columns")
    if not isinstance(columns, dict):
        faults.append(fault_at(file, 0, "[columns]", "columns_missing"))
    else:
        faults += _unknown(columns, Columns, file, "[columns] ")
    if faults:
        raise FileFaults(faults)
    try:
        made = msgspec.convert(data, ListMap)
    except msgspec.ValidationError as error:
        raise FileFaults([does_not_fit(file, error)]) from None
    why = _contradiction(made)
    if why:
        raise FileFaults([fault_at(file, 0, *why)])
    return made


def _unknown(data: dict[str, object], kind: type, file: str, before: str) -> list[Fault]:
    known = [entry.name for entry in fields(kind)]
    return [
        fault_at(file, 0, f"{before}{key}", "key_unknown", known=", ".join(known)) for key in data if key not in known
    ]


def _contradiction(made: ListMap) -> tuple[str, str] | None:
    columns = made.columns
    if not (columns.name or columns.number):
        return "[columns] name", "list_needs_tool"
    if columns.diameter and columns.radius:
        return "[columns] radius", "beside_diameter"
    if made.skip_lines < 0:
        return "skip_lines", "not_less_than_0"
    if made.delimiter and (len(made.delimiter) != 1 or made.delimiter not in ",;\t"):
        return "delimiter", "delimiter"
    if not (made.length_tolerance_mm >= 0 and made.diameter_tolerance_mm >= 0):
        return "length_tolerance_mm", "tolerances_less_than_0"
    return None


def write_map(made: ListMap) -> str:
    """A column map as the TOML that `read_map` reads."""
    plain = {name: list(value) if isinstance(value, tuple) else value for name, value in asdict(made).items()}
    columns = plain.pop("columns")
    return tomlkit.dumps({**plain, "columns": columns})


_WORDS: dict[str, tuple[str, ...]] = {
    "name": ("name", "tool name", "bezeichnung", "werkzeugname"),
    "number": ("number", "tool number", "nummer", "werkzeugnummer"),
    "pocket": ("pocket", "magazine pocket", "place", "magazine place", "platz", "magazinplatz"),
    "length": ("length", "tool length", "lf", "länge", "werkzeuglänge"),
    "diameter": ("diameter", "tool diameter", "dc", "durchmesser"),
    "radius": ("radius", "tool radius"),
}


def guess_columns(header: Iterable[str]) -> Columns:
    """A first map from the names of the columns, for the shop to look at and save.

    Plain words and the symbols of ISO 13399 alone: what one letter means differs from control to control.
    """
    names = list(header)
    found: dict[str, str] = {}
    for key, words in _WORDS.items():
        for word in words:
            match = next((name for name in names if name.strip().casefold() == word), None)
            if match is not None and match not in found.values():
                found[key] = match
                break
    if "diameter" in found:
        found.pop("radius", None)
    return Columns(**found)


def read_list(data: bytes, file: str, made: ListMap) -> Read[Listed]:
    """The lines of a control's list; empty pockets are left out.  Raises FileFaults for no table at all.

    A column of the map that the list does not have is a fault, and then nothing is read.
    """
    if why := _contradiction(made):
        raise FileFaults([fault_at(file, 0, *why)])
    text = decoded(data, file, eight_bit=True)
    table = read_table(text, file, delimiter=made.delimiter or None, skip_lines=made.skip_lines)
    wanted = {key: name for key, name in asdict(made.columns).items() if name}
    missing = [
        fault_at(file, made.skip_lines + 1, name, "map_column_missing", said=key)
        for key, name in wanted.items()
        if name not in table.columns
    ]
    if missing:
        return Read((), (*table.faults, *missing))
    good, faults = [], list(table.faults)
    for record in table.records:
        try:
            line = _listed(record, made)
        except FieldFault as fault:
            faults.append(Fault(file, record.line, fault.field, fault.say))
            continue
        if line is not None:
            good.append(line)
    return Read(tuple(good), tuple(sorted(faults)))


def _listed(record: Record, made: ListMap) -> Listed | None:
    columns = made.columns
    scale = MM_PER_INCH if made.unit == "inch" else 1.0
    name = (record.maybe(columns.name) or "") if columns.name else ""
    number = record.maybe_whole(columns.number) if columns.number else None
    if columns.name and name in made.empty:
        name = ""
    if not name and (columns.name or number is None):
        return None
    pocket_text = (record.maybe(columns.pocket) or "") if columns.pocket else ""
    spindle = bool(pocket_text) and pocket_text in made.spindle
    length = _length(record, columns.length, scale)
    diameter = _length(record, columns.diameter, scale)
    radius = _length(record, columns.radius, scale)
    return Listed(
        record.line,
        name,
        number,
        None if spindle or not pocket_text else record.maybe_whole(columns.pocket),
        spindle,
        length,
        diameter if radius is None else 2 * radius,
    )


def _length(record: Record, column: str, scale: float) -> float | None:
    if not column:
        return None
    value = record.maybe_number(column, signed=True)
    return None if value is None else value * scale


COMPARISON_COLUMNS = (
    *("pocket", "control_pocket", "name", "found", "what_to_do", "length_mm", "control_length_mm"),
    *("diameter_mm", "control_diameter_mm", "control_line"),
)


def comparison_csv(comparison: Comparison, words: Callable[[Say], str], dialect: Dialect = PLAIN) -> str:
    """A comparison as a table, one line a difference.  words: puts a message into the shop's language."""
    rows = []
    for line in comparison.lines:
        values = line.values
        found = " ".join(words(message) for message in line.verdict_words)
        remedy = " ".join(words(message) for message in line.remedies)
        rows.append(
            (
                *(values["pocket"], values["control_pocket"], line.name, found, remedy),
                *(values["length_mm"], values["control_length_mm"]),
                *(values["diameter_mm"], values["control_diameter_mm"], values["line"]),
            )
        )
    return write_table(COMPARISON_COLUMNS, rows, dialect)


def comparison_text(comparison: Comparison, words: Callable[[Say], str]) -> str:
    """A comparison to be printed: pocket and name, what was found, and under it a box to tick for each deed."""
    lines = [comparison.machine, "=" * len(comparison.machine)]
    for line in comparison.lines:
        values = line.values
        pocket = values["pocket"] if values["pocket"] is not None else values["control_pocket"]
        lines.append(f"{pocket if pocket is not None else '-':>4}  {line.name}")
        lines += [f"      {words(message)}" for message in line.verdict_words]
        lines += [f"      [ ] {words(message)}" for message in line.remedies]
    return "\n".join(lines) + "\n"
