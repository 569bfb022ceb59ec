"""One writer, whatever was deleted; files nobody else may read; four troubles, four sentences; readers still read."""

from __future__ import annotations

import itertools
import os
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from kiosk.cli import main
from kiosk.commands.output import DONE, WRONG
from kiosk.desk import Desk
from kiosk.ledger.book import NAME, LedgerFault
from kiosk.ledger.lock import InUse
from tests.conftest import Shop
from tests.faults.test_restore import heat

ROOT = Path(__file__).parents[2]
posix = pytest.mark.skipif(sys.platform == "win32", reason="files have no such modes there")


def in_another_process(folder: Path) -> str:
    """What a second kiosk on the folder says."""
    code = f"from pathlib import Path; from kiosk.desk import Desk; Desk.open(Path({str(folder)!r})).close()"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=False)
    return ran.stdout + ran.stderr


@posix
@pytest.mark.parametrize("deleted", ["lock", "ledger.anchor"])
def test_nothing_that_can_be_deleted_lets_a_second_writer_in(shop: Shop, deleted: str) -> None:
    (shop.folder / deleted).unlink()
    assert "InUse" in in_another_process(shop.folder)
    with pytest.raises(InUse):
        Desk.open(shop.folder)
    heat(shop, "T001")
    assert "InUse" in in_another_process(shop.folder), "asking in this process gave nothing away"


@posix
def test_the_folder_and_every_file_in_it_are_the_owners_alone(tmp_path: Path) -> None:
    old = os.umask(0o022)
    try:
        shop = Shop(tmp_path / "data")
        heat(shop, "T001")
        (made,) = shop.desk.copies.backup()
        assert made.copy is not None
        (other,) = shop.desk.copies.backup(tmp_path / "stick")
        assert other.copy is not None
        modes_of(shop.folder)
        modes_of(tmp_path / "stick")
        shop.desk.close()
        assert main(["restore", str(made.copy.path), "--data", str(shop.folder)]) == DONE
        modes_of(shop.folder)
    finally:
        os.umask(old)


def modes_of(folder: Path) -> None:
    for path in (folder, *folder.rglob("*")):
        mode = stat.S_IMODE(path.stat().st_mode)
        assert mode == (0o700 if path.is_dir() else 0o600), f"{path} {mode:o}"


@posix
def test_a_folder_of_an_older_kiosk_is_closed_to_others_when_it_is_opened(shop: Shop) -> None:
    shop.desk.close()
    shop.folder.chmod(0o755)
    (shop.folder / NAME).chmod(0o644)
    shop.reopen()
    assert stat.S_IMODE(shop.folder.stat().st_mode) == 0o700
    assert stat.S_IMODE((shop.folder / NAME).stat().st_mode) == 0o600


@posix
def test_a_folder_others_use_keeps_its_mode_and_the_ledger_in_it_is_private(tmp_path: Path) -> None:
    folder = tmp_path / "shared"
    folder.mkdir()
    folder.chmod(0o1777)
    Shop(folder).desk.close()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o1777
    assert stat.S_IMODE((folder / NAME).stat().st_mode) == 0o600


