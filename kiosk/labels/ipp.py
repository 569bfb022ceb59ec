"""The Internet Printing Protocol as far as print queues need it: ask a server, get attributes back.

Only requests and answers are made here; what a job's state means is decided elsewhere.  It must never send a request
twice.  Encoding and numbers: RFC 8010 and RFC 8011; where the server listens: CUPS's own rules.
"""

from __future__ import annotations

import http.client
import os
import re
import socket
import struct
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from threading import Timer
from typing import NamedTuple
from urllib.parse import quote

_SOCKETS = (Path("/run/cups/cups.sock"), Path("/private/var/run/cupsd"))
_PORT = 631
_TIMEOUT_S = 10.0
_ANSWER_S = 30.0  # for a whole answer: a server that sends a byte now and then is silent too
MOST_ANSWER_BYTES = 4_000_000  # a hundred queues with all their media have a tenth of it
MOST_VALUES = 100_000
MOST_PIECES = 20_000  # of a chunked answer, each of which costs the same however short it is: CUPS sends 2 kB and more
_TOO_LARGE = f"an answer of more than {MOST_ANSWER_BYTES / 1e6:g} MB"
_PER_INCH = 3
_LONGEST_MESSAGE = 500


class Operation(IntEnum):
    """Requests (RFC 8011 section 5.4.15 and the CUPS extensions above 0x4000)."""

    CREATE_JOB = 0x0005
    SEND_DOCUMENT = 0x0006
    CANCEL_JOB = 0x0008
    GET_JOB_ATTRIBUTES = 0x0009
    GET_PRINTER_ATTRIBUTES = 0x000B
    RELEASE_JOB = 0x000D
    RESTART_JOB = 0x000E
    RESUME_PRINTER = 0x0011
    GET_DEFAULT = 0x4001
    GET_PRINTERS = 0x4002


class ValueTag(IntEnum):
    """Kinds of value."""

    INTEGER = 0x21
    BOOLEAN = 0x22
    ENUM = 0x23
    RESOLUTION = 0x32
    NAME = 0x42
    KEYWORD = 0x44
    URI = 0x45
    CHARSET = 0x47
    LANGUAGE = 0x48
    MIME = 0x49


class Group(IntEnum):
    """What a run of attributes is about."""

    OPERATION = 0x01
    JOB = 0x02
    END = 0x03
    PRINTER = 0x04


Value = int | bool | str


class Attribute(NamedTuple):
    """One attribute of a request."""

    name: str
    kind: ValueTag
    values: Sequence[Value]


class Attributes(Mapping[str, tuple[Value, ...]]):
    """The attributes of one object in an answer, by name."""

    def __init__(self, values: dict[str, tuple[Value, ...]]) -> None:
        self._values = values

    def __getitem__(self, name: str) -> tuple[Value, ...]:
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def text(self, name: str) -> str:
        """The first value as text, '' when there is none."""
        return str(self.get(name, ("",))[0])

    def texts(self, name: str) -> tuple[str, ...]:
        return tuple(str(value) for value in self.get(name, ()))

    def number(self, name: str) -> int | None:
        """The first value where it is a number."""
        value = self.get(name, (None,))[0]
        return value if isinstance(value, int) and not isinstance(value, bool) else None


@dataclass(frozen=True, slots=True)
class Answer:
    """A server's answer: status (RFC 8011, below 0x0400 is success) and one group for each object."""

    status: int
    message: str
    objects: tuple[Attributes, ...]

    @property
    def ok(self) -> bool:
        return self.status < 0x0400

    @property
    def not_found(self) -> bool:
        return self.status == 0x0406

    @property
    def forbidden(self) -> bool:
        return self.status in (0x0401, 0x0402, 0x0403)


class ServerSilent(ConnectionError):
    """The print server does not answer; `where` it was looked for, `why` in the system's words."""

    def __init__(self, where: str, why: str) -> None:
        super().__init__(f"the print server at {where} does not answer: {why}")
        self.where = where
        self.why = why


class RequestFault(ValueError):
    """A request that no server could be sent: a name too long or a number too large.  Nothing was sent."""


class _NoIpp(ValueError):
    """Bytes that are no answer by RFC 8010; the text says where they stop being one."""


