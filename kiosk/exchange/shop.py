"""A shop from its files: places and machines from TOML, holders, cutters and operators from CSV.

Reads a folder and gives the ledger's lines that would set the shop up; it writes nothing and knows no ledger.
Every row that cannot be used is reported with file, line and field, and all rows are looked at before any
fault is raised, so that a list is mended in one go.  Column names are ISO 13399 symbols where they have one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

import msgspec

from kiosk import filing
from kiosk.exchange.columns import HolderRow, read_cutters, read_holders
from kiosk.exchange.faults import Fault, FieldFault, FileFaults
from kiosk.exchange.tables_csv import Record, Table, decoded, read_table
from kiosk.rules import codes
from kiosk.rules.assembly import Condition, Coupling
from kiosk.rules.lines import (
    Built,
    CodeBound,
    ConditionSaid,
    CutterAdded,
    Entry,
    HolderRegistered,
    MeasuredLine,
    Moved,
    OperatorAdded,
    PlaceAdded,
    PocketAssigned,
)
from kiosk.rules.magazine import Magazine, MagazineFault
from kiosk.rules.places import Kind, Place


class ShopFault(FileFaults):
    """Shop files that cannot be used as they are; `faults` names every place."""


@dataclass
class _Reading:
    """A shop folder while it is read."""

    lines: list[Entry] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    places: dict[str, Place] = field(default_factory=dict)  # by the name the files use
    codes: dict[str, str] = field(default_factory=dict)  # code -> where it was first used
    pockets: dict[str, str] = field(default_factory=dict)  # place code -> holder standing there

    def claim(self, code: str, where: str) -> None:
        """A code is bound once."""
        if code in self.codes:
            raise FieldFault("code", f"{code} is already used ({self.codes[code]})")
        self.codes[code] = where

    def take(self, file: str, line: int, entries: Iterator[Entry]) -> None:
        """The lines one row makes, all of them or its fault."""
        try:
            self.lines += list(entries)
        except FieldFault as bad:
            self.faults.append(Fault(file, line, bad.field, bad.why))


def read_shop(folder: Path) -> tuple[Entry, ...]:
    """The lines that set up the shop in `folder` (shop.toml, operators.csv, cutters.csv, holders.csv).

    Raises ShopFault with everything that is wrong, OSError where the folder cannot be read.
    """
    reading = _Reading()
    _read_places(folder / "shop.toml", reading)
    for name, take in (("operators.csv", _operators), ("cutters.csv", _cutters), ("holders.csv", _holders)):
        path = folder / name
        if path.exists():
            try:
                take(read_table(decoded(filing.take(path), name), name), reading)
            except FileFaults as faults:
                reading.faults += faults.faults
    if reading.faults:
        raise ShopFault(reading.faults)
    return tuple(reading.lines)


def read_tables(paths: Iterable[Path], places: Mapping[str, Place]) -> tuple[Entry, ...]:
    """The lines in single tables: holders, cutters, operators, places, told apart by their columns.

    places: those the book has, by every name a table may use.  Raises ShopFault with everything that is wrong,
    OSError where a file cannot be read.
    """
    reading = _Reading(places=dict(places))
    for path in paths:
        try:
            table = read_table(decoded(filing.take(path), path.name), path.name)
            take = next((take for column, take in _TABLES if column in table.columns), None)
            if take is None:
                why = "is no table of holders, cutters, operators or places: no column tells which"
                raise FileFaults([Fault(path.name, 1, "", why)])
            take(table, reading)
        except FileFaults as faults:
            reading.faults += faults.faults
    if reading.faults:
        raise ShopFault(reading.faults)
    return tuple(reading.lines)


def _read_places(path: Path, reading: _Reading) -> None:
    try:
        data = filing.toml_values(filing.take_text(path, filing.MOST_TOML_BYTES))
    except (filing.TomlFault, filing.FileUnusable) as fault:
        reading.faults.append(Fault(path.name, 0, "", fault.why))
        return
    except OSError as error:
        reading.faults.append(Fault(path.name, 0, "", error.strerror or str(error)))
        return
    if unknown := sorted(data.keys() - {"shop", "place", "cabinet", "machine", "settings"}):
        reading.faults.append(Fault(path.name, 0, unknown[0], "is no part of a shop file"))
    for number, table in enumerate(data.get("place", ()), 1):
        _guarded(path, reading, f"place {number}", table, _place)
    for number, table in enumerate(data.get("cabinet", ()), 1):
        _guarded(path, reading, f"cabinet {number}", table, _cabinet)
    for number, table in enumerate(data.get("machine", ()), 1):
        _guarded(path, reading, f"machine {number}", table, _machine)


def _guarded(path: Path, reading: _Reading, where: str, table: dict[str, Any], read: Any) -> None:
    try:
        read(table, where, reading)
    except FieldFault as bad:
        reading.faults.append(Fault(path.name, 0, f"{where}, {bad.field}", bad.why))
    except KeyError as missing:
        reading.faults.append(Fault(path.name, 0, f"{where}, {missing.args[0]}", "is missing"))
    except (msgspec.ValidationError, MagazineFault) as error:
        reading.faults.append(Fault(path.name, 0, f"{where}, magazine", str(error)))


def _only(table: dict[str, Any], known: Iterable[str]) -> None:
    """Raises FieldFault for a key that means nothing here: a slip would else be lost in silence."""
    if unknown := sorted(table.keys() - set(known)):
        raise FieldFault(unknown[0], f"is not known here; there are: {', '.join(known)}")


def _code(text: str, kind: codes.Kind) -> str:
    try:
        code = codes.parse(text)
    except codes.CodeFault as fault:
        raise FieldFault("code", f"{text!r} is not a code ({fault.fault.value})") from None
    if code.kind is not kind:
        raise FieldFault("code", f"{text} is not the code of a {kind.name.lower()}")
    return code.text


def _add(reading: _Reading, place: Place, name: str, where: str, magazine: Magazine | None = None) -> None:
    _code(place.code, codes.Kind.PLACE)
    reading.claim(place.code, where)
    if name in reading.places:
        raise FieldFault("name", f"{name!r} is there twice")
    reading.places[name] = place
    reading.lines += [PlaceAdded(place, magazine), CodeBound(place.code, place.code, "place")]


def _place(table: dict[str, Any], where: str, reading: _Reading) -> None:
    _only(table, ("code", "name", "kind", "way", "wet_length_mm", "capacity"))
    try:
        kind = Kind(table["kind"])
    except ValueError:
        raise FieldFault("kind", f"{table['kind']!r} is no kind of place") from None
    if kind is Kind.COOLING and table.get("way") not in ("free_air", "forced_air", "sleeve", "mist"):
        raise FieldFault("way", "a cooling place says how it cools: free_air, forced_air, sleeve or mist")
    place = Place(
        table["code"],
        table["name"],
        kind,
        capacity=table.get("capacity"),
        way=table.get("way"),
        wet_length_mm=table.get("wet_length_mm"),
    )
    _add(reading, place, place.name, where)


def _cabinet(table: dict[str, Any], where: str, reading: _Reading) -> None:
    _only(table, ("code", "name", "drawer"))
    cabinet = Place(table["code"], table["name"], Kind.CABINET)
    _add(reading, cabinet, cabinet.name, where)
    for drawer in table.get("drawer", ()):
        _only(drawer, ("code", "number", "slots"))
        number = drawer["number"]
        inside = Place(drawer["code"], f"Drawer {number}", Kind.DRAWER, cabinet.code, number)
        _add(reading, inside, f"{cabinet.name} · {number}", where)
        reading.places[f"{cabinet.name} · {inside.name}"] = inside  # as the kiosk says it
        for slot, code in enumerate(drawer["slots"], 1):
            name = f"{number}-{slot:02}"
            place = Place(code, name, Kind.SLOT, inside.code, slot, capacity=1)
            _add(reading, place, f"{cabinet.name} · {name}", where)


def _machine(table: dict[str, Any], where: str, reading: _Reading) -> None:
    _only(table, ("code", "name", "spindle", "pockets", "magazine"))
    _only(table["magazine"], [entry.name for entry in fields(Magazine)])
    magazine = msgspec.convert(
        table["magazine"] | {"couplings": [_coupling(text) for text in table["magazine"].get("couplings", ())]},
        Magazine,
    )
    pockets = table["pockets"]
    if len(pockets) != magazine.pockets:
        raise FieldFault("pockets", f"{len(pockets)} codes for {magazine.pockets} pockets")
    machine = Place(table["code"], table["name"], Kind.MACHINE)
    _add(reading, machine, machine.name, where, magazine)
    spindle = Place(table["spindle"], "spindle", Kind.SPINDLE, machine.code, capacity=1)
    _add(reading, spindle, f"{machine.name} · spindle", where)
    for number, code in zip(magazine.numbers, pockets, strict=True):
        pocket = Place(code, f"pocket {number:02}", Kind.POCKET, machine.code, number, capacity=1)
        _add(reading, pocket, f"{machine.name} · {number:02}", where)
        reading.places[f"{machine.name} · {pocket.name}"] = pocket  # as the kiosk says it


def _coupling(text: str) -> dict[str, Any]:
    try:
        coupling = Coupling.parse(text)
    except ValueError as error:
        raise FieldFault("couplings", str(error)) from None
    return {"family": coupling.family.value, "size": coupling.size}


def _operators(table: Table, reading: _Reading) -> None:
    reading.faults += table.faults
    for record in table.records:
        where = f"{table.file}, line {record.line}"
        reading.take(table.file, record.line, _operator(record, where, reading))


def _operator(record: Record, where: str, reading: _Reading) -> Iterator[Entry]:
    code = _code(record.text("code"), codes.Kind.BADGE)
    reading.claim(code, where)
    role = record.text("role")
    if role not in ("setter", "supervisor"):
        raise FieldFault("role", f"must be setter or supervisor, not {role!r}")
    yield OperatorAdded(record.text("key"), record.text("name"), role)
    yield CodeBound(code, record.text("key"), "operator")


def _cutters(table: Table, reading: _Reading) -> None:
    read = read_cutters(table)
    reading.faults += read.faults
    reading.lines += [CutterAdded(cutter) for cutter in read.good]


def _holders(table: Table, reading: _Reading) -> None:
    read = read_holders(table)
    reading.faults += read.faults
    for row in read.good:
        where = f"{table.file}, line {row.line}"
        reading.take(table.file, row.line, _holder(row, where, reading))


def _holder(row: HolderRow, where: str, reading: _Reading) -> Iterator[Entry]:
    reading.claim(row.code, where)
    holder, built = row.holder, row.assembly
    yield HolderRegistered(holder, stood_cold=row.stood_cold)
    yield CodeBound(row.code, holder.key, "holder")
    if built is not None:
        yield CutterAdded(built.cutter)
        yield Built(built.key, built.name, holder.key, built.cutter.key, built.insert_mm)
        if built.measured is not None:
            yield MeasuredLine(holder.key, built.key, built.measured)
        if built.condition is not Condition.GOOD or built.used_min:
            yield ConditionSaid(holder.key, built.key, built.condition, built.used_min)
    if row.place is None:
        return
    place = reading.places.get(row.place)
    if place is None:
        raise FieldFault("place", f"there is no place {row.place!r} in shop.toml")
    if place.capacity == 1 and place.code in reading.pockets:
        raise FieldFault("place", f"{row.place!r} already has {reading.pockets[place.code]}")
    reading.pockets[place.code] = holder.key
    yield Moved(holder.key, None, place.code)
    if row.fixed_pocket:
        yield PocketAssigned(place.code, holder.key)


def _places(table: Table, reading: _Reading) -> None:
    reading.faults += table.faults
    for record in table.records:
        where = f"{table.file}, line {record.line}"
        reading.take(table.file, record.line, _place_row(record, where, reading))


def _place_row(record: Record, where: str, reading: _Reading) -> Iterator[Entry]:
    code = _code(record.text("code"), codes.Kind.PLACE)
    reading.claim(code, where)
    try:
        kind = Kind(record.text("kind"))
    except ValueError as error:
        raise FieldFault("kind", f"{record.text('kind')!r} is no kind of place") from error
    if kind is Kind.MACHINE:
        raise FieldFault("kind", "a machine comes with its magazine, in shop.toml")
    inside = record.maybe("parent")
    parent = reading.places.get(inside) if inside else None
    if inside and parent is None:
        raise FieldFault("parent", f"there is no place {inside!r}")
    if kind is Kind.COOLING and record.maybe("way") not in ("free_air", "forced_air", "sleeve", "mist"):
        raise FieldFault("way", "a cooling place says how it cools: free_air, forced_air, sleeve or mist")
    place = Place(
        code,
        record.text("name"),
        kind,
        parent.code if parent else None,
        record.maybe_whole("number"),
        record.maybe_whole("capacity"),
        record.maybe("way"),
        record.maybe_number("wet_length_mm"),
    )
    for name in (code, place.name):
        reading.places.setdefault(name, place)
    yield PlaceAdded(place)
    yield CodeBound(code, code, "place")


# What tells one table from another: a column only it has.
_TABLES: tuple[tuple[str, Callable[[Table, _Reading], None]], ...] = (
    ("coupling", _holders),
    ("cutter", _cutters),
    ("role", _operators),
    ("kind", _places),
)
