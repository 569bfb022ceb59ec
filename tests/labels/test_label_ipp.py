"""Answers of a print server that are no answers: an error of our own, soon, and never a guess."""

from __future__ import annotations

import http.client as http_client
import os
import re
import socket
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kiosk.labels import ipp
from kiosk.labels.cups import CupsPrinting, ServerLost
from kiosk.labels.ipp import Answer, Attribute, Group, Operation, RequestFault, ServerSilent, ValueTag, ask
from kiosk.labels.queue import Job, JobState, QueueFault


def answer(*groups: tuple[Group, list[Attribute]], status: int = 0) -> bytes:
    packed = struct.pack(">BBHI", 2, 0, status, 1)
    return packed + b"".join(ipp._group(group, attributes) for group, attributes in groups) + bytes([Group.END])


PRINTER = answer(
    (Group.OPERATION, [Attribute("status-message", ValueTag.NAME, ["all is well"])]),
    (
        Group.PRINTER,
        [
            Attribute("printer-name", ValueTag.NAME, ["labels"]),
            Attribute("printer-state", ValueTag.ENUM, [3]),
            Attribute("printer-is-accepting-jobs", ValueTag.BOOLEAN, [True]),
            Attribute("media-supported", ValueTag.KEYWORD, ["oe_25x25_25x25mm", "iso_a4_210x297mm"]),
            Attribute("job-id", ValueTag.INTEGER, [7]),
        ],
    ),
)


@contextmanager
def served(reply: bytes, *, drip_s: float = 0.0) -> Iterator[str]:
    """A server that says the same to everybody, at once or a byte now and then; where it listens."""
    listening = socket.create_server(("127.0.0.1", 0))
    over = threading.Event()

    def serve() -> None:
        while not over.is_set():
            try:
                guest, _ = listening.accept()
            except OSError:
                return
            with guest:
                try:
                    _heard(guest)
                    for at in range(len(reply)) if drip_s else ():
                        if over.wait(drip_s):
                            return
                        guest.sendall(reply[at : at + 1])
                    if not drip_s:
                        guest.sendall(reply)
                except OSError:
                    pass

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield f"127.0.0.1:{listening.getsockname()[1]}"
    finally:
        over.set()
        listening.close()


def _heard(guest: socket.socket) -> None:
    """Takes the whole request: what is left of it unread as the line is closed would take the answer along."""
    said = b""
    while not (told := re.search(rb"(?i)content-length: (\d+)\r\n(?:.*\r\n)*?\r\n", said)):
        if not (more := guest.recv(65536)):
            return
        said += more
    while len(said) < told.end() + int(told[1]) and (more := guest.recv(65536)):
        said += more


def http(body: bytes, head: bytes = b"") -> bytes:
    return b"HTTP/1.1 200 OK\r\n" + (head or b"Content-Length: %d\r\n" % len(body)) + b"\r\n" + body


def asked(where: str) -> Answer:
    return ask(where, "/printers/labels", Operation.GET_PRINTER_ATTRIBUTES, [])


def test_a_good_answer_is_understood() -> None:
    with served(http(PRINTER)) as where:
        found = asked(where)
    assert found.ok and found.message == "all is well"
    assert found.objects[0].texts("media-supported") == ("oe_25x25_25x25mm", "iso_a4_210x297mm")


@pytest.mark.parametrize(
    "reply",
    [
        http(PRINTER, b"Content-Length: 99999999999999\r\n"),
        http(PRINTER, b"Content-Length: 99999999999999999999999999\r\n"),
        http(PRINTER[:-1]),
        http(PRINTER[:20]),
        http(b""),
        http(b"\0" * 7),
        http(b"<html>no</html>"),
        http(b"zz\r\nx", b"Transfer-Encoding: chunked\r\n"),
        http(b"-1\r\nx", b"Transfer-Encoding: chunked\r\n"),
        http(b"ffffffffffff\r\nx", b"Transfer-Encoding: chunked\r\n"),
        http(b"\0" * (ipp.MOST_ANSWER_BYTES + 1)),
        b"HTTP/1.1 abc OK\r\n\r\n",
        b"HTTP/1.1 500 " + b"\x1b[2J" * 50 + b"\r\n\r\n",
        b"\xff" * 70_000,
        b"HTTP/1.1 200 OK\r\n" + b"a: b\r\n" * 500 + b"\r\n",
        b"",
    ],
)
def test_nonsense_is_a_server_that_does_not_answer(reply: bytes) -> None:
    with served(reply) as where, pytest.raises(ServerSilent) as silent:
        asked(where)
    assert where in str(silent.value) and str(silent.value).isprintable()
    with served(reply) as where, pytest.raises(ServerLost):
        CupsPrinting(where).queues()


