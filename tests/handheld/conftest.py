"""A kiosk that serves telephones, and a browser to be one; slow to start, and shared where that harms nobody."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.handheld.browser import CHROMIUM, Browser
from tests.handheld.served import Served


@pytest.fixture(scope="module")
def kiosk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One kiosk for the tests of a module, each with telephones of its own."""
    served = Served(tmp_path_factory.mktemp("kiosk") / "data")
    yield served
    served.close()


@pytest.fixture
def alone(tmp_path: Path) -> Iterator[Served]:
    """A kiosk that one test may harm."""
    served = Served(tmp_path / "data")
    yield served
    served.close()


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """Chromium, which tests alone need."""
    if CHROMIUM is None:
        pytest.skip("chromium is not here: apt-get install chromium")
    found = Browser(tmp_path_factory.mktemp("browser"))
    yield found
    found.close()
