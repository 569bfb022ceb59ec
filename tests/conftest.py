"""Shared by every room's tests: a demo shop's desk on a pretended clock, and profiles for generated cases."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from kiosk import where
from kiosk.desk import Desk
from kiosk.exchange.shop import read_shop
from kiosk.rehearsal import PretendedTime
from tests import lanes

settings.register_profile(
    "kiosk",
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
settings.load_profile("kiosk")


def pytest_configure(config: pytest.Config) -> None:
    """A worker that reckons gives way to the windows of those that wait."""
    here = getattr(config, "workerinput", None)
    if here is not None and hasattr(os, "nice") and not lanes.takes_what_waits(here["workerid"], here["workercount"]):
        os.nice(lanes.LESS_URGENT)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> lanes.Lanes | None:
    return lanes.Lanes(config, log) if config.getvalue("dist") == "loadfile" else None


class Shop:
    """A desk with the demo shop, its pretended clock, and codes by the names people use."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = PretendedTime(1_790_000_000.0)
        self.desk = Desk.open(folder, counter=self.clock.counter, wall=self.clock.wall)
        if self.desk.shop.empty:
            self.desk.shop.load(read_shop(where.demo_tags()))

    def place(self, name: str) -> str:
        code = self.desk.session.cards.find_place(name)
        assert code is not None, name
        return code

    def holder(self, key: str) -> str:
        return self.desk.session.holder(key).code

    def reopen(self, **options: object) -> Desk:
        self.desk.close()
        self.desk = Desk.open(self.folder, counter=self.clock.counter, wall=self.clock.wall, **options)
        return self.desk


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    shop = Shop(tmp_path / "data")
    yield shop
    shop.desk.close()