def test_a_server_that_sends_a_byte_now_and_then_is_silent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ipp, "_ANSWER_S", 0.3)
    began = time.monotonic()
    with served(http(PRINTER), drip_s=0.05) as where, pytest.raises(ServerSilent):
        asked(where)
    assert time.monotonic() - began < 5


@pytest.mark.parametrize(
    "where", ["host:99999", "host:" + "9" * 5000, "x" * 300, "a b\n", "[::", "/nowhere/cups.sock", ":"]
)
def test_a_server_that_cannot_be_is_silent(where: str) -> None:
    with pytest.raises(ServerSilent):
        asked(where)


@pytest.mark.parametrize("user", ["ü漢", "a\r\nb", "x" * 5000])
def test_any_users_name_can_ask(user: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(os.environ, "USER", user)
    with served(http(PRINTER)) as where:
        assert asked(where).ok


@pytest.mark.parametrize("queue", ["q" * 70_000, "a b", "ü", "a\r\nb", "../admin", "\udcff"])
def test_a_queue_of_any_name_is_asked_for_or_refused(queue: str) -> None:
    with served(http(answer(status=0x0406))) as where, pytest.raises(QueueFault):
        CupsPrinting(where).media(queue)


def test_a_number_beyond_the_protocol_is_refused_before_anything_is_sent() -> None:
    with pytest.raises(RequestFault):
        ask("127.0.0.1:1", "/", Operation.CREATE_JOB, [Attribute("copies", ValueTag.INTEGER, [2**40])])


@pytest.mark.parametrize(
    "name", ["a_1.2.3x4mm", "a_x4mm", "a_..x..mm", "a_" + "9" * 400 + "x1mm", "_1x1mm", "a_1x1", "٣_٣x٣mm", ""]
)
def test_media_of_an_odd_name_are_left_out(name: str) -> None:
    body = answer((Group.PRINTER, [Attribute("media-supported", ValueTag.KEYWORD, [name, "oe_25x25_25x25mm"])]))
    with served(http(body)) as where:
        assert [each.name for each in CupsPrinting(where).media("labels")] == ["oe_25x25_25x25mm"]


def parsed(content: bytes) -> Answer | None:
    try:
        return ipp._answer("here", content)
    except ServerSilent:
        return None


@given(st.binary(max_size=300))
@example(struct.pack(">BBHI", 2, 0, 0, 1) + b"\x04\x22\0\x01a\0\0\x03")
def test_any_bytes_are_an_answer_or_no_ipp(content: bytes) -> None:
    parsed(content)


@given(st.data())
def test_a_good_answer_with_any_bytes_changed_or_cut_is_an_answer_or_no_ipp(data: st.DataObject) -> None:
    content = bytearray(PRINTER)
    for at in data.draw(st.lists(st.integers(0, len(content) - 1), max_size=6)):
        content[at] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(content)))
    found = parsed(bytes(content[:cut]))
    if found is not None:
        assert found.message.isprintable()
        with served(http(bytes(content[:cut]))) as where:
            printing = CupsPrinting(where)
            job = Job("labels", 7, "t", JobState.WAITING)
            for act in (printing.queues, lambda: printing.media("labels"), lambda: printing.dpi("labels"),
                        lambda: printing.job(job), lambda: printing.stock("labels", 25, 25)):  # fmt: skip
                with suppress(QueueFault):
                    act()


@given(st.integers(0, len(PRINTER) - 1))
def test_a_cut_answer_is_never_taken_for_a_whole_one(cut: int) -> None:
    assert parsed(PRINTER[:cut]) is None


def test_a_set_of_fifty_thousand_values_is_read_in_one_pass() -> None:
    body = answer((Group.PRINTER, [Attribute("media-supported", ValueTag.KEYWORD, [f"m{at}" for at in range(50_000)])]))
    found = parsed(body)
    assert found is not None and len(found.objects[0].texts("media-supported")) == 50_000
    assert parsed(answer((Group.PRINTER, [Attribute("a", ValueTag.KEYWORD, ["x"] * (ipp.MOST_VALUES + 1))]))) is None


@pytest.mark.parametrize("said", ["\x1b[2J\x07", "a\nb\r", "\u202e", "\x00", "\x9b31m"])
def test_nothing_a_server_says_moves_a_terminals_cursor_or_breaks_a_line(said: str) -> None:
    fields = ("printer-name", "printer-info", "printer-state-message", "job-state-message")
    texts = [Attribute(field, ValueTag.NAME, [f"x{said}y"]) for field in fields]
    body = answer(
        (Group.OPERATION, [Attribute("status-message", ValueTag.NAME, [said])]),
        (Group.PRINTER, [*texts, Attribute("media-supported", ValueTag.KEYWORD, [f"x{said}y_25x25mm"])]),
    )
    with served(http(body)) as where:
        printing = CupsPrinting(where)
        queue = printing.queues()[0]
        job = printing.job(Job("labels", 7, "t", JobState.WAITING))
        media = printing.media("labels")
    assert all(text.isprintable() for text in (queue.name, queue.description, queue.message, job.message))
    assert all(each.name.isprintable() for each in media)
    with served(http(answer((Group.PRINTER, texts), status=0x0406))) as where, pytest.raises(QueueFault) as gone:
        CupsPrinting(where).media("labels")
    assert str(gone.value).isprintable()


