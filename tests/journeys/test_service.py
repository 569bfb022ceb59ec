"""The window as the service keeps it: as large as the screen, heard of while it lives, and left by a PIN alone."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from tests.journeys.display import Display
from tests.journeys.window import Window, draw_label

SCREEN = (800, 480)
PERIOD_S = 2.0  # of the watchdog
PATIENCE_S = 60.0
ICONIC = 3  # ICCCM 4.1.4


def forget(ear: socket.socket) -> None:
    """Take what was said until now, and let it be."""
    ear.settimeout(0.05)
    with suppress(TimeoutError):
        while True:
            ear.recv(100)


class Kept:
    """A kiosk that a service manager with one ear has started."""

    def __init__(self, folder: Path, manager: str = "", *, service: bool = True, **options: str) -> None:
        """manager: the window manager there is, by its command; empty: none.  service: False is opened by a hand."""
        self.display = Display(SCREEN)
        self._manager = self.display.managed_by(manager) if manager else None
        self._ear = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._ear.bind(str(folder / "notify"))
        (folder / "seen").mkdir()
        draw_label("nothing", folder / "seen" / "1.png")
        told = {
            "DISPLAY": self.display.name,
            "SDL_AUDIODRIVER": "dummy",
            "NOTIFY_SOCKET": str(folder / "notify"),
            "WATCHDOG_USEC": str(round(PERIOD_S * 1e6)),
        }
        self.process = subprocess.Popen(
            [sys.executable, "-m", "kiosk", "open", *(["--service"] if service else []), "--demo",
             f"--data={folder / 'data'}", f"--camera={folder / 'seen'}"],
            env={k: v for k, v in os.environ.items() if k != "WAYLAND_DISPLAY"} | told | options,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip

    def hears(self, word: str, within_s: float = PATIENCE_S) -> bool:
        """Whether this word comes by then."""
        end = time.monotonic() + within_s
        while (left_s := end - time.monotonic()) > 0:
            self._ear.settimeout(left_s)
            try:
                if self._ear.recv(100).decode() == word:
                    return True
            except TimeoutError:
                return False
        return False

    def hears_no_more(self) -> None:
        forget(self._ear)

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        self._ear.close()
        if self._manager is not None:
            self._manager.kill()
            self._manager.wait()
        self.display.close()


@pytest.fixture(scope="module", params=["", "openbox"], ids=["alone", "managed"])
def kept(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kept]:
    if request.param and shutil.which(request.param) is None:
        pytest.skip(f"there is no {request.param} here: kiosk/prepare --tests installs it where it can")
    kiosk = Kept(tmp_path_factory.mktemp("kept"), request.param)
    try:
        assert kiosk.hears("READY=1"), "the window never said that it is ready"
        yield kiosk
    finally:
        kiosk.close()


def fills_the_screen(kiosk: Kept) -> bool:
    """Whether all there is to see is one window without a frame."""
    return kiosk.display.panes() == {(0, 0, *SCREEN)}


def test_it_fills_the_screen_without_a_frame(kept: Kept) -> None:
    assert fills_the_screen(kept)


def test_it_is_heard_of_while_its_loop_runs_and_not_while_it_stands(kept: Kept) -> None:
    assert all(kept.hears("WATCHDOG=1", PERIOD_S) for _ in range(3))
    kept.process.send_signal(signal.SIGSTOP)
    kept.hears_no_more()
    assert not kept.hears("WATCHDOG=1", 2 * PERIOD_S)
    kept.process.send_signal(signal.SIGCONT)
    assert kept.hears("WATCHDOG=1")


KEYS = (
    ("Escape",), ("F1",), ("F11",), ("Alt_L", "F4"), ("Control_L", "q"), ("Control_L", "w"), ("Alt_L", "Tab"),
    ("Alt_L", "Escape"), ("Alt_L", "space"), ("Super_L", "d"), ("Super_L", "e"), ("Control_L", "Alt_L", "Right"),
)  # fmt: skip


def test_no_key_closes_it_hides_it_or_opens_anything_else(kept: Kept) -> None:
    end = time.monotonic() + PATIENCE_S
    while not kept.display.keys_are_taken():
        assert time.monotonic() < end, "a window manager has its keys"
        time.sleep(0.5)
    for keys in KEYS:
        kept.display.press(*keys)
        time.sleep(0.2)
        assert fills_the_screen(kept), keys
    kept.hears_no_more()
    assert kept.hears("WATCHDOG=1") and kept.process.poll() is None


def test_no_window_manager_closes_it_and_one_that_hides_it_sees_it_again(kept: Kept) -> None:
    kept.display.ask_to_close()
    for wish, *values in (("WM_CHANGE_STATE", ICONIC), ("_NET_SHOWING_DESKTOP", 1), ("_NET_CLOSE_WINDOW", 0, 2)):
        kept.display.ask_manager(wish, *values)
        time.sleep(0.5)
        end = time.monotonic() + PATIENCE_S
        while not fills_the_screen(kept):
            assert time.monotonic() < end, wish
            time.sleep(0.1)
    kept.hears_no_more()
    assert kept.hears("WATCHDOG=1") and kept.process.poll() is None


def test_the_manager_that_ends_it_is_told_and_it_ends_in_order(kept: Kept) -> None:
    kept.process.send_signal(signal.SIGTERM)
    assert kept.hears("STOPPING=1")
    assert kept.process.wait(PATIENCE_S) == 0


def turn_to(window: Window, words: str) -> None:
    """Turn the pages of a list until these words stand on one."""
    while True:
        seen = window.screen()
        if words in (said for said, *_ in seen["texts"]):
            return
        for _, x, y, width, height in (touch for touch in seen["touches"] if touch[0] == "down"):
            window.display.touch(x + width / 2, y + height / 2)
        time.sleep(0.5)


def test_a_loop_that_stands_is_not_heard_of_though_its_threads_run(
    open_window: Callable[..., Window], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(str(tmp_path / "notify"))
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        monkeypatch.setenv("WATCHDOG_USEC", str(round(PERIOD_S * 1e6)))
        window = open_window(service=True)
        window.block(3 * PERIOD_S)
        time.sleep(PERIOD_S / 2)
        forget(ear)
        ear.settimeout(PERIOD_S)
        with pytest.raises(TimeoutError):
            ear.recv(100)
        ear.settimeout(PATIENCE_S)
        assert ear.recv(100) == b"WATCHDOG=1"


def test_a_supervisor_leaves_it_with_a_pin_and_nobody_without(open_window: Callable[..., Window]) -> None:
    window = open_window(service=True)
    window.touch("Shop")
    window.touch("Settings")
    window.sees("choose a PIN")
    window.shows_badge("kim")
    for _ in range(2):
        for figure in "4711":
            window.touch_key(figure)
        window.touch("Open")
    window.sees("Heat and cooling")
    turn_to(window, "Leave the full screen")
    window.touch("Leave the full screen")
    window.sees("counts no cooling")
    window.picture("leave")
    window.touch("Close the kiosk")
    assert window.ended(PATIENCE_S) == 0


def test_a_kiosk_whose_book_is_damaged_waits_for_a_hand_and_is_not_started_again_and_again(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "ledger.db").write_bytes(b"the disk lost its head" * 4000)
    kiosk = Kept(tmp_path)
    try:
        assert kiosk.hears("READY=1"), "the window never said that it is ready"
        assert all(kiosk.hears("WATCHDOG=1", PERIOD_S) for _ in range(3))
        assert kiosk.process.poll() is None
    finally:
        kiosk.close()
