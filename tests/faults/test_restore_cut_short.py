"""A restore that is killed, or finds the disk full, at any write: the old ledger or the finished new one, never else.

Every call that changes something on the disk is a place to die: opening for writing, renaming, linking, deleting,
forcing, and each statement told to a database.  A child process counts them and ends at the Nth, as the power would.
"""

from __future__ import annotations

import errno
import os
import shutil
import signal
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from kiosk.desk import Desk
from kiosk.ledger import backup
from kiosk.ledger.book import NAME, LedgerFault
from kiosk.rules.lines import Restored
from kiosk.rules.outcomes import Refused
from tests.conftest import Shop
from tests.faults.test_restore import copy, heat

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a child process to kill")

_WRITING = ("os.replace", "os.rename", "os.link", "os.unlink", "os.fsync", "os.write", "os.mkdir", "os.truncate")


@pytest.fixture
def memory(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory where there is one: some hundred restores would force the disk thousands of times."""
    if not Path("/dev/shm").is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        yield Path(folder)


class Trap:
    """Springs at the Nth change of the disk.  `changes` counts them."""

    def __init__(self, at: int, spring: Callable[[bool], None]) -> None:
        self.at = at
        self.changes = 0
        self._spring = spring

    def step(self, database: bool = False) -> None:
        self.changes += 1
        if self.changes >= self.at:
            self._spring(database)

    def set(self, patch: pytest.MonkeyPatch) -> None:
        for name in _WRITING:
            patch.setattr(name, self._before(getattr(os, name.split(".")[1])))
        connect = sqlite3.connect
        trap = self

        class Cursor(sqlite3.Cursor):
            def execute(self, sql: str, *values: Any) -> Any:
                trap.told(sql)
                return super().execute(sql, *values)

            def executemany(self, sql: str, *values: Any) -> Any:
                trap.told(sql)
                return super().executemany(sql, *values)

        class Connection(sqlite3.Connection):
            def cursor(self, factory: Any = Cursor) -> Any:
                return super().cursor(Cursor)

            def execute(self, sql: str, *values: Any) -> Any:
                trap.told(sql)
                return super().execute(sql, *values)

            def backup(self, *values: Any, **named: Any) -> None:
                trap.step(True)
                super().backup(*values, **named)

        patch.setattr("sqlite3.connect", lambda *a, **k: connect(*a, **k, factory=Connection))
        import peewee

        patch.setattr(peewee.sqlite3, "connect", sqlite3.connect)

    def told(self, sql: str) -> None:
        if not sql.lstrip().upper().startswith("SELECT"):
            self.step(True)

    def _before(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def caught(*values: Any, **named: Any) -> Any:
            self.step()
            return call(*values, **named)

        return caught


def full(database: bool) -> None:
    raise sqlite3.OperationalError("database or disk is full") if database else OSError(errno.ENOSPC, "No space left")


def killed(database: bool) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def folder_with_a_copy(tmp_path: Path) -> tuple[Path, Path, float]:
    """A data folder where T002 was heated after the copy was made, as a kill left it; the copy; a wall clock."""
    shop = Shop(tmp_path / "template")
    shop.clock.forward(11 * 3600.0)
    made = copy(shop)
    heat(shop, "T002")
    shop.desk.tick()
    left = tmp_path / "left"
    shutil.copytree(shop.folder, left)  # while it is open: with its log, as after a power cut
    shop.desk.close()
    return left, left / "backups" / made.name, shop.clock.wall()


def attempt(folder: Path, file: Path, wall_s: float, trap: Trap, patch: pytest.MonkeyPatch) -> None:
    with patch.context() as inner:
        trap.set(inner)
        backup.restore(folder, file, wall_s + 2 * 86400.0, counter=lambda: 1000.0)


def is_safe(folder: Path) -> str:
    """Opens the kiosk for real and tries to shelve the hot holder; which state the ledger is in: old, new."""
    with Desk.open(folder, counter=lambda: 5.0) as desk:
        assert desk.session.book.check() == []
        restored = [line for line in desk.session.book.lines() if isinstance(line.entry, Restored)]
        assert all(line.entry.cause == "backup" for line in restored), "nothing was lost, and nothing is said to be"
        desk.scan(desk.session.holder("T002").code)
        bench = desk.session.cards.find_place("Bench 1")
        assert bench is not None
        assert isinstance(desk.scan(bench).outcome, Refused)
        assert [card.holder.key for card in desk.heat.board()] == ["T002"]
        return "new" if restored else "old"


def count(tmp_path: Path, patch: pytest.MonkeyPatch) -> tuple[Path, Path, float, int]:
    folder, file, wall_s = folder_with_a_copy(tmp_path)
    trial = tmp_path / "trial"
    shutil.copytree(folder, trial)
    trap = Trap(10**9, killed)
    attempt(trial, trial / "backups" / file.name, wall_s, trap, patch)
    assert is_safe(trial) == "new"
    assert trap.changes > 40
    return folder, file, wall_s, trap.changes


def test_a_restore_killed_at_any_write_leaves_the_old_or_the_finished_new(
    memory: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, file, wall_s, writes = count(memory, monkeypatch)
    states = []
    for at in range(1, writes + 1):
        trial = memory / f"kill {at}"
        shutil.copytree(folder, trial)
        child = os.fork()
        if child == 0:
            try:
                attempt(trial, trial / "backups" / file.name, wall_s, Trap(at, killed), monkeypatch)
            finally:
                os._exit(3)
        _, ended = os.waitpid(child, 0)
        assert os.WIFSIGNALED(ended), f"write {at} was never reached"
        states.append(is_safe(trial))
        if at % 9 == 0 or states[-1] == "new":
            backup.restore(trial, trial / "backups" / file.name, wall_s + 3 * 86400.0, counter=lambda: 2000.0)
            assert is_safe(trial) == "new", "and the next one goes through"
            assert not (trial / "restoring").exists()
        shutil.rmtree(trial)
    assert states == sorted(states, reverse=True), "one step from the old to the new"
    assert {"old", "new"} == set(states)


@pytest.mark.parametrize("stays_full", [True, False])
def test_a_restore_that_finds_the_disk_full_at_any_write_changes_nothing(
    memory: Path, monkeypatch: pytest.MonkeyPatch, stays_full: bool
) -> None:
    folder, file, wall_s, writes = count(memory, monkeypatch)
    states = []
    for at in range(1, writes + 1):
        trial = memory / f"full {at}"
        shutil.copytree(folder, trial)
        trap = Trap(at, full)
        if not stays_full:
            trap = Trap(at, lambda database, at=at: full(database) if trap.changes == at else None)  # noqa: B023
        try:
            attempt(trial, trial / "backups" / file.name, wall_s, trap, monkeypatch)
        except (backup.CopyFault, LedgerFault) as fault:
            assert "room" in str(fault) or "full" in str(fault), fault
        states.append(is_safe(trial))
        shutil.rmtree(trial)
    assert states == sorted(states, reverse=True) or not stays_full
    assert "old" in states


def test_the_log_of_the_replaced_ledger_is_never_read_with_the_new_one(tmp_path: Path) -> None:
    folder, file, wall_s = folder_with_a_copy(tmp_path)
    assert (folder / f"{NAME}-wal").stat().st_size > 0
    backup.restore(folder, file, wall_s, counter=lambda: 1000.0)
    assert not (folder / f"{NAME}-wal").exists()
    (kept,) = (folder / "replaced").glob("*.db")
    assert backup.look(kept)[0] == []
    assert backup.look(kept)[1] > backup.look(file)[1]
