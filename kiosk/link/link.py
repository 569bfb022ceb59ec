"""The link: one thread that takes a kiosk's lines to the shop's server and brings the other kiosks' lines from there.

It never keeps anybody waiting: the desk writes to its own ledger whatever happens here, and is told what came.  It
believes nothing it did not recompute: every line pulled is whole, has its place in the order, and is the kiosk's own
where it says so.  LISTEN only wakes it; it looks every two seconds regardless.  It never reads what a line says.
"""

from __future__ import annotations

import secrets
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from kiosk import __version__
from kiosk.link import calls
from kiosk.link.border import LINE_FORM, Beats, Copy, Kiosk
from kiosk.link.connection import Connection, connect
from kiosk.link.faults import Cause, LinkFault
from kiosk.rules.chain import SharedLine, next_book
from kiosk.rules.link_state import LinkFacts, LinkState, next_state

BEAT_S = 2.0
AT_ONCE = 500  # lines in one push, pull or refill
MOST_HELD = 4000  # lines pulled and not yet taken by the desk
_RETRIES_S = (0.2, 0.5, 1.0, 2.0, 4.0)
_STOPPED_S = 15.0  # between tries where a person must see to it first
_AGAIN_S = 10.0  # after its start a kiosk that was killed may be taken for its own copy: the server waits six seconds


@dataclass(frozen=True)
class Standing:
    """How the kiosk stands to its shop's server at one moment.

    fault: what stands between them, None where nothing does.  silent_s: since the server last answered, None where it
    never did.  applied, head, waiting: see `LinkFacts`.  kiosks: all of the shop as last heard.
    """

    state: LinkState
    fault: LinkFault | None
    silent_s: float | None
    applied: int
    head: int | None
    waiting: int
    kiosks: tuple[Kiosk, ...]


