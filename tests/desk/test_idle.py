"""What a kiosk does while nobody is near: watched time is written down, and nothing else touches the disk."""

from __future__ import annotations

import gc
import logging
import os
import shutil
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from kiosk import logbook
from kiosk.desk import wall_clock
from kiosk.desk.desk import BEAT_S
from kiosk.ledger.book import Book
from kiosk.screens.pulse import pulse
from tests.conftest import Shop
from tests.journeys.handles import open_files

DAY_S = 86400.0
HALF_AN_HOUR_S = 1800


def counted(monkeypatch: pytest.MonkeyPatch, counts: Counter[str], owner: Any, name: str) -> None:
    """From now on says in `counts` how often that is called."""
    whole = getattr(owner, name)

    def call(*given: Any, **named: Any) -> Any:
        counts[name] += 1
        return whole(*given, **named)

    monkeypatch.setattr(owner, name, call)


@pytest.mark.parametrize("hot", [False, True])
def test_half_an_hour_without_anybody_writes_watched_time_and_no_log_and_looks_up_no_disk(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, hot: bool
) -> None:
    for _ in range(40):
        shop.clock.forward(DAY_S)
        pulse(shop.desk)
    if hot:
        for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Rack 1")):
            shop.desk.scan(code)
    assert logbook.begin(shop.folder)
    root = logging.getLogger()
    level = root.level
    root.setLevel(logging.DEBUG)  # as Kivy leaves it where nobody asked it to
    logging.getLogger("peewee").debug("what a library says to itself")
    counts: Counter[str] = Counter()
    looks = (Book, "beat"), (shutil, "disk_usage"), (os, "statvfs"), (wall_clock, "network_time")
    for owner, name in looks:
        counted(monkeypatch, counts, owner, name)
    try:
        assert (shop.folder / logbook.FOLDER / logbook.NAME).read_text("utf-8") == ""
        before, lines = files(shop.folder), shop.desk.session.book.last_id
        for _ in range(HALF_AN_HOUR_S):
            shop.clock.forward(1.0)
            pulse(shop.desk)
        changed = {name for name, size in files(shop.folder).items() if size != before.get(name)}
    finally:
        root.setLevel(level)
        logbook.end()
    assert set(counts) == {"beat"} and counts["beat"] <= HALF_AN_HOUR_S / BEAT_S
    assert all(name.startswith("ledger.") for name in changed) and shop.desk.session.book.last_id == lines


@pytest.mark.skipif(sys.platform != "linux", reason="open files are counted by proc(5)")
def test_copies_made_day_after_day_hold_no_more_files_open_than_the_first(shop: Shop) -> None:
    opened = []
    for _ in range(4):  # SQLite closes a second handle of a book only with the book, and uses it again meanwhile
        shop.clock.forward(DAY_S)
        assert all(made.copy is not None for made in shop.desk.copies.backup())
        gc.collect()
        opened.append(open_files(os.getpid())[1])
    assert opened[1:] == opened[:1] * 3


def files(folder: Path) -> dict[str, tuple[int, int]]:
    """Every file below a folder: how long it is, bytes, and when it was last written."""
    return {
        str(path.relative_to(folder)): (path.stat().st_size, path.stat().st_mtime_ns)
        for path in folder.rglob("*")
        if path.is_file()
    }