@pytest.mark.parametrize("dpi", [0, -300, 2**31 - 1])
def test_a_queue_that_says_no_dots_per_inch_that_can_be_says_none(dpi: int) -> None:
    name = b"printer-resolution-default"
    packed = struct.pack(">BH", ValueTag.RESOLUTION, len(name)) + name + struct.pack(">Hiib", 9, dpi, dpi, 3)
    body = struct.pack(">BBHI", 2, 0, 0, 1) + bytes([Group.PRINTER]) + packed + bytes([Group.END])
    with served(http(body)) as where:
        assert CupsPrinting(where).dpi("labels") is None


@pytest.mark.parametrize(
    ("body", "head"),
    [
        (b"5\r\n" + PRINTER + b"\r\n0\r\n\r\n", b"Transfer-Encoding: chunked\r\n"),  # more than was said
        (b"%x\r\n" % (len(PRINTER) + 9) + PRINTER + b"\r\n0\r\n\r\n", b"Transfer-Encoding: chunked\r\n"),  # less
        (b"%x\r\n" % len(PRINTER) + PRINTER + b"\r\n", b"Transfer-Encoding: chunked\r\n"),  # no last piece
        (PRINTER, b"Content-Length: 30\r\n"),
        (PRINTER, b"Content-Length: 3\r\nContent-Length: %d\r\n" % len(PRINTER)),
        (PRINTER[:-1], b"X: y\r\n"),  # no length at all, and cut
    ],
)  # fmt: skip
def test_an_answer_whose_length_is_a_lie_is_never_half_believed(body: bytes, head: bytes) -> None:
    with served(http(body, head)) as where, pytest.raises(ServerSilent):
        asked(where)


def test_a_server_that_goes_on_saying_wait_is_silent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ipp, "_ANSWER_S", 0.3)
    began = time.monotonic()
    with served(b"HTTP/1.1 100 Continue\r\n\r\n" * 200, drip_s=0.01) as where, pytest.raises(ServerSilent):
        asked(where)
    assert time.monotonic() - began < 5


def in_pieces(body: bytes, long: int) -> bytes:
    """A chunked answer whose pieces are so long."""
    pieces = (body[at : at + long] for at in range(0, len(body), long))
    cut = b"".join(b"%x\r\n%b\r\n" % (len(piece), piece) for piece in pieces)
    return http(cut + b"0\r\n\r\n", b"Transfer-Encoding: chunked\r\n")


@pytest.mark.parametrize("long", [1, 7, 2048, 65_536])
def test_an_answer_in_pieces_is_the_same_answer(long: int) -> None:
    with served(in_pieces(PRINTER, long)) as where:
        assert asked(where).objects[0].texts("media-supported") == ("oe_25x25_25x25mm", "iso_a4_210x297mm")


def test_a_large_answer_may_come_in_pieces_and_one_that_is_too_large_may_not() -> None:
    most = [Attribute("a", ValueTag.KEYWORD, ["x" * 60_000] * 60)]
    with served(in_pieces(answer((Group.PRINTER, most)), 2048)) as where:
        assert len(asked(where).objects[0].texts("a")) == 60
    with served(in_pieces(b"\0" * (ipp.MOST_ANSWER_BYTES + 9), 2048)) as where, pytest.raises(ServerSilent) as silent:
        asked(where)
    assert "more than 4 MB" in str(silent.value)


@pytest.mark.parametrize("more", [0, 1_000_000])
def test_the_work_an_answer_in_tiny_pieces_makes_has_an_end(more: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted in pieces looked at, which is what such an answer costs: never more than the limit, however many come."""
    looked_at = 0
    as_it_is = http_client.HTTPResponse._read_next_chunk_size  # type: ignore[attr-defined]

    def counted(self: http_client.HTTPResponse) -> int:
        nonlocal looked_at
        looked_at += 1
        return int(as_it_is(self))

    monkeypatch.setattr(http_client.HTTPResponse, "_read_next_chunk_size", counted)
    with served(in_pieces(b"\0" * (ipp.MOST_PIECES + 1 + more), 1)) as where, pytest.raises(ServerSilent) as silent:
        asked(where)
    assert looked_at <= ipp.MOST_PIECES and f"more than {ipp.MOST_PIECES} pieces" in str(silent.value)
