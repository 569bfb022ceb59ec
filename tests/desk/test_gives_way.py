"""What other kiosks did waits for whoever asks the desk something, and comes in where somebody always asks too."""

from __future__ import annotations

import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

from kiosk.desk.kiosks import KiosksCounter
from kiosk.ledger.sharing import GaveWay


class Book:
    """In the place of a ledger that takes long over what came."""

    def __init__(self) -> None:
        self.sharing = SimpleNamespace(tail=SimpleNamespace(applied=1, book=""), waiting=lambda: 800)
        self.taken = 0

    def take(self, lines: list[Any], enough: Callable[[], bool], gives_way: Callable[[], bool]) -> int:
        if gives_way():
            raise GaveWay("somebody waits for an answer")
        self.taken += len(lines)
        return len(lines)


def counter(book: Book, came: list[str]) -> KiosksCounter:
    made = KiosksCounter.__new__(KiosksCounter)
    link = SimpleNamespace(take=lambda most: [came.pop()] if came else [], applied=lambda n, book: None,
                           fresh=lambda within_s: True)  # fmt: skip
    values = {"_book": book, "_link": link, "_beats": SimpleNamespace(follow=lambda: None), "_halted": False}
    made.__dict__ |= values | {"_gave_way": 0, "_taken": [], "_seconds": time.monotonic}
    return made


def test_what_came_waits_while_somebody_asks_but_not_for_ever() -> None:
    book = Book()
    kiosks = counter(book, ["line"])
    assert kiosks.take(lambda: True), "there is more: it gave way"
    assert book.taken == 0
    while kiosks.take(lambda: True):
        pass
    assert book.taken == 1
    assert not kiosks.take(lambda: True)


def test_once_it_came_in_it_gives_way_again() -> None:
    book, came = Book(), ["first"]
    kiosks = counter(book, came)
    while kiosks.take(lambda: True):
        pass
    came.append("second")
    assert kiosks.take(lambda: True) and book.taken == 1


def test_what_is_asked_for_before_an_answer_is_given_up_when_it_is_late() -> None:
    book = Book()
    kiosks = counter(book, ["line"])
    assert not kiosks.fresh(within_s=-1.0) and book.taken == 0
    assert kiosks.fresh(within_s=60.0) and book.taken == 1
