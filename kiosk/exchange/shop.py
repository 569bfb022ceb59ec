"""A shop from its files: places and machines from TOML, holders, cutters and operators from CSV.

Reads a folder and gives the ledger's lines that would set the shop up; it writes nothing and knows no ledger.
Every row that cannot be used is reported with file, line and field, and all rows are looked at before any
fault is raised, so that a list is mended in one go.  Column names are ISO 13399 symbols where they have one.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from kiosk.rules import codes
from kiosk.rules.assembly import Clamping, Condition, Coupling, Cutter, Holder, Material, Measured
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


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file.  `line` counts from 1, the header included; 0: the whole file."""

    file: str
    line: int
    field: str
    why: str

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}" if self.line else self.file
        return f"{where}, {self.field}: {self.why}" if self.field else f"{where}: {self.why}"


class ShopFault(ValueError):
    """Files that cannot be used as they are; `faults` names every place."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = tuple(faults)


class _Bad(ValueError):
    def __init__(self, name: str, why: str) -> None:
        super().__init__(why)
        self.name = name
        self.why = why


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
            raise _Bad("code", f"{code} is already used ({self.codes[code]})")
        self.codes[code] = where


def read_shop(folder: Path) -> tuple[Entry, ...]:
    """The lines that set up the shop in `folder` (shop.toml, operators.csv, cutters.csv, holders.csv).

    Raises ShopFault with everything that is wrong, OSError where the folder cannot be read.
    """
    reading = _Reading()
    _read_places(folder / "shop.toml", reading)
    _each_row(folder / "operators.csv", reading, _operator)
    _each_row(folder / "cutters.csv", reading, _spare_cutter)
    _each_row(folder / "holders.csv", reading, _holder)
    if reading.faults:
        raise ShopFault(reading.faults)
    return tuple(reading.lines)


def _read_places(path: Path, reading: _Reading) -> None:
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, FileNotFoundError) as error:
        reading.faults.append(Fault(path.name, 0, "", str(error)))
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
    except _Bad as bad:
        reading.faults.append(Fault(path.name, 0, f"{where}, {bad.name}", bad.why))
    except KeyError as missing:
        reading.faults.append(Fault(path.name, 0, f"{where}, {missing.args[0]}", "is missing"))
    except (msgspec.ValidationError, MagazineFault) as error:
        reading.faults.append(Fault(path.name, 0, f"{where}, magazine", str(error)))


def _code(text: str, kind: codes.Kind) -> str:
    try:
        code = codes.parse(text)
    except codes.CodeFault as fault:
        raise _Bad("code", f"{text!r} is not a code ({fault.fault.value})") from None
    if code.kind is not kind:
        raise _Bad("code", f"{text} is not the code of a {kind.name.lower()}")
    return code.text


def _add(reading: _Reading, place: Place, name: str, where: str, magazine: Magazine | None = None) -> None:
    _code(place.code, codes.Kind.PLACE)
    reading.claim(place.code, where)
    if name in reading.places:
        raise _Bad("name", f"{name!r} is there twice")
    reading.places[name] = place
    reading.lines += [PlaceAdded(place, magazine), CodeBound(place.code, place.code, "place")]


def _place(table: dict[str, Any], where: str, reading: _Reading) -> None:
    known = {"code", "name", "kind", "way", "wet_length_mm", "capacity"}
    if unknown := sorted(table.keys() - known):
        raise _Bad(unknown[0], f"is not known here; there are: {', '.join(sorted(known))}")
    try:
        kind = Kind(table["kind"])
    except ValueError:
        raise _Bad("kind", f"{table['kind']!r} is no kind of place") from None
    if kind is Kind.COOLING and table.get("way") not in ("free_air", "forced_air", "sleeve", "mist"):
        raise _Bad("way", "a cooling place says how it cools: free_air, forced_air, sleeve or mist")
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
    cabinet = Place(table["code"], table["name"], Kind.CABINET)
    _add(reading, cabinet, cabinet.name, where)
    for drawer in table.get("drawer", ()):
        number = drawer["number"]
        inside = Place(drawer["code"], f"Drawer {number}", Kind.DRAWER, cabinet.code, number)
        _add(reading, inside, f"{cabinet.name} · {number}", where)
        for slot, code in enumerate(drawer["slots"], 1):
            name = f"{number}-{slot:02}"
            place = Place(code, name, Kind.SLOT, inside.code, slot, capacity=1)
            _add(reading, place, f"{cabinet.name} · {name}", where)


def _machine(table: dict[str, Any], where: str, reading: _Reading) -> None:
    magazine = msgspec.convert(
        table["magazine"] | {"couplings": [_coupling(text) for text in table["magazine"].get("couplings", ())]},
        Magazine,
    )
    pockets = table["pockets"]
    if len(pockets) != magazine.pockets:
        raise _Bad("pockets", f"{len(pockets)} codes for {magazine.pockets} pockets")
    machine = Place(table["code"], table["name"], Kind.MACHINE)
    _add(reading, machine, machine.name, where, magazine)
    spindle = Place(table["spindle"], "spindle", Kind.SPINDLE, machine.code, capacity=1)
    _add(reading, spindle, f"{machine.name} · spindle", where)
    for number, code in zip(magazine.numbers, pockets, strict=True):
        pocket = Place(code, f"pocket {number:02}", Kind.POCKET, machine.code, number, capacity=1)
        _add(reading, pocket, f"{machine.name} · {number:02}", where)


def _coupling(text: str) -> dict[str, Any]:
    try:
        coupling = Coupling.parse(text)
    except ValueError as error:
        raise _Bad("couplings", str(error)) from None
    return {"family": coupling.family.value, "size": coupling.size}


class _Row:
    """One row of a table, its fields read with their type."""

    def __init__(self, values: dict[str, str]) -> None:
        self._values = values

    def text(self, name: str) -> str:
        value = self.maybe(name)
        if value is None:
            raise _Bad(name, "is empty")
        return value

    def maybe(self, name: str) -> str | None:
        if name not in self._values:
            raise _Bad(name, "the column is missing")
        return (self._values[name] or "").strip() or None

    def number(self, name: str) -> float:
        value = self.maybe_number(name)
        if value is None:
            raise _Bad(name, "is empty")
        return value

    def maybe_number(self, name: str) -> float | None:
        value = self.maybe(name)
        if value is None:
            return None
        try:
            number = float(value.replace(",", "."))
        except ValueError:
            raise _Bad(name, f"{value!r} is not a number") from None
        if not 0 <= number < 1e7:
            raise _Bad(name, f"{value} cannot be")
        return number

    def flag(self, name: str) -> bool:
        value = (self.maybe(name) or "no").lower()
        if value not in ("yes", "no"):
            raise _Bad(name, f"must be yes or no, not {value!r}")
        return value == "yes"

    def one_of(self, name: str, kind: Any) -> Any:
        value = self.text(name)
        try:
            return kind(value)
        except ValueError:
            raise _Bad(name, f"must be one of {', '.join(k.value for k in kind)}, not {value!r}") from None


def _each_row(path: Path, reading: _Reading, read: Any) -> None:
    if not path.exists():
        return
    try:
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        reading.faults.append(Fault(path.name, 0, "", f"is not UTF-8: {error}"))
        return
    delimiter = ";" if text.partition("\n")[0].count(";") > text.partition("\n")[0].count(",") else ","
    rows = csv.DictReader(text.splitlines(), delimiter=delimiter)
    for values in rows:
        if None in values or None in values.values():
            reading.faults.append(Fault(path.name, rows.line_num, "", "has more or fewer fields than the header"))
            continue
        before = len(reading.lines)
        try:
            for line in read(_Row(values), f"{path.name}, line {rows.line_num}", reading):
                reading.lines.append(line)
        except _Bad as bad:
            del reading.lines[before:]
            reading.faults.append(Fault(path.name, rows.line_num, bad.name, bad.why))


def _operator(row: _Row, where: str, reading: _Reading) -> Iterator[Entry]:
    code = _code(row.text("code"), codes.Kind.BADGE)
    reading.claim(code, where)
    role = row.text("role")
    if role not in ("setter", "supervisor"):
        raise _Bad("role", f"must be setter or supervisor, not {role!r}")
    yield OperatorAdded(row.text("key"), row.text("name"), role)
    yield CodeBound(code, row.text("key"), "operator")


def _cutter(row: _Row) -> Cutter:
    return Cutter(
        key=row.text("cutter"),
        name=row.text("cutter_name"),
        dc_mm=row.number("DC"),
        dmm_mm=row.number("DMM"),
        oal_mm=row.number("OAL"),
        material=row.one_of("material", Material),
        lf_mm=row.maybe_number("LF"),
        lu_mm=row.maybe_number("LU"),
        re_mm=row.maybe_number("RE") or 0.0,
        zefp=int(row.maybe_number("ZEFP") or 1),
        rpmx_rpm=row.maybe_number("RPMX"),
        wt_kg=row.maybe_number("WT"),
        flat=row.flag("flat"),
        shank_h6=row.flag("shank_h6"),
        coolant=row.flag("cutter_coolant"),
        life_min=row.maybe_number("life_min"),
    )


def _spare_cutter(row: _Row, where: str, reading: _Reading) -> Iterator[Entry]:
    yield CutterAdded(_cutter(row))


def _holder(row: _Row, where: str, reading: _Reading) -> Iterator[Entry]:
    code = _code(row.text("code"), codes.Kind.HOLDER)
    reading.claim(code, where)
    try:
        coupling = Coupling.parse(row.text("coupling"))
    except ValueError as error:
        raise _Bad("coupling", str(error)) from None
    limit = row.maybe_number("heat_limit")
    holder = Holder(
        key=row.text("key"),
        name=row.text("name"),
        coupling=coupling,
        clamping=row.one_of("clamping", Clamping),
        bore_mm=row.number("bore_mm"),
        bore_min_mm=row.maybe_number("bore_min_mm"),
        nose_mm=row.maybe_number("nose_mm"),
        projection_mm=row.maybe_number("projection_mm"),
        insert_min_mm=row.maybe_number("insert_min_mm"),
        insert_max_mm=row.maybe_number("insert_max_mm"),
        rpm_max=row.maybe_number("rpm_max"),
        mass_kg=row.maybe_number("mass_kg"),
        coolant=row.flag("holder_coolant"),
        knob=row.maybe("knob"),
        heat_limit=int(limit) if limit is not None else None,
    )
    yield HolderRegistered(holder, stood_cold=row.flag("stood_cold"))
    yield CodeBound(code, holder.key, "holder")
    if assembly := row.maybe("assembly"):
        cutter = _cutter(row)
        yield CutterAdded(cutter)
        yield Built(assembly, row.text("assembly_name"), holder.key, cutter.key, row.maybe_number("insert_mm"))
        length_mm, diameter_mm = row.maybe_number("length_mm"), row.maybe_number("diameter_mm")
        if length_mm is not None and diameter_mm is not None:
            measured = Measured(length_mm, diameter_mm, cutter.re_mm, row.maybe_number("runout_um"), cutter.zefp)
            yield MeasuredLine(holder.key, assembly, measured)
        condition = row.one_of("condition", Condition) if row.maybe("condition") else Condition.GOOD
        if condition is not Condition.GOOD or row.maybe_number("used_min"):
            yield ConditionSaid(holder.key, assembly, condition, row.maybe_number("used_min") or 0.0)
    yield from _standing(row, holder, reading)


def _standing(row: _Row, holder: Holder, reading: _Reading) -> Iterator[Entry]:
    name = row.maybe("place")
    if name is None:
        return
    place = reading.places.get(name)
    if place is None:
        raise _Bad("place", f"there is no place {name!r} in shop.toml")
    if place.capacity == 1 and place.code in reading.pockets:
        raise _Bad("place", f"{name!r} already has {reading.pockets[place.code]}")
    reading.pockets[place.code] = holder.key
    yield Moved(holder.key, None, place.code)
    if row.flag("fixed_pocket"):
        yield PocketAssigned(place.code, holder.key)
