"""A shop's places out of its files: stations, cabinets and machines from TOML, and any place from a table.

The table (`places.csv`) may say of a place that TOML has too that it is called otherwise; it never makes it another
kind of place.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import msgspec

from kiosk import filing
from kiosk.exchange.faults import FieldFault, file_say, no_coupling, no_toml
from kiosk.exchange.figures import possible
from kiosk.exchange.shop_reading import Reading, Spot, code_of, only
from kiosk.exchange.tables_csv import Record, Table
from kiosk.rules import codes
from kiosk.rules.assembly import Coupling
from kiosk.rules.fitting.magazine import Magazine, MagazineFault
from kiosk.rules.lines import Entry
from kiosk.rules.places import WAYS, Kind, Place
from kiosk.rules.reasons import reason
from kiosk.rules.shop_things import making


def read_places(path: Path, reading: Reading) -> None:
    """The places in a shop.toml."""
    try:
        text = filing.take_text(path, filing.MOST_TOML_BYTES)
        data = filing.toml_values(text)
    except (filing.TomlFault, filing.FileUnusable) as fault:
        said = no_toml(path.name, fault.why)
        reading.faults.append(replace(said, line=getattr(fault, "line", said.line)))
        return
    except OSError as error:
        reading.faults.append(Spot(path.name, 0).fault("", file_say("unreadable", why=reason(error))))
        return
    if unknown := sorted(data.keys() - {"shop", "place", "cabinet", "machine", "settings"}):
        reading.faults.append(Spot(path.name, 0).fault(unknown[0], file_say("no_part")))
    for part, read in (("place", _place), ("cabinet", _cabinet), ("machine", _machine)):
        begins = _lines_of(text, part)
        tables = data.get(part, [])
        if not isinstance(tables, list):
            spot = Spot(path.name, begins[0] if begins else 0)
            reading.faults.append(spot.fault(part, file_say("must_be", said=f"[[{part}]]")))
            continue
        for at, table in enumerate(tables):
            spot = Spot(path.name, begins[at] if len(begins) == len(tables) else 0, f"{part} {at + 1}")
            _guarded(table, spot, reading, read)


def _lines_of(text: str, part: str) -> list[int]:
    """The line on which each `[[part]]` of a file begins."""
    head = re.compile(rf"\s*\[\[\s*{part}\s*\]\]")
    return [number for number, line in enumerate(text.splitlines(), 1) if head.match(line)]


def _guarded(table: Any, spot: Spot, reading: Reading, read: Callable[[dict[str, Any], Spot, Reading], None]) -> None:
    before = len(reading.lines)
    try:
        if not isinstance(table, dict):
            raise FieldFault("", "must_be.dict")
        read(table, spot, reading)
        return
    except FieldFault as bad:
        fault = spot.fault(bad.field, bad.say)
    except MagazineFault as bad:
        fault = spot.fault(f"magazine, {bad.field}", file_say("magazine", why=bad.why))
    except msgspec.ValidationError as error:
        fault = spot.fault("magazine", file_say("does_not_fit", reported=str(error)))
    reading.faults.append(fault)
    reading.forget(before)


def _said(table: dict[str, Any], name: str, kind: type, default: Any = ...) -> Any:
    """A value of a table.  Raises FieldFault where it is missing or of another type."""
    if name not in table:
        if default is ...:
            raise FieldFault(name, "missing")
        return default
    value = table[name]
    if kind is float and isinstance(value, int):
        value = float(value) if not isinstance(value, bool) else value
    if not isinstance(value, kind) or isinstance(value, bool):
        raise FieldFault(name, f"must_be.{kind.__name__}")
    return value


def _texts(table: dict[str, Any], name: str) -> list[str]:
    found = _said(table, name, list)
    if not all(isinstance(each, str) for each in found):
        raise FieldFault(name, "must_be.texts")
    return list(found)


def _alone(name: str, reading: Reading) -> str:
    """Raises FieldFault for a name that another place of the file has: tables go by it."""
    if name in reading.names:
        raise FieldFault("name", "name_twice", said=repr(name))
    return name


def _place(table: dict[str, Any], spot: Spot, reading: Reading) -> None:
    only(table, ("code", "name", "kind", "way", "wet_length_mm", "capacity"))
    kind = _kind(_said(table, "kind", str))
    if kind is Kind.MACHINE:
        raise FieldFault("kind", "machine_is")
    place = Place(
        _said(table, "code", str),
        _alone(_said(table, "name", str), reading),
        kind,
        capacity=_said(table, "capacity", int, None),
        way=_said(table, "way", str, None),
        wet_length_mm=_said(table, "wet_length_mm", float, None),
    )
    _cools(place)
    reading.add(place, spot, place.name)


def _kind(text: str) -> Kind:
    try:
        return Kind(text)
    except ValueError:
        raise FieldFault("kind", "no_kind", said=repr(text)) from None


def _cools(place: Place) -> None:
    if place.kind is Kind.COOLING and place.way not in WAYS:
        raise FieldFault("way", "way_missing")
    if place.kind is not Kind.COOLING and (place.way is not None or place.wet_length_mm is not None):
        raise FieldFault("way" if place.way else "wet_length_mm", "only_cooling_cools")


def _cabinet(table: dict[str, Any], spot: Spot, reading: Reading) -> None:
    only(table, ("code", "name", "drawer"))
    cabinet = Place(_said(table, "code", str), _alone(_said(table, "name", str), reading), Kind.CABINET)
    reading.add(cabinet, spot, cabinet.name)
    for drawer in _said(table, "drawer", list, []):
        if not isinstance(drawer, dict):
            raise FieldFault("drawer", "must_be", said="[[cabinet.drawer]]")
        only(drawer, ("code", "number", "slots"))
        number = _said(drawer, "number", int)
        inside = making.drawer(cabinet, number, _said(drawer, "code", str))
        reading.add(inside, spot, f"{cabinet.name} · {number}", f"{cabinet.name} · {inside.name}")
        for slot, code in enumerate(_texts(drawer, "slots"), 1):
            if not code:  # a number without a slot
                continue
            place = making.slot(inside, slot, code)
            reading.add(place, spot, f"{cabinet.name} · {place.name}")


def _machine(table: dict[str, Any], spot: Spot, reading: Reading) -> None:
    only(table, ("code", "name", "spindle", "pockets", "magazine"))
    said = _said(table, "magazine", dict)
    only(said, [entry.name for entry in fields(Magazine)])
    couplings = [_coupling(text) for text in _texts(said | {"couplings": said.get("couplings", [])}, "couplings")]
    magazine = possible(msgspec.convert(said | {"couplings": couplings}, Magazine))
    pockets = _texts(table, "pockets")
    if len(pockets) != magazine.pockets:
        raise FieldFault("pockets", "pocket_codes", codes=len(pockets), pockets=magazine.pockets)
    machine = Place(_said(table, "code", str), _alone(_said(table, "name", str), reading), Kind.MACHINE)
    reading.add(machine, spot, machine.name, magazine=magazine)
    if code := _said(table, "spindle", str, ""):
        spindle = making.spindle(machine, code)
        reading.add(spindle, spot, f"{machine.name} · spindle")
    for number, code in zip(magazine.numbers, pockets, strict=True):
        if code:  # else there is no such pocket in the steel
            pocket = making.pocket(machine, number, code)
            reading.add(pocket, spot, f"{machine.name} · {number:02}", f"{machine.name} · {pocket.name}")


def _coupling(text: str) -> dict[str, Any]:
    try:
        coupling = Coupling.parse(text)
    except ValueError:
        raise no_coupling("couplings", text) from None
    return {"family": coupling.family.value, "size": coupling.size}


def place_rows(table: Table, reading: Reading) -> None:
    """The places in a table.  A row may be inside of what stands further down."""
    reading.faults += table.faults
    inside = {**{name: place.code for name, place in reading.names.items() if place}}
    inside |= {code: code for code in reading.by_code}
    for record in table.records:
        if (code := record.maybe("code")) is not None:
            inside[code] = code
            if (name := record.maybe("name")) is not None:
                inside.setdefault(name, code)
    for record in table.records:
        spot = Spot(table.file, record.line)
        reading.take(spot, _place_row(record, spot, reading, inside))


def _place_row(record: Record, spot: Spot, reading: Reading, inside: dict[str, str]) -> Iterator[Entry]:
    yield from ()
    code = code_of(record.text("code"), codes.CodeKind.PLACE)
    kind = _kind(record.text("kind"))
    within = record.maybe("parent")
    if within and within not in inside:
        raise FieldFault("parent", "no_place", said=repr(within))
    place = Place(
        code,
        record.text("name"),
        kind,
        inside[within] if within else None,
        record.maybe_whole("number"),
        record.maybe_whole("capacity"),
        record.maybe("way"),
        record.maybe_number("wet_length_mm"),
    )
    _cools(place)
    if owner := record.maybe("owner"):
        reading.owners[code] = (owner, spot)
    if code in reading.places and reading.places[code][1].file != spot.file:
        reading.instead(place)
    elif kind is not Kind.MACHINE:
        reading.add(place, spot, code, place.name)
    elif reading.known.get(code) != place:
        raise FieldFault("kind", "machine_comes")
