"""Setup sheets as people have them: a CSV, or a list pasted from anywhere.

A line that is not understood is a fault with its line, and never a need for nothing.  Columns are `name`,
`quantity` and `machine`, in English or German, and ISO 13399 symbols for cutting data.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from kiosk.exchange.faults import Fault, FieldFault, FileFaults, Read, fault_at
from kiosk.exchange.tables_csv import Record, delimiter_of, number, read_table, write_table
from kiosk.rules.fitting.setup_sheet import PIECES, Need

MOST_LINES = 5000  # tools of a job
LONGEST_LINE = 500  # characters
_WORDS = {
    "name": ("name", "tool", "assembly", "bezeichnung", "werkzeug"),
    "quantity": ("quantity", "qty", "pieces", "count", "menge", "anzahl", "stück"),
    "machine": ("machine", "maschine"),
    "DC": ("dc", "d", "diameter", "durchmesser"),
    "RE": ("re", "corner radius", "eckenradius"),
    "LU": ("lu", "usable length", "nutzlänge"),
    "ZEFP": ("zefp", "z", "edges", "schneiden"),
    "RPM": ("rpm", "n", "speed", "drehzahl"),
}
_COLUMN_OF = {word: column for column, words in _WORDS.items() for word in words}
# only in front: behind a name, `8 x 100` is a size
_TIMES = re.compile(r"(\d+)\s*(?:[x*]\s+|×\s*)(.+)")
_DATA = re.compile(r"(?<!\S)(DC|RE|LU|ZEFP|RPM)\s*=\s*([-+\d.,]+)(?!\S)", re.IGNORECASE)


def read_sheet(text: str, file: str, machine: str = "") -> Read[Need]:
    """The needs of a setup sheet.  machine: for lines that name none.

    With a header, each column is read by its name.  Without one each line is `name; quantity; machine`, or
    words such as `2 x Rougher 12` and `DC=12 RE=1 LU=30`.  Raises FileFaults where there is nothing at all.
    """
    text = text.removeprefix("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    cells = [cell.strip().strip('"').casefold() for cell in first.split(delimiter_of(first)) if cell.strip()]
    known = sum(cell in _COLUMN_OF for cell in cells)
    if known and 2 * known >= len(cells) and not any(sign.isdigit() for cell in cells for sign in cell):
        return _table(text, file, machine)
    return _list(text, file, machine)


def write_sheet(needs: Iterable[Need]) -> str:
    """A setup sheet as a table that `read_sheet` takes in again, line by line the same."""
    found = [
        (need.name, need.quantity, need.machine, need.dc_mm, need.re_mm, need.lu_mm, need.zefp, need.rpm)
        for need in needs
    ]
    return write_table(tuple(_WORDS), found)


def _table(text: str, file: str, machine: str) -> Read[Need]:
    table = read_table(text, file)
    good: list[Need] = []
    faults = list(table.faults)
    meaning: dict[str, str] = {}
    for name in table.columns:
        column = _COLUMN_OF.get(name.casefold())
        if column is None or column in meaning.values():
            if column:
                faults.append(fault_at(file, 1, name, "there_twice"))
            else:
                faults.append(fault_at(file, 1, name, "no_sheet_column", known=", ".join(_WORDS)))
        else:
            meaning[name] = column
    for record in table.records:
        values = {column: record.values[name] for name, column in meaning.items()}
        try:
            good.append(_need(Record(record.line, values), machine))
        except FieldFault as fault:
            faults.append(Fault(file, record.line, fault.field, fault.say))
    return Read(tuple(good), tuple(sorted(faults)))


def _need(record: Record, machine: str) -> Need:
    quantity = record.maybe_whole("quantity")
    if quantity is not None and not PIECES.takes(quantity):
        raise FieldFault("quantity", "quantity", most=int(PIECES.most), said=str(quantity))
    need = Need(
        record.line,
        record.maybe("name") or "",
        1 if quantity is None else quantity,
        record.maybe("machine") or machine,
        record.maybe_number("DC"),
        record.maybe_number("RE"),
        record.maybe_number("LU"),
        record.maybe_whole("ZEFP"),
        record.maybe_number("RPM"),
    )
    if not need.says_something:
        raise FieldFault("name", "says_nothing")
    return need


def _list(text: str, file: str, machine: str) -> Read[Need]:
    good: list[Need] = []
    faults: list[Fault] = []
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise FileFaults([fault_at(file, 0, "", "too_many_lines", lines=len(lines), most=MOST_LINES)])
    for line, raw in enumerate(lines, 1):
        if not raw.strip():
            continue
        if len(raw) > LONGEST_LINE:
            faults.append(fault_at(file, line, "", "too_many_characters", characters=len(raw), most=LONGEST_LINE))
            continue
        try:
            good.append(_words(raw, line, machine))
        except FieldFault as fault:
            faults.append(Fault(file, line, fault.field, fault.say))
    return Read(tuple(good), tuple(faults))


def _words(raw: str, line: int, machine: str) -> Need:
    """One line of a pasted list."""
    # a comma may be a decimal comma here, so only ; and tab part columns
    cells = [cell.strip() for cell in re.split("[;\t]", raw)]
    if len(cells) > 3 and any(cells[3:]):
        raise FieldFault("", "list_columns", columns=len(cells))
    values: dict[str, str] = {}
    name = cells[0]
    for symbol, value in _DATA.findall(name):
        if symbol.upper() in values:
            raise FieldFault(symbol.upper(), "there_twice")
        number(value, symbol.upper())
        values[symbol.upper()] = value
    name = _DATA.sub("", name).strip()
    if times := _TIMES.fullmatch(name):
        values["quantity"], name = times[1], times[2]
    if len(cells) > 1 and cells[1]:
        if "quantity" in values:
            raise FieldFault("quantity", "there_twice")
        values["quantity"] = cells[1]
    if len(cells) > 2:
        values["machine"] = cells[2]
    return _need(Record(line, {**values, "name": " ".join(name.split())}), machine)
