"""Places that cannot be are named with file and line, whichever file has them, and nothing of the shop is taken."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk.exchange.faults import FileFaults
from kiosk.exchange.shop import read_shop, read_tables
from kiosk.rules import codes, nesting
from kiosk.rules.lines import PlaceAdded
from kiosk.rules.places import Kind, Place
from kiosk.rules.say import say

P = [codes.make(codes.CodeKind.PLACE, number).text for number in range(20)]
HEADER = "code,name,kind,parent,number,capacity,way,wet_length_mm\n"
MACHINE = f"""
[[machine]]
code = "{P[10]}"
name = "Mill 1"
spindle = "{P[11]}"
pockets = ["{P[12]}", "{P[13]}"]
magazine = {{ kind = "chain", pockets = 2, pitch_mm = 80.0 }}
"""


def faults(tmp_path: Path, toml: str, table: str = "") -> set[tuple[str, int, str]]:
    """File, line and field of everything wrong in a shop's folder."""
    (tmp_path / "shop.toml").write_text(toml, "utf-8")
    if table:
        (tmp_path / "places.csv").write_text(HEADER + table, "utf-8")
    with pytest.raises(FileFaults) as caught:
        read_shop(tmp_path)
    return {(fault.file, fault.line, fault.field) for fault in caught.value.faults}


@pytest.mark.parametrize(
    ("table", "line"),
    [
        (f"{P[1]},Cabinet,cabinet,{P[1]},,,,\n", 2),  # inside itself
        (f"{P[1]},A,cabinet,{P[2]},,,,\n{P[2]},B,cabinet,{P[1]},,,,\n", 2),  # a ring of two
        (f"{P[1]},A,drawer,{P[2]},,,,\n{P[2]},B,drawer,{P[3]},,,,\n{P[3]},C,drawer,{P[1]},,,,\n", 4),
        (f"{P[1]},Pocket,pocket,,3,1,,\n", 2),  # in no machine
        (f"{P[1]},Bench,bench,,,,,\n{P[2]},Slot,slot,{P[1]},1,1,,\n", 3),  # a slot in a bench
        (f"{P[1]},Bench,bench,,,,sleeve,55\n", 2),  # a bench that cools
        (f"{P[1]},Unit,shrink_station,,,,mist,\n", 2),  # a station that cools
        (f"{P[1]},Sleeve,cooling,,,,,\n", 2),  # a cooling place that does not say how
        (f"{P[1]},Sleeve,cooling,,,,sleeve,5500\n", 2),
        (f"{P[1]},Sleeve,cooling,,,,sleeve,nan\n", 2),
        (f"{P[1]},Sleeve,cooling,,,,sleeve,-50\n", 2),
        (f"{P[1]},Bench,bench,,,0,,\n", 2),
        (f"{P[1]},Bench,bench,nowhere,,,,\n", 2),
    ],
)
def test_a_place_that_cannot_be_is_named_with_its_line(tmp_path: Path, table: str, line: int) -> None:
    found = faults(tmp_path, '[shop]\nname = "x"\n', table)
    assert any(file == "places.csv" and at == line for file, at, _ in found), found


