"""The worker asks in order, on one thread, and brings answers back on the asker's."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from kivy.clock import Clock

from kiosk.desk import Desk
from kiosk.desk.session import NotThere
from kiosk.screens.worker import Worker


def _until(done: list[object], count: int) -> None:
    for _ in range(400):
        Clock.tick()
        if len(done) >= count:
            return
    raise AssertionError(f"only {done}")


def test_answers_come_in_the_order_of_the_questions_on_the_thread_that_asked(tmp_path: Path) -> None:
    faults: list[Exception] = []
    worker = Worker(lambda: Desk.open(tmp_path), faults.append)
    worker.begin()
    got: list[object] = []
    threads: set[int] = set()
    for number in range(20):
        worker.ask(lambda desk, n=number: (n, threading.get_ident()), got.append)
    worker.ask(lambda desk: desk.session.holder("nobody"), got.append, got.append)
    worker.ask(lambda desk: threads.add(threading.get_ident()))
    _until(got, 21)
    worker.stop()
    assert [answer[0] for answer in got[:20]] == list(range(20))
    assert len({answer[1] for answer in got[:20]}) == 1 and threading.get_ident() not in threads
    assert isinstance(got[20], NotThere) and faults == []


def test_a_question_that_fails_for_nobody_is_told_to_somebody(tmp_path: Path) -> None:
    faults: list[Exception] = []
    worker = Worker(lambda: Desk.open(tmp_path), faults.append)
    worker.begin()
    worker.ask(lambda desk: desk.session.holder("nobody"))
    _until(faults, 1)
    worker.stop()
    assert isinstance(faults[0], NotThere)


def test_a_desk_that_cannot_be_opened_says_so_before_there_is_a_window(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text("[kiosk]\nvolume = 7\n", "utf-8")
    worker = Worker(lambda: Desk.open(tmp_path), lambda _: None)
    worker.begin()
    with pytest.raises(Exception, match="volume"):
        worker.opened()


def test_an_answer_can_be_waited_for_before_anything_is_drawn(tmp_path: Path) -> None:
    worker = Worker(lambda: Desk.open(tmp_path))
    worker.begin()
    assert worker.wait_for(lambda desk: desk.shop.empty)
    with pytest.raises(NotThere):
        worker.wait_for(lambda desk: desk.session.holder("nobody"))
    worker.stop()