def server() -> str:
    """Where the print server listens: CUPS_SERVER, else its socket, else this machine's port 631."""
    given = os.environ.get("CUPS_SERVER", "")
    if given:
        return given
    return next((str(path) for path in _SOCKETS if path.exists()), "localhost")


def ask(
    where: str,
    path: str,
    operation: Operation,
    attributes: Iterable[Attribute],
    job_attributes: Iterable[Attribute] = (),
    document: bytes = b"",
) -> Answer:
    """Send one request to a server and return its answer.

    Raises RequestFault before anything is sent, ServerSilent from then on.
    """
    try:
        body = _request(operation, attributes, job_attributes) + document
        headers = {"Content-Type": "application/ipp", "Authorization": f"PeerCred {_user()}"}
    except (struct.error, UnicodeEncodeError, ValueError) as why:
        raise RequestFault(str(why)) from why
    connection = _SocketConnection(where) if where.startswith("/") else _connection(where)
    watch: Timer | None = None
    try:
        connection.request("POST", quote(path), body, headers)
        watch = _watch(connection)
        response = connection.getresponse()
        if (response.length or 0) > MOST_ANSWER_BYTES:
            raise ServerSilent(where, _TOO_LARGE)
        content = _content(where, response)
        missing = response.length or 0
    # a header or a piece's length that is no number is a ValueError in the library, a port beyond all an OverflowError
    except ServerSilent:
        raise
    except (OSError, http.client.HTTPException, ValueError, OverflowError) as why:
        raise ServerSilent(where, " ".join(str(why).split())[:200] or type(why).__name__) from why
    finally:
        if watch:
            watch.cancel()
        connection.close()
    if len(content) > MOST_ANSWER_BYTES:
        raise ServerSilent(where, _TOO_LARGE)
    if missing:
        raise ServerSilent(where, "an answer cut short")
    if response.status in (401, 403):
        return Answer(0x0403, _said(response.reason), ())
    if response.status != 200:
        raise ServerSilent(where, f"HTTP {response.status} {_said(response.reason)}")
    return _answer(where, content)


def _content(where: str, response: http.client.HTTPResponse) -> bytes:
    """An answer's bytes, at most one more than may be.  Raises ServerSilent where it comes in too many pieces."""
    if not response.chunked:
        return response.read(MOST_ANSWER_BYTES + 1)
    content = bytearray()
    for _ in range(MOST_PIECES):
        piece = response.read1(MOST_ANSWER_BYTES + 1 - len(content))  # never more than what is left of one piece
        content += piece
        if not piece or len(content) > MOST_ANSWER_BYTES:
            return bytes(content)
    raise ServerSilent(where, f"an answer in more than {MOST_PIECES} pieces")


def _watch(connection: http.client.HTTPConnection) -> Timer:
    """Ends the connection when the answer is not all there in time, so that reading it ends too."""

    def cut() -> None:
        with suppress(OSError):
            if connection.sock:
                connection.sock.shutdown(socket.SHUT_RDWR)

    watch = Timer(_ANSWER_S, cut)
    watch.daemon = True
    watch.start()
    return watch


def _user() -> str:
    """Who asks, as a header can say it."""
    name = os.environ.get("USER") or os.environ.get("LOGNAME") or "root"
    return quote(name[:100], errors="replace")


def _said(text: str) -> str:
    """A server's words as one line that a screen can show."""
    return " ".join(_printable(text[:_LONGEST_MESSAGE]).split())


def _printable(text: str) -> str:
    """No terminal's cursor is moved and no line broken by what a server calls something."""
    return text if text.isprintable() else "".join(sign if sign.isprintable() else " " for sign in text)


class _SocketConnection(http.client.HTTPConnection):
    """HTTP over a file-system socket."""

    def __init__(self, path: str) -> None:
        super().__init__("localhost", timeout=_TIMEOUT_S)
        self._path = path

    def connect(self) -> None:
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.settimeout(_TIMEOUT_S)
        self.sock.connect(self._path)


