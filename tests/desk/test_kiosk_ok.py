"""How the kiosk is, attacked: disks full, folders gone, silent or in the way, printers and cameras gone."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from kiosk.desk import beside, far_folder, health
from kiosk.labels.faults import LabelError
from kiosk.rules.wellbeing import Finding, Mark, Part
from kiosk.screens.questions import health as asks
from kiosk.screens.questions.common import copies_due, copies_go
from tests.conftest import Shop

DAY_S = 86400.0
PATIENCE_S = 0.2


class Hung:
    """A folder in the network whose server is gone: whoever touches it waits; the desk must never be the one."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.back = folder, threading.Event()
        self._desk = threading.current_thread()
        for name in ("stat", "scandir", "mkdir", "open", "listdir"):
            monkeypatch.setattr(os, name, self._slow(getattr(os, name)))

    def _slow(self, whole: Callable[..., Any]) -> Callable[..., Any]:
        def call(path: Any = ".", *given: Any, **named: Any) -> Any:
            if isinstance(path, str | Path) and str(path).startswith(str(self.folder)) and not self.back.is_set():
                assert threading.current_thread() is not self._desk, f"the desk waits for {path}"
                assert self.back.wait(30)
            return whole(path, *given, **named)

        return call


@pytest.fixture
def old_shop(shop: Shop, tmp_path: Path) -> Shop:
    """A shop that has been at work for months, with a second folder for copies."""
    (shop.folder / "settings.toml").write_text(f'[backup]\nsecond_folder = "{tmp_path / "share"}"\n', "utf-8")
    shop.reopen()
    shop.clock.forward(200 * DAY_S)
    shop.desk.session.book.beat()
    return shop


@pytest.fixture
def hung(old_shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Hung]:
    monkeypatch.setattr(far_folder, "PATIENCE_S", PATIENCE_S)
    # here, where the folder hangs, and not in a process of its own
    monkeypatch.setattr(beside, "run", lambda job, *given, tell=None: job(*given, tell))
    (tmp_path / "share").mkdir()
    found = Hung(tmp_path / "share", monkeypatch)
    yield found
    found.back.set()


def by_part(shop: Shop) -> dict[Part, Finding]:
    found = (*health.findings(shop.desk), *health.copies(health.copy_folders(shop.desk)))
    return {each.part: each for each in found}


def test_a_folder_that_does_not_answer_keeps_neither_the_desk_nor_the_first_copy_waiting(
    old_shop: Shop, hung: Hung
) -> None:
    desk = old_shop.desk
    began_s = time.monotonic()
    health.findings(desk)
    folders, goes = health.copy_folders(desk), copies_due(desk)
    assert goes == copies_go(desk)
    made: list[Any] = []
    threads = threading.active_count()
    for _ in range(5):
        look = threading.Thread(target=lambda: made.append((health.stopped(folders), health.copies(folders))))
        look.start()
        look.join(20)
    assert not look.is_alive() and threading.active_count() <= threads + 1, "each look leaves a thread that waits"
    assert time.monotonic() - began_s < 20
    first, second = made[-1][1]
    assert (first.part, second.part, second.mark) == (Part.COPIES, Part.SECOND, Mark.BAD)
    copied: list[Any] = []
    copying = threading.Thread(target=lambda: copied.append(asks.copy_now(*goes)))
    copying.start()
    copying.join(20)
    ((lines, why),) = copied
    assert lines == desk.session.book.last_id and "share" in why and "not there" in why
    hung.back.set()
    for thread in threading.enumerate():
        if thread.name == "far folder":
            thread.join(20)
    assert asks.copy_now(*goes)[1] == ""


@pytest.mark.parametrize("second", ["~nobody_has_this_name/copies", "relative/copies"])
def test_a_second_folder_nobody_can_reach_stops_no_copy_and_is_said(old_shop: Shop, second: str) -> None:
    (old_shop.folder / "settings.toml").write_text(f'[backup]\nsecond_folder = "{second}"\n', "utf-8")
    desk = old_shop.reopen()
    assert copies_due(desk) is not None
    assert by_part(old_shop)[Part.SECOND].mark is Mark.BAD


@pytest.mark.parametrize(("free", "mark"), [(64e9, Mark.GOOD), (1e9, Mark.LOOK), (1e8, Mark.BAD), (0.0, Mark.BAD)])
def test_a_disk_that_fills_is_said_before_no_scan_is_kept(
    old_shop: Shop, monkeypatch: pytest.MonkeyPatch, free: float, mark: Mark
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=free))
    assert by_part(old_shop)[Part.DISK].mark is mark


def test_each_thing_that_can_happen_to_folders_of_copies_is_told_apart_and_marked_in_the_strip(
    old_shop: Shop, tmp_path: Path
) -> None:
    """Never made, made, pulled out, pulled out while its empty folder stays, too old, and a file in the way."""
    first, second = old_shop.desk.copies.folders()
    now_utc_s = old_shop.desk.now().utc_s

    def said() -> tuple[Mark, Mark, Part | None]:
        found = by_part(old_shop)
        stopped = health.stopped(health.copy_folders(old_shop.desk))
        return found[Part.COPIES].mark, found[Part.SECOND].mark, stopped.part if stopped else None

    def aged(folder: Path, days: float) -> None:
        for path in folder.glob("*.db"):
            os.utime(path, (now_utc_s - days * DAY_S, now_utc_s - days * DAY_S))

    assert said() == (Mark.LOOK, Mark.BAD, Part.COPIES)
    assert asks.copy_now(*copies_go(old_shop.desk))[1] == ""
    aged(first, 0.5)
    aged(second, 0.5)
    # Another disk is what it should be; that of a test is the book's own, as a pulled stick's empty folder is.
    assert said() == (Mark.GOOD, Mark.LOOK, None)
    shutil.rmtree(second)
    assert said() == (Mark.GOOD, Mark.BAD, Part.SECOND)
    second.mkdir()
    assert said() == (Mark.GOOD, Mark.LOOK, Part.SECOND)
    aged(first, 20.0)
    assert said()[0] is Mark.BAD and said()[2] is Part.COPIES
    shutil.rmtree(first)
    first.touch()
    assert said()[0] is Mark.LOOK and said()[2] is Part.COPIES
    lines, why = asks.copy_now(*copies_go(old_shop.desk))
    assert lines and str(first) in why and "Errno" not in why


def test_a_print_system_that_is_gone_and_a_queue_it_no_longer_knows_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def gone() -> None:
        raise LabelError("gone", "gone")

    monkeypatch.setattr(health, "system_printing", gone)
    assert health.printer("labels").what.key == "health.printer.unknown"
    monkeypatch.setattr(health, "system_printing", lambda: SimpleNamespace(queues=lambda: ()))
    assert health.printer("labels").what.key == "health.printer.gone" and health.printer("").mark is Mark.OFF
