"""The desk's side of a shop with several kiosks: own lines go out, the others' come in, a slice at a time.

Made only where this kiosk belongs to such a shop.  The desk's thread takes what came for `SLICE_S` at a time, longer
only where many own lines wait and nobody asks it anything, and asks for at most `FRESH_S`; the network itself is the
link's, which has a thread of its own.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from kiosk.desk.beats import KioskBeats
from kiosk.ledger.book import Book, Broken
from kiosk.ledger.shared_copy import SharedCopy
from kiosk.ledger.sharing import Forked, GaveWay, OutOfOrder
from kiosk.link import address as addresses
from kiosk.link import calls, joining
from kiosk.link.address import Membership
from kiosk.link.border import Kiosk
from kiosk.link.connection import connect
from kiosk.link.faults import Cause, LinkFault
from kiosk.link.link import Link, Standing
from kiosk.rules.apart import Apart
from kiosk.rules.chain import SharedLine

SLICE_S = 0.02  # how long what came keeps the desk from answering
FRESH_S = 0.3  # how long an answer waits for what the server knows
_AT_ONCE = 200
_GIVES_WAY = 4  # times in a row, then what came goes first: else it would never come in where somebody always asks


class KiosksCounter:
    """The other kiosks of the shop.  came: called on the link's thread when lines came."""

    def __init__(
        self,
        book: Book,
        folder: Path,
        membership: Membership,
        beats: KioskBeats,
        came: Callable[[], None] = lambda: None,
        seconds: Callable[[], float] = time.monotonic,
    ) -> None:
        self.membership = membership
        self._book = book
        self._folder = folder
        self._seconds = seconds
        self._taken: list[SharedLine] = []
        self._beats = beats
        book.age_of, book.said_age_of = beats.age_s, beats.said_age_s
        self._copy = SharedCopy(folder, membership.kiosk)
        self._halted = False
        self._gave_way = 0  # times in a row
        values = membership.values(folder)
        self._link = Link(values, membership.shop, self._copy, beats, came=came, counter=seconds)
        self._link.start()

    @classmethod
    def of(cls, book: Book, folder: Path) -> KiosksCounter | None:
        """None: this kiosk belongs to no shop with several.

        Raises LinkFault where it does, and what says who it is there is gone, spoilt, another kiosk's or a copy.
        """
        membership = addresses.here(folder)
        own = book.sharing.own if book.sharing else None
        if membership is None and own is None:
            return None
        if membership is None or membership.kiosk != own:
            raise LinkFault(Cause.UNNAMED)
        return cls(book, folder, membership, KioskBeats(book, book.clock.from_now()))

    def standing(self) -> Standing:
        return self._link.standing()

    def apart(self, machine: str | None) -> Apart:
        """How far this kiosk is cut off now.  machine: code of the one it stands at."""
        return self._beats.apart(self._link.standing(), machine, self._book.now().utc_s)

    def wrote(self) -> None:
        """Lines of this kiosk are on its disk."""
        self._beats.follow()
        self._link.wrote(self._book.last_id)

    def fresh(self, within_s: float = FRESH_S) -> bool:
        """Before an answer: everything the server knows is in the tables; False: it is not known whether it is."""
        began_s = self._seconds()

        def late() -> bool:
            return self._seconds() - began_s > within_s

        if not self._link.fresh(within_s):
            return False
        while self._slice(late):
            if late():
                return False
        return not self._halted

    def take(self, asked: Callable[[], bool] = lambda: False) -> bool:
        """One slice of what came into the tables; whether there is more.  Raises LedgerFault where the disk refuses.

        asked: whether somebody waits for an answer, who gets it first.
        """
        return self._slice(lambda: self._gave_way < _GIVES_WAY and asked())

    def _slice(self, gives_way: Callable[[], bool]) -> bool:
        if self._halted:
            return False
        began_s = self._seconds()
        while True:
            if not self._taken:
                waiting = self._book.sharing.waiting() if self._book.sharing else 0
                self._taken = self._link.take(max(_AT_ONCE, waiting))
            if not self._taken:
                return False
            try:
                done = self._book.take(self._taken, lambda: self._seconds() - began_s >= SLICE_S, gives_way)
            except GaveWay:
                self._gave_way += 1
                return True
            except (
                KeyError,
                msgspec.MsgspecError,
            ):  # a line of a newer kind: nothing is decided as if it were not there
                return self._halt(Cause.BEHIND)
            except Forked:
                return self._halt(Cause.FORKED)
            except (OutOfOrder, Broken):
                return self._halt(Cause.EDITED)
            self._gave_way = 0
            del self._taken[:done]
            assert self._book.sharing is not None  # it took lines
            tail = self._book.sharing.tail
            self._beats.follow()
            self._link.applied(tail.applied, tail.book)
            if self._seconds() - began_s >= SLICE_S:
                return True

    def _halt(self, cause: Cause) -> bool:
        self._halted = True
        self._link.halt(cause)
        return False

    def list(self) -> tuple[Kiosk, ...]:
        """All kiosks of the shop, as last heard."""
        return self._link.standing().kiosks

    def invite(self) -> tuple[str, str]:
        """A code for one more kiosk, and what its QR says.  Raises LinkFault."""
        connection = connect(self.membership.values(self._folder))
        try:
            code = joining.invite(connection, self.membership.address)
        finally:
            connection.close()
        return code, addresses.invitation(self.membership.address, code)

    def shared(self, within_s: float) -> bool:
        """Waits until the server has every own line; False: it is not known whether it has."""
        return self._link.shared(within_s)

    def lock_out(self, kiosk: str) -> int:
        """The server takes no line of that kiosk any more; the number of its last one there.  Raises LinkFault.

        The shop's kiosks listen to it until a line says that it is gone (`desk.together`).
        """
        connection = connect(self.membership.values(self._folder))
        try:
            return calls.lock_out(connection, kiosk)
        finally:
            connection.close()

    def close(self) -> None:
        self._link.close()
        self._copy.close()


__all__ = ["KiosksCounter", "LinkFault"]
