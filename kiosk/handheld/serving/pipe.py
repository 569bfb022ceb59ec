"""The kiosk as the server sees it: asks through the pipe, and hears who may ask, what is hot and which words to use.

Belongs to the server's event loop.
"""

from __future__ import annotations

import asyncio
import itertools
import secrets
from contextlib import suppress
from typing import Any, BinaryIO

from kiosk.handheld import messages as M

PATIENCE_S = 20.0  # for an answer of the desk: a first audit reads a whole cabinet
QUIET_S = 4.0  # while pages listen the kiosk speaks once a second; after so long without a word it stands still


class NoAnswer(Exception):
    """The kiosk did not answer in time; whether it was done nobody knows yet."""


class Listener:
    """A page that listens.  `news`: what it has not heard yet; of boards only the newest."""

    def __init__(self, phone: str) -> None:
        self.phone = phone
        self.board: dict[str, Any] | None = None
        self.over = ""  # why nothing more comes: ended, closed
        self.news = asyncio.Event()

    def tell(self, board: dict[str, Any]) -> None:
        self.board = board
        self.news.set()

    def end(self, why: str) -> None:
        self.over = why
        self.news.set()


class Kiosk:
    """The other end of the pipe."""

    def __init__(self, pipe: BinaryIO) -> None:
        self._pipe = pipe
        # not from one: an answer to a server that died must never meet a question of the next
        self._numbers = itertools.count(secrets.randbits(48))
        self._waiting: dict[int, asyncio.Future[M.Answer]] = {}
        self._listeners: list[Listener] = []
        self._heard_s = float("-inf")
        self._board: dict[str, Any] | None = None
        self.sessions: dict[str, str] = {}
        self.words: dict[str, str] = {}
        self.language = "en"
        self.closed = asyncio.Event()

    def say(self, message: M.FromServer) -> None:
        """Send something."""
        with suppress(OSError):  # then the kiosk is gone, which the other direction tells
            M.put(self._pipe, message)

    async def ask(self, phone: str, key: str, ask: M.AnyAsk) -> M.Answer:
        """One question of a telephone.  Raises NoAnswer."""
        return await self._answer(M.Asked(next(self._numbers), phone, key, ask))

    async def pair(self, token: str, address: str, kind: str, before: str) -> M.Answer:
        """A telephone shows a token.  before: digest of the cookie it has already.  Raises NoAnswer."""
        return await self._answer(M.Pair(next(self._numbers), token, address, kind, before))

    async def _answer(self, message: M.Asked | M.Pair) -> M.Answer:
        future: asyncio.Future[M.Answer] = asyncio.get_running_loop().create_future()
        self._waiting[message.number] = future
        try:
            self.say(message)
            return await asyncio.wait_for(future, PATIENCE_S)
        except TimeoutError:
            raise NoAnswer from None
        finally:
            del self._waiting[message.number]

    def hear(self, message: M.FromKiosk) -> None:
        """The kiosk says something."""
        self._heard_s = asyncio.get_running_loop().time()
        match message:
            case M.Answer(number=number):
                future = self._waiting.get(number)
                if future is not None and not future.done():
                    future.set_result(message)
            case M.Sessions(phones=phones):
                self.sessions = phones
                for listener in self._listeners:
                    if listener.phone not in phones:
                        listener.end("ended")
            case M.Board(body=body):
                self._board = body
                for listener in self._listeners:
                    listener.tell(body)
            case M.Spoken(language=language, words=words):
                self.language, self.words = language, words
            case M.Closing():
                for listener in self._listeners:
                    listener.end("closed")

    @property
    def lives(self) -> bool:
        """Whether the kiosk has spoken lately."""
        return asyncio.get_running_loop().time() - self._heard_s < QUIET_S

    def listen(self, phone: str) -> Listener:
        """A page listens from now on; an earlier one of the same telephone hears nothing more."""
        for other in self._listeners:
            if other.phone == phone:
                other.end("replaced")
        listener = Listener(phone)
        if self._board is not None and self._listeners:
            listener.tell(self._board)
        self._listeners.append(listener)
        self.say(M.Listening(len(self._listeners)))
        return listener

    def leave(self, listener: Listener) -> None:
        """A page is gone."""
        self._listeners.remove(listener)
        self.say(M.Listening(len(self._listeners)))
