"""What the desk says once a second: what is hot, who is at work, where the kiosk stands."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kiosk.rules.cards import HolderCard, OperatorCard, Pending, ProbeNext
from kiosk.rules.link_state import LinkState
from kiosk.settings import Settings
from kiosk.words import t

if TYPE_CHECKING:  # the desk is loaded on its own thread
    from kiosk.desk import Desk
    from kiosk.desk.desk import Scanned


UNHEARD = "unheard"


@dataclass(frozen=True, slots=True)
class LinkSeen:
    """How this kiosk stands to the others of its shop.

    state: a value of `link_state.LinkState`, or why it does not ask for them (`Desk.not_shared`), or `UNHEARD`: the
    server answers, and another kiosk is not heard, so that what could have been heated or moved there is not cool here.

    since_at: seconds since the epoch, when the server last answered; None: not since the start.
    """

    state: str
    waiting: int
    since_at: float | None

    @property
    def quiet(self) -> bool:
        """Whether all is as it should be, so that nobody misses this where there is no room."""
        return self.state == "caught_up"

    @property
    def learns(self) -> bool:
        """Whether lines of the others are still on their way into this kiosk's book, the first of all among them."""
        return self.state in ("joining", "catching_up")

    @property
    def words(self) -> str:
        """A sign and a word."""
        if self.state == "cut_off" and not self.waiting:
            return t("link.cut_off_nothing", since_at=self.since_at)
        return t(f"link.{self.state}", count=self.waiting, since_at=self.since_at)


@dataclass(frozen=True, slots=True)
class Pulse:
    """What the desk says once a second."""

    hot: tuple[HolderCard, ...]
    warm: tuple[HolderCard, ...]
    operator: OperatorCard | None
    here: str | None  # name of the place the kiosk stands at
    settings: Settings
    waiting: Pending | None  # the first scan of a pair
    empty: bool  # no place is known yet: a new kiosk
    watched_s: float  # the desk's watched clock
    undo_s: float = 0.0  # how long the last step can still be taken back
    undo_name: str = ""  # what it was about
    silent: bool = False  # the shop's thermometer says nothing
    advice: tuple[HolderCard, ProbeNext] | None = None  # for the one that is free first
    link: LinkSeen | None = None  # None: this kiosk has no others
    called: Scanned | None = None  # what other kiosks' lines make an alarm of
    presetter: str = ""  # what the strip says of its cable: a key of `[strip.presetter]`; empty: nothing


def pulse(desk: Desk) -> Pulse:
    """Asked once a second, on the desk's thread."""
    desk.tick()
    desk.presetter.tick()
    session = desk.session
    here = session.cards.place(session.here) if session.here else None
    board = desk.heat.board()
    undo_name, undo_s = desk.undoable()
    return Pulse(
        board,
        desk.heat.warm(),
        session.operator,
        here.name if here else None,
        session.settings,
        desk.waiting(),
        desk.shop.empty,
        session.now().watched_s,
        undo_s,
        undo_name,
        desk.air.silent,
        desk.heat.advice_next(board),
        _link(desk),
        desk.called_out(),
        "lost" if desk.presetter.lost else "turned_away" if desk.presetter.turned_away else "",
    )


def _link(desk: Desk) -> LinkSeen | None:
    if desk.not_shared is not None:
        return LinkSeen(desk.not_shared.cause.value, 0, None)
    if desk.kiosks is None:
        return None
    now = desk.kiosks.standing()
    since_at = None if now.silent_s is None else time.time() - now.silent_s
    apart = desk.session.cards.apart
    unheard = now.state is LinkState.CAUGHT_UP and apart is not None and not apart.all_heard
    return LinkSeen(UNHEARD if unheard else now.state.value, now.waiting, since_at)
