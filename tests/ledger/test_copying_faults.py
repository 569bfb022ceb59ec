"""A copy that cannot be made leaves nothing behind and says why; a file is looked at as what it is."""

from __future__ import annotations

import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from unittest.mock import patch

import pytest

from kiosk.ledger import copying, upgrade
from kiosk.ledger.book import NAME, Book
from kiosk.ledger.copying import CopyFault, copy, look, reading, rotate, sweep, told
from kiosk.ledger.upgrade import NewerLedger
from kiosk.rules import lines as L

NOW_S = 1.8e9
DAY_S = 86400.0
STAMP = "20270115-080000"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with Book.open(tmp_path / "data", counter=lambda: 5e6, wall=lambda: NOW_S) as book:
        book.append([L.SignedIn("jo"), L.SignedOut("jo")])
    return tmp_path / "data"


def part_of(folder: Path, target: Path) -> Path:
    """What a copy is called while this process makes it."""
    return target / f"ledger-kiosk-{copying.owner_of(folder)}-{STAMP}.{os.getpid()}.part"


@pytest.mark.parametrize(
    ("error", "raised", "why"),
    [
        (OSError(28, "No space left on device"), CopyFault, "make room on it"),
        (sqlite3.OperationalError("database or disk is full"), CopyFault, "make room on it"),
        (KeyboardInterrupt(), KeyboardInterrupt, ""),
    ],
    ids=["disk", "sqlite", "hand"],
)
def test_a_copy_cut_short_leaves_nothing_behind(
    folder: Path, tmp_path: Path, error: BaseException, raised: type[BaseException], why: str
) -> None:
    target = tmp_path / "copies"
    target.mkdir()
    beside = [
        part_of(folder, target).with_name(part_of(folder, target).name + end) for end in ("-journal", "-wal", "-shm")
    ]

    def fail(path: Path) -> None:
        for each in beside:
            each.touch()
        raise error

    with patch.object(copying, "to_disk", fail), pytest.raises(raised, match=why or None):
        copy(folder, target, NOW_S)
    assert list(target.iterdir()) == []


def test_a_copy_is_one_file_on_the_disk_before_it_has_its_name_and_for_its_owner_alone(
    folder: Path, tmp_path: Path
) -> None:
    target, seen = tmp_path / "copies", []
    real = copying.to_disk

    def to_disk(path: Path) -> None:
        seen.append((path.name, sorted(each.suffix for each in target.iterdir())))
        real(path)

    with patch.object(copying, "to_disk", to_disk):
        made = copy(folder, target, NOW_S)
    assert seen == [(part_of(folder, target).name, [".part"]), ("copies", [".db"])]
    with closing(sqlite3.connect(made.path)) as ledger:
        assert ledger.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    assert list(target.iterdir()) == [made.path] and not made.path.stat().st_mode & 0o077


def test_what_a_copy_cut_short_left_earlier_is_swept_by_the_next_one(folder: Path, tmp_path: Path) -> None:
    target = tmp_path / "copies"
    target.mkdir()
    dead = target / f"ledger-kiosk-{copying.owner_of(folder)}-20260101-000000.{2**22 + 1}.part"
    dead.touch()
    made = copy(folder, target, NOW_S)
    assert list(target.iterdir()) == [made.path]


def test_what_nobody_touched_for_just_a_day_is_still_somebodys(tmp_path: Path) -> None:
    part = tmp_path / "ledger-lathe-beef-20260101-120000.part"
    for idle_s, stays in ((DAY_S, True), (-DAY_S, True), (DAY_S + 1.0, False), (-DAY_S - 1.0, False)):
        part.touch()
        os.utime(part, (NOW_S - idle_s, NOW_S - idle_s))
        sweep(tmp_path, "f00d", NOW_S)
        assert part.exists() is stays, idle_s


@pytest.mark.parametrize(("error", "runs"), [(None, True), (PermissionError(), True), (ProcessLookupError(), False)])
def test_another_process_runs_unless_the_machine_says_it_does_not(
    tmp_path: Path, error: Exception | None, runs: bool
) -> None:
    part = tmp_path / "ledger-mill-f00d-20260101-120000.4711.part"
    part.touch()
    os.utime(part, (NOW_S, NOW_S))
    with patch.object(copying.os, "kill", side_effect=error) as kill:
        sweep(tmp_path, "f00d", NOW_S)
    kill.assert_called_once_with(4711, 0)
    assert part.exists() is runs


