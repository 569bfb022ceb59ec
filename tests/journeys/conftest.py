"""A display for the session, and windows on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.journeys.display import Display
from tests.journeys.window import Window


@pytest.fixture(scope="session")
def display() -> Iterator[Display]:
    display = Display()
    yield display
    display.close()


@pytest.fixture
def open_window(display: Display, tmp_path: Path) -> Iterator[Callable[..., Window]]:
    """Opens windows, and closes them with the test: `open_window((800, 480), at="Bench 1")`."""
    opened: list[Window] = []

    def open_one(size: tuple[int, int] = (800, 480), **options: Any) -> Window:
        opened.append(Window(display, size, tmp_path / f"data-{len(opened)}", **options))
        return opened[-1]

    yield open_one
    for window in opened:
        window.close()


@pytest.fixture(scope="module")
def shared_window(display: Display, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    window = Window(display, (800, 480), tmp_path_factory.mktemp("shared") / "data")
    yield window
    window.close()


@pytest.fixture
def same_kiosk(shared_window: Window) -> Window:
    """One window for a whole file, as a kiosk stands there all day: every test takes a holder of its own."""
    shared_window.put_away()
    shared_window.wait(30)  # longer than the first scan of a pair is kept
    shared_window.touch("Scan")
    shared_window.is_on("scan")
    return shared_window


@pytest.fixture
def kiosk(open_window: Callable[..., Window]) -> Window:
    """The demo shop's kiosk at 800x480."""
    return open_window()
