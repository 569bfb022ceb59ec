"""How a kiosk stands to its shop's server: every state and every way from one to the next.

ALONE: no server.  JOINING, then CATCHING UP, then CAUGHT UP and SHARING by turns (lines of its own wait); from all of
them to CUT OFF when nothing answered for `SILENT_S`, and from there only through CATCHING UP.  Four full stops, which a
person must see to: BEHIND (another kiosk writes lines newer than this one knows), FORKED (the server has other lines of
this kiosk), WENT BACK (the server lost lines this kiosk knows), LOCKED OUT.

Only what was counted here goes in: numbers of lines, and seconds of this kiosk's own counter.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

SILENT_S = 5.0  # so long after its last answer a server is out of reach


class LinkState(Enum):
    """The value is the key of its words."""

    ALONE = "alone"
    JOINING = "joining"
    CATCHING_UP = "catching_up"
    CAUGHT_UP = "caught_up"
    SHARING = "sharing"
    CUT_OFF = "cut_off"
    BEHIND = "behind"
    FORKED = "forked"
    WENT_BACK = "went_back"
    LOCKED_OUT = "locked_out"


LEVEL = frozenset({LinkState.CAUGHT_UP, LinkState.SHARING})  # knows all that the server knows


@dataclass(frozen=True)
class LinkFacts:
    """What the link knows at one moment.

    has_server: this kiosk belongs to a shop with a server.  joined: it has the shop's book from the day it joined.
    stop: a full stop that was met and not seen to.  silent_s: seconds of this kiosk's counter since the server last
    answered; None: it has not answered since this kiosk was started.  applied: the last shared number in the kiosk's
    tables.  head: the server's last number as it last said; None: not known.  waiting: own lines without a number.
    """

    has_server: bool
    joined: bool
    stop: LinkState | None
    silent_s: float | None
    applied: int
    head: int | None
    waiting: int

    @property
    def heard(self) -> bool:
        """Whether the server answered within `SILENT_S`."""
        return self.silent_s is not None and self.silent_s < SILENT_S and self.head is not None


def next_state(before: LinkState, facts: LinkFacts) -> LinkState:
    """The state that follows.  `before` is the state now, ALONE at the start of a kiosk."""
    if not facts.has_server:
        return LinkState.ALONE
    if facts.stop is not None:
        return facts.stop
    if not facts.joined:
        return LinkState.JOINING
    if not facts.heard or facts.head is None:
        return LinkState.CUT_OFF
    if before not in LEVEL | {LinkState.CATCHING_UP} or facts.applied < facts.head:
        return LinkState.CATCHING_UP  # from everywhere else first this, so that nothing is taken for level unseen
    return LinkState.SHARING if facts.waiting else LinkState.CAUGHT_UP
