"""What a tablet may suffer: it is killed at any moment.  What it has acknowledged is there, and the book is whole."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kiosk.ledger.book import Book
from tests.conftest import Shop

STORM = Path(__file__).with_name("storm.py")


@pytest.mark.parametrize("lines", [1, 4, 11])
def test_a_kill_in_a_scan_storm_loses_no_acknowledged_line(tmp_path: Path, lines: int) -> None:
    folder = tmp_path / "data"
    shop = Shop(folder)
    shop.desk.close()
    command = [sys.executable, "-m", "tests.faults.storm", str(folder), "100000"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=STORM.parents[2]) as kiosk:
        assert kiosk.stdout is not None
        told = [kiosk.stdout.readline().split() for _ in range(lines)]
        time.sleep(0.003 * lines)  # somewhere in the middle of a later step
        kiosk.send_signal(signal.SIGKILL)
        rest = kiosk.stdout.read()
        told += [line.split() for line in rest[: rest.rfind("\n") + 1].splitlines()]  # whole lines only
    assert kiosk.returncode == -signal.SIGKILL
    with Book.open(folder) as book:
        assert book.check() == []
        for number, line_hash in told:
            line = book.line(int(number))
            assert line is not None and line.hash == line_hash


def test_a_killed_kiosk_leaves_no_lock_behind(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    Shop(folder).desk.close()
    command = [sys.executable, "-m", "tests.faults.storm", str(folder), "100000"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=STORM.parents[2]) as kiosk:
        assert kiosk.stdout is not None
        kiosk.stdout.readline()
        again = subprocess.run(command, capture_output=True, text=True, cwd=STORM.parents[2], check=False)
        assert "InUse" in again.stderr
        kiosk.kill()
    with Book.open(folder) as book:
        assert book.check() == []
