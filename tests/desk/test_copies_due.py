"""When a copy is due and where it goes, without a book."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import patch

import pytest

from kiosk.desk import copies as counter
from kiosk.desk.copies import CopiesCounter, backup, restore
from kiosk.ledger.backup import Copy
from kiosk.rules.cards import Moment
from kiosk.settings import Settings

NOW_S = 1.8e9


def counting(folder: Path, last_id: int = 9, second: str = "", lost: bool = False) -> CopiesCounter:
    session = SimpleNamespace(
        book=SimpleNamespace(path=folder / "ledger.db", last_id=last_id, folder_name="f00d", lost=lost),
        settings=SimpleNamespace(backup=SimpleNamespace(second_folder=second, keep=7.0)),
        now=lambda: Moment(NOW_S, 9e6),
    )
    return CopiesCounter(session)  # type: ignore[arg-type]


def copied(folder: Path, age_s: float, owner: str = "f00d") -> None:
    folder.mkdir(exist_ok=True)
    made = folder / f"ledger-mill-{owner}-20270115-080000.db"
    made.touch()
    os.utime(made, (NOW_S - age_s, NOW_S - age_s))


@pytest.mark.parametrize(("last_id", "due"), [(0, False), (1, True), (9, True)])
def test_an_empty_book_needs_no_copy(tmp_path: Path, last_id: int, due: bool) -> None:
    assert counting(tmp_path, last_id).due() is due


@pytest.mark.parametrize(("age_s", "due"), [(0.0, False), (86399.0, False), (86400.0, True), (-1.0, True)])
def test_a_copy_counts_for_a_day_where_copies_lie_first_and_only_ones_own(
    tmp_path: Path, age_s: float, due: bool
) -> None:
    first, second = counting(tmp_path).folders()[0], tmp_path / "stick"
    at_both = counting(tmp_path, second=str(second))
    assert at_both.folders() == (first, second) and counting(tmp_path).folders() == (first,)
    copied(second, 0.0)
    copied(first, 0.0, owner="beef")
    assert at_both.due(), "on the stick or another kiosk's is none here"
    copied(first, age_s)
    assert at_both.due() is due and counting(tmp_path, 0).due() is False


@pytest.mark.parametrize(("lost", "keep"), [(False, 7), (True, None)])
def test_nothing_old_is_dropped_while_lines_are_lost(tmp_path: Path, lost: bool, keep: int | None) -> None:
    with patch.object(counter, "backup", return_value=()) as made:
        counting(tmp_path, lost=lost, second="~/stick").backup()
        counting(tmp_path, lost=lost).backup(tmp_path / "alone")
    assert [call.args[2] for call in made.call_args_list] == [keep, keep]
    assert made.call_args_list[0].args[:2] == (tmp_path, (tmp_path / "backups", Path("~/stick").expanduser()))
    assert made.call_args_list[1].args[1] == (tmp_path / "alone",)


def test_a_copy_that_goes_without_settings_beside_it_goes_all_the_same(tmp_path: Path) -> None:
    made = Copy(tmp_path / "ledger-new.db", NOW_S, 9, "hash")
    gone = [tmp_path / "ledger-old.db"]
    with (
        patch.object(counter.ledger_backup, "copy", return_value=made),
        patch.object(counter.ledger_backup, "rotate", return_value=gone) as rotated,
    ):
        (done,) = backup(tmp_path, (tmp_path,), 3)
        (kept,) = backup(tmp_path, (tmp_path,), None)
    assert done.copy == kept.copy == made and done.why == kept.why == ""
    assert rotated.call_count == 1 and rotated.call_args[0][1] == 3


@pytest.mark.parametrize(
    ("beside", "own", "named", "left"),
    [
        ({"ledger-a.toml": "Mill", "settings.toml": "Other"}, None, "Mill", "Mill"),
        ({"settings.toml": "Other"}, None, "Other", "Other"),
        ({"ledger-a.toml": "Mill"}, "Own", "Own", "Own"),
        ({}, "Own", "Own", "Own"),
        ({}, None, None, None),
    ],
)
def test_a_restore_is_by_the_kiosks_own_name_and_else_by_the_copys(
    tmp_path: Path, beside: dict[str, str], own: str | None, named: str | None, left: str | None
) -> None:
    there, folder = tmp_path / "copies", tmp_path / "data"
    for each in (there, folder):
        each.mkdir()
    for name, kiosk in beside.items():
        (there / name).write_text(f'[kiosk]\nname = "{kiosk}"\n', "utf-8")
    if own:
        (folder / "settings.toml").write_text(f'[kiosk]\nname = "{own}"\n', "utf-8")
    with patch.object(counter.ledger_backup, "restore", return_value="done") as restored:
        assert restore(folder, there / "ledger-a.db") == "done"
    assert restored.call_args[0][:2] == (folder, there / "ledger-a.db")
    assert restored.call_args[0][3] == (named or Settings().kiosk.name)
    kept = folder / "settings.toml"
    assert (f'"{left}"' in kept.read_text("utf-8")) if left else not kept.exists()
