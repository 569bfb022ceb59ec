"""A shop's folder: read whole, or every slip in it named."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from shutil import copytree, ignore_patterns

import pytest

from kiosk import where
from kiosk.exchange.shop import ShopFault, read_shop
from kiosk.rules.lines import Built, HolderRegistered, Moved, PlaceAdded, PocketAssigned


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    copytree(where.demo_tags(), folder, ignore=ignore_patterns("shift", "sheets", "*.py", "*.pdf", "*.png"))
    return folder


def edited(path: Path, change: Callable[[str], str]) -> None:
    path.write_text(change(path.read_text("utf-8")), "utf-8")


def test_the_demo_shop_is_read_whole(shop: Path) -> None:
    lines = read_shop(shop)
    holders = [line.holder for line in lines if isinstance(line, HolderRegistered)]
    assert len(holders) == len((shop / "holders.csv").read_text("utf-8").splitlines()) - 1
    standing = {line.holder for line in lines if isinstance(line, Moved)}
    assert standing <= {holder.key for holder in holders}
    assert any(isinstance(line, Built) for line in lines)
    assert any(isinstance(line, PocketAssigned) for line in lines)
    assert any(isinstance(line, PlaceAdded) and line.magazine for line in lines)


def test_a_list_saved_by_a_spreadsheet_reads_the_same(shop: Path) -> None:
    before = read_shop(shop)
    path = shop / "cutters.csv"
    text = path.read_text("utf-8").replace(".", "\x00").replace(",", ";").replace("\x00", ",")
    path.write_bytes("\r\n".join(text.splitlines()).replace("R0,5", "R0.5").replace("R0,2", "R0.2").encode("utf-8-sig"))
    assert read_shop(shop) == before


def faults_of(shop: Path) -> list[tuple[str, str]]:
    with pytest.raises(ShopFault) as caught:
        read_shop(shop)
    return [(fault.file, fault.field) for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("file", "old", "new", "field"),
    [
        ("shop.toml", "pitch_mm", "pich_mm", "machine 1, pich_mm"),
        ("shop.toml", 'kind = "bench"', 'kind = "bank"', "place 1, kind"),
        ("shop.toml", "slots = ", "slotz = ", "cabinet 1, slotz"),
        ("shop.toml", "[shop]", "[shop", ""),
        ("operators.csv", ",setter", ",boss", "role"),
        ("cutters.csv", "carbide,6,6,57", "carbide,six,6,57", "DC"),
        ("holders.csv", "Bench 1", "Bench 99", "place"),
        ("holders.csv", "HSK63,shrink_fit,12", "HSK62,shrink_fit,12", "coupling"),
    ],
)
def test_a_slip_is_named_with_its_file_and_field(shop: Path, file: str, old: str, new: str, field: str) -> None:
    edited(shop / file, lambda text: text.replace(old, new, 1))
    assert (file, field) in faults_of(shop)


def test_a_code_used_twice_is_a_fault_wherever_it_was_used_first(shop: Path) -> None:
    code = (shop / "holders.csv").read_text("utf-8").splitlines()[1].split(",")[0]
    edited(shop / "holders.csv", lambda text: text + text.splitlines()[1].replace("T001", "T901") + "\n")
    assert ("holders.csv", "code") in faults_of(shop)
    assert code.startswith("H")


def test_all_files_are_looked_at_before_any_fault_is_raised(shop: Path) -> None:
    edited(shop / "operators.csv", lambda text: text.replace(",setter", ",boss", 1))
    edited(shop / "cutters.csv", lambda text: text.replace("carbide,6,6,57", "carbide,six,6,57", 1))
    (shop / "holders.csv").write_bytes(b"\xff\xd8not text")
    assert {file for file, _ in faults_of(shop)} == {"operators.csv", "cutters.csv", "holders.csv"}
