"""Work in a process of its own: its answers, its errors as they are, its progress, and its end with whoever asked."""

from __future__ import annotations

import errno
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from kiosk.desk import beside, copies
from kiosk.desk.copies import CopyMade
from kiosk.ledger.copying import CopyFault
from kiosk.ledger.lock import FolderLock, InUse
from kiosk.ledger.trouble import Cause, LedgerFault, cause_of
from kiosk.ledger.verify import Stopped, Wrong

Progress = Callable[[int, int], None]


def counts(to: int, file: Path, progress: Progress) -> tuple[int, int]:
    """Where it is done, and how far it came; in the file, how far it is."""
    for done in range(1, to + 1):
        file.write_text(str(done), "utf-8")
        progress(done, to)
    return os.getpid(), to


def fails(how: str, progress: Progress) -> None:
    if how == "disk":
        try:
            raise OSError(errno.ENOSPC, "No space left on device")
        except OSError as error:
            raise CopyFault(Path("x"), "is full", [Wrong("line 3", "is missing")]) from error
    if how == "ledger":
        raise LedgerFault(Path("x"), "malformed", cause=Cause.DAMAGED)
    if how == "sqlite":
        raise sqlite3.DatabaseError("file is not a database")
    os._exit(3)


def holds(folder: Path, progress: Progress) -> None:
    """Has a folder until somebody ends it."""
    FolderLock(folder, "ledger.db")
    progress(0, 1)
    while True:
        time.sleep(0.01)


def test_a_job_is_done_in_a_process_of_its_own_and_waits_for_each_word_of_its_progress(tmp_path: Path) -> None:
    file, told = tmp_path / "at", []

    def tell(done: int, total: int) -> None:
        assert file.read_text("utf-8") == str(done), "it does not run ahead"
        told.append((done, total))

    process, came = beside.run(counts, 3, file, tell=tell)
    assert (came, told) == (3, [(1, 3), (2, 3), (3, 3)]) and process != os.getpid()
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)
    assert beside.run(counts, 2, file)[1] == 2, "and nobody needs to hear of it"


def test_whoever_stops_it_has_it_stopped(tmp_path: Path) -> None:
    def stop(done: int, total: int) -> None:
        if done == 2:
            raise Stopped

    with pytest.raises(Stopped):
        beside.run(counts, 1000, tmp_path / "at", tell=stop)
    assert (tmp_path / "at").read_text("utf-8") == "2"


def test_errors_come_as_they_are_with_what_they_came_from() -> None:
    with pytest.raises(CopyFault) as fault:
        beside.run(fails, "disk")
    assert (fault.value.path, fault.value.why) == (Path("x"), "is full")
    assert fault.value.wrong == (Wrong("line 3", "is missing"),) and str(fault.value) == "x: is full"
    assert fault.value.__cause__ is not None and cause_of(fault.value.__cause__) is Cause.FULL
    with pytest.raises(LedgerFault) as ledger:
        beside.run(fails, "ledger")
    assert ledger.value.cause is Cause.DAMAGED and "restore" in ledger.value.remedy
    with pytest.raises(sqlite3.DatabaseError) as sqlite:
        beside.run(fails, "sqlite")
    assert cause_of(sqlite.value) is Cause.DAMAGED


def test_an_error_inside_an_answer_comes_along(tmp_path: Path) -> None:
    (made,) = beside.run(copies.backup, tmp_path / "nothing", (tmp_path,), 1)
    assert isinstance(made, CopyMade) and isinstance(made.fault, CopyFault) and made.fault.why == "is not there"


def test_a_process_that_ends_before_it_answered_is_an_error_of_the_machine() -> None:
    with pytest.raises(ChildProcessError) as fault:
        beside.run(fails, "killed")
    assert cause_of(fault.value) is Cause.DISK


@pytest.mark.skipif(sys.platform == "win32", reason="a signal of Unix")
def test_it_ends_with_whoever_asked_for_it_and_leaves_the_book_to_the_next(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from kiosk.desk import beside; from tests.desk.test_beside import holds;"
        "beside.run(holds, Path(sys.argv[1]), tell=lambda *_: print('held', flush=True))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script, str(tmp_path)], stdout=subprocess.PIPE, env=os.environ | {"PYTHONPATH": "."}
    ) as asks:
        assert asks.stdout is not None and asks.stdout.readline() == b"held\n"
        with pytest.raises(InUse):
            FolderLock(tmp_path, "ledger.db")
        asks.send_signal(signal.SIGKILL)
        end_s = time.monotonic() + 20.0
        while True:
            try:
                FolderLock(tmp_path, "ledger.db").release()
                break
            except InUse:
                assert time.monotonic() < end_s, "it works on though nobody is there"
                time.sleep(0.01)