class Link:
    """Made by the desk; `start`ed once, `close`d once.  Every method but `_run` is called by the desk's thread."""

    def __init__(
        self,
        values: Mapping[str, Any],
        shop: str,
        copy: Copy,
        beats: Beats,
        *,
        came: Callable[[], None] = lambda: None,
        counter: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        """values: the kiosk's login as libpq names it.  shop: its random id.  came: told on the link's thread that
        there are lines to `take`.  counter: seconds that grow while the kiosk is awake.  wall: for people only."""
        self._values = values
        self._shop = shop
        self._copy = copy
        self._beats = beats
        self._came = came
        self._counter = counter
        self._wall = wall
        self._run_id = secrets.token_hex(8)
        self._begun_s = counter()
        self._beat = 0
        self._beaten_s = -BEAT_S
        self._bell, self._rope = socket.socketpair()
        for end in (self._bell, self._rope):
            end.setblocking(False)
        self._thread = threading.Thread(target=self._run, name="link", daemon=True)
        # what both threads know, under `_known`
        self._known = threading.Condition()
        self._closing = False
        self._applied, self._book = copy.applied()
        self._own_last = copy.own_last()
        self._own_shared = 0  # the last own line that has its number
        self._head: int | None = None
        self._answered_s: float | None = None
        self._greeted = False
        self._fault: LinkFault | None = None
        self._halted: LinkFault | None = None
        self._kiosks: tuple[Kiosk, ...] = ()
        self._state = LinkState.ALONE
        self._queue: deque[SharedLine] = deque()
        self._pulled, self._pulled_book = self._applied, self._book
        self._asked_fresh = 0
        self._fresh = 0

    # ------------------------------------------------------------------ the desk's side

    def start(self) -> None:
        self._thread.start()

    def close(self, within_s: float = 3.0) -> None:
        """Ends the thread; a server that does not answer is left without a word."""
        with self._known:
            self._closing = True
            self._known.notify_all()
        self._ring()
        self._thread.join(within_s)

    def wrote(self, own_last: int) -> None:
        """A line of this kiosk is on its disk; own_last: its number."""
        with self._known:
            self._own_last = own_last
        self._ring()

    def take(self, most: int) -> list[SharedLine]:
        """Lines that came, in the shop's order and without a gap, own ones among them."""
        with self._known:
            taken = [self._queue.popleft() for _ in range(min(most, len(self._queue)))]
            room = len(self._queue) <= MOST_HELD // 2
        if taken and room:
            self._ring()
        return taken

    def applied(self, n: int, book: str) -> None:
        """All lines up to `n` are in the kiosk's tables and on its disk."""
        with self._known:
            self._applied, self._book = n, book

    def halt(self, cause: Cause | None) -> None:
        """A line that came cannot be applied, so that nothing more may be: a full stop.  None: it can by now."""
        with self._known:
            self._halted = LinkFault(cause) if cause else None

    def fresh(self, within_s: float) -> bool:
        """Waits until everything is here to `take` that the server had when this was asked; False: it is not."""
        with self._known:
            if self._now() not in (LinkState.CAUGHT_UP, LinkState.SHARING, LinkState.CATCHING_UP):
                return False
            self._asked_fresh += 1
            asked = self._asked_fresh
        self._ring()
        with self._known:
            return self._known.wait_for(lambda: self._fresh >= asked or self._closing, within_s) and not self._closing

    def shared(self, within_s: float) -> bool:
        """Waits until every own line has its number at the server; False: it does not know of all."""
        self._ring()
        with self._known:
            self._known.wait_for(lambda: self._waiting() == 0 or self._closing, within_s)
            return self._waiting() == 0

    def standing(self) -> Standing:
        with self._known:
            state = self._now()
            return Standing(
                state,
                self._halted or self._fault,
                self._silent_s(),
                self._applied,
                self._head,
                self._waiting(),
                self._kiosks,
            )

    def _waiting(self) -> int:
        return max(0, self._own_last - self._own_shared)

    def _silent_s(self) -> float | None:
        return None if self._answered_s is None else max(0.0, self._counter() - self._answered_s)

    def _now(self) -> LinkState:
        """The state, one step further than it was; `_known` is held."""
        met = self._halted or self._fault
        facts = LinkFacts(
            has_server=True,
            joined=self._greeted or self._applied > 0,
            stop=met.cause.stop if met else None,
            silent_s=self._silent_s(),
            applied=self._applied,
            head=self._head,
            waiting=self._waiting(),
        )
        self._state = next_state(self._state, facts)
        return self._state

    def _ring(self) -> None:
        with suppress(OSError):  # full: it rings already
            self._rope.send(b"!")

    # ------------------------------------------------------------------ the link's own thread

    def _run(self) -> None:
        failed = 0
        while not self._closing:
            connection = None
            try:
                connection = connect(self._values)
                calls.speaks_our_form(connection)
                connection.ask("LISTEN book")
                self._greet(connection)
                failed = 0
                while not self._closing:
                    self._round(connection)
                calls.rest(connection, self._run_id)
            except LinkFault as fault:
                self._met(fault)
            except Exception as mistake:  # a ledger that cannot be read, a mistake of ours: the link must not die of it
                self._met(LinkFault(Cause.UNKNOWN, f"{type(mistake).__name__}: {mistake}"))
            finally:
                if connection is not None:
                    connection.close()
            self._pause(_RETRIES_S[min(failed, len(_RETRIES_S) - 1)])
            failed += 1
        self._bell.close()
        self._rope.close()

    def _met(self, fault: LinkFault) -> None:
        if fault.cause is Cause.TWICE and self._counter() - self._begun_s < _AGAIN_S:
            fault = LinkFault(Cause.AGAIN)
        with self._known:
            self._now()
            self._fault = fault

    def _pause(self, retry_s: float) -> None:
        with self._known:
            passes = self._fault is None or self._fault.cause.passes
            self._known.wait_for(lambda: self._closing, retry_s if passes else _STOPPED_S)

    def _answered(self) -> None:
        """The server answered just now; `_known` is held."""
        self._now()  # a silence is noticed before it is over
        self._answered_s = self._counter()

    def _greet(self, connection: Connection) -> None:
        """Whether this is the server and the book that this kiosk knows.  Raises LinkFault where it is not."""
        if not self._beat:  # its numbers go up over restarts; the wall clock only helps where a server went back
            said = [each.beat for each in calls.kiosks(connection) if each.kiosk == self._copy.kiosk]
            self._beat = max([int(self._wall()), *said])
        self._say(connection)
        if self._own_shared:  # the last own line that stands there, sent again: another one there is a fork
            calls.push(connection, self._copy.own_after(self._own_shared - 1, 1), LINE_FORM)
        if calls.book_at(connection, self._pulled) != self._pulled_book:
            raise LinkFault(Cause.WENT_BACK, f"line {self._pulled} there is another one")
        with self._known:
            self._greeted = True

    def _say(self, connection: Connection) -> None:
        """One beat, and what its answer asks for."""
        self._beat += 1
        self._beaten_s = self._counter()
        with self._known:
            applied, waiting = self._applied, self._waiting()
        said = calls.Said(
            self._run_id,
            self._beat,
            applied,
            waiting,
            self._wall(),
            self._beats.say(self._beat),
            __version__,
            LINE_FORM,
        )
        answer = calls.beat(connection, said)
        if answer.shop != self._shop:
            raise LinkFault(Cause.OTHER_SHOP)
        if answer.writes > LINE_FORM:
            raise LinkFault(Cause.BEHIND, f"form {answer.writes}; this kiosk reads {LINE_FORM}")
        if answer.own_number > self._copy.own_last():
            raise LinkFault(Cause.FORKED, f"{answer.own_number} lines there, {self._copy.own_last()} here")
        if answer.head < self._pulled:
            self._put_back(connection, answer)
            return
        with self._known:
            self._answered()
            self._head = answer.head
            self._own_shared = answer.own_number
            self._kiosks = answer.kiosks
            self._fault = LinkFault(Cause.PUT_BACK) if answer.put_back else None
        others = [each for each in answer.kiosks if each.kiosk != self._copy.kiosk]
        self._beats.hear(self._beat, others, None if answer.put_back else answer.head)

    def _put_back(self, connection: Connection, answer: calls.Answer) -> None:
        """The server has less than this kiosk: it gets back what it lost, from a copy that is checked on the way."""
        self._met(LinkFault(Cause.PUT_BACK))
        n, book = answer.head, answer.book
        if self._copy.book_at(n) != book:
            raise LinkFault(Cause.WENT_BACK, f"line {n} there is another one")
        while lines := self._copy.shared_after(n, AT_ONCE):
            self._checked(n, book, lines)
            calls.refill(connection, lines)
            n, book = lines[-1].n, lines[-1].book
        if n < self._pulled:
            raise LinkFault(Cause.PUT_BACK, "lines are still on their way into the tables here")
        self._say(connection)

    def _round(self, connection: Connection) -> None:
        """Everything there is to do once, then waits for more."""
        with self._known:
            asked = self._asked_fresh
            halted = self._halted is not None
        self._empty_bell()
        connection.was_notified()
        if self._fault is None:
            self._push(connection)
        if not halted:
            whole = self._pull(connection)
            with self._known:
                if whole:
                    self._fresh = max(self._fresh, asked)
                    self._known.notify_all()
        self._beat_if_due(connection)
        with self._known:
            more = self._asked_fresh > self._fresh and not halted and len(self._queue) < MOST_HELD
        if not more and not self._closing:
            connection.wait(self._bell, self._beaten_s + BEAT_S - self._counter())

    def _beat_if_due(self, connection: Connection) -> None:
        if self._counter() - self._beaten_s >= BEAT_S:
            self._say(connection)

    def _push(self, connection: Connection) -> None:
        while not self._closing and (lines := self._copy.own_after(self._own_shared, AT_ONCE)):
            given = calls.push(connection, lines, LINE_FORM)
            with self._known:
                self._answered()
                self._own_shared = given[-1].number
                self._own_last = max(self._own_last, self._own_shared)
                self._known.notify_all()
            self._beat_if_due(connection)

    def _pull(self, connection: Connection) -> bool:
        """Lines that are new here; False: there are more than are held at once."""
        while not self._closing:
            if len(self._queue) >= MOST_HELD:
                return False
            lines = calls.pull(connection, self._pulled, AT_ONCE)
            self._checked(self._pulled, self._pulled_book, lines)
            self._own_are_mine(lines)
            with self._known:
                self._answered()
                if lines:
                    self._queue.extend(lines)
                    self._pulled, self._pulled_book = lines[-1].n, lines[-1].book
                self._head = max(self._head or 0, self._pulled)
            if lines:
                self._came()
            if len(lines) < AT_ONCE:
                return True
            self._beat_if_due(connection)
        return False

    def _checked(self, n: int, book: str, lines: Sequence[SharedLine]) -> None:
        """Raises LinkFault where these do not follow that line, or one of them is not whole."""
        for each in lines:
            n, book = n + 1, next_book(book, each.line.digest)
            if each.n != n or each.book != book or not self._copy.is_whole(each.line):
                raise LinkFault(Cause.EDITED, f"line {n}")

    def _own_are_mine(self, lines: Sequence[SharedLine]) -> None:
        """Raises LinkFault where the server has a line of this kiosk that it never wrote."""
        mine = [each.line for each in lines if each.line.kiosk == self._copy.kiosk]
        if mine and list(self._copy.own_after(mine[0].number - 1, len(mine))) != mine:
            raise LinkFault(Cause.FORKED, f"line {mine[0].number}")

    def _empty_bell(self) -> None:
        with suppress(OSError):
            while self._bell.recv(4096):
                pass
