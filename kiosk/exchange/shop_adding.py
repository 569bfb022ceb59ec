"""A shop's folder written by command: begun empty, and one thing added to it at a time, with codes made for its labels.

What it writes is what `exchange.shop` reads; what stands in the files already stays as it is written.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

import tomlkit

from kiosk import filing
from kiosk.exchange.columns import CUTTER_COLUMNS, CUTTER_SYMBOLS, HOLDER_COLUMNS, PLACE_COLUMNS
from kiosk.exchange.shop_out import OPERATOR_COLUMNS, ShopData, shop_toml
from kiosk.exchange.tables_csv import Cell, Dialect, decoded, delimiter_of, write_table
from kiosk.rules import codes
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.places import Place
from kiosk.rules.shop_things import making
from kiosk.rules.shop_things.forms import Ask, Draft, Thing, Value, fields_of, next_field
from kiosk.rules.shop_things.making import Furnished, ThingFault, refused

PERSON = ("setter", "supervisor")
_TABLES: Mapping[str, Sequence[str]] = {
    "holders.csv": (*HOLDER_COLUMNS, *PLACE_COLUMNS),
    "cutters.csv": CUTTER_COLUMNS,
    "operators.csv": OPERATOR_COLUMNS,
}
_RENAMED = {Thing.CUTTER: CUTTER_SYMBOLS | {"name": "cutter_name", "coolant": "cutter_coolant"},
            Thing.HOLDER: {"coolant": "holder_coolant"}}  # fmt: skip


class FolderTaken(FileExistsError):
    """There is a shop in this folder already, or a table of one (`file`)."""

    def __init__(self, folder: Path, file: str) -> None:
        super().__init__(f"{folder} has a {file} already; add to it with shop add, or begin in another folder")
        self.folder = folder
        self.file = file


def begin(folder: Path, name: str) -> tuple[Path, ...]:
    """An empty shop: shop.toml, and tables that have only their columns, to be filled in a spreadsheet.

    Raises FolderTaken, OSError.
    """
    texts = {"shop.toml": tomlkit.dumps({"shop": {"name": name}})}
    texts |= {table: write_table(columns, ()) for table, columns in _TABLES.items()}
    if taken := next((file for file in texts if (folder / file).exists()), None):
        raise FolderTaken(folder, taken)
    folder.mkdir(parents=True, exist_ok=True)
    return tuple(filing.write(folder / table, text) for table, text in texts.items())


def answers(thing: Thing, given: Sequence[str]) -> Draft:
    """Answers as a command gives them, `field=value` each.  Raises ThingFault."""
    found: dict[str, Value] = {}
    said = dict(part.partition("=")[::2] for part in given)
    while open_ := [field for field in fields_of(thing, found) if field.name in said]:
        for field in open_:
            found[field.name] = _value(field.ask, field.options, said.pop(field.name), field.name)
    if said:
        raise refused("no_field", field=next(iter(said)), known=", ".join(f.name for f in fields_of(thing, found)))
    if (lacking := next_field(thing, found)) is not None:
        raise refused("lacking_field", field=lacking.name)
    return found


def _value(ask: Ask, options: Sequence[str], text: str, name: str) -> Value:
    text = text.strip()
    try:
        match ask:
            case Ask.FIGURE:
                return float(text.replace(",", "."))
            case Ask.DRAWERS:
                return tuple(int(part) for part in text.split(","))
            case Ask.YES_NO:
                return {"yes": True, "no": False}[text.lower()]
            case Ask.CHOICE if text not in options and name != "couplings":
                raise ValueError
            case _:
                return text
    except (ValueError, KeyError):
        raise refused("no_answer", field=name, value=text) from None


def add(folder: Path, thing: Thing, draft: Draft) -> tuple[str, ...]:
    """Adds a thing to a shop's files; the codes that were made for it.  Raises ThingFault, FileUnusable, OSError."""
    if thing is Thing.CUTTER:
        made = making.cutter(draft, f"C{secrets.token_hex(5).upper()}")
        _row(folder / "cutters.csv", _cells(thing, made, "cutter"))
        return ()
    if thing is Thing.HOLDER:
        steel = making.holder(draft, f"T{secrets.token_hex(5).upper()}")
        code = fresh(codes.CodeKind.HOLDER)()
        _row(folder / "holders.csv", _cells(thing, steel, "key") | {"code": code})
        return (code,)
    furnished = making.place(thing, draft, fresh(codes.CodeKind.PLACE))
    path = folder / "shop.toml"
    document = tomlkit.parse(filing.take_text(path, filing.MOST_TOML_BYTES))
    for part, found in tomlkit.parse(shop_toml(_data(furnished))).items():
        if part != "shop" and found:
            document.setdefault(part, tomlkit.aot())
            for table in found.unwrap():
                document[part].append(tomlkit.item(table))
    filing.write(path, tomlkit.dumps(document))
    return tuple(line.place.code for line in furnished.added)


def add_person(folder: Path, name: str, role: str) -> str:
    """Adds somebody to a shop's files; the code of the badge.  Raises ThingFault, FileUnusable, OSError."""
    code = fresh(codes.CodeKind.BADGE)()
    _row(folder / "operators.csv", {"code": code, "key": code.lower(), "name": making.named(name), "role": role})
    return code


def fresh(kind: codes.CodeKind) -> Callable[[], str]:
    """Makes codes of which every slip is caught; one that exists already is turned away by the import."""

    def make() -> str:
        while not codes.catches_swaps(code := codes.make(kind, secrets.randbelow(codes.NUMBERS))):
            pass
        return code.text

    return make


def _data(furnished: Furnished) -> ShopData:
    places: list[Place] = [line.place for line in furnished.added]
    magazines: dict[str, Magazine] = {
        line.place.code: line.magazine for line in furnished.added if line.magazine is not None
    }
    return ShopData("", places, magazines, (), (), ())


def _cells(thing: Thing, made: Any, key: str) -> dict[str, Cell]:
    """A cutter or holder by the columns of its table."""
    found: dict[str, Cell] = {}
    for each in fields(made):
        value = getattr(made, each.name)
        value = getattr(value, "value", value)
        name = key if each.name == "key" else _RENAMED[thing].get(each.name, each.name)
        found[name] = value if value is None or isinstance(value, bool | int | float | str) else str(value)
    return found


def _row(path: Path, cells: Mapping[str, Cell]) -> None:
    """One more row of a table, under the columns and with the delimiter that it has."""
    text = decoded(filing.take(path), path.name)
    mark = delimiter_of(text)
    header = next((line for line in text.splitlines() if line.strip()), "")
    columns = [column.strip().strip('"') for column in header.split(mark)]
    if lacking := [name for name, value in cells.items() if value not in (None, "", False) and name not in columns]:
        raise refused("no_column", field=lacking[0], file=path.name)
    dialect = Dialect(mark, "," if mark == ";" else ".")
    row = write_table(columns, [[cells.get(column) for column in columns]], dialect).split("\r\n", 1)[1]
    filing.write(path, text if not text.strip() else text.rstrip("\r\n") + "\r\n" + row)


__all__ = ["PERSON", "FolderTaken", "ThingFault", "add", "add_person", "answers", "begin", "fresh"]
