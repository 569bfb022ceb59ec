"""Full, read-only, damaged and in use are four things to every command, and the file it was about is named."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from kiosk.cli import main
from kiosk.ledger.book import NAME, Book
from kiosk.ledger.trouble import Cause, fault_of
from tests.conftest import Shop
from tests.faults.tablet import Disk
from tests.faults.test_restore import heat

READING = (
    ("hot",), ("hot", "--json"), ("find", "12"), ("history", "T002"), ("check",), ("setup", "{sheet}"),
    ("compare", "Mill 1", "{list}"), ("balance", "T002", "--rpm", "9000"),
)  # fmt: skip
WRITING_A_FILE = (
    ("export", "--out", "{out}/e.csv"), ("export", "--format", "mtconnect", "--out", "{out}/e.xml"),
    ("export", "--format", "shop", "--out", "{out}/shop"), ("report", "shift", "--out", "{out}/r.pdf"),
    ("report", "shift", "--out", "{out}/r.csv"), ("label", "{code}", "--out", "{out}/l.pdf"),
    ("label", "{code}", "--out", "{out}/l.png"), ("compare", "Mill 1", "{list}", "--out", "{out}/c.csv"),
)  # fmt: skip
WRITING_A_LINE = (
    ("number", "T002", "12"), ("audit", "hot"), ("import", "--write", "{cutters}"), ("import", "{cutters}"),
    ("correct", "T003", "--name", "x", "--reason", "y"), ("pocket", "Mill 1 · pocket 05", "T002"),
)  # fmt: skip


class Tablet:
    """The data folder of a kiosk that ran for weeks, on a disk of its own, with files to work on."""

    def __init__(self) -> None:
        self.disk = Disk()
        self.data, self.out = self.disk.folder / "data", self.disk.folder / "out"
        shop = Shop(self.data)
        shop.clock.forward(40 * 86400.0)
        shop.desk.tick()
        heat(shop, "T002")
        self.files: dict[str, object] = {"out": self.out, "code": shop.holder("T002")}
        shop.desk.close()
        self.out.mkdir()
        for name, text in (("sheet", "12 R0.5\n"), ("list", "number,name\n1,x\n"),
                           ("cutters", "cutter,cutter_name,DC,DMM,OAL\nX1,x,3,3,50\n")):  # fmt: skip
            self.files[name] = file = self.disk.folder / f"{name}.csv"
            file.write_text(text, "utf-8")

    def run(self, *words: str) -> int:
        return main([*(word.format(**self.files) for word in words), "--data", str(self.data)])


@pytest.fixture(scope="module")
def tablet() -> Iterator[Tablet]:
    tablet = Tablet()
    if not tablet.disk.small:
        pytest.skip("this system lets us mount no small file system")
    yield tablet
    tablet.disk.gone()


@pytest.fixture(params=[(8192, 40_000), (8192, 10_000_000), (40_000, 80_000), (120_000, 400_000)], ids=str)
def damaged(tablet: Tablet, request: pytest.FixtureRequest) -> Iterator[Tablet]:
    """Some of its pages, or all but the first two, are no pages any more."""
    file = tablet.data / NAME
    whole = file.read_bytes()
    first, last = request.param[0], min(request.param[1], len(whole))
    file.write_bytes(whole[:first] + b"\xaa" * (last - first) + whole[last:])
    yield tablet
    file.write_bytes(whole)


def said(capsys: pytest.CaptureFixture[str]) -> str:
    """The one line on stderr, but for the one that says that the book is doubtful."""
    err = capsys.readouterr().err
    assert "mistake in the program" not in err and "Traceback" not in err
    lines = [line for line in err.splitlines() if "lines of this book are lost" not in line]
    assert len(lines) == 1, err
    return lines[0]


@pytest.mark.parametrize("pages", [0, 3])
@pytest.mark.parametrize("words", READING, ids=" ".join)
def test_what_only_reads_reads_on_a_full_disk(
    tablet: Tablet, words: tuple[str, ...], pages: int, capsys: pytest.CaptureFixture[str]
) -> None:
    well = tablet.run(*words), capsys.readouterr().err
    with tablet.disk.full(pages):
        assert (tablet.run(*words), capsys.readouterr().err) == well


@pytest.mark.parametrize("pages", [0, 1])
@pytest.mark.parametrize("words", WRITING_A_FILE, ids=" ".join)
def test_a_file_that_a_full_disk_does_not_take_is_named_and_stays_what_it_was(
    tablet: Tablet, words: tuple[str, ...], pages: int, capsys: pytest.CaptureFixture[str]
) -> None:
    goal = Path(words[-1].format(**tablet.files))
    if goal.suffix:
        goal.write_text("older " * 5000, "utf-8")
    with tablet.disk.full(pages):
        code = tablet.run(*words)
    if code == 2:
        err = said(capsys)
        assert str(goal) in err and ".part" not in err and "the disk is full" in err
        assert not goal.suffix or goal.read_text("utf-8") == "older " * 5000
    else:  # it found room
        assert pages and goal.stat().st_size <= 2 * 4096
    assert not [path for path in tablet.out.rglob("*") if path.name.startswith(".")]


@pytest.mark.parametrize("pages", [0, 1])
@pytest.mark.parametrize("words", WRITING_A_LINE, ids=" ".join)
def test_a_line_that_a_full_disk_does_not_take_is_told_as_a_full_disk(
    tablet: Tablet, words: tuple[str, ...], pages: int, capsys: pytest.CaptureFixture[str]
) -> None:
    with tablet.disk.full(pages):
        assert tablet.run(*words) == 2
    err = said(capsys)
    assert str(tablet.data / NAME) in err and "the disk is full" in err and "restore" not in err
    assert tablet.run("check") == 0


@pytest.mark.parametrize("where", [NAME, "not made yet/ledger.db"])
def test_an_error_of_the_disk_where_nothing_finds_room_is_a_full_disk(tablet: Tablet, where: str) -> None:
    """SQLite says so where it cannot make the index of its log."""
    error = sqlite3.OperationalError("disk I/O error")
    assert fault_of(tablet.data / where, error).cause is Cause.DISK
    with tablet.disk.full(3):
        assert fault_of(tablet.data / where, error).cause is Cause.FULL
        assert fault_of(tablet.data / where, sqlite3.OperationalError("database is locked")).cause is Cause.BUSY


@pytest.mark.parametrize("pages", [0, 1])
def test_a_copy_that_a_full_disk_does_not_take_is_told_as_a_full_disk(
    tablet: Tablet, pages: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert tablet.run("backup") == 0
    made = capsys.readouterr().out.split()[0]
    with tablet.disk.full(pages):
        assert tablet.run("backup") == 1
        assert "the disk is full" in said(capsys)
        assert tablet.run("restore", made) == 2
        err = said(capsys)
    assert "the disk is full" in err and "no ledger" not in err
    os.unlink(made)


@pytest.mark.parametrize("words", [*READING, *WRITING_A_LINE, *WRITING_A_FILE], ids=" ".join)
def test_a_damaged_ledger_is_told_as_damage_with_what_to_do(
    damaged: Tablet, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    if (code := damaged.run(*words)) in (0, 1):
        assert "mistake" not in capsys.readouterr().err  # what it needed could be read
        return
    err = said(capsys)
    assert code == 2 and str(damaged.data / NAME) in err and "put back a copy with `restore`" in err


@pytest.mark.parametrize("words", WRITING_A_LINE, ids=" ".join)
def test_a_ledger_that_another_kiosk_has_is_told_so(
    tablet: Tablet, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    with Book.open(tablet.data):
        assert tablet.run(*words) == 2
        assert "open in another kiosk" in said(capsys)
