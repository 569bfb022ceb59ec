"""One connection to a shop's server that never hangs: everything asked over it has a time within which it must answer.

A network may swallow packets without a word, one way or both, and then neither side is told.  TCP's own remedies
(keepalives, user timeout) take longer than a person waits and are not to be had on every system, so a watchdog of our
own shuts the socket when an answer is overdue: whoever waits for it gets an error at once.  psycopg is loaded only here
and only when there is a server.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from kiosk.link.faults import Cause, LinkFault, fault_of

if TYPE_CHECKING:
    import psycopg

CONNECT_S = 3
ANSWER_S = 4.0  # for one question; the link is cut off after five

_NEVER_HANGS = {
    "connect_timeout": CONNECT_S,
    "keepalives": 1,
    "keepalives_idle": 2,
    "keepalives_interval": 1,
    "keepalives_count": 3,
    "tcp_user_timeout": int(ANSWER_S * 1000),
    "application_name": "holder-kiosk",
}


class Watchdog:
    """Shuts a socket when what was asked over it took too long.  One thread, for as long as the connection lives."""

    def __init__(self, fileno: int) -> None:
        self._socket = socket.socket(fileno=os.dup(fileno)) if os.name != "nt" else _windows_socket(fileno)
        self._changed = threading.Condition()
        self._due_s: float | None = None
        self._closed = False
        self.bit = False
        self._thread = threading.Thread(target=self._watch, name="link watchdog", daemon=True)
        self._thread.start()

    @contextlib.contextmanager
    def within(self, limit_s: float) -> Iterator[None]:
        with self._changed:
            self._due_s = time.monotonic() + limit_s
            self._changed.notify()
        try:
            yield
        finally:
            with self._changed:
                self._due_s = None

    def _watch(self) -> None:
        with self._changed:
            while not self._closed:
                left_s = None if self._due_s is None else self._due_s - time.monotonic()
                if left_s is not None and left_s <= 0:
                    self.bit = True
                    self._due_s = None
                    with contextlib.suppress(OSError):
                        self._socket.shutdown(socket.SHUT_RDWR)
                    continue
                self._changed.wait(left_s)

    def close(self) -> None:
        with self._changed:
            self._closed = True
            self._changed.notify()
        self._thread.join()
        self._socket.close()


def _windows_socket(fileno: int) -> socket.socket:
    """There a socket is no file: the handle is shared within the process through `share`."""
    shared = socket.socket(fileno=fileno)
    try:
        return shared.dup()
    finally:
        shared.detach()


class Connection:
    """An open connection.  Made with `connect`; used by one thread."""

    def __init__(self, raw: psycopg.Connection[tuple[Any, ...]]) -> None:
        self._raw = raw
        self._dog = Watchdog(raw.fileno())
        self._notified = False
        raw.add_notify_handler(lambda _: self._note())

    def _note(self) -> None:
        self._notified = True

    @property
    def raw(self) -> psycopg.Connection[tuple[Any, ...]]:
        return self._raw

    def ask(self, sentence: str, values: Sequence[Any] = (), within_s: float = ANSWER_S) -> list[tuple[Any, ...]]:
        """Rows of the answer.  Raises LinkFault, also where no answer came within that time."""
        import psycopg

        try:
            with self._dog.within(within_s):
                answer = self._raw.execute(sentence, tuple(values) or None)
                return answer.fetchall() if answer.description else []
        except psycopg.Error as error:
            if self._dog.bit:
                raise LinkFault(Cause.SLOW, f"no answer within {within_s:g} s") from error
            raise fault_of(error) from error

    def wait(self, wake: socket.socket, limit_s: float) -> None:
        """Waits until the server said that lines came, until `wake` can be read, or for so long.  Raises LinkFault."""
        import psycopg

        if not self._notified:
            try:
                either: list[Any] = [self._raw.fileno(), wake]
                select.select(either, [], [], max(0.0, limit_s))
                self._raw.pgconn.consume_input()
                while self._raw.pgconn.notifies():
                    self._notified = True
            except (psycopg.Error, OSError, ValueError) as error:
                raise LinkFault(Cause.UNREACHABLE, str(error)) from error

    def was_notified(self) -> bool:
        """Whether the server said that lines came, since this was asked last."""
        said, self._notified = self._notified, False
        return said

    def close(self) -> None:
        """Ends it, without a word where nobody listens any more."""
        with contextlib.suppress(Exception), self._dog.within(1.0):
            self._raw.close()
        self._dog.close()


def connect(values: Mapping[str, Any]) -> Connection:
    """A connection by libpq's names (host, port, dbname, user ...).  Raises LinkFault."""
    import psycopg

    try:
        raw = psycopg.connect(**{**_NEVER_HANGS, **values}, autocommit=True, prepare_threshold=2)
        connection = Connection(raw)
    except psycopg.Error as error:
        raise fault_of(error) from error
    except (ValueError, UnicodeError) as error:  # a NUL in the address, a name no resolver takes
        raise LinkFault(Cause.ADDRESS, str(error)) from error
    if raw.info.server_version < 150_000:
        connection.close()
        raise LinkFault(Cause.TOO_OLD, f"version {raw.info.server_version // 10_000}")
    return connection
