"""A shop on a real server for tests, and kiosks of it whose ledger is a list in memory."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from kiosk.link import server as administration
from kiosk.link.address import Membership, new_id
from kiosk.link.border import LINE_FORM, Kiosk
from kiosk.link.connection import Connection, connect
from kiosk.link.joining import join
from kiosk.rules.chain import EMPTY_BOOK, ChainLine, SharedLine
from tests.link.postgres import Server


class Shop:
    """A book of its own on the server, begun anew; `database` names another one beside it."""

    def __init__(self, server: Server, database: str = "holder_kiosk") -> None:
        self.server = server
        self.database = database
        self.address = server.address(database)
        if server.sql("postgres", "SELECT 1 FROM pg_database WHERE datname = %s", database):
            self.sql("DROP SCHEMA IF EXISTS book CASCADE")
        administration.prepare(server.boss(), self.address)

    def sql(self, sentence: str, *values: Any) -> list[tuple[Any, ...]]:
        return self.server.sql(self.database, sentence, *values)

    def member(self, name: str = "", *, kiosk: str = "", has_lines: bool = False) -> Membership:
        """A kiosk that joined."""
        code = administration.invite_first(self.server.boss(), self.address)
        return join(self.address, code, name or f"kiosk {secrets.token_hex(3)}", kiosk or new_id(), has_lines=has_lines)

    def examine(self) -> list[str]:
        return [f"{found.n}: {found.problem}" for found in administration.examine(self.server.boss(), self.address)]


class Ledger:
    """A kiosk's own chain and its copy of the shared book, in memory; a body is a JSON list."""

    def __init__(self, kiosk: str) -> None:
        self.kiosk = kiosk
        self.own: list[ChainLine] = []
        self.shared: list[SharedLine] = []

    def write(self, *texts: str) -> list[ChainLine]:
        """Own lines, acknowledged."""
        for text in texts:
            self.own.append(chain_line(self.kiosk, self.own[-1] if self.own else None, text, *self.applied()))
        return self.own[-len(texts) :]

    def apply(self, lines: Sequence[SharedLine]) -> None:
        for line in lines:
            assert line.n == len(self.shared) + 1, "the order has a gap"
            self.shared.append(line)

    @property
    def texts(self) -> list[str]:
        return [json.loads(each.line.body)[3] for each in self.shared]

    def applied(self) -> tuple[int, str]:
        return (self.shared[-1].n, self.shared[-1].book) if self.shared else (0, EMPTY_BOOK)

    def own_last(self) -> int:
        return len(self.own)

    def own_after(self, number: int, most: int) -> Sequence[ChainLine]:
        return self.own[number : number + most]

    def shared_after(self, n: int, most: int) -> Sequence[SharedLine]:
        return self.shared[n : n + most]

    def book_at(self, n: int) -> str | None:
        if n == 0:
            return EMPTY_BOOK
        return self.shared[n - 1].book if n <= len(self.shared) else None

    def is_whole(self, line: ChainLine) -> bool:
        said = [line.kiosk, line.number, line.previous, line.seen, line.seen_book]
        if hashlib.sha256(line.body.encode()).hexdigest() != line.digest:
            return False
        kiosk, number, previous, _, seen, seen_book = json.loads(line.body)
        return said == [kiosk, number, previous, seen, seen_book]


def chain_line(kiosk: str, before: ChainLine | None, text: str, seen: int = 0, seen_book: str = "") -> ChainLine:
    number, previous = (before.number + 1, before.digest) if before else (1, "")
    body = json.dumps([kiosk, number, previous, text, seen, seen_book])
    return ChainLine(kiosk, number, previous, hashlib.sha256(body.encode()).hexdigest(), seen, seen_book, body)


def changed(line: ChainLine, text: str) -> ChainLine:
    """Another line under the same number."""
    said = json.loads(line.body)
    body = json.dumps([*said[:3], text, *said[4:]])
    return replace(line, body=body, digest=hashlib.sha256(body.encode()).hexdigest())


class Quiet:
    """Beats of a kiosk that says one word and keeps what it heard."""

    def __init__(self, word: str = "") -> None:
        self.word = word
        self.heard: dict[str, Kiosk] = {}

    def say(self, beat: int) -> str:
        return self.word

    def hear(self, beat: int, others: Sequence[Kiosk], end: int | None) -> None:
        self.heard = {each.name: each for each in others}


def linked(member: Membership) -> Connection:
    """A connection of that kiosk, without a link."""
    return connect(member.address.values() | {"user": f"kiosk_{member.kiosk}", "password": member.key})


__all__ = ["LINE_FORM", "Ledger", "Quiet", "Server", "Shop", "chain_line", "changed", "linked"]