def as_nobody(work: Callable[[], None]) -> None:
    """Runs it without root's rights, in a child."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            if os.geteuid() == 0:
                os.setgid(65534)
                os.setuid(65534)
            work()
            code = 0
        except BaseException:
            import traceback

            traceback.print_exc()
        finally:
            os._exit(code)
    assert os.waitpid(child, 0)[1] == 0


@posix
@pytest.mark.parametrize("killed", [False, True])
def test_in_a_folder_that_takes_no_writing_every_command_that_reads_still_reads(
    killed: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    import shutil
    import tempfile

    with tempfile.TemporaryDirectory() as base:
        os.chmod(base, 0o755)
        folder = Path(base) / "data"
        shop = Shop(Path(base) / "origin")
        heat(shop, "T002")
        if not killed:
            shop.desk.close()
        shutil.copytree(shop.folder, folder)
        for path in folder.rglob("*"):
            path.chmod(0o444)
        folder.chmod(0o555)

        def work() -> None:
            for command in (["hot"], ["find", "12"], ["history", "T002"], ["check"]):
                assert main([*command, "--data", str(folder)]) == DONE, command
            with pytest.raises(LedgerFault) as fault:
                Desk.open(folder)
            assert "may not write" in str(fault.value) and "restore" not in str(fault.value)

        try:
            as_nobody(work)
        finally:
            folder.chmod(0o755)
            shop.desk.close()


def test_full_read_only_damaged_and_in_use_are_four_sentences() -> None:
    import sqlite3

    from kiosk.ledger.trouble import REMEDY, Cause, fault_of

    said = {
        Cause.FULL: sqlite3.OperationalError("database or disk is full"),
        Cause.READ_ONLY: sqlite3.OperationalError("attempt to write a readonly database"),
        Cause.DAMAGED: sqlite3.DatabaseError("database disk image is malformed"),
        Cause.BUSY: sqlite3.OperationalError("database is locked"),
    }
    told = {cause: fault_of(Path("ledger.db"), error) for cause, error in said.items()}
    assert [fault.cause for fault in told.values()] == list(said)
    assert len({REMEDY[cause] for cause in said}) == 4
    assert [cause for cause in said if "restore" in REMEDY[cause]] == [Cause.DAMAGED]


def test_a_ledger_that_is_there_and_cannot_be_opened_is_one_the_kiosk_may_not_write(tmp_path: Path) -> None:
    import sqlite3

    from kiosk.ledger.trouble import Cause, fault_of

    said = sqlite3.OperationalError("unable to open database file")
    assert fault_of(tmp_path, said).cause is Cause.READ_ONLY
    assert fault_of(tmp_path / "gone", said).cause is Cause.GONE


def test_a_damaged_ledger_alone_asks_for_a_backup(shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    shop.desk.close()
    (shop.folder / NAME).write_bytes(b"coffee" * 9999)
    assert main(["hot", "--data", str(shop.folder)]) == WRONG
    assert "restore" in capsys.readouterr().err


def test_copies_of_several_kiosks_in_one_folder_leave_each_other_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stick = tmp_path / "stick"
    clock = itertools.count(1_790_000_000.0, 3.0)
    monkeypatch.setattr("kiosk.desk.copies.time.time", lambda: next(clock))
    owners = set()
    for name in ("one", "two", "one"):
        shop = Shop(tmp_path / name)
        shop.desk.people.change_setting("backup", "keep", "2", "a small stick")
        for _ in range(3):
            (made,) = shop.desk.copies.backup(stick)
            assert made.copy is not None and made.copy.path.exists()
        owners.add(shop.desk.session.book.folder_name)
        shop.desk.close()
        assert [len(list(stick.glob(f"ledger-*-{owner}-*.db"))) for owner in owners] == [2] * len(owners)
    assert len(owners) == 2


def test_a_copy_dated_ahead_stops_no_copy_and_outlives_none(shop: Shop) -> None:
    (made,) = shop.desk.copies.backup()
    assert made.copy is not None
    ahead = made.copy.path.with_name(made.copy.path.name.replace("-2026", "-2099"))
    made.copy.path.rename(ahead)
    os.utime(ahead, (4e9, 4e9))
    assert shop.desk.copies.due()
    shop.desk.people.change_setting("backup", "keep", "1", "a small stick")
    (again,) = shop.desk.copies.backup()
    assert again.copy is not None and again.copy.path.exists()
    assert not ahead.exists()


def test_what_a_copy_that_was_killed_left_is_swept_and_a_running_one_is_not(shop: Shop) -> None:
    (made,) = shop.desk.copies.backup()
    assert made.copy is not None
    stem = made.copy.path.stem
    ended = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, check=True)
    dead = made.copy.path.with_name(f"{stem}.{int(ended.stdout)}.part")
    old = made.copy.path.with_name("ledger-20250101-000000.part")
    running = made.copy.path.with_name(f"{stem}.1.part")
    strange = made.copy.path.with_name("ledger-kiosk-ffffffff-20260101-000000.1.part")
    for path in (dead, old, running, strange):
        path.write_bytes(b"half")
    os.utime(old, (1e9, 1e9))
    assert shop.desk.copies.backup()[0].copy is not None
    assert not dead.exists() and not old.exists()
    assert running.exists() and strange.exists(), "a process that runs, and another kiosk"
