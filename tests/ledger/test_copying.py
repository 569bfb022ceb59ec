"""Copies: how they are named, which are kept, and what is swept up after those that were cut short."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import pytest

from kiosk.ledger.book import NAME, Book
from kiosk.ledger.copying import CopyFault, copies, copy, look, owner_of, reading, rotate, sweep
from kiosk.rules import lines as L

NOW_S = 1.8e9
DAY_S = 86400.0


def named(folder: Path, *names: str) -> list[Path]:
    for name in names:
        (folder / name).touch()
    return [folder / name for name in names]


OURS = [f"ledger-mill-f00d-202601{day:02}-120000.db" for day in range(1, 6)]
OTHERS = [f"ledger-lathe-beef-202602{day:02}-120000.db" for day in range(1, 4)]


def test_the_newest_copies_of_ones_own_are_kept_and_those_of_others_are_left_alone(tmp_path: Path) -> None:
    ours, others = named(tmp_path, *OURS), named(tmp_path, *OTHERS)
    assert copies(tmp_path, "f00d") == ours[::-1] and copies(tmp_path) == [*others[::-1], *ours[::-1]]
    assert rotate(tmp_path, 3, "f00d", ours[-1]) == [ours[1], ours[0]]
    assert sorted(tmp_path.iterdir()) == sorted([*ours[2:], *others])
    assert rotate(tmp_path, 0, "f00d") == [ours[3], ours[2]], "one always stays"
    assert sorted(tmp_path.iterdir()) == sorted([ours[4], *others])


def test_a_copy_dated_ahead_of_the_one_just_made_counts_as_the_oldest(tmp_path: Path) -> None:
    ahead = named(tmp_path, "ledger-mill-f00d-20990101-000000.db")[0]
    ours = named(tmp_path, *OURS)
    assert rotate(tmp_path, 2, "f00d", ours[2]) == [ours[0], ahead, ours[4], ours[3]]
    assert ours[2].exists() and ours[1].exists() and not ahead.exists()


def test_what_was_cut_short_is_swept_where_it_is_ours_and_dead_or_nobodys_for_a_day(tmp_path: Path) -> None:
    dead, alive = 2**22 + 1, os.getpid()
    mine = named(tmp_path, f"ledger-mill-f00d-20260101-120000.{dead}.part", "ledger-mill-f00d-20260101-120000.part")
    busy = named(tmp_path, f"ledger-mill-f00d-20260102-120000.{alive}.part")
    others = named(tmp_path, f"ledger-lathe-beef-20260101-120000.{dead}.part", "ledger-20260101-120000.db.part-journal")
    good = named(tmp_path, OURS[0])
    for path in (*mine, *busy, *others, *good):
        os.utime(path, (NOW_S, NOW_S))
    sweep(tmp_path, "f00d", NOW_S + DAY_S)
    assert sorted(tmp_path.iterdir()) == sorted([*busy, *others, *good])
    sweep(tmp_path, "", NOW_S)
    assert sorted(tmp_path.iterdir()) == sorted([*busy, *others, *good]), "without a name of ours nothing is ours"
    sweep(tmp_path, "f00d", NOW_S - DAY_S - 1.0)
    assert sorted(tmp_path.iterdir()) == good, "whichever way a clock was set"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with Book.open(tmp_path / "data", counter=lambda: 5e6, wall=lambda: NOW_S) as book:
        book.append([L.SignedIn("jo"), L.SignedOut("jo")])
    return tmp_path / "data"


def test_a_copy_bears_kiosk_folder_and_date_and_says_how_many_lines_it_has(folder: Path, tmp_path: Path) -> None:
    made = copy(folder, tmp_path / "copies", NOW_S, kiosk="Mill 2 / Süd")
    owner = owner_of(folder)
    assert owner and made.path.name == f"ledger-mill-2-s-d-{owner}-20270115-080000.db"
    assert (made.lines, made.made_utc_s) == (2, NOW_S) and list((tmp_path / "copies").iterdir()) == [made.path]
    assert look(made.path) == ([], 2, made.hash) and owner_of(tmp_path) == ""
    for bare in ("§§", ""):
        assert copy(folder, tmp_path / "copies", NOW_S + 1, kiosk=bare).path.name.startswith(f"ledger-kiosk-{owner}-")
    assert copy(folder, tmp_path / "copies", NOW_S + 2, kiosk="x" * 40).path.name.startswith(f"ledger-{'x' * 24}-")


def test_a_copy_that_does_not_verify_gets_no_name(folder: Path, tmp_path: Path) -> None:
    with sqlite3.connect(folder / NAME) as ledger:
        ledger.execute("UPDATE line SET utc_s = utc_s + 1 WHERE id = 1")
    ledger.close()
    with pytest.raises(CopyFault) as fault:
        copy(folder, tmp_path / "copies", NOW_S)
    assert "does not verify" in fault.value.why and fault.value.wrong
    assert list((tmp_path / "copies").iterdir()) == []
    assert look(folder / NAME)[0] != []


def test_what_is_no_ledger_or_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(CopyFault, match="is not there"), reading(tmp_path / "none.db"):
        pass
    (tmp_path / "text.db").write_text("no ledger at all, whatever its name says, and long enough to be looked at")
    with pytest.raises(CopyFault, match="is no ledger"):
        look(tmp_path / "text.db")
