"""Real ledgers, real desks and a real server: what is written at one kiosk is in the book of every other."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from kiosk.desk.joining import join
from kiosk.link import address as addresses
from kiosk.link import server as administration
from kiosk.rules.link_state import LinkState
from tests.link.kiosk import until
from tests.link.proxy import Proxy
from tests.link.shop import Shop


class KioskProcess:
    """A kiosk with a folder and a network of its own; `acknowledged` is every line it printed, by number."""

    def __init__(self, shop: Shop, folder: Path, name: str, *, starts: bool = True) -> None:
        self.folder = folder
        self.acknowledged: dict[int, str] = {}
        self.network = Proxy(("127.0.0.1", shop.server.port))
        code = administration.invite_first(shop.server.boss(), shop.address)
        member = join(folder, shop.address, code, name)
        addresses.keep(folder, replace(member, port=self.network.port))
        self.kiosk = member.kiosk
        if starts:
            self.start()

    def start(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.link.kiosk_process", str(self.folder)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self._answer()["ready"]

    def _answer(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line, "the kiosk's process ended"
        answer: dict[str, Any] = json.loads(line)
        self.acknowledged |= {each["number"]: each["digest"] for each in answer.get("lines", ())}
        return answer

    def send(self, *words: str) -> None:
        assert self._process.stdin is not None
        print(*words, file=self._process.stdin, flush=True)

    def __call__(self, *words: str) -> dict[str, Any]:
        self.send(*words)
        return self._answer()

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def standing(self) -> dict[str, Any]:
        return self("standing")

    def kill(self) -> None:
        self._process.kill()
        self._process.wait()

    def quit(self) -> None:
        if self._process.poll() is None:
            self.send("quit")
            self._process.wait(40)

    def end(self) -> None:
        self.quit()
        self.network.close()


Make = Callable[[str], KioskProcess]


@pytest.fixture
def make(on_server: Shop, tmp_path: Path) -> Iterator[Make]:
    made: list[KioskProcess] = []

    def one(name: str) -> KioskProcess:
        made.append(KioskProcess(on_server, tmp_path / name, name))
        return made[-1]

    yield one
    for kiosk in made:
        kiosk.end()


def level(*kiosks: KioskProcess) -> Callable[[], bool]:
    def so() -> bool:
        standing = [kiosk.standing for kiosk in kiosks]
        return (
            all(each["state"] == LinkState.CAUGHT_UP.value and not each["waiting"] for each in standing)
            and len({(each["applied"], each["head"]) for each in standing}) == 1
        )

    return so


def sound(shop: Shop, *kiosks: KioskProcess) -> None:
    """Every acknowledged line is in the book once, all tables are equal, and every check finds nothing."""
    try:
        until(level(*kiosks))
    except AssertionError:
        raise AssertionError([kiosk.standing for kiosk in kiosks]) from None
    assert shop.examine() == []
    for kiosk in kiosks:
        there = dict(shop.sql("SELECT number, digest FROM book.entry WHERE kiosk = %s", kiosk.kiosk))
        for number, digest in kiosk.acknowledged.items():
            assert digest in there.values(), f"acknowledged line {number} is lost"
        assert kiosk("check")["wrong"] == []
    first, *others = (kiosk("tables")["tables"] for kiosk in kiosks)
    for other in others:
        assert other == first


def test_what_is_written_at_one_is_in_the_book_of_every_other(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    for each in range(5):
        a("place", f"a{each}")
        b("place", f"b{each}")
    sound(on_server, a, b)


def test_cut_off_both_go_on_and_agree_afterwards(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    until(level(a, b))
    a.network.refuse()
    for each in range(8):
        a("place", f"a{each}")
        b("place", f"b{each}")
    a.network.heal()
    sound(on_server, a, b)


def test_killed_at_any_moment_no_acknowledged_line_is_lost_and_none_stands_there_twice(
    make: Make, on_server: Shop
) -> None:
    a, b = make("A"), make("B")
    for turn in range(3):
        for each in range(4):
            a("place", f"a{turn}.{each}")
        a.send("place", "perhaps")
        a.network.cut_up = 300 * (turn + 1)
        a.kill()
        a.network.heal()
        b("place", f"b{turn}")
        a.start()
    sound(on_server, a, b)


def test_a_book_with_work_in_it_becomes_the_first_chain_as_it_stands(on_server: Shop, tmp_path: Path) -> None:
    from kiosk import where
    from kiosk.desk import Desk
    from kiosk.exchange.shop import read_shop

    with Desk.open(tmp_path / "old") as desk:
        desk.shop.load(read_shop(where.demo_tags()))
        before = list(desk.session.book.state.cursor.execute('SELECT * FROM "line" ORDER BY "id"'))
    old, new = KioskProcess(on_server, tmp_path / "old", "old"), KioskProcess(on_server, tmp_path / "new", "new")
    try:
        sound(on_server, old, new)
        there = on_server.sql("SELECT digest FROM book.entry ORDER BY n LIMIT %s", len(before))
        assert [digest for (digest,) in there] == [row[-1] for row in before]
    finally:
        old.end()
        new.end()
