"""Who stands at the door, and for how long: a stranger who is slow, mute or many holds nobody up.

Before a request is whole no page knows of it, so this is where it is bounded: the handshake, the whole of a request
with its head and body, how long an answer lies unread, and how many connections one address has.  Facts: `uvicorn`
ends by itself only what is idle after an answer, and `asyncio` waits a minute for a handshake.
"""

from __future__ import annotations

import asyncio
import math
import socket
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HANDSHAKE_S = 5.0
REQUEST_S = 12.0  # from when it is awaited to its last byte; bytes that trickle in do not lengthen it
GOODBYE_S = 2.0
LEAST_READ = 16_384  # bytes of an answer that are read on within `REQUEST_S`, as slow as a network may be
MOST_CONNECTIONS = 240
MOST_OF_ONE = 80  # of them from one address: twenty telephones behind one router with four each


class Door(socket.socket):
    """A listening socket that lets in so many from each address, and the rest when those have gone."""

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        self._inside: list[tuple[str, socket.socket]] = []

    def accept(self) -> tuple[socket.socket, Any]:
        """Raises ConnectionAbortedError for one too many, which is closed, and what `socket.accept` raises."""
        came, address = super().accept()
        self._inside = [(host, each) for host, each in self._inside if each.fileno() >= 0]
        if sum(host == address[0] for host, _ in self._inside) >= MOST_OF_ONE:
            came.close()
            raise ConnectionAbortedError(f"{MOST_OF_ONE} connections from {address[0]}")
        self._inside.append((address[0], came))
        return came, address


class Loop(asyncio.SelectorEventLoop):
    """An event loop whose servers wait less long for a handshake and a goodbye.  Asks `Door` for who comes."""

    async def create_server(self, *args: Any, **kwargs: Any) -> Any:
        if kwargs.get("ssl") is not None:
            kwargs |= {"ssl_handshake_timeout": HANDSHAKE_S, "ssl_shutdown_timeout": GOODBYE_S}
        return await super().create_server(*args, **kwargs)


class Connection(H11Protocol):
    """Ends where a request is not whole in time, whether its head is slow or a body that nobody waits for, and where an
    answer is not read on."""

    _limit: asyncio.TimerHandle | None = None
    _unread: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._await_request()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._await_request()

    def connection_lost(self, exc: Exception | None) -> None:
        self._whole()
        self._read_on()
        super().connection_lost(exc)

    def pause_writing(self) -> None:
        super().pause_writing()
        self._look(math.inf)

    def resume_writing(self) -> None:
        self._read_on()
        super().resume_writing()

    def _look(self, before: float) -> None:
        """before: bytes that lay unread when this was looked at last."""
        unread = self.transport.get_write_buffer_size()
        if unread > before - LEAST_READ:
            self.transport.abort()
        else:
            self._unread = self.loop.call_later(REQUEST_S, self._look, unread)

    def _read_on(self) -> None:
        if self._unread is not None:
            self._unread.cancel()
            self._unread = None

    def _await_request(self) -> None:
        """The rest of a request is awaited from now on, if it was not before; or nothing is."""
        if self.conn.their_state not in (h11.IDLE, h11.SEND_BODY):
            self._whole()
        elif self._limit is None:
            self._limit = self.loop.call_later(REQUEST_S, self.transport.abort)

    def _whole(self) -> None:
        if self._limit is not None:
            self._limit.cancel()
            self._limit = None
