"""Several kiosks on one book: a scan alone, with a server and cut off; the way of a line; a server; catching up.

Real ledgers, real desks and a PostgreSQL of this machine, begun in a temporary folder with its disk as firm as in a
shop.  Peers: a kiosk without others, bare INSERTs of the same rows by psycopg, and what a shop can feel (100 ms more
for a scan, a line on another board within 1 s, 3 s for 99 of 100, 100 000 lines caught up within a minute).
"""

from __future__ import annotations

import select
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from pathlib import Path

import psycopg

from kiosk.bench.ledger import moves_of_a_shop
from kiosk.bench.postgres import Cluster
from kiosk.bench.ratio import Ratio
from kiosk.desk import Desk
from kiosk.desk.joining import join
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE, as_kept
from kiosk.ledger.shared_form import Told, travelling
from kiosk.link import calls
from kiosk.link import server as administration
from kiosk.link.address import Address, Membership, new_id
from kiosk.link.border import LINE_FORM
from kiosk.link.connection import Connection, connect
from kiosk.link.joining import join as join_server
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Family, Holder
from kiosk.rules.chain import EMPTY_BOOK, ChainLine, next_book
from kiosk.rules.places import Kind, Place

BENCH = "kiosks"
MORE_S, SEEN_S, SEEN_LATE_S, CAUGHT_UP_S = 0.1, 1.0, 3.0, 60.0
FOLLOWER = """
import sys, time
from pathlib import Path
from kiosk.desk import Desk
with Desk.open(Path(sys.argv[1])) as desk:
    desk.begin_sharing()
    known = desk.kiosks.standing().applied
    print("ready", flush=True)
    end_s = time.monotonic() + float(sys.argv[2])
    while time.monotonic() < end_s:
        desk.kiosks.take()
        applied = desk.kiosks.standing().applied
        if applied != known:
            known = applied
            print(known, time.monotonic(), flush=True)
        time.sleep(0.005)
"""


def run(quick: bool = False) -> Iterator[Ratio]:
    """quick: smaller inputs.  Raises psycopg.Error, LinkFault; SystemExit where this machine has no PostgreSQL."""
    scans, rows, past = (30, 2_000, 5_000) if quick else (200, 20_000, 100_000)
    with tempfile.TemporaryDirectory(prefix="kiosks-bench-") as folder, closing(Cluster(firm=True)) as server:
        yield from _scans(Path(folder), server, scans)
        yield from _beside_bare(server, rows)
        yield from _catching_up(Path(folder) / "late", server, past)


def _book(server: Cluster, database: str) -> Address:
    address = server.address(database)
    administration.prepare(server.boss(), address)
    return address


