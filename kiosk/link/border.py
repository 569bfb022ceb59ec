"""What the link asks of the kiosk it belongs to, and what it tells it: the only things both sides know.

The link never reads a line's body and never writes a kiosk's ledger.  All methods of the protocols are called on the
link's thread: an implementation reads the ledger through a connection of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from kiosk.rules.chain import ChainLine, SharedLine

LINE_FORM = 1  # the newest form of line that this version reads and writes


class Copy(Protocol):
    """This kiosk's own chain, and its verified copy of the shop's book."""

    @property
    def kiosk(self) -> str:
        """The kiosk's random id, 16 hex digits."""

    def applied(self) -> tuple[int, str]:
        """Number and book hash of the last shared line that is in the kiosk's tables and on its disk; 0 and ""."""

    def own_last(self) -> int:
        """Number of the last line of the kiosk's own chain."""

    def own_after(self, number: int, most: int) -> Sequence[ChainLine]:
        """Lines of the kiosk's own chain after `number`, in order."""

    def shared_after(self, n: int, most: int) -> Sequence[SharedLine]:
        """Applied shared lines after `n`, in order, verbatim: what an empty server is refilled with."""

    def book_at(self, n: int) -> str | None:
        """The book hash after shared line `n`, "" for 0; None: not applied here."""

    def is_whole(self, line: ChainLine) -> bool:
        """Whether digest, kiosk, number, previous and seen are what the body says."""


class Beats(Protocol):
    """What kiosks tell each other every two seconds; opaque to the link."""

    def say(self, beat: int) -> str:
        """What this kiosk says with its beat of that number."""

    def hear(self, beat: int, others: Sequence[Kiosk], end: int | None) -> None:
        """What the other kiosks said last, as the server gave it back for this kiosk's beat of that number.

        end: the last number of the shop's order; None: the server may have lost lines.
        """


@dataclass(frozen=True)
class Kiosk:
    """A kiosk of the shop as the server knows it.

    beat: the number of its last one.  ago_s: seconds by the server's clock since then; None: it is not here.
    applied, waiting: numbers of lines.  clock_off_s: its wall clock less the server's, for people only.
    retired_n: no line of it stands after this one; None: it works here.  said: with its last beat.
    """

    kiosk: str
    name: str
    beat: int
    ago_s: float | None
    applied: int
    waiting: int
    clock_off_s: float
    version: str
    retired_n: int | None
    said: str
