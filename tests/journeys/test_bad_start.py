"""What the `open` command says when it cannot begin, and its exit code."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from tests.journeys.display import Display
from tests.journeys.window import Window


def _open(display: Display, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "kiosk", "open", "--size", "800x480", *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        env=os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy"},
        check=False,
    )


def test_a_data_folder_that_cannot_be_one_is_named(display: Display, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    ended = _open(display, "--data", str(tmp_path / "file"))
    assert ended.returncode == 2
    assert str(tmp_path / "file") in ended.stderr and "Traceback" not in ended.stderr


def test_a_setting_out_of_its_range_is_named_with_file_and_field(display: Display, tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text("[heat]\nlimit_c = 60.0\n", "utf-8")
    ended = _open(display, "--data", str(tmp_path))
    assert ended.returncode == 2
    assert "settings.toml" in ended.stderr and "[heat] limit_c" in ended.stderr


def test_a_place_that_does_not_exist_is_named(display: Display, tmp_path: Path) -> None:
    ended = _open(display, "--data", str(tmp_path), "--demo", "--at", "Nowhere 9")
    assert ended.returncode == 2
    assert "Nowhere 9" in ended.stderr


def test_a_second_kiosk_on_the_same_data_is_turned_away(
    display: Display, open_window: Callable[..., Window], tmp_path: Path
) -> None:
    open_window()
    ended = _open(display, "--data", str(tmp_path / "data-0"))
    assert ended.returncode == 2
    assert "is open in another kiosk" in ended.stderr


WHAT_IS_LOADED = """
import sys
from kiosk.commands import running
from kiosk.screens import app
app.prepare_kivy((800, 480))
from kiosk.screens import pages, window
pages.screen_class("scan")
print(*sorted({".".join(name.split(".")[:2]) for name in sys.modules}))
"""


def test_the_first_picture_waits_for_nothing_that_only_the_desk_needs(display: Display) -> None:
    ended = subprocess.run(
        [sys.executable, "-c", WHAT_IS_LOADED],
        capture_output=True,
        text=True,
        timeout=60,
        env=os.environ | {"DISPLAY": display.name},
        check=True,
    )
    loaded = set(ended.stdout.split())
    assert "kiosk.screens" in loaded and "kivy.core" in loaded
    behind = {"kiosk.desk", "kiosk.ledger", "kiosk.labels", "kiosk.exchange", "msgspec", "peewee", "argon2", "tomlkit"}
    assert not behind & loaded
