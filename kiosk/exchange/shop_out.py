"""Everything the shop has, as files: the folder `exchange.shop` reads in again, and the lines for a spreadsheet.

Writes what it is given, one file at a time under another name until it is whole; it knows no ledger.  Places
that a shop file has no words for (a slot without a drawer) stand in `places.csv` only.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from enum import Enum
from pathlib import Path
from typing import Any

import tomlkit

from kiosk import filing
from kiosk.exchange.columns import write_book, write_cutters
from kiosk.exchange.tables_csv import PLAIN, Cell, Dialect, write_table
from kiosk.rules.assembly import Cutter
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.places import Kind, Place
from kiosk.rules.slices import Between, not_asked
from kiosk.rules.stock import BookEntry

PLACE_COLUMNS = ("code", "name", "kind", "parent", "number", "capacity", "way", "wet_length_mm", "owner")
MARK_COLUMNS = ("mark", "holder")
OPERATOR_COLUMNS = ("code", "key", "name", "role")
MOST_SLOTS = 1000  # of a drawer in shop.toml; what has a higher number stands in places.csv
LINE_COLUMNS = ("line", "utc", "watched_s", "kiosk", "operator", "kind", "payload", "hash")


@dataclass(frozen=True, slots=True)
class OperatorRow:
    code: str
    key: str
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class LineRow:
    """A line of the ledger as it stands there, payload as JSON; what is secret in it stays there."""

    line: int
    utc_s: float
    watched_s: float
    kiosk: str
    operator: str | None
    kind: str
    payload: str
    hash: str


@dataclass(frozen=True, slots=True)
class ShopData:
    """All of a shop.

    magazines: by the machine's code.  owners: pocket -> key of the holder it belongs to.  marks: each mark that was
    on a holder before us, with the holder's key.  without_badges: people's badges stay here, and people with them.
    """

    name: str
    places: Sequence[Place]
    magazines: dict[str, Magazine]
    holders: Sequence[BookEntry]
    spare: Sequence[Cutter]  # cutters in no assembly
    operators: Sequence[OperatorRow]
    owners: Mapping[str, str] = field(default_factory=dict)
    marks: Sequence[tuple[str, str]] = ()
    without_badges: bool = False


def write_shop(
    folder: Path,
    shop: ShopData,
    lines: Iterable[LineRow] = (),
    dialect: Dialect = PLAIN,
    between: Between = not_asked,
) -> list[Path]:
    """Writes shop.toml, the tables it goes with, and lines.csv.  Raises OSError.

    shop.toml has what it has words for; places.csv has every place, as it is called.  between: told before each file
    how many were written; what it raises ends the writing there.
    """
    folder.mkdir(parents=True, exist_ok=True)
    texts = {
        "shop.toml": shop_toml(shop),
        "holders.csv": write_book(shop.holders, dialect),
        "cutters.csv": write_cutters(shop.spare, dialect),
        "operators.csv": write_table(
            OPERATOR_COLUMNS, ((row.code, row.key, row.name, row.role) for row in shop.operators), dialect
        ),
        "places.csv": write_table(
            PLACE_COLUMNS, ((*_place_cells(place), shop.owners.get(place.code)) for place in shop.places), dialect
        ),
        "marks.csv": write_table(MARK_COLUMNS, shop.marks, dialect),
        "lines.csv": write_table(LINE_COLUMNS, map(_line_cells, lines), dialect),
    }
    made = []
    for number, (name, text) in enumerate(texts.items()):
        between(number)
        made.append(filing.write(folder / name, text))
    return made


def _place_cells(place: Place) -> tuple[Cell, ...]:
    return (
        *(place.code, place.name, place.kind.value, place.parent, place.number, place.capacity),
        *(place.way, place.wet_length_mm),
    )


def _line_cells(row: LineRow) -> tuple[Cell, ...]:
    return (
        *(row.line, utc_text(row.utc_s), row.watched_s, row.kiosk, row.operator, row.kind, row.payload),
        row.hash,
    )


def utc_text(utc_s: float) -> str:
    """Wall time as tables say it: `2026-03-02T14:05:09Z`."""
    return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def shop_toml(shop: ShopData) -> str:
    """Places, cabinets and machines as `exchange.shop` reads them."""
    inside: dict[str, list[Place]] = {}
    for place in shop.places:
        if place.parent:
            inside.setdefault(place.parent, []).append(place)
    for children in inside.values():
        children.sort(key=lambda place: (place.number or 0, place.name))
    document = tomlkit.document()
    document["shop"] = {"name": shop.name}
    tops = [place for place in shop.places if not place.parent]
    once = Counter(place.name for place in tops)
    alone = [p for p in tops if p.kind not in (Kind.CABINET, Kind.MACHINE) and once[p.name] == 1]
    document["place"] = [_known(p, ("code", "name", "kind", "way", "wet_length_mm", "capacity")) for p in alone]
    document["cabinet"] = [
        {
            "code": cabinet.code,
            "name": cabinet.name,
            "drawer": [
                {"code": drawer.code, "number": drawer.number, "slots": _by_number(inside, drawer, Kind.SLOT)}
                for drawer in inside.get(cabinet.code, ())
                if drawer.kind is Kind.DRAWER and drawer.number is not None
            ],
        }
        for cabinet in tops
        if cabinet.kind is Kind.CABINET and once[cabinet.name] == 1
    ]
    document["machine"] = [
        {
            "code": machine.code,
            "name": machine.name,
            "spindle": next((p.code for p in inside.get(machine.code, ()) if p.kind is Kind.SPINDLE), ""),
            "pockets": _by_number(inside, machine, Kind.POCKET, shop.magazines[machine.code].numbers),
            "magazine": _magazine(shop.magazines[machine.code]),
        }
        for machine in tops
        if machine.kind is Kind.MACHINE and machine.code in shop.magazines
    ]
    return tomlkit.dumps(document)


def _by_number(
    inside: Mapping[str, Sequence[Place]], around: Place, kind: Kind, numbers: Iterable[int] | None = None
) -> list[str]:
    """Codes of the slots or pockets in a place by their numbers, counted from 1 or as said; empty: there is none."""
    found: dict[int, str] = {}
    for place in inside.get(around.code, ()):
        if place.kind is kind and place.number is not None:
            found.setdefault(place.number, place.code)
    if numbers is None:
        numbers = range(1, 1 + min(max(found, default=0), MOST_SLOTS))
    return [found.get(number, "") for number in numbers]


def _known(value: Any, names: Iterable[str]) -> dict[str, Any]:
    """The fields that are known, as TOML has them."""
    found = {name: getattr(value, name) for name in names}
    return {name: each.value if isinstance(each, Enum) else each for name, each in found.items() if each is not None}


def _magazine(magazine: Magazine) -> dict[str, Any]:
    found = _known(magazine, (each.name for each in fields(Magazine)))
    for name in ("fixed", "closed"):
        found[name] = sorted(found[name])
    return found | {"couplings": sorted(map(str, magazine.couplings))}
