"""A label shown to a screen that keeps scans for itself: nothing moves, but two may make a pair that is about heat.

Asks `checkin.may_go` and writes the refusal down; remembers the label on the hand that showed it.
"""

from __future__ import annotations

from typing import NamedTuple

from kiosk.desk.session import Session
from kiosk.ledger.book import Written
from kiosk.rules.cards import HolderCard, Moment, Pending, PlaceCard, holder_under
from kiosk.rules.checkin import may_go
from kiosk.rules.lines import TurnedAway
from kiosk.rules.outcomes import Reason, Refused


class Watched(NamedTuple):
    """Hot steel that would come to where hands reach."""

    refused: Refused
    lines: tuple[Written, ...]
    card: HolderCard


def watch(session: Session, text: str, pending: Pending | None, moment: Moment) -> Watched | None:
    """What heat has to say; None: nothing.  pending: the first scan of a pair, as things stand now."""
    session.last_scan_s = moment.watched_s
    pair_s = session.settings.kiosk.pair_s
    before = [each for each in (session.hand.watched, pending) if each and each.left_s(moment, pair_s) >= 0.0]
    subject = session.cards.subject(text)
    card: HolderCard | None = None
    goal: PlaceCard | None = None
    if (seen := holder_under(subject)) is not None:
        card = seen
        goal = next((each.card for each in before if isinstance(each.card, PlaceCard)), None)
        if goal is None and session.here:
            goal = session.cards.place(session.here)
        session.hand.watched = Pending(card, moment.watched_s)
    elif isinstance(subject, PlaceCard):
        goal = subject
        found = next((each.card for each in before if isinstance(each.card, HolderCard)), None)
        card = session.cards.holder(found.holder.key) if found else None
        session.hand.watched = Pending(card or goal, moment.watched_s)
    refused = may_go(card, goal, session.cooling_place()) if card and goal else None
    if card is None or goal is None or refused is None or refused.reason is not Reason.HOT:
        return None
    session.last_holder = card.holder.key
    lines = session.write(TurnedAway(text, refused.reason.value, card.holder.key, goal.place.code))
    return Watched(refused, lines, card)
