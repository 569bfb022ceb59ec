"""Catching up costs the same for every line: no sentence of it reads the whole past."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from kiosk.ledger.sharing import GaveWay
from kiosk.rules import lines as L
from tests.ledger.kiosks import Kiosk, Server, shop

A = "a" * 16
GROWING = ("line", "chained", "mention")


def test_what_comes_in_is_applied_without_reading_the_whole_past() -> None:
    server, (founder, other) = shop(A)
    founder.says(L.Moved("T1", "B", "F"), L.Moved("T1", "F", "B"))
    server.push(founder.own_lines())
    other.says(L.Moved("T2", "B", "R"))  # waits, and is undone and told again
    assert _scans_of(other, server) == []


def _scans_of(kiosk: Kiosk, server: Server) -> list[str]:
    """Sentences with which it reads a growing table from end to end while it takes what came."""
    asked: list[str] = []
    with kiosk:
        connection = kiosk.database.connection()
        connection.set_trace_callback(asked.append)
        kiosk.pulls(server)
        connection.set_trace_callback(None)
        scans = []
        for sentence in {each for each in asked if each.startswith(("SELECT", "DELETE", "UPDATE"))}:
            plan = connection.execute(f"EXPLAIN QUERY PLAN {sentence}").fetchall()
            if any(row[3].split() in (["SCAN", table], ["SCAN", f'"{table}"']) for row in plan for table in GROWING):
                scans.append(sentence)
    assert asked
    return scans


def _asked_at(number: int) -> Callable[[], bool]:
    """Somebody comes when it was looked so many times whether there is anybody."""
    looks = iter(range(10**6))
    return lambda: next(looks) == number


@pytest.mark.parametrize("number", [0, 30, 85, 100, 130])
def test_what_comes_gives_way_to_a_question_wherever_it_is_and_nothing_of_it_is_in_the_tables(number: int) -> None:
    """While own lines are taken out, while others' are applied, while the own are told again."""
    server, (founder, other) = shop(A)
    for _ in range(20):
        founder.says(L.Moved("T1", "B", "R"), L.Moved("T1", "R", "B"))
        other.says(L.Moved("T2", "B", "R"), L.Moved("T2", "R", "B"))
    server.push(founder.own_lines())
    before, tail = other.tables(), other.sharing.tail
    with pytest.raises(GaveWay), other, other.database.atomic():
        other.sharing.take(server.lines[tail.applied :], gives_way=_asked_at(number))
    with other:
        other.sharing.read_ends()
    assert (other.tables(), other.sharing.tail, other.sharing.waiting()) == (before, tail, 40)
    other.says(L.Moved("T2", "B", "R"))  # the answer to that question
    assert other.pulls(server) == 40
    assert other.sharing.waiting() == 41 and other.wrong() == []
    server.push(other.own_lines())
    for each in (founder, other):
        each.pulls(server)
    assert founder.tables() == other.tables() and other.sharing.waiting() == 0


def _steps_to_take_one_own(behind: int) -> int:
    """What SQLite does, in steps of its own, when an own line gets its number with so many lines behind it."""
    server, (founder,) = shop()
    for _ in range(behind):
        founder.says(L.Moved("T1", "B", "R"), L.Moved("T1", "R", "B"))
    server.push(founder.own_lines())
    founder.pulls(server)
    founder.says(L.Moved("T1", "B", "R"))
    server.push(founder.own_lines())
    steps = 0

    def count() -> None:
        nonlocal steps
        steps += 1

    with founder:
        founder.database.connection().set_progress_handler(count, 1)
        founder.pulls(server)
        founder.database.connection().set_progress_handler(None, 0)
    return steps


def test_an_own_line_gets_its_number_in_as_many_steps_however_long_the_book_is() -> None:
    """SQLite looks for rows that refer to a changed id, whichever sentence was said."""
    few, many = _steps_to_take_one_own(20), _steps_to_take_one_own(200)
    assert many < 1.2 * few, (few, many)
