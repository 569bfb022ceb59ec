"""What goes through the pipe between the kiosk and the process that serves telephones, and what a page may ask.

Closed sets with bounds: what is not one of these is refused before anybody looks at it.  Each message is a line of
JSON behind its length, four bytes.  Knows neither desk nor network.
"""

from __future__ import annotations

import struct
from typing import Annotated, Any, BinaryIO

import msgspec
from msgspec import Meta, Struct

MOST_BYTES = 1_000_000  # of one message
MOST_TEXTS = 8  # labels that came into view in one picture
MOST_SYMBOLS = 300  # labels in one photograph

Key = Annotated[str, Meta(min_length=8, max_length=64)]  # what makes a request the same when it is sent again
Name = Annotated[str, Meta(max_length=128)]  # of a thing of the book, or a label's text as it is typed
Label = Annotated[str, Meta(max_length=7089)]  # figures in the largest QR symbol
Words = Annotated[str, Meta(max_length=200)]
Pixel = Annotated[float, Meta(ge=-1e5, le=1e5)]
Corner = tuple[Pixel, Pixel]
Corners = tuple[Corner, Corner, Corner, Corner]


class Ask(Struct, frozen=True, tag_field="ask", forbid_unknown_fields=True):
    """Something a page asks of the desk."""


class Scan(Ask, frozen=True, tag="scan"):
    """Labels that came into view, in order; or one that was typed."""

    texts: Annotated[tuple[Label, ...], Meta(min_length=1, max_length=MOST_TEXTS)]


class Undo(Ask, frozen=True, tag="undo"):
    """Take the last step back."""


class Cancel(Ask, frozen=True, tag="cancel"):
    """Forget the first scan of a pair."""


class Me(Ask, frozen=True, tag="me"):
    """Where this telephone was: its person, the first scan of a pair, its audit, what came last."""


class Hot(Ask, frozen=True, tag="hot"):
    """What is hot."""


class Find(Ask, frozen=True, tag="find"):
    """What answers to what was typed."""

    text: Name


class Way(Ask, frozen=True, tag="way"):
    """The way to a holder."""

    holder: Name


class Machines(Ask, frozen=True, tag="machines"):
    """Every machine."""


class Machine(Ask, frozen=True, tag="machine"):
    """A machine's magazine, for a holder that is to go in, or none."""

    code: Name
    holder: Name = ""


class HandOver(Ask, frozen=True, tag="hand_over"):
    """A holder into a pocket, as if both had been scanned."""

    pocket: Name
    holder: Name


class Card(Ask, frozen=True, tag="card"):
    """What is typed at the control for a holder."""

    holder: Name


class Condition(Ask, frozen=True, tag="condition"):
    """How the cutter came back."""

    holder: Name
    condition: Name


class Audits(Ask, frozen=True, tag="audits"):
    """How this telephone's audit stands, or what can be audited."""


class OpenAudit(Ask, frozen=True, tag="open_audit"):
    """Open or go on with an audit of a place."""

    place: Name


class PauseAudit(Ask, frozen=True, tag="pause_audit"):
    """Somebody goes on later."""


class CloseAudit(Ask, frozen=True, tag="close_audit"):
    """Close the audit, if nothing waits any more."""


class Settle(Ask, frozen=True, tag="settle"):
    """Close a difference.  reason: one of the words offered, where it stays open."""

    difference: Words
    action: Name
    reason: Name = ""


class LookFor(Ask, frozen=True, tag="look_for"):
    """Where a missing holder was last."""

    holder: Name


class Symbol(Struct, frozen=True, forbid_unknown_fields=True):
    """A label that was read in a photograph, corners in its pixels.  spent: as `reader.symbols.Symbol` has it."""

    text: Label
    format: Name
    corners: Corners
    spent: Annotated[float, Meta(ge=0, le=1)] | None = None


