"""A shop's files written by command are a shop that the import reads, with codes for every label."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk.cli import main
from kiosk.exchange.shop import read_shop
from kiosk.exchange.shop_adding import FolderTaken, begin
from kiosk.rules.lines import CodeBound, CutterAdded, HolderRegistered, OperatorAdded, PlaceAdded

THINGS = (
    ("bench", "name=Bench 1"),
    ("shrink_station", "name=Station"),
    ("presetter", "name=Presetter"),
    ("cooling", "way=sleeve", "wet_length_mm=80", "name=Sleeve 1"),
    ("cabinet", "drawers=4,3", "name=Cabinet A"),
    ("machine", "kind=chain", "pockets=24", "pitch_mm=110", "couplings=HSK63", "name=Mill 3"),
    ("machine", "kind=disc", "pockets=20", "ring_mm=700", "couplings=HSK63 A40", "name=Mill 4"),
    ("cutter", "dc_mm=8", "dmm_mm=8", "oal_mm=63", "material=carbide", "shank_h6=yes", "name=End mill 8", "zefp=4"),
    ("holder", "coupling=HSK63", "clamping=shrink_fit", "bore_mm=8", "nose_mm=21", "projection_mm=90", "name=Shrink 8"),
    ("supervisor", "name=Kim Vale"),
    ("setter", "name=Sam Porter"),
)


def test_a_shop_begun_and_filled_by_command_is_read_by_the_import(tmp_path: Path) -> None:
    folder = tmp_path / "mill"
    assert main(["shop", "new", str(folder)]) == 0
    for kind, *fields in THINGS:
        assert main(["shop", "add", str(folder), kind, *fields]) == 0, kind
    lines = read_shop(folder)
    kinds = [type(line) for line in lines]
    assert kinds.count(PlaceAdded) == 4 + 1 + 2 + 7 + (1 + 1 + 24) + (1 + 1 + 20)
    assert kinds.count(HolderRegistered) == 1 and kinds.count(CutterAdded) == 1 and kinds.count(OperatorAdded) == 2
    assert kinds.count(CodeBound) == kinds.count(PlaceAdded) + 3
    assert main(["import", str(folder), "--data", str(tmp_path / "data"), "--write"]) == 0


@pytest.mark.parametrize("given", [
    ("cabinet", "name=A"), ("cabinet", "drawers=x", "name=A"), ("cabinet", "drawers=0,500", "name=A"),
    ("machine", "kind=ring", "pockets=2"), ("bench", "colour=red", "name=B"), ("bench", "name= "), ("setter",),
    ("cooling", "way=sleeve", "wet_length_mm=9000", "name=S"),
])  # fmt: skip
def test_what_makes_no_thing_is_said_and_changes_no_file(tmp_path: Path, given: tuple[str, ...]) -> None:
    folder = tmp_path / "mill"
    assert main(["shop", "new", str(folder)]) == 0
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert main(["shop", "add", str(folder), *given]) in (1, 2)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_rows_of_a_spreadsheet_without_codes_get_them_on_request_and_keep_them(tmp_path: Path) -> None:
    people = tmp_path / "operators.csv"
    people.write_text("code;key;name;role\r\n;kim;Kim Vale;supervisor\r\n;sam;Sam, Porter;setter\r\n", "utf-8")
    places = tmp_path / "places.csv"
    places.write_text("code,name,kind,parent,number,capacity\n,Bench 9,bench,,,\n,\"Rack, left\",cabinet,,,\n", "utf-8")
    given = ["import", str(people), str(places), "--data", str(tmp_path / "data")]
    assert main(given) == 2
    assert main([*given, "--make-codes", "--write"]) == 0
    made = people.read_bytes(), places.read_bytes()
    assert b"Sam, Porter" in made[0] and b'"Rack, left"' in made[1]
    assert main([*given, "--make-codes"]) == 0
    assert (people.read_bytes(), places.read_bytes()) == made


def test_a_shop_is_not_begun_over_another(tmp_path: Path) -> None:
    assert main(["shop", "new", str(tmp_path)]) == 0
    assert main(["shop", "new", str(tmp_path)]) == 2


@pytest.mark.parametrize("file", ["shop.toml", "holders.csv", "cutters.csv", "operators.csv"])
def test_a_shop_is_begun_over_no_table_that_is_there(tmp_path: Path, file: str) -> None:
    """Somebody's tables, of a shop or of single imports, are never emptied."""
    (tmp_path / file).write_text("somebody's work\n")
    with pytest.raises(FolderTaken) as taken:
        begin(tmp_path, "mill")
    assert taken.value.file == file and file in str(taken.value)
    assert [path.name for path in tmp_path.iterdir()] == [file]
    assert (tmp_path / file).read_text() == "somebody's work\n"
