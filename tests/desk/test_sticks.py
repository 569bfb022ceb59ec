"""What lies on sticks and in shared folders, and files that go or grow while they are looked at."""

from __future__ import annotations

import os
import shutil
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from kiosk import where
from kiosk.desk import sticks
from kiosk.desk.intake import ImportRefused, read
from kiosk.exchange import shop as shop_files
from kiosk.rules.intake import How
from tests.conftest import Shop


@pytest.fixture
def stick(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A stick that is plugged in, in its user's folder, beside one that is only a folder."""
    media = tmp_path / "media"
    stick = media / "kiosk" / "SHOPSTICK"
    stick.mkdir(parents=True)
    (media / "kiosk" / "left behind").mkdir()
    monkeypatch.setattr(sticks, "MOUNTED_UNDER", (media, tmp_path / "there is none"))
    monkeypatch.setattr(os.path, "ismount", lambda path: Path(path) == stick)
    return stick


def test_a_stick_shows_its_tables_and_whole_shops_and_nothing_that_is_hidden(stick: Path, tmp_path: Path) -> None:
    shutil.copytree(where.demo_tags(), stick / "the old shop", ignore=shutil.ignore_patterns("shift*"))
    for name in ("more.CSV", "~notes.docx", ".more.csv", "list.txt"):
        (stick / name).write_text("x", "utf-8")
    (stick.parent / "left behind" / "no.csv").write_text("x", "utf-8")
    (tmp_path / "data" / "imports").mkdir(parents=True)
    (tmp_path / "data" / "imports" / "mine.csv").write_text("x", "utf-8")
    found = sticks.found(tmp_path / "data")
    assert {(each.path.name, each.drive, each.whole) for each in found} == {
        ("the old shop", "SHOPSTICK", True),
        ("more.CSV", "SHOPSTICK", False),
        ("list.txt", "SHOPSTICK", False),
        ("mine.csv", "imports", False),
    }


def test_a_stick_that_goes_while_it_is_looked_at_is_no_trouble(stick: Path, tmp_path: Path) -> None:
    (stick / "more.csv").symlink_to(stick / "gone.csv")
    assert sticks.found(tmp_path / "data") == ()
    shutil.rmtree(stick.parent)
    assert sticks.found(tmp_path / "data") == ()


def test_a_stick_pulled_out_between_two_tables_brings_nothing_in(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "stick"
    shutil.copytree(where.demo_tags(), folder, ignore=shutil.ignore_patterns("shift*"))
    places = shop_files.read_places

    def pulled(path: Path, reading: Any) -> None:
        places(path, reading)
        shutil.rmtree(folder)

    monkeypatch.setattr(shop_files, "read_places", pulled)
    with pytest.raises(OSError, match="No such file"):
        read((folder,), shop.desk.intake.places())


def test_a_file_that_still_grows_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "more.csv"
    path.write_text("cutter,cutter_name,DC,DMM,OAL,material\n", "utf-8")

    def grow() -> None:
        time.sleep(0.3)
        with path.open("a", encoding="utf-8") as file:
            file.write("C1,End mill,6,6,57,carbide\n")

    copying = threading.Thread(target=grow)
    copying.start()
    with pytest.raises(sticks.StillWritten):
        sticks.settled(path)
    copying.join()
    sticks.settled(path, path.stat().st_mtime + sticks.FRESH_S + 1.0)


def test_what_was_read_needs_its_stick_no_more(shop: Shop, tmp_path: Path) -> None:
    path = tmp_path / "more.csv"
    path.write_text("cutter,cutter_name,DC,DMM,OAL,material\nC99,End mill,6,6,57,carbide\n", "utf-8")
    plan = shop.desk.intake.against(read((path,), shop.desk.intake.places()))
    path.unlink()
    assert len(shop.desk.intake.take(plan, path.name)) == 2
    assert shop.desk.intake.against(plan.entries).count(How.SAME) == 1
    with pytest.raises(ImportRefused):
        shop.desk.intake.take(plan, path.name)
