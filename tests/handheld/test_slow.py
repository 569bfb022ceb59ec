"""Strangers who are slow, mute or many at the door: whoever has business there still comes in."""

from __future__ import annotations

import asyncio
import socket
import ssl
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress

import pytest
import uvicorn

from kiosk.handheld.serving import door as D
from tests.handheld.served import Served

STRANGER = "127.0.0.9"  # another address of this machine's own network


@pytest.fixture
def strangers() -> Iterator[ExitStack]:
    """What they have open, closed at the end."""
    with ExitStack() as held:
        yield held


def test_many_who_send_their_heads_slowly_hold_nobody_up(kiosk: Served, strangers: ExitStack) -> None:
    telephone = kiosk.telephone()
    host, port = telephone.host.split(":")
    blind = ssl.create_default_context()
    blind.check_hostname, blind.verify_mode = False, ssl.CERT_NONE
    inside = []
    for _ in range(D.MOST_CONNECTIONS + 20):
        plain = socket.create_connection((host, int(port)), timeout=5, source_address=(STRANGER, 0))
        with suppress(OSError):  # turned away
            inside.append(strangers.enter_context(blind.wrap_socket(plain)))
            inside[-1].sendall(b"G")
    assert len(inside) <= D.MOST_OF_ONE
    began = time.monotonic()
    assert telephone.ask("me")["person"] == "Jo Reed"
    assert telephone.get("/page.js")[0] == 200
    assert time.monotonic() - began < 3.0


def test_many_who_never_shake_hands_hold_nobody_up(kiosk: Served, strangers: ExitStack) -> None:
    telephone = kiosk.telephone()
    host, port = telephone.host.split(":")
    for _ in range(400):
        plain = socket.create_connection((host, int(port)), timeout=5, source_address=(STRANGER, 0))
        strangers.enter_context(plain)
    assert telephone.ask("me")["person"] == "Jo Reed"


@pytest.mark.parametrize(
    ("first", "then"),
    [
        (b"", b""),  # says nothing at all
        (b"GET / HTTP/1.1\r\nhost: x\r\n", b"x"),  # a head that never ends
        (b"POST / HTTP/1.1\r\nhost: x\r\ncontent-length: 900\r\n\r\n", b"x"),  # a body nobody asked for
        (b"GET / HTTP/1.1\r\nhost: x\r\n\r\n", b"G"),  # one good request, then a head that never ends
    ],
)
def test_bytes_that_trickle_in_lengthen_nothing(monkeypatch: pytest.MonkeyPatch, first: bytes, then: bytes) -> None:
    monkeypatch.setattr(D, "REQUEST_S", 0.5)
    with asyncio.Runner(loop_factory=D.Loop) as runner:
        took_s = runner.run(_held_for(first, then))
    assert 0.4 < took_s < 2.0


def test_a_request_that_is_whole_is_answered_however_long_that_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(D, "REQUEST_S", 0.3)
    with asyncio.Runner(loop_factory=D.Loop) as runner:
        assert b" 200 " in runner.run(_answer_after(0.8))


@pytest.mark.parametrize("reads", [False, True])
def test_an_answer_that_nobody_reads_is_taken_back_and_one_that_is_read_slowly_is_not(
    monkeypatch: pytest.MonkeyPatch, reads: bool
) -> None:
    monkeypatch.setattr(D, "REQUEST_S", 0.4)
    with asyncio.Runner(loop_factory=D.Loop) as runner:
        got = runner.run(_reads_slowly(reads))
    assert (got == _LONG) is reads


_LONG = 12_000_000  # bytes: more than the machine's network keeps


async def _reads_slowly(reads: bool) -> int:
    """How many bytes of a long answer come to one who looks away for a second, or takes it in over a second."""
    reader, writer = await asyncio.open_connection(*await _serving(0.0, _LONG), limit=2**16)
    writer.write(b"GET / HTTP/1.1\r\nhost: x\r\n\r\n")
    await reader.readuntil(b"\r\n\r\n")
    got = 0
    for _ in range(10):
        await asyncio.sleep(0.12)
        with suppress(asyncio.IncompleteReadError, ConnectionError):
            got += len(await reader.readexactly(_LONG // 10)) if reads else 0
    with suppress(ConnectionError):
        while piece := await asyncio.wait_for(reader.read(2**16), 5):
            got += len(piece)
            if got >= _LONG:
                break
    writer.close()
    return got


async def _answer_after(seconds: float) -> bytes:
    reader, writer = await asyncio.open_connection(*await _serving(seconds))
    writer.write(b"GET / HTTP/1.1\r\nhost: x\r\n\r\n")
    line = await asyncio.wait_for(reader.readline(), 5)
    writer.close()
    return line


async def _held_for(first: bytes, then: bytes) -> float:
    """How long a stranger keeps a connection, seconds, who sends `first`, then `then` again and again; 5 at most."""
    reader, writer = await asyncio.open_connection(*await _serving(0.0))
    began = time.monotonic()
    writer.write(first)
    gone = asyncio.create_task(reader.read(-1))
    while not gone.done() and time.monotonic() - began < 5.0:
        with suppress(ConnectionError):
            writer.write(then)
        await asyncio.sleep(0.1)
    with suppress(ConnectionError):
        await gone
    writer.close()
    return time.monotonic() - began


async def _serving(seconds: float, long: int = 0) -> tuple[str, int]:
    """A server whose every answer takes so long, and has so many bytes: where it is."""

    async def app(scope: object, receive: object, send: object) -> None:
        await asyncio.sleep(seconds)
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % long)]})  # type: ignore[operator]
        await send({"type": "http.response.body", "body": bytes(long)})  # type: ignore[operator]

    config = uvicorn.Config(app, http=D.Connection, ws="none", lifespan="off", log_level="critical")
    config.load()
    state = uvicorn.server.ServerState()
    loop = asyncio.get_running_loop()
    server = await loop.create_server(lambda: D.Connection(config, state, {}, loop), "127.0.0.1", 0)
    address: tuple[str, int] = server.sockets[0].getsockname()
    return address
