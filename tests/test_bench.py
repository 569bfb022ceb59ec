"""What the benches run in processes of their own, which no type checker reads, still fits the program."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from kiosk.bench import idle


def test_twenty_holders_can_be_heated_for_the_window_that_is_measured(tmp_path: Path) -> None:
    command = [sys.executable, "-c", idle.HEATED, str(tmp_path / "hot"), str(idle.HOT)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
