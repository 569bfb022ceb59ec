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