def _scans(folder: Path, server: Cluster, count: int) -> Iterator[Ratio]:
    """The same scans at a kiosk alone, with its server, and once that is gone; and when another kiosk has the line."""
    address = _book(server, "scans")
    for name in ("first", "other"):
        join(folder / name, address, administration.invite_first(server.boss(), address), name)
    with Desk.open(folder / "alone") as desk:
        alone_s = _scanned(desk, _shop(desk), count)
    command = [sys.executable, "-c", FOLLOWER, str(folder / "other"), str(60 + count * 4)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as follower, Desk.open(folder / "first") as desk:
        assert follower.stdout is not None
        follower.stdout.readline()
        desk.begin_sharing()
        _until(lambda: desk.tick() is not None and desk.session.cards.apart is not None
               and desk.session.cards.apart.admitted and desk.session.cards.apart.all_heard, 300)  # fmt: skip
        codes = _shop(desk)
        _until(lambda: desk.tick() is not None and desk.kiosks is not None and not desk.kiosks.standing().waiting, 300)
        took: list[float] = []
        with_s = _scanned(desk, codes, count, took, follower)
        follower.kill()
        server.stop()
        _until(lambda: desk.tick() is not None and not desk.session.cards.apart.caught_up, 300)  # type: ignore[union-attr]
        cut_s = _scanned(desk, codes, count)
        server.start()
    for case, ours_s in (("with its server", with_s), ("cut off", cut_s)):
        allowed_s = statistics.median(alone_s) + MORE_S
        for which, ours, theirs in (
            ("median", statistics.median(ours_s), allowed_s),
            ("99 %", _99(ours_s), _99(alone_s) + MORE_S),
        ):
            yield Ratio(
                BENCH,
                f"two scans to the disk {case}, {which}",
                "alone and 100 ms",
                ours * 1e3,
                theirs * 1e3,
                theirs / ours,
                "ms",
            )
    alone_ms = statistics.median(alone_s) * 1e3
    yield Ratio(BENCH, "two scans to the disk alone, median", "100 ms", alone_ms, 100.0, 100.0 / alone_ms, "ms")
    for which, ours, theirs in (("median", statistics.median(took), SEEN_S), ("99 %", _99(took), SEEN_LATE_S)):
        yield Ratio(
            BENCH,
            f"a line is in another kiosk's tables, {which}",
            f"{theirs:.0f} s",
            ours * 1e3,
            theirs * 1e3,
            theirs / ours,
            "ms",
        )


def _99(found: Sequence[float]) -> float:
    return sorted(found)[len(found) * 99 // 100]


def _until(so: Callable[[], bool], within_s: float) -> None:
    end_s = time.monotonic() + within_s
    while not so():
        if time.monotonic() > end_s:
            raise TimeoutError("the kiosks of the bench did not come together")
        time.sleep(0.02)


def _shop(desk: Desk) -> list[str]:
    """One collet chuck and two benches; the texts of their labels."""
    holder = Holder("T", "ER16", Coupling(Family.HOLLOW_TAPER, 63), Clamping.COLLET, 10.0)
    places = [Place(code, f"Bench {code}", Kind.BENCH) for code in ("A", "B")]
    desk.session.write(
        *(L.PlaceAdded(place) for place in places),
        *(L.CodeBound(f"at-{place.code}", place.code, "place", foreign=True) for place in places),
        L.HolderRegistered(holder, stood_cold=True),
        L.CodeBound("steel", "T", "holder", foreign=True),
        L.Moved("T", None, "A"),
    )
    return ["steel", "at-B", "steel", "at-A"]


def _scanned(
    desk: Desk,
    codes: list[str],
    count: int,
    took: list[float] | None = None,
    follower: subprocess.Popen[str] | None = None,
) -> list[float]:
    """Seconds of each step of two scans.  took: filled with when the follower had its line after that."""
    found = []
    for at in range(count):
        texts = codes[:2] if at % 2 == 0 else codes[2:]
        desk.tick()
        began_s = time.monotonic()
        answers = [desk.scan(text) for text in texts]
        done_s = time.monotonic()
        if not answers[-1].lines:
            continue  # cut off for a moment by a busy machine
        found.append(done_s - began_s)
        if took is not None and follower is not None and follower.stdout is not None:
            if select.select([follower.stdout], [], [], 10.0)[0]:
                took.append(max(0.0, float(follower.stdout.readline().split()[1]) - done_s))
            time.sleep(0.05)
            while select.select([follower.stdout], [], [], 0.0)[0]:
                follower.stdout.readline()
    return found


def _told(kiosk: str, count: int, at_once: int) -> list[ChainLine]:
    """Lines of one kiosk that knew the numbers of all but the last so many: a shop's things, then its moves."""
    found: list[ChainLine] = []
    previous, book, seen = HASH_BEFORE_ANY_LINE, EMPTY_BOOK, (0, EMPTY_BOOK)
    entries = moves_of_a_shop()
    for number in range(1, count + 1):
        if number % at_once == 1 or at_once == 1:
            seen = number - 1, book
        _, payload = as_kept(entry := next(entries))
        said = Told(previous, number, 1.8e9 + number, 10.0 * number, kiosk, None, entry.kind, payload, *seen)
        line = travelling(kiosk, said)
        previous, book = line.digest, next_book(book, line.digest)
        found.append(line)
    return found


def _member(server: Cluster, address: Address, name: str) -> tuple[Membership, Connection]:
    code = administration.invite_first(server.boss(), address)
    member = join_server(address, code, name, new_id(), has_lines=False)
    return member, connect(address.values() | {"user": f"kiosk_{member.kiosk}", "password": member.key})


def _beside_bare(server: Cluster, rows: int) -> Iterator[Ratio]:
    """Lines pushed against bare INSERTs of the same rows, one at a time and many."""
    for at_once, count in ((1, rows // 20), (500, rows)):
        address = _book(server, f"rows_{at_once}")
        member, kiosk = _member(server, address, "writer")
        lines = _told(member.kiosk, count, at_once)
        began_s = time.perf_counter()
        _pushed(kiosk, lines, at_once)
        ours_s = time.perf_counter() - began_s
        kiosk.close()
        theirs_s = _bare(server, address, lines, at_once)
        yield Ratio(
            BENCH,
            f"lines a second, {at_once} at a time",
            "bare INSERTs, psycopg",
            count / ours_s,
            count / theirs_s,
            theirs_s / ours_s,
            "lines/s",
        )


def _pushed(kiosk: Connection, lines: Sequence[ChainLine], at_once: int) -> None:
    for at in range(0, len(lines), at_once):
        calls.push(kiosk, lines[at : at + at_once], LINE_FORM)


_TABLE = (
    "CREATE TABLE bare (n bigint PRIMARY KEY, kiosk text, number bigint, previous text, digest text, seen bigint, "
    "seen_book text, body text, UNIQUE (kiosk, number))"
)


def _bare(server: Cluster, address: Address, lines: Sequence[ChainLine], at_once: int) -> float:
    """Seconds."""
    rows = [
        (line.number, line.kiosk, line.number, line.previous, line.digest, line.seen, line.seen_book, line.body)
        for line in lines
    ]
    with psycopg.connect(**server.boss(address.database), autocommit=True) as connection:
        cursor = connection.cursor()
        cursor.execute(_TABLE)
        began_s = time.perf_counter()
        for at in range(0, len(rows), at_once):
            with connection.transaction():
                cursor.executemany("INSERT INTO bare VALUES (%s, %s, %s, %s, %s, %s, %s, %s)", rows[at : at + at_once])
        return time.perf_counter() - began_s


def _timed(what: Callable[[], object]) -> float:
    began_s = time.perf_counter()
    what()
    return time.perf_counter() - began_s


def _catching_up(folder: Path, server: Cluster, count: int) -> Iterator[Ratio]:
    """A new kiosk until all lines of the shop are in its tables, its desk ticking along."""
    address = _book(server, "late")
    member, kiosk = _member(server, address, "writer")
    with closing(kiosk):
        _pushed(kiosk, _told(member.kiosk, count, 500), 500)
    join(folder, address, administration.invite_first(server.boss(), address), "late")
    slices = []
    with Desk.open(folder) as desk:
        began_s, used_s = time.perf_counter(), time.process_time()
        desk.begin_sharing()
        assert desk.kiosks is not None
        while desk.kiosks.standing().applied < count:
            slices.append(_timed(desk.kiosks.take))
            time.sleep(0.0005)
        took_s, used_s = time.perf_counter() - began_s, time.process_time() - used_s
    limit_s = CAUGHT_UP_S * count / 100_000
    yield Ratio(BENCH, f"{count} lines caught up", "a minute for 100 000", took_s, limit_s, limit_s / took_s, "s")
    yield Ratio(
        BENCH,
        f"{count} lines caught up, processor time",
        "a minute for 100 000",
        used_s,
        limit_s,
        limit_s / used_s,
        "s",
    )
    slow_s = _99(slices)
    yield Ratio(BENCH, "a slice of it at the desk, 99 %", "20 ms and a commit", slow_s * 1e3, 20.0, 0.02 / slow_s, "ms")
