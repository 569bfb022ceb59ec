"""The ledger against the same statements by Python's own sqlite3 module, and against its own promises.

Peers: the bare module with the same pragmas and the same statements, without the values being hashed, encoded or
derived; an empty ledger for one with a long past; and a limit the shop can feel (a history in 50 ms, a check of a
million lines in a minute).  Ratios are written so that larger is better for us.
"""

from __future__ import annotations

import os
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from kiosk.bench.ratio import Ratio
from kiosk.desk import Desk
from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import NAME, Book
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Cutter, Family, Holder, Measured
from kiosk.rules.places import Kind, Place

BENCH = "ledger"
HOLDERS = 500
BENCHES = 20
ROUNDS = 5
HISTORY_S, CHECK_S, FIND_S = 0.050, 60.0, 0.100
HSK63 = Coupling(Family.HOLLOW_TAPER, 63)


def run(quick: bool = False) -> Iterator[Ratio]:
    """Commits against sqlite3, the cost of a long past, history, check and finding.  quick: smaller inputs."""
    commits, past, finds = (200, 30_000, 10_000) if quick else (2000, 1_000_000, 100_000)
    with tempfile.TemporaryDirectory(prefix="ledger-bench-") as folder:
        yield from _commits(Path(folder), commits)
        yield from _past(Path(folder), commits, past)
        yield from _finding(Path(folder), finds)


def _setup() -> list[L.Entry]:
    entries: list[L.Entry] = [L.PlaceAdded(Place(f"P{at}", f"Bench {at}", Kind.BENCH)) for at in range(BENCHES)]
    entries += [
        L.HolderRegistered(Holder(f"T{at}", f"Shrink {at}", HSK63, Clamping.SHRINK_FIT, 12.0), stood_cold=True)
        for at in range(HOLDERS)
    ]
    return entries


class _Moves:
    """Endless moves of holders from bench to bench; every one follows from those before."""

    def __init__(self) -> None:
        self._at: dict[str, str | None] = {}
        self._count = 0

    def next(self) -> L.Moved:
        key = f"T{self._count % HOLDERS}"
        goal = f"P{(self._count // HOLDERS + self._count) % BENCHES}"
        moved = L.Moved(key, self._at.get(key), goal)
        self._at[key] = goal
        self._count += 1
        return moved


def moves_of_a_shop() -> Iterator[L.Entry]:
    """A shop's things and then the moves of its holders, without an end."""
    yield from _setup()
    moves = _Moves()
    while True:
        yield moves.next()


def _timed(book: Book, moves: _Moves, count: int) -> list[float]:
    """Seconds of each of `count` commits of one move."""
    found = []
    for _ in range(count):
        entry = moves.next()
        start = time.perf_counter()
        book.append([entry], "jo")
        found.append(time.perf_counter() - start)
    return found


