"""What comes next for a holder, with the places of this shop's book: `rules.next_step` asked for one holder."""

from __future__ import annotations

from kiosk.desk.session import Session
from kiosk.ledger import history as past
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.lines import Moved
from kiosk.rules.next_step import Ways, next_step
from kiosk.rules.places import Kind
from kiosk.rules.say import Say


def next_of(session: Session, card: HolderCard) -> Say | None:
    """What is to be done with it now, and where."""
    cooling = session.cooling_place()
    ways = Ways(
        _home(session, card),
        _nearest(session, Kind.SHRINK),
        _nearest(session, Kind.BENCH),
        _nearest(session, Kind.PRESETTER),
        cooling.name if cooling else None,
    )
    return next_step(card, ways, session.now())


def _home(session: Session, card: HolderCard) -> str | None:
    """The slot it was taken from last, if nothing else stands there now."""
    kinds = frozenset({Moved.kind})
    for line in past.lines(past.Question(card.holder.key, kinds, newest=40)):
        code = line.entry.origin if isinstance(line.entry, Moved) else None
        place = session.cards.place(code) if code else None
        if place is not None and place.place.kind is Kind.SLOT:
            return place.name if _takes(place, card.holder.key) else None
    return None


def _takes(place: PlaceCard, key: str) -> bool:
    others = [other for other in place.occupants if other != key]
    return not place.retired and (place.place.capacity is None or len(others) < place.place.capacity)


def _nearest(session: Session, kind: Kind) -> str | None:
    """Name of the first place of a kind that is in use; the one this kiosk stands at before others."""
    rows = session.cards.places.rows
    found = [code for code, row in rows.items() if row["kind"] == kind.value and not row["retired"]]
    if session.here in found:
        found = [session.here]
    names = sorted(place.name for code in found if code and (place := session.cards.place(code)))
    return names[0] if names else None