def test_a_ring_through_the_book_is_named_too(tmp_path: Path) -> None:
    drawer = Place(P[2], "B", Kind.DRAWER, P[1])
    book = {P[1]: Place(P[1], "A", Kind.CABINET), P[2]: drawer, "B": drawer}
    path = tmp_path / "more.csv"
    path.write_text(f"{HEADER}{P[1]},A,drawer,B,,,,\n", "utf-8")
    with pytest.raises(FileFaults) as caught:
        read_tables([path], book)
    assert [(fault.file, fault.line, fault.field) for fault in caught.value.faults] == [("more.csv", 2, "parent")]


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("pitch_mm = 80.0", 'pitch_mm = "wide"', "magazine"),
        ("pitch_mm = 80.0", "pitch_mm = nan", "magazine"),
        ("pitch_mm = 80.0", "pitch_mm = 1e9", "pitch_mm"),
        ("pitch_mm = 80.0", "pitch_mm = 80.0, closed = [7]", "magazine"),
        ("pitch_mm = 80.0", "pitch_mm = 80.0, couplings = [3]", "couplings"),
        ("pockets = 2,", "pockets = 3,", "pockets"),
        (f'"{P[12]}", ', "7, ", "pockets"),
        (f'"{P[12]}", "{P[13]}"', f'"{P[12]}", "{P[12]}"', "code"),
        ('name = "Mill 1"', "name = 4", "name"),
        ('name = "Mill 1"\n', "", "name"),
        (f'spindle = "{P[11]}"', "spindle = 1979-05-27", "spindle"),
        ("magazine = {", "magazine = [{", ""),
    ],
)
def test_a_machine_that_cannot_be_is_named_with_its_line(tmp_path: Path, old: str, new: str, field: str) -> None:
    text = f'[shop]\nname = "x"\n\n[[place]]\ncode = "{P[1]}"\nname = "Bench"\nkind = "bench"\n{MACHINE}'
    changed = text.replace(old, new, 1)
    assert changed != text
    found = faults(tmp_path, changed.replace("80.0 }", "80.0 }]") if "[{" in new else changed)
    want = f"machine 1, {field}" if field else "machine 1, magazine"
    assert ("shop.toml", 9, want) in found, found


@pytest.mark.parametrize(
    "part", ['place = "x"', "machine = 3", "[place]\nname = 1", "cabinet = [1]", "[[cabinet]]\ndrawer = 1"]
)
def test_a_shop_of_other_types_is_a_fault(tmp_path: Path, part: str) -> None:
    assert {file for file, _, _ in faults(tmp_path, part + "\n")} == {"shop.toml"}


def test_a_table_says_what_a_place_of_the_shop_is_called_and_never_what_it_is(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text(MACHINE, "utf-8")
    (tmp_path / "places.csv").write_text(f"{HEADER}{P[12]},Probe,pocket,{P[10]},1,1,,\n", "utf-8")
    names = {line.place.code: line.place.name for line in read_shop(tmp_path) if isinstance(line, PlaceAdded)}
    assert names[P[12]] == "Probe" and names[P[13]] == "pocket 02"
    assert ("places.csv", 2, "kind") in faults(tmp_path, MACHINE, f"{P[12]},Probe,cooling,,1,1,mist,\n")


@pytest.mark.parametrize("kind", Kind)
def test_what_is_inside_what_is_decided_for_every_kind(kind: Kind) -> None:
    way = "mist" if kind is Kind.COOLING else None
    for around in (None, *Kind):
        places = {"a": Place("a", "A", kind, "b" if around else None, way=way)}
        if around is not None:
            places["b"] = Place("b", "B", around)
        allowed = nesting.INSIDE.get(kind, {None})
        assert (nesting.fault(places["a"], places) is None) == (around in allowed)


def test_a_long_chain_of_places_is_walked_without_recursion() -> None:
    places = {f"d{at}": Place(f"d{at}", "D", Kind.DRAWER, f"d{at + 1}") for at in range(5000)}
    places["d5000"] = Place("d5000", "D", Kind.DRAWER, "d0")
    assert nesting.fault(places["d0"], places) == say("file_fault.nesting.itself")


@pytest.mark.parametrize(
    ("toml", "line", "field"),
    [
        (f'[[place]]\ncode = "{P[1]}"\nname = "Rack"\nkind = "cooling"\n', 3, "way"),
        (f'[[place]]\ncode = "{P[1]}"\nname = "Rack"\nkind = "cooling"\nway = "freezer"\n', 3, "way"),
        (f'[[place]]\ncode = "{P[1]}"\nname = "Rack"\nkind = "bench"\nway = "mist"\n', 3, "way"),
        (
            f'[[place]]\ncode = "{P[1]}"\nname = "Bench"\nkind = "bench"\n'
            f'[[place]]\ncode = "{P[2]}"\nname = "Bench"\nkind = "bench"\n',
            7,
            "name",
        ),
    ],
)
def test_a_place_of_a_shops_own_file_says_how_it_cools_and_has_a_name_of_its_own(
    tmp_path: Path, toml: str, line: int, field: str
) -> None:
    found = faults(tmp_path, f'[shop]\nname = "x"\n{toml}')
    assert [(file, at, name.split(", ")[-1]) for file, at, name in found] == [("shop.toml", line, field)]
