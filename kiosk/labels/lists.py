"""Labels to print from a CSV file: one line a label.

Columns: `code`, and then what stands on it: `name`, `coupling`, `bore_mm`, `number`, `within`, `detail`.  A shop that
asks for labels of things already in its book gives the code alone.  It must never accept a code twice, one that is not
ours, or part of a file: the first fault, with its line and field, stops everything.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from kiosk import filing
from kiosk.labels.content import LabelContent, bare_label
from kiosk.labels.faults import ListFault
from kiosk.rules.assembly import Coupling
from kiosk.rules.codes import Code, CodeFault, parse

COLUMNS = ("code", "name", "coupling", "bore_mm", "number", "within", "detail")
_WHY = {
    "length": "a code has ten characters",
    "symbol": "a code has none of A I L M O Q U W Y Z and no signs",
    "kind": "a code starts with H, P, B or C",
    "check": "its check character is wrong: one character was mistyped",
}


def read_list(path: Path, known: Callable[[Code], LabelContent | None] | None = None) -> list[LabelContent]:
    """The labels of a file, `,` or `;` between fields, UTF-8.

    known: what the shop's book says of a code, None where it has no such code; then a line may be the code alone,
    and codes outside the book are refused.  Raises ListFault, OSError.
    """
    try:
        text = filing.take_text(path)
    except filing.FileUnusable as fault:
        raise ListFault(path, fault.line, "-", fault.why) from fault
    first: dict[str, int] = {}
    contents = []
    for line, row in _rows(path, text):
        code = _code(path, line, row.get("code", ""))
        if code.text in first:
            raise ListFault(path, line, "code", f"{code.grouped} stands in line {first[code.text]} already")
        first[code.text] = line
        contents.append(_content(path, line, code, row, known))
    if not contents:
        raise ListFault(path, 1, "-", "the file has no labels")
    return contents


def _rows(path: Path, text: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows by column name, with the line each starts in."""
    head = text.split("\n", 1)[0]
    reader = csv.reader(text.splitlines(keepends=True), delimiter=";" if head.count(";") > head.count(",") else ",")
    try:
        columns = [name.strip().lower() for name in next(reader, [])]
        if len(columns) > len(COLUMNS):
            raise ListFault(path, 1, "-", f"{len(columns)} columns; there are {', '.join(COLUMNS)}")
        for name in columns:
            if name not in COLUMNS:
                raise ListFault(path, 1, name or "-", f"no such column; there are {', '.join(COLUMNS)}")
            if columns.count(name) > 1:
                raise ListFault(path, 1, name, "the column stands there twice")
        if "code" not in columns:
            raise ListFault(path, 1, "code", "the first line has to name the columns, and code is missing")
        for fields in reader:
            if not any(field.strip() for field in fields):
                continue
            if len(fields) > len(columns):
                raise ListFault(path, reader.line_num, columns[-1], "the line has more fields than the first line")
            yield reader.line_num, dict(zip(columns, (field.strip() for field in fields), strict=False))
    except csv.Error as why:
        raise ListFault(path, reader.line_num, "-", str(why)) from None


def _code(path: Path, line: int, text: str) -> Code:
    try:
        return parse(text)
    except CodeFault as fault:
        raise ListFault(path, line, "code", f"{text!r} is not one of our codes: {_WHY[fault.fault.value]}") from None


def _content(
    path: Path,
    line: int,
    code: Code,
    row: dict[str, str],
    known: Callable[[Code], LabelContent | None] | None,
) -> LabelContent:
    booked = known(code) if known else None
    if known and booked is None:
        raise ListFault(path, line, "code", f"{code.grouped} is in no line of this shop's book")
    said = any(row.get(column) for column in COLUMNS[1:])
    if booked and not said:
        return booked
    name = row.get("name") or (booked.name if booked else "")
    if not name:
        raise ListFault(path, line, "name", "a label needs a short name")
    shape = [*_coupling(path, line, row), *_bore(path, line, row)]
    details = tuple(filter(None, (" · ".join(shape), row.get("within", ""), row.get("detail", ""))))
    if booked and not details:
        details = booked.details
    number = row.get("number") or (booked.number if booked else "")
    return replace(bare_label(code), name=name, details=details, number=number)


def _coupling(path: Path, line: int, row: dict[str, str]) -> list[str]:
    if not row.get("coupling"):
        return []
    try:
        return [Coupling.parse(row["coupling"]).designation]
    except ValueError as why:
        raise ListFault(path, line, "coupling", str(why)) from None


def _bore(path: Path, line: int, row: dict[str, str]) -> list[str]:
    if not row.get("bore_mm"):
        return []
    try:
        bore_mm = float(row["bore_mm"].replace(",", "."))
    except ValueError:
        bore_mm = -1.0
    if not 0 < bore_mm <= 500:
        raise ListFault(path, line, "bore_mm", f"{row['bore_mm']!r} is no bore in millimetres")
    return [f"Ø{bore_mm:g}"]