def _connection(where: str) -> http.client.HTTPConnection:
    host, _, port = where.partition(":")
    number = int(port) if re.fullmatch("[0-9]{1,5}", port) else _PORT
    try:
        return http.client.HTTPConnection(host, number, timeout=_TIMEOUT_S)
    except http.client.HTTPException as why:
        raise ServerSilent(where, str(why)) from why


def _request(operation: Operation, attributes: Iterable[Attribute], job_attributes: Iterable[Attribute]) -> bytes:
    """RFC 8010 section 3.1: version 2.0, operation, number, groups, end."""
    head = (
        Attribute("attributes-charset", ValueTag.CHARSET, ["utf-8"]),
        Attribute("attributes-natural-language", ValueTag.LANGUAGE, ["en"]),
    )
    packed = struct.pack(">BBHI", 2, 0, operation, 1) + _group(Group.OPERATION, [*head, *attributes])
    job = list(job_attributes)
    return packed + (_group(Group.JOB, job) if job else b"") + bytes([Group.END])


def _group(group: Group, attributes: Iterable[Attribute]) -> bytes:
    packed = bytes([group])
    for attribute in attributes:
        name = attribute.name.encode()
        for at, value in enumerate(attribute.values):
            shown = name if at == 0 else b""  # further values of a set carry no name
            data = _packed(attribute.kind, value)
            packed += struct.pack(">BH", attribute.kind, len(shown)) + shown + struct.pack(">H", len(data)) + data
    return packed


def _packed(kind: ValueTag, value: Value) -> bytes:
    if kind is ValueTag.BOOLEAN:
        return bytes([bool(value)])
    if kind in (ValueTag.INTEGER, ValueTag.ENUM):
        return struct.pack(">i", int(value))
    return str(value).encode()


def _answer(where: str, content: bytes) -> Answer:
    try:
        return _parsed(content)
    except (_NoIpp, struct.error) as why:
        raise ServerSilent(where, f"an answer that is no IPP ({why})") from why


def _parsed(content: bytes) -> Answer:
    """RFC 8010 section 3.1 read back, in one pass.  A value of no kind we use is kept as text.  Raises _NoIpp."""
    if len(content) < 8:
        raise _NoIpp("cut short in its head")
    status = struct.unpack_from(">H", content, 2)[0]
    message = ""
    objects: list[Attributes] = []
    values: dict[str, list[Value]] = {}
    group = name = None
    at, count = 8, 0
    while at < len(content):
        tag = content[at]
        at += 1
        if tag < 0x10:  # a new group, or the end
            found = Attributes({each: tuple(several) for each, several in values.items()})
            if group in (Group.JOB, Group.PRINTER):
                objects.append(found)
            elif group == Group.OPERATION:
                message = _said(found.text("status-message"))
            if tag == Group.END:
                return Answer(status, message, tuple(objects))
            values, group, name = {}, tag, None
            continue
        said, at = _piece(content, at)
        data, at = _piece(content, at)
        name = said.decode("utf-8", "replace") if said else name
        count += 1
        if name is None:
            raise _NoIpp(f"a value without a name at byte {at}")
        if count > MOST_VALUES:
            raise _NoIpp(f"more than {MOST_VALUES} values")
        if tag >= 0x20:  # below: no value at all
            values.setdefault(name, []).append(_unpacked(tag, data))
    raise _NoIpp("cut short before its end")


def _piece(content: bytes, at: int) -> tuple[bytes, int]:
    """The bytes that a length of two bytes announces, and where they end."""
    start = at + 2
    end = start + int.from_bytes(content[at:start])
    if start > len(content) or end > len(content):
        raise _NoIpp(f"cut short at byte {at}")
    return content[start:end], end


def _unpacked(tag: int, data: bytes) -> Value:
    if tag in (ValueTag.INTEGER, ValueTag.ENUM):
        return int(struct.unpack(">i", data)[0])
    if tag == ValueTag.BOOLEAN:
        return bool(struct.unpack(">B", data)[0])
    if tag == ValueTag.RESOLUTION:  # across and along the feed, in dots per inch (3) or centimetre (4)
        across, _, unit = struct.unpack(">iib", data)
        return int(across) if unit == _PER_INCH else round(across * 2.54)
    return _printable(data.decode("utf-8", "replace"))
