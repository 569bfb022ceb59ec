"""A hand that asks the desk: the kiosk's own window, or a telephone that belongs to somebody for a while.

Holds what is remembered between two scans and nothing that the book holds, so that two people who work at once never
answer each other's half of a pair.  The desk has one hand at a time (`Session.hand`), on its one thread.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from kiosk.rules.audit import Open
from kiosk.rules.cards import OperatorCard, Pending

if TYPE_CHECKING:
    from kiosk.desk.session import Session

V = TypeVar("V")


@dataclass(slots=True, eq=False)
class Hand:
    """What the desk remembers of one who asks.  Times are watched seconds; the defaults are a hand that just came.

    phone: how lines name the telephone; empty: the kiosk's own window.  A telephone is one person's: it stays theirs.
    """

    phone: str = ""
    here: str | None = None  # code of the place it stands at; a telephone stands nowhere
    operator: OperatorCard | None = None
    supervisor: OperatorCard | None = None  # who has given the PIN
    supervised_at_s: float = 0.0
    opened_with: str | None = None  # hash of the PIN that was given: another one since opens nothing by the old
    pending: Pending | None = None
    audit: str | None = None  # the audit this hand is in the middle of
    audit_at: str | None = None  # the drawer or slot scanned last in it
    audit_asked_s: float | None = None  # a command card asked for an audit of what comes next
    audit_seen_last: tuple[str, float] | None = None  # key of the holder seen last, and when
    audit_hot: dict[str, Open] = field(default_factory=dict)  # what its audit has seen hot, by holder
    last_scan_s: float = 0.0
    stepped_s: float | None = None  # watched time of the last step written by it that a hand could want back
    last_holder: str | None = None  # key of the holder scanned last
    watched: Pending | None = None  # the label shown last to a screen that keeps scans for itself


class OfHand(Generic[V]):
    """An attribute of the session that is the hand's that asks."""

    def __set_name__(self, owner: type[Any], name: str) -> None:
        self._name = name

    def __get__(self, session: Session, owner: type[Any]) -> V:
        value: V = getattr(session.hand, self._name)
        return value

    def __set__(self, session: Session, value: V) -> None:
        setattr(session.hand, self._name, value)
