"""What the desk says once a second: what is hot, who is at work, where the kiosk stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kiosk.rules.cards import HolderCard, OperatorCard, Pending, ProbeNext
from kiosk.settings import Settings

if TYPE_CHECKING:  # the desk is loaded on its own thread
    from kiosk.desk import Desk


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


def pulse(desk: Desk) -> Pulse:
    """Asked once a second, on the desk's thread."""
    desk.tick()
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
    )