def test_where_asking_would_end_a_process_nobody_asks(tmp_path: Path) -> None:
    part = tmp_path / "ledger-mill-f00d-20260101-120000.4711.part"
    part.touch()
    os.utime(part, (NOW_S, NOW_S))
    with patch.object(sys, "platform", "win32"), patch.object(copying.os, "kill") as kill:
        sweep(tmp_path, "f00d", NOW_S)
    assert part.exists() and not kill.called


def test_where_nobody_has_a_name_nothing_is_ours(tmp_path: Path) -> None:
    part = tmp_path / "ledger-mill--20260101-120000.part"
    part.touch()
    os.utime(part, (NOW_S, NOW_S))
    sweep(tmp_path, "", NOW_S)
    assert part.exists()


def test_copies_of_one_second_are_as_new_as_each_other_and_one_that_is_gone_is_gone(tmp_path: Path) -> None:
    made, same, older = (
        tmp_path / f"ledger-{name}-f00d-{day}-080000.db"
        for name, day in (("mill", "20270115"), ("mill-2", "20270115"), ("mill", "20270114"))
    )
    for path in (made, same, older):
        path.touch()
    assert rotate(tmp_path, 2, "f00d", made) == [older] and same.exists()
    with patch.object(copying, "copies", return_value=[made, older]):
        assert rotate(tmp_path, 1, "f00d", made) == [older]


# what a file is


@pytest.fixture
def ledger(folder: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(folder / NAME, isolation_level=None)) as found:
        yield found


def test_a_ledger_of_a_newer_kiosk_is_said_to_be_one(folder: Path, ledger: sqlite3.Connection) -> None:
    ledger.execute("UPDATE schema SET version = ?", (upgrade.VERSION + 1,))
    with pytest.raises(NewerLedger):
        look(folder / NAME)


def test_an_older_ledger_is_verified_once_it_is_brought_up(folder: Path, ledger: sqlite3.Connection) -> None:
    ledger.execute("UPDATE line SET utc_s = utc_s + 1 WHERE id = 1")
    assert look(folder / NAME)[0] != []
    ledger.execute("UPDATE schema SET version = ?", (upgrade.VERSION - 1,))
    assert look(folder / NAME)[:2] == ([], 2)


def test_a_file_whose_pages_disagree_is_damaged(folder: Path, ledger: sqlite3.Connection) -> None:
    ledger.execute("PRAGMA journal_mode = DELETE")
    ledger.execute("PRAGMA writable_schema = ON")
    ledger.execute("CREATE INDEX shop ON line (kiosk)")
    (root,) = ledger.execute("SELECT rootpage FROM sqlite_master WHERE name = 'shop'").fetchone()
    (size,) = ledger.execute("PRAGMA page_size").fetchone()
    ledger.close()
    with (folder / NAME).open("r+b") as file:
        file.seek((root - 1) * size + 3)
        file.write(b"\x00\x00")  # no cells: the index has lost its rows
    wrong, line, _ = look(folder / NAME)
    assert [each.where for each in wrong] == ["file"] and wrong[0].what != "ok" and line == 2


def test_a_ledger_without_a_line_has_no_last_one(tmp_path: Path) -> None:
    Book.open(tmp_path / "data", counter=lambda: 5e6, wall=lambda: NOW_S).close()
    assert look(tmp_path / "data" / NAME) == ([], 0, "")


def test_what_is_read_is_not_written(folder: Path, tmp_path: Path) -> None:
    with reading(folder / NAME) as found, pytest.raises(sqlite3.OperationalError, match="readonly"):
        found.execute("DELETE FROM line")
    with pytest.raises(CopyFault, match="is no file"), reading(folder):
        pass
    (tmp_path / "empty.db").touch()
    with pytest.raises(CopyFault, match="is no ledger of a kiosk"):
        look(tmp_path / "empty.db")


def test_what_the_disk_says_is_told_with_what_to_do_about_it(tmp_path: Path) -> None:
    assert told(tmp_path / "a.db", OSError(28, "full")) == (
        "[Errno 28] full; the disk is full: nothing of this step was kept; make room on it, then do it again"
    )
    assert told(tmp_path / "a.db", ValueError("odd")) == "odd"
    fault = CopyFault(Path("a.db"), "is odd")
    assert (str(fault), fault.path, fault.why, fault.wrong) == ("a.db: is odd", Path("a.db"), "is odd", ())