class Photograph(Ask, frozen=True, tag="photograph"):
    """What was read in a photograph of a drawer.  Never a page's own words: the pictures' reader says this."""

    place: Name
    symbols: Annotated[tuple[Symbol, ...], Meta(max_length=MOST_SYMBOLS)]


class LookedAt(Ask, frozen=True, tag="looked_at"):
    """How damaged labels in live frames were seen to be.  Never a page's own words either."""

    spent: Annotated[dict[Label, Annotated[float, Meta(ge=0, le=1)]], Meta(max_length=MOST_SYMBOLS)]


PageAsk = (
    Scan | Undo | Cancel | Me | Hot | Find | Way | Machines | Machine | HandOver | Card | Condition | Audits | OpenAudit
    | PauseAudit | CloseAudit | Settle | LookFor
)  # fmt: skip
AnyAsk = PageAsk | Photograph | LookedAt
# What is done once, however often it is sent: everything that may write a line or moves what comes next.
DOING = (Scan, Undo, Cancel, HandOver, Condition, OpenAudit, PauseAudit, CloseAudit, Settle, Photograph)


class Asked(Struct, frozen=True, tag="asked", forbid_unknown_fields=True):
    """A telephone asks.  phone: digest of its cookie.  key: sent again with the same, it is done once."""

    number: int
    phone: str
    key: Key
    ask: AnyAsk


class Pair(Struct, frozen=True, tag="pair", forbid_unknown_fields=True):
    """A telephone shows a token.  address: where from; kind: what it calls itself; before: digest of its cookie."""

    number: int
    token: Annotated[str, Meta(max_length=100)]
    address: Annotated[str, Meta(max_length=100)]
    kind: Annotated[str, Meta(max_length=40)]
    before: Annotated[str, Meta(max_length=64)] = ""


class Serving(Struct, frozen=True, tag="serving", forbid_unknown_fields=True):
    """The door is open."""

    port: int


class CannotServe(Struct, frozen=True, tag="cannot_serve", forbid_unknown_fields=True):
    """It cannot be opened: `why` in the system's words."""

    why: str


class Listening(Struct, frozen=True, tag="listening", forbid_unknown_fields=True):
    """So many pages listen for what is hot."""

    pages: int


FromServer = Asked | Pair | Serving | CannotServe | Listening


class Answer(Struct, frozen=True, tag="answer"):
    """To the question of that number.  status: as HTTP has it.  cookie: only to who has just been paired."""

    number: int
    status: int
    body: dict[str, Any]
    cookie: str = ""
    keep_s: int = 0


class Sessions(Struct, frozen=True, tag="sessions"):
    """Which telephones there are, by their cookies' digests; every other one has been ended."""

    phones: dict[str, str]


class Board(Struct, frozen=True, tag="board"):
    """What is hot now, for whoever listens; also the sign that the kiosk lives."""

    body: dict[str, Any]


class Spoken(Struct, frozen=True, tag="spoken"):
    """The words of the page, in the language the kiosk speaks from now on."""

    language: str
    words: dict[str, str]


class Closing(Struct, frozen=True, tag="closing"):
    """The kiosk closes, or telephones are switched off."""


FromKiosk = Answer | Sessions | Board | Spoken | Closing

_LENGTH = struct.Struct(">I")
to_kiosk = msgspec.json.Decoder(FromServer)
to_server = msgspec.json.Decoder(FromKiosk)
page_ask = msgspec.json.Decoder(PageAsk)
_encode = msgspec.json.Encoder().encode


def put(pipe: BinaryIO, message: FromServer | FromKiosk) -> None:
    """Writes one message whole.  Raises OSError where the other end is gone."""
    data = _encode(message)
    pipe.write(_LENGTH.pack(len(data)) + data)
    pipe.flush()


def take(pipe: BinaryIO) -> bytes | None:
    """The next message; None: the other end is gone, or says what no message is."""
    head = pipe.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return None
    (length,) = _LENGTH.unpack(head)
    if length > MOST_BYTES:
        return None
    data = pipe.read(length)
    return data if len(data) == length else None
