"""The questions a kiosk may ask its shop's server, each one function of `functions.sql`, with typed answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

from kiosk.link.border import Kiosk
from kiosk.link.connection import Connection
from kiosk.link.faults import Cause, LinkFault
from kiosk.rules.chain import ChainLine, SharedLine

FORM = 1  # of the functions of `functions.sql` that this version speaks
SLOWEST_S = 20.0  # for a full batch of lines on a bad network


@dataclass(frozen=True)
class Given:
    """Where an own line stands in the shop's order, as the server answered a push."""

    number: int
    n: int
    book: str


@dataclass(frozen=True)
class Said:
    """What a kiosk says of itself with a beat; see `border.Kiosk`.

    run: random, one for each start of the program.  utc_s: its wall clock, for people.  reads: form of line.
    """

    run: str
    beat: int
    applied: int
    waiting: int
    utc_s: float
    body: str
    version: str
    reads: int


@dataclass(frozen=True)
class Answer:
    """The server's answer to a beat: where its book stands, and all kiosks of the shop.

    head, book: end of the shop's order.  writes: form of line the shop writes.  put_back: its tables came out of a
    copy, and not every kiosk was heard since.  own_number: the last line of the asking kiosk that stands there.
    """

    head: int
    book: str
    writes: int
    shop: str
    put_back: bool
    own_number: int
    kiosks: tuple[Kiosk, ...]


def speaks_our_form(connection: Connection) -> None:
    """Raises LinkFault where the functions there are of another form, or there are none."""
    ((form,),) = connection.ask("SELECT book.form()")
    if form != FORM:
        refuse(form)


def refuse(form: int | None) -> NoReturn:
    """Raises LinkFault: functions of this form are not spoken here.  None: nobody knows of which they are."""
    cause = Cause.EDITED if form is None else Cause.NEWER_SERVER if form > FORM else Cause.OLDER_SERVER
    raise LinkFault(cause, f"form {form}; this kiosk speaks {FORM}")


def push(connection: Connection, lines: Sequence[ChainLine], form: int) -> list[Given]:
    """Own lines into the book, in the order of their chain; the server skips what it has.  Raises LinkFault."""
    values = (
        [line.number for line in lines],
        [line.previous for line in lines],
        [line.digest for line in lines],
        [line.seen for line in lines],
        [line.seen_book for line in lines],
        [line.body for line in lines],
        form,
    )
    asked = "SELECT * FROM book.push(%s::bigint[], %s::text[], %s::text[], %s::bigint[], %s::text[], %s::text[], %s)"
    return [Given(*row) for row in connection.ask(asked, values, SLOWEST_S if len(lines) > 10 else 4.0)]


def pull(connection: Connection, after: int, most: int) -> list[SharedLine]:
    """Lines after that number of the shop's order, as the server gives them: not checked.  Raises LinkFault."""
    rows = connection.ask("SELECT * FROM book.pull(%s, %s)", (after, most), SLOWEST_S if most > 100 else 4.0)
    return [SharedLine(row[0], ChainLine(*row[1:8]), row[8]) for row in rows]


def refill(connection: Connection, lines: Sequence[SharedLine]) -> int:
    """Shared lines that the server lost, put back verbatim; the number it ends with then.  Raises LinkFault."""
    values = (
        [each.n for each in lines],
        [each.line.kiosk for each in lines],
        [each.line.number for each in lines],
        [each.line.previous for each in lines],
        [each.line.digest for each in lines],
        [each.line.seen for each in lines],
        [each.line.seen_book for each in lines],
        [each.line.body for each in lines],
        [each.book for each in lines],
    )
    asked = (
        "SELECT book.refill(%s::bigint[], %s::text[], %s::bigint[], %s::text[], %s::text[], %s::bigint[], %s::text[], "
        "%s::text[], %s::text[])"
    )
    ((end,),) = connection.ask(asked, values, SLOWEST_S)
    return int(end)


def beat(connection: Connection, said: Said) -> Answer:
    """Says something to the other kiosks and hears what they said last.  Raises LinkFault."""
    values = (
        said.run, said.beat, said.applied, said.waiting, said.utc_s, said.body, said.version, said.reads,
    )  # fmt: skip
    rows = connection.ask("SELECT * FROM book.beat(%s, %s, %s, %s, %s, %s, %s, %s)", values)
    if not rows:
        raise LinkFault(Cause.EDITED, "the end of the order is not there")
    head, book, writes, shop, put_back, own_number = rows[0][:6]
    return Answer(head, book, writes, shop, put_back, own_number, tuple(Kiosk(*row[6:]) for row in rows))


def kiosks(connection: Connection) -> list[Kiosk]:
    """Every kiosk of the shop, those that left too.  Raises LinkFault."""
    return [Kiosk(*row) for row in connection.ask("SELECT * FROM book.kiosks()")]


def rest(connection: Connection, run: str) -> None:
    """This kiosk's program ends in order.  Raises LinkFault."""
    connection.ask("SELECT book.rest(%s)", (run,), 1.0)


def book_at(connection: Connection, n: int) -> str | None:
    """The server's book hash at that number; None: it has no such line.  Raises LinkFault."""
    ((book,),) = connection.ask("SELECT book.book_at(%s)", (n,))
    return None if book is None else str(book)


def lock_out(connection: Connection, kiosk: str) -> int:
    """That kiosk works here no more, from now on; the number of its last line in the book.  Raises LinkFault."""
    ((number,),) = connection.ask("SELECT book.lock_out(%s)", (kiosk,))
    return int(number)


def raise_form(connection: Connection, form: int) -> None:
    """The shop writes lines of this form from now on.  Raises LinkFault naming the kiosks that cannot read them."""
    connection.ask("SELECT book.raise_form(%s)", (form,))
