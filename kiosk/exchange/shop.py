"""A shop from its files: places and machines from TOML, holders, cutters, operators and marks from CSV.

Reads a folder and gives the ledger's lines that would set the shop up; it writes nothing and knows no ledger.
Every row that cannot be used is reported with file, line and field, and all rows are looked at before any
fault is raised, so that a list is mended in one go.  Column names are ISO 13399 symbols where they have one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

from kiosk import filing
from kiosk.exchange.columns import HolderRow, read_cutters, read_holders
from kiosk.exchange.faults import FieldFault, FileFaults, fault_at, file_say
from kiosk.exchange.shop_places import place_rows, read_places
from kiosk.exchange.shop_reading import Reading, Spot, code_of, named
from kiosk.exchange.tables_csv import Record, Table, decoded, read_table
from kiosk.rules import codes
from kiosk.rules.assembly import Condition
from kiosk.rules.lines import (
    BalancedLine,
    Built,
    CodeBound,
    ConditionSaid,
    CutterAdded,
    Entry,
    HolderRegistered,
    MeasuredLine,
    Moved,
    OperatorAdded,
    PocketAssigned,
    ToolNumbered,
)
from kiosk.rules.places import Place

LONGEST_MARK = 200


class ShopFault(FileFaults):
    """Shop files that cannot be used as they are; `faults` names every place."""


def read_shop(folder: Path) -> tuple[Entry, ...]:
    """The lines that set up the shop in `folder`: shop.toml, and of the tables those that are there.

    Raises ShopFault with everything that is wrong, OSError where the folder cannot be read, or can no longer.
    """
    there = {path.name for path in folder.iterdir()}  # a table that goes while we read was never absent
    reading = Reading()
    read_places(folder / "shop.toml", reading)
    if "places.csv" in there:
        _table(folder / "places.csv", reading, place_rows)
    reading.nest()
    for name, take in (("operators", _operators), ("cutters", _cutters), ("holders", _holders), ("marks", _marks)):
        if f"{name}.csv" in there:
            _table(folder / f"{name}.csv", reading, take)
    _owners(reading, known=False)
    if reading.faults:
        raise ShopFault(reading.faults)
    return tuple(reading.lines)


def _table(path: Path, reading: Reading, take: Callable[[Table, Reading], None]) -> None:
    try:
        take(read_table(decoded(filing.take(path), path.name), path.name), reading)
    except FileFaults as faults:
        reading.faults += faults.faults


def read_tables(paths: Iterable[Path], places: Mapping[str, Place]) -> tuple[Entry, ...]:
    """The lines in single tables: holders, cutters, operators, places, marks, told apart by their columns.

    places: those the book has, by every name a table may use.  Raises ShopFault with everything that is wrong,
    OSError where a file cannot be read.
    """
    reading = Reading({place.code: place for place in places.values()}, dict(places))
    found: list[tuple[int, Table]] = []
    for path in paths:
        try:
            table = read_table(decoded(filing.take(path), path.name), path.name)
            which = next((at for at, (column, _) in enumerate(_TABLES) if column in table.columns), None)
            if which is None:
                raise FileFaults([fault_at(path.name, 1, "", "no_table_of_ours")])
            found.append((which, table))
        except FileFaults as faults:
            reading.faults += faults.faults
    for which, table in sorted(found, key=lambda each: _ORDER.index(each[0])):
        try:
            _TABLES[which][1](table, reading)
        except FileFaults as faults:
            reading.faults += faults.faults
        if _TABLES[which][1] is place_rows:
            reading.nest()
    _owners(reading, known=True)
    if reading.faults:
        raise ShopFault(reading.faults)
    return tuple(reading.lines)


def _operators(table: Table, reading: Reading) -> None:
    reading.faults += table.faults
    for record in table.records:
        spot = Spot(table.file, record.line)
        reading.take(spot, _operator(record, spot, reading))


def _operator(record: Record, spot: Spot, reading: Reading) -> Iterator[Entry]:
    code = code_of(record.text("code"), codes.CodeKind.BADGE)
    reading.claim(code, spot)
    role = record.text("role")
    if role not in ("setter", "supervisor"):
        raise FieldFault("role", "role", said=repr(role))
    named(record.text("name"))
    yield OperatorAdded(record.text("key"), record.text("name"), role)
    yield CodeBound(code, record.text("key"), "operator")


def _cutters(table: Table, reading: Reading) -> None:
    read = read_cutters(table)
    reading.faults += read.faults
    reading.lines += [CutterAdded(cutter) for cutter in read.good]


def _holders(table: Table, reading: Reading) -> None:
    read = read_holders(table)
    reading.faults += read.faults
    for row in read.good:
        spot = Spot(table.file, row.line)
        reading.take(spot, _holder(row, spot, reading))


def _holder(row: HolderRow, spot: Spot, reading: Reading) -> Iterator[Entry]:
    holder, built = row.holder, row.assembly
    reading.holders.add(holder.key)
    yield HolderRegistered(holder, stood_cold=row.stood_cold)
    if row.code is not None:
        reading.claim(row.code, spot)
        yield CodeBound(row.code, holder.key, "holder")
    if built is not None:
        yield CutterAdded(built.cutter)
        yield Built(built.key, built.name, holder.key, built.cutter.key, built.insert_mm)
        if built.measured is not None:
            yield MeasuredLine(holder.key, built.key, built.measured)
        if built.unbalance is not None:
            yield BalancedLine(holder.key, built.key, built.unbalance)
        if built.condition is not Condition.GOOD or built.used_min:
            yield ConditionSaid(holder.key, built.key, built.condition, built.used_min)
        if row.tool_number is not None:
            yield ToolNumbered(holder.key, built.key, row.tool_number)
    if row.place is None:
        return
    place = reading.place(row.place)
    if place.capacity == 1 and place.code in reading.standing:
        raise FieldFault("place", "place_taken", said=repr(row.place), holder=reading.standing[place.code])
    reading.standing[place.code] = holder.key
    yield Moved(holder.key, None, place.code)
    if row.fixed_pocket:
        reading.owners[place.code] = (holder.key, spot)


def _owners(reading: Reading, *, known: bool) -> None:
    """Pockets that are one holder's own; known: a holder may be one the book has."""
    for pocket, (holder, spot) in reading.owners.items():
        if holder in reading.holders:
            reading.lines.append(PocketAssigned(pocket, holder))
        elif not known:
            reading.faults.append(spot.fault("owner", file_say("no_holder", said=repr(holder))))


def _marks(table: Table, reading: Reading) -> None:
    reading.faults += table.faults
    for record in table.records:
        spot = Spot(table.file, record.line)
        reading.take(spot, _mark(record, spot, reading))


def _mark(record: Record, spot: Spot, reading: Reading) -> Iterator[Entry]:
    """A mark that was on a holder before us: a maker's own, an old sticker."""
    mark = record.text("mark")
    try:
        codes.parse(mark)
    except codes.CodeFault:
        if len(mark) > LONGEST_MARK:
            raise FieldFault("mark", "too_many_signs", most=LONGEST_MARK) from None
        reading.claim(mark, spot)
        yield CodeBound(mark, record.text("holder"), "holder", foreign=True)
        return
    raise FieldFault("mark", "our_label", said=mark)


# What tells one table from another: a column only it has.  Places come first, marks last: they speak of the others.
_TABLES: tuple[tuple[str, Callable[[Table, Reading], None]], ...] = (
    ("coupling", _holders),
    ("cutter", _cutters),
    ("role", _operators),
    ("kind", place_rows),
    ("mark", _marks),
)
_ORDER = (3, 2, 1, 0, 4)
