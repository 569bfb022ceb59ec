"""The day's copy: when it is due, what goes with it, and what it brings back."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from kiosk.desk.copies import backup, newest_in, restore, takes_copies
from tests.conftest import Shop


def test_a_copy_is_due_when_there_is_none_and_again_after_a_day(shop: Shop) -> None:
    copies = shop.desk.copies
    assert copies.due()
    (made,) = copies.backup()
    assert made.copy is not None
    now_s = shop.desk.now().utc_s
    os.utime(made.copy.path, (now_s, now_s))
    assert not copies.due()
    shop.clock.forward(25 * 3600)
    assert copies.due()


def test_a_copy_dated_ahead_stops_no_copy(shop: Shop) -> None:
    copies = shop.desk.copies
    (made,) = copies.backup()
    assert made.copy is not None
    now_s = shop.desk.now().utc_s
    for age_s, due in ((0.0, False), (86399.0, False), (86400.0, True), (-1.0, True)):
        os.utime(made.copy.path, (now_s - age_s, now_s - age_s))
        assert copies.due() is due, age_s
    assert copies.due(every_s=0.0)


def test_each_folder_gets_a_copy_with_its_settings_and_the_oldest_go_with_theirs(shop: Shop, tmp_path: Path) -> None:
    second = tmp_path / "second"
    (shop.folder / "settings.toml").write_text(f'[backup]\nkeep = 1\nsecond_folder = "{second}"\n', "utf-8")
    desk = shop.reopen()
    assert desk.copies.folders()[1] == second and len(desk.copies.folders()) == 2
    before = desk.copies.backup()
    for made in before:
        assert made.copy is not None and made.why == ""
        beside = made.copy.path.with_suffix(".toml")
        assert beside.read_text("utf-8") == (shop.folder / "settings.toml").read_text("utf-8")
        aged = made.copy.path.with_name(made.copy.path.name.replace(made.copy.path.stem[-15:], "20200101-000000"))
        made.copy.path.rename(aged)
        beside.rename(aged.with_suffix(".toml"))
    desk.copies.backup()
    for folder in desk.copies.folders():
        assert [path.suffix for path in sorted(folder.iterdir())] == [".db", ".toml"], folder
    desk.close()


def test_without_a_limit_nothing_old_is_dropped_and_a_target_alone_is_a_target_alone(
    shop: Shop, tmp_path: Path
) -> None:
    old = tmp_path / "there" / "ledger-kiosk-20200101-000000.db"
    old.parent.mkdir()
    old.touch()
    (made,) = backup(shop.folder, (old.parent,))
    assert made.copy is not None and old.exists()
    (alone,) = shop.desk.copies.backup(tmp_path / "there")
    assert alone.folder == tmp_path / "there" and alone.copy is not None


def test_a_folder_that_takes_no_copy_says_why_and_stops_no_other(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    failed, made = backup(shop.folder, (tmp_path / "file", tmp_path / "good"), 3)
    assert failed.copy is None and failed.why and made.copy is not None


def test_a_copy_put_back_brings_its_settings_only_where_there_are_none(shop: Shop, tmp_path: Path) -> None:
    (shop.folder / "settings.toml").write_text('[kiosk]\nname = "Mill"\n', "utf-8")
    (made,) = backup(shop.folder, (tmp_path / "copies",))
    assert made.copy is not None
    shop.desk.close()
    bare, own = tmp_path / "bare", tmp_path / "own"
    own.mkdir()
    (own / "settings.toml").write_text('[kiosk]\nname = "Own"\n', "utf-8")
    for folder, name in ((bare, "Mill"), (own, "Own")):
        done = restore(folder, made.copy.path)
        assert done.line > made.copy.lines
        assert name in (folder / "settings.toml").read_text("utf-8")
    shop.reopen()


def test_a_second_folder_is_tried_before_it_is_set_and_tells_when_its_last_copy_was_made(
    shop: Shop, tmp_path: Path
) -> None:
    stick = tmp_path / "SHOPSTICK" / "holder-kiosk"
    takes_copies(stick)
    assert list(stick.iterdir()) == [] and newest_in(shop.folder, stick) is None
    made = shop.desk.copies.backup(stick)[0].copy
    assert made is not None and newest_in(shop.folder, stick) == made.path.stat().st_mtime
    assert newest_in(tmp_path / "another kiosk", tmp_path / "gone") is None
    full = tmp_path / "a file"
    full.write_text("x", "utf-8")
    with pytest.raises(OSError, match=r"File exists|Not a directory"):
        takes_copies(full)
