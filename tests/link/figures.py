"""How fast a shop's server takes lines, how soon another kiosk has them, and how long catching up takes.

    python -m tests.link.figures [--lines 100000]

A real PostgreSQL with its disk as firm as in a shop; kiosks keep their ledgers in memory, so that what is measured is
the link and the server and nothing else.  Bare INSERTs by psycopg of the same rows are what it is compared with.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import psycopg

from kiosk.link import calls
from kiosk.rules.chain import ChainLine
from tests.link.kiosk import LinkedKiosk, until
from tests.link.shop import LINE_FORM, Ledger, Server, Shop, linked

_BODY = "x" * 400  # about what a line of the ledger has
_INSERT = "INSERT INTO bare VALUES (%s, %s, %s, %s, %s, %s, %s, %s)"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=100_000)
    lines: int = parser.parse_args().lines
    server = Server(firm=True)
    try:
        shop = Shop(server)
        _beside_bare(shop)
        _how_soon(shop)
        _catching_up(shop, lines)
    finally:
        server.end()


def _beside_bare(shop: Shop) -> None:
    shop.sql("CREATE TABLE bare (n bigint PRIMARY KEY, kiosk text, number bigint, previous text, digest text, "
             "seen bigint, seen_book text, body text, UNIQUE (kiosk, number))")  # fmt: skip
    for at_once, count in ((1, 1000), (500, 20_000)):
        member = shop.member()
        own = Ledger(member.kiosk).write(*[_BODY] * count)
        kiosk = linked(member)
        took_s = _timed(lambda own=own, kiosk=kiosk, at_once=at_once: _pushed(kiosk, own, at_once))
        bare_s = _timed(lambda own=own, at_once=at_once: _bare(shop, own, at_once))
        print(f"{at_once} at once: {count / took_s:.0f} lines a second, bare INSERTs {count / bare_s:.0f}, "
              f"{took_s / bare_s:.2f} times as long")  # fmt: skip
    members = [shop.member() for _ in range(8)]
    chains = [Ledger(member.kiosk).write(*[_BODY] * 250) for member in members]
    kiosks = [linked(member) for member in members]

    def all_at_once(one: Callable[[int], None]) -> None:
        with ThreadPoolExecutor(8) as pool:
            list(pool.map(one, range(8)))

    took_s = _timed(lambda: all_at_once(lambda at: _pushed(kiosks[at], chains[at], 1)))
    bare_s = _timed(lambda: all_at_once(lambda at: _bare(shop, chains[at], 1)))
    print(f"8 writers, 1 at once: {2000 / took_s:.0f} lines a second, bare INSERTs {2000 / bare_s:.0f}, "
          f"{took_s / bare_s:.2f} times as long")  # fmt: skip


def _pushed(kiosk: calls.Connection, own: Sequence[ChainLine], at_once: int) -> None:
    for at in range(0, len(own), at_once):
        calls.push(kiosk, own[at : at + at_once], LINE_FORM)


def _bare(shop: Shop, own: Sequence[ChainLine], at_once: int) -> None:
    values = shop.server.boss(shop.database)
    with psycopg.connect(**values, autocommit=True) as connection, connection.cursor() as cursor:
        base = int(own[0].kiosk[:10], 16) << 20  # a number of its own for each chain
        rows = [
            (
                base + each.number,
                each.kiosk,
                each.number,
                each.previous,
                each.digest,
                each.seen,
                each.seen_book,
                each.body,
            )
            for each in own
        ]
        for at in range(0, len(rows), at_once):
            with connection.transaction():
                cursor.executemany(_INSERT, rows[at : at + at_once])


def _how_soon(shop: Shop) -> None:
    a, b = LinkedKiosk(shop, "A"), LinkedKiosk(shop, "B")
    until(lambda: a.standing().applied == b.standing().applied == a.standing().head, 120)
    took = []
    for each in range(300):
        before = len(b.ledger.shared)
        began = time.perf_counter()
        a.write(f"{each}")
        while len(b.ledger.shared) == before:
            time.sleep(0.0005)
        took.append((time.perf_counter() - began) * 1000)
    took.sort()
    print(f"a line is in the other kiosk's book after {statistics.median(took):.0f} ms (99 %: {took[296]:.0f} ms)")
    fresh = [_timed(lambda: b.link.fresh(1.0)) * 1000 for _ in range(100)]
    print(f"all that the server has, asked for: {statistics.median(fresh):.0f} ms (worst of 100: {max(fresh):.0f} ms)")
    a.end()
    b.end()


def _catching_up(shop: Shop, lines: int) -> None:
    member = shop.member()
    own = Ledger(member.kiosk).write(*[_BODY] * lines)
    _pushed(linked(member), own, 500)
    ((total,),) = shop.sql("SELECT n FROM book.head")
    late = LinkedKiosk(shop, "late")
    took_s = _timed(lambda: until(lambda: len(late.ledger.shared) == total, 600))
    late.end()
    print(f"{total} lines caught up in {took_s:.1f} s")


def _timed(what: Callable[[], object]) -> float:
    began = time.perf_counter()
    what()
    return time.perf_counter() - began


if __name__ == "__main__":
    main()
