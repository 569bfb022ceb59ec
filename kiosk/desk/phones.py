"""The phones counter: a telephone becomes one person's hand for a shift at most, and stops being it.

What a telephone asks is asked of the same counters as what the window asks, with a hand of its own (`desk.hand`).
Here is only whose it is and until when; nothing of networks, and no secret.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple

from kiosk.desk.hand import Hand
from kiosk.desk.session import ActRefused, Session
from kiosk.ledger import tables as T
from kiosk.rules.cards import OperatorCard
from kiosk.rules.lines import PhoneEnded, PhonePaired
from kiosk.rules.outcomes import Reason

if TYPE_CHECKING:  # audits are loaded when they are first asked for
    from kiosk.desk.audits import AuditCounter

_HOUR_S = 3600.0


class PhoneOver(PermissionError):
    """This telephone is nobody's any more."""

    def __init__(self) -> None:
        super().__init__("this telephone was ended, or its shift is over")


class _Lent(NamedTuple):
    """Whose a telephone is (key; None: a shop without badges), and until when by the watched clock."""

    owner: str | None
    until_s: float


class PhonesCounter:
    def __init__(self, session: Session, audits: Callable[[], AuditCounter]) -> None:
        self._session = session
        self._audits = audits
        self._lent: dict[str, _Lent] = {}  # by the telephone's name

    def owner(self) -> OperatorCard | None:
        """Whose a telephone paired now would be: whoever is signed in at the kiosk itself.

        None: a shop where nobody has a badge.  Raises ActRefused where people have badges and none was scanned.
        """
        someone = self._session.hands[0].operator
        if someone is None and T.Operator.select().where(T.Operator.retired == 0).exists():
            raise ActRefused(Reason.BADGE_FIRST)
        return someone

    def pair(self, phone: str, owner: str | None) -> Hand:
        """A telephone is this person's (key; None: a shop without badges) from now on, which is on disk then.

        Raises PhoneOver where that person's badge was retired meanwhile.
        """
        session = self._session
        hand = Hand(phone, operator=session.cards.operator(owner) if owner else None)
        if owner is not None and (hand.operator is None or hand.operator.retired):
            raise PhoneOver
        now_s = session.now().watched_s
        hand.last_scan_s = now_s
        with session.asked_by(hand):
            session.write(PhonePaired(phone, owner))
        session.hands.append(hand)
        self._lent[phone] = _Lent(owner, now_s + session.settings.kiosk.shift_h * _HOUR_S)
        return hand

    @contextmanager
    def asking(self, hand: Hand) -> Iterator[None]:
        """Meanwhile it is this telephone that asks.  Raises PhoneOver where it may not any more."""
        if (why := self._over(hand)) is not None:
            self.end(hand, why)
            raise PhoneOver
        with self._session.asked_by(hand):
            yield

    def end(self, hand: Hand, by: str = "hand") -> None:
        """This telephone asks nothing any more; an audit that only it was working on waits.

        Harmless where it has ended before.
        """
        session = self._session
        if hand not in session.hands[1:]:
            return
        with session.asked_by(hand):
            if hand.audit is not None:
                self._audits().pause()
            session.hands.remove(hand)
            session.write(PhoneEnded(hand.phone, self._lent.pop(hand.phone).owner, by))

    def over(self) -> tuple[Hand, ...]:
        """Ends what has come to its end by time or with its owner's badge, and gives those."""
        ended = []
        for hand in self._session.hands[1:]:
            if (why := self._over(hand)) is not None:
                self.end(hand, why)
                ended.append(hand)
        return tuple(ended)

    def close(self) -> None:
        """The kiosk closes."""
        for hand in self._session.hands[1:]:
            self.end(hand, "closing")

    def _over(self, hand: Hand) -> str | None:
        """Why a telephone may ask nothing any more; None: it may."""
        session = self._session
        if hand not in session.hands[1:]:
            return "hand"
        owner, until_s = self._lent[hand.phone]
        if session.now().watched_s >= until_s:
            return "time"
        if owner is None:
            return None
        card = session.cards.operator(owner)
        if card is None or card.retired:
            return "badge"
        return "hand" if hand.operator is None else None  # its owner has signed out on it
