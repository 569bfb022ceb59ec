"""The worker asks in order, on one thread, and brings answers back on the asker's."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from kivy.clock import Clock

from kiosk.desk import Desk
from kiosk.desk.session import NotThere
from kiosk.ledger.trouble import Cause, LedgerFault
from kiosk.screens.worker import Worker
from kiosk.settings import SettingsFault

PATIENCE_S = 20.0


@pytest.fixture
def at_work() -> Iterator[Callable[[Callable[[], Desk]], Worker]]:
    """Makes workers, and stops them with the test: a desk that stays open would keep the tests from ending."""
    made: list[Worker] = []

    def one(opened: Callable[[], Desk]) -> Worker:
        made.append(Worker(opened))
        return made[-1]

    yield one
    for worker in made:
        worker.stop()


def _until(done: list[object], count: int) -> None:
    end = time.monotonic() + PATIENCE_S
    while len(done) < count:
        assert time.monotonic() < end, f"only {done}"
        Clock.tick()
        time.sleep(0.005)


def test_answers_come_in_the_order_of_the_questions_on_the_thread_that_asked(tmp_path: Path, at_work: Any) -> None:
    faults: list[Exception] = []
    worker = at_work(lambda: Desk.open(tmp_path))
    worker.at_fault = faults.append
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


def test_a_question_that_fails_for_nobody_is_told_to_somebody(tmp_path: Path, at_work: Any) -> None:
    faults: list[Exception] = []
    worker = at_work(lambda: Desk.open(tmp_path))
    worker.at_fault = faults.append
    worker.begin()
    worker.ask(lambda desk: desk.session.holder("nobody"))
    _until(faults, 1)
    worker.stop()
    assert isinstance(faults[0], NotThere)


def test_a_desk_that_cannot_be_opened_says_so_and_answers_nothing(tmp_path: Path, at_work: Any) -> None:
    (tmp_path / "settings.toml").write_text("[kiosk]\nvolume = 7\n", "utf-8")
    worker = at_work(lambda: Desk.open(tmp_path))
    told: list[object] = []
    worker.at_refusal = lambda: told.append(worker.refusal)
    worker.ask(lambda desk: told.append("answered"))
    worker.begin()
    _until(told, 1)
    worker.stop()
    assert isinstance(told[0], SettingsFault) and "volume" in str(told[0]) and len(told) == 1


def test_what_is_asked_before_the_desk_is_opened_is_answered_in_order_once_it_is(tmp_path: Path, at_work: Any) -> None:
    opened: list[int] = []

    def desk() -> Desk:
        opened.append(threading.get_ident())
        return Desk.open(tmp_path)

    worker = at_work(desk)
    got: list[object] = []
    for number in range(3):
        worker.ask(lambda desk, n=number: (n, desk.shop.empty), got.append)
    assert opened == [] and got == []
    worker.begin()
    worker.begin()  # the first picture and the longest wait for it may both say so
    _until(got, 3)
    worker.stop()
    assert got == [(0, True), (1, True), (2, True)] and len(opened) == 1


def test_a_window_that_was_closed_before_the_desk_was_begun_waits_for_nothing(tmp_path: Path, at_work: Any) -> None:
    worker = at_work(lambda: Desk.open(tmp_path))
    worker.ask(lambda desk: None)
    worker.stop()
    assert not list(tmp_path.iterdir())


def test_long_work_sees_who_waits_behind_it_but_not_what_nobody_waits_for(tmp_path: Path, at_work: Any) -> None:
    worker = at_work(lambda: Desk.open(tmp_path))
    worker.begin()
    got: list[object] = []
    begun, go_on = threading.Event(), threading.Event()

    def work(desk: Desk) -> bool:
        begun.set()
        go_on.wait(PATIENCE_S)
        return desk.session.is_asked()

    for patient, waits in ((True, False), (False, True)):
        begun.clear()
        go_on.clear()
        worker.ask(work, got.append)
        assert begun.wait(PATIENCE_S)
        worker.ask(lambda desk: "behind", got.append, patient=patient)
        go_on.set()
        _until(got, 2)
        assert got == [waits, "behind"]
        got.clear()
    worker.reopen(lambda: None, lambda: got.append("anew"))
    worker.ask(lambda desk: desk.session.is_asked(), got.append)
    _until(got, 2)
    assert got == ["anew", False], "a desk that was opened anew knows it too, and nothing is counted twice"


class Book:
    """A desk that cannot be opened until something has been done about it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.whole = False
        self.tried = 0

    def open(self) -> Desk:
        self.tried += 1
        if not self.whole:
            raise LedgerFault(self.folder, "is not a database", cause=Cause.DAMAGED)
        return Desk.open(self.folder)

    def mend(self) -> None:
        self.whole = True


def test_what_was_asked_waits_until_a_book_that_cannot_be_read_has_been_put_back(tmp_path: Path, at_work: Any) -> None:
    book, told = Book(tmp_path), list[object]()
    worker = at_work(book.open)
    worker.can_mend = lambda error: isinstance(error, LedgerFault)
    worker.at_damage = told.append
    worker.ask(lambda desk: desk.shop.empty, told.append)
    worker.begin()
    _until(told, 1)
    assert isinstance(told[0], LedgerFault) and worker.broken and worker.refusal is None

    worker.reopen(lambda: 1 / 0, lambda: told.append("never"), told.append)
    _until(told, 2)
    assert isinstance(told[1], ZeroDivisionError) and book.tried == 1, "nothing was done: nothing is opened"
    worker.reopen(lambda: None, lambda: told.append("never"), told.append)
    _until(told, 3)
    assert isinstance(told[2], LedgerFault) and worker.broken, "it was done, and in vain"
    worker.reopen(book.mend, lambda: told.append("put back"), told.append)
    _until(told, 5)
    assert told[3:] == ["put back", True] and not worker.broken


def test_a_window_that_is_closed_before_the_book_was_put_back_says_what_was_wrong(tmp_path: Path, at_work: Any) -> None:
    book, told = Book(tmp_path), list[object]()
    worker = at_work(book.open)
    worker.can_mend = lambda error: True
    worker.at_damage = told.append
    worker.begin()
    _until(told, 1)
    worker.stop()
    assert isinstance(worker.refusal, LedgerFault)


def test_a_book_that_is_damaged_once_it_was_put_back_is_not_the_end_either(tmp_path: Path, at_work: Any) -> None:
    book, told = Book(tmp_path), list[object]()
    book.whole = True
    worker = at_work(book.open)
    worker.can_mend = lambda error: True
    worker.at_damage = told.append
    worker.begin()

    def spoil() -> None:
        book.whole = False

    worker.reopen(spoil, lambda: told.append("reopened"))
    _until(told, 1)
    assert isinstance(told[0], LedgerFault)
    worker.reopen(book.mend, lambda: told.append("put back"))
    _until(told, 3)
    assert told[1:] == ["put back", "reopened"]