def _commits(folder: Path, count: int) -> Iterator[Ratio]:
    """Commits of one move each, every one promised by the disk; ours and theirs by turns."""
    moves = _Moves()
    ours: list[float] = []
    theirs: list[float] = []
    with Book.open(folder / "ours") as book:
        book.append(_setup())
        _timed(book, moves, count // 10)
    for _ in range(ROUNDS):
        with Book.open(folder / "ours") as book:
            ours += _timed(book, moves, count // ROUNDS)
            sentences = _written(book, moves, count // ROUNDS)
        theirs += _bare(folder / "theirs.db", folder / "ours" / NAME, sentences)
    ours_s, theirs_s = statistics.median(ours), statistics.median(theirs)
    peer = "sqlite3, same statements and pragmas"
    yield Ratio(BENCH, f"{count} commits of one move", peer, 1 / ours_s, 1 / theirs_s, theirs_s / ours_s, "commits/s")


class _Listening:
    """A cursor that also keeps what it is told; executemany's values as a list."""

    def __init__(self, cursor: Any) -> None:
        self._cursor = cursor
        self.told: list[tuple[str, Any, bool]] = []

    def execute(self, sql: str, params: Any = ()) -> Any:
        self.told.append((sql, params, False))
        return self._cursor.execute(sql, params)

    def executemany(self, sql: str, params: Any) -> Any:
        self.told.append((sql, params, True))
        return self._cursor.executemany(sql, params)


Commit = list[tuple[str, Any, bool]]


def _written(book: Book, moves: _Moves, count: int) -> list[Commit]:
    """The statements of `count` more commits, as the database was told them."""
    commits: list[Commit] = []
    cursor = book.state.cursor
    try:
        for _ in range(count):
            book.state.cursor = listening = _Listening(cursor)
            book.append([moves.next()], "jo")
            commits.append(listening.told)
    finally:
        book.state.cursor = cursor
    return commits


def _bare(path: Path, start: Path, sentences: list[Commit]) -> list[float]:
    """Seconds of each commit by the bare module: the same statements, on the ledger as it was before them."""
    first = sentences[0][0][1][0]
    path.unlink(missing_ok=True)
    with closing(sqlite3.connect(start)) as whole, closing(sqlite3.connect(path)) as copied:
        whole.backup(copied)
    took = []
    with closing(sqlite3.connect(path, isolation_level=None)) as bare:
        for pragma in ("journal_mode = wal", "synchronous = full", "foreign_keys = 1", "cache_size = -32000"):
            bare.execute(f"PRAGMA {pragma}")
        bare.execute("DELETE FROM mention WHERE line_id >= ?", (first,))
        bare.execute("DELETE FROM line WHERE id >= ?", (first,))
        bare.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        cursor = bare.cursor()
        for commit in sentences:
            begun = time.perf_counter()
            cursor.execute("BEGIN")
            for sql, params, many in commit:
                if many:
                    cursor.executemany(sql, params)
                else:
                    cursor.execute(sql, params).fetchone()
            cursor.execute("COMMIT")
            took.append(time.perf_counter() - begun)
    return took


def _past(folder: Path, count: int, past: int) -> Iterator[Ratio]:
    """The same commits with a long past behind them; history and check of that past."""
    moves = {"empty": _Moves(), "long": _Moves()}
    with Book.open(folder / "empty") as book:
        book.append(_setup())
    with Book.open(folder / "long") as book:
        book.append(_setup())
        while book.last_id < past:
            book.append([moves["long"].next() for _ in range(20_000)], "jo")
            print(f"\r{book.last_id} of {past} lines", end="", file=sys.stderr, flush=True)
        print(file=sys.stderr)
        T.database.execute_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    os.sync()  # what the filling left to be written is not this commit's to wait for
    taken: dict[str, list[float]] = {"empty": [], "long": []}
    for _ in range(ROUNDS):  # by turns, so that a busy disk is busy for both
        for name, times in taken.items():
            with Book.open(folder / name) as book:
                _timed(book, moves[name], count // 10)
                times += _timed(book, moves[name], count // ROUNDS)
    empty_s, long_s = (statistics.median(taken[name]) for name in ("empty", "long"))
    case = f"a commit with {past} lines behind it"
    yield Ratio(BENCH, case, "on an empty ledger", long_s * 1e3, empty_s * 1e3, empty_s / long_s, "ms")
    with Book.open(folder / "long") as book:
        asked = []
        for at in range(50):
            begun = time.perf_counter()
            history.lines(history.Question(f"T{at * 7 % HOLDERS}"))
            asked.append(time.perf_counter() - begun)
        slowest = max(asked)
        case = f"history of a holder among {past} lines, slowest of 50"
        yield Ratio(BENCH, case, "50 ms", slowest * 1e3, HISTORY_S * 1e3, HISTORY_S / slowest, "ms")
        begun = time.perf_counter()
        wrong = book.check()
        took_s = time.perf_counter() - begun
        if wrong:
            raise AssertionError(f"the bench's own ledger does not verify: {wrong[0]}")
        limit_s = CHECK_S * past / 1e6
        yield Ratio(BENCH, f"check of {past} lines", "a minute for a million", took_s, limit_s, limit_s / took_s, "s")


def _finding(folder: Path, holders: int) -> Iterator[Ratio]:
    """What is shown for every letter typed, with that many holders."""
    with Desk.open(folder / "finding") as desk:
        desk.session.write(*_setup())
        entries: list[L.Entry] = []
        for at in range(holders):
            size, corner = (3, 4, 6, 8, 10, 12, 16, 20)[at % 8], (0, 0.2, 0.5, 1)[at // 8 % 4]
            key, name = f"F{at}", f"End mill {size} R{corner:g}"
            holder = Holder(key, f"Shrink {size} x 80", HSK63, Clamping.SHRINK_FIT, size)
            entries += [
                L.HolderRegistered(holder, stood_cold=True),
                L.CutterAdded(Cutter(f"C{at}", name, size, size, 80, re_mm=corner)),
                L.Built(f"A{at}", name, key, f"C{at}", 30),
                L.MeasuredLine(key, f"A{at}", Measured(70 + at % 130, size)),
                L.Moved(key, None, f"P{at % BENCHES}"),
            ]
        desk.session.write(*entries)
        desk.finding.warm()
        asked = []
        for typed in ("12 R0.5", "end mill 16", "free 12 hsk63", "length 80-100", "bench 7"):
            for letters in range(1, len(typed) + 1):
                begun = time.perf_counter()
                desk.finding.find(typed[:letters])
                asked.append(time.perf_counter() - begun)
        slowest = max(asked)
        case = f"a letter typed among {holders} holders, slowest of {len(asked)}"
        yield Ratio(BENCH, case, "100 ms", slowest * 1e3, FIND_S * 1e3, FIND_S / slowest, "ms")
