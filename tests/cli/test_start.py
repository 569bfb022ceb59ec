"""kiosk/start from anywhere: the same answers as `python -m kiosk`, and a rehearsal where there is no screen."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from kiosk import __version__, where

ROOT = Path(__file__).resolve().parents[2]

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="kiosk/start prepares a Debian machine")


def start(*arguments: str, program: Path = ROOT / "kiosk/start", cwd: Path) -> subprocess.CompletedProcess[str]:
    without_screen = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    return subprocess.run(
        [program, *arguments], cwd=cwd, env=without_screen, capture_output=True, text=True, timeout=240
    )


def test_it_runs_from_another_folder_and_through_a_link(tmp_path: Path) -> None:
    link = tmp_path / "holder-kiosk"
    link.symlink_to(ROOT / "kiosk/start")
    done = start("--version", program=link, cwd=tmp_path)
    assert (done.returncode, done.stdout.strip()) == (0, __version__)


def test_an_exit_code_of_the_kiosk_is_the_exit_code_of_start(tmp_path: Path) -> None:
    done = start("rehearse", "no-such-folder", cwd=tmp_path)
    assert done.returncode == 2
    assert "no-such-folder" in done.stderr


def test_where_there_is_no_display_the_demo_says_so_and_rehearses_the_shift(tmp_path: Path) -> None:
    done = start("--demo", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    first, *_ = done.stdout.splitlines()
    assert "no display" in first
    for step in (where.demo_tags() / "shift").glob("*.jpg"):
        assert step.name in done.stdout


def test_json_on_stdout_is_nothing_but_json(tmp_path: Path) -> None:
    few = tmp_path / "few"
    few.mkdir()
    shift = where.demo_tags() / "shift"
    for name in ("001-badge.jpg", "002-holder.jpg"):
        (few / name).write_bytes((shift / name).read_bytes())
    done = start("rehearse", str(few), "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert [json.loads(line)["step"] for line in done.stdout.splitlines()] == ["001-badge.jpg", "002-holder.jpg"]
