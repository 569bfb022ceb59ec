"""A screen that went dark would hide what is hot: it stays lit as long as the window is there, whoever opened it.

Xvfb has no DPMS, so it is looked at what MIT-SCREEN-SAVER says: whether the screen went dark once nobody touched it.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.journeys.test_service import PATIENCE_S, Kept

DARK_AFTER_S = 1
LOOKED_S = 4.0  # four times as long as it takes


class Blanking:
    """What a display does once nobody touches it."""

    def __init__(self, kiosk: Kept) -> None:
        self._x = kiosk.display.connection

    def ask(self, timeout_s: int) -> None:
        self._x.set_screen_saver(timeout_s, 0, 1, 1)
        self._x.sync()

    def goes_dark(self) -> bool:
        """Whether it is dark at any time while nobody touches it."""
        end = time.monotonic() + LOOKED_S
        while time.monotonic() < end:
            if self._x.screen().root.screensaver_query_info().state == 1:
                return True
            time.sleep(0.2)
        return False


@pytest.fixture
def opened(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Kept]:
    kiosk = Kept(tmp_path, service=request.param)
    try:
        if request.param:
            assert kiosk.hears("READY=1"), "the window never said that it is ready"
        end = time.monotonic() + PATIENCE_S
        while not kiosk.display.panes():
            assert time.monotonic() < end, "no window came"
            time.sleep(0.2)
        yield kiosk
    finally:
        kiosk.close()


@pytest.mark.parametrize("opened", [True, False], indirect=True, ids=["kept", "opened"])
def test_a_window_never_goes_dark_whatever_the_screen_was_set_to(opened: Kept) -> None:
    blanking = Blanking(opened)
    blanking.ask(DARK_AFTER_S)
    assert not blanking.goes_dark()
    opened.process.kill()  # whatever ends it: the screen is its own again
    opened.process.wait()
    assert blanking.goes_dark()
