"""Catching up costs the same for every line: no sentence of it reads the whole past."""

from __future__ import annotations

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
