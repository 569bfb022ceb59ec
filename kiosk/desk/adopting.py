"""The adopting counter: a label nobody knows is given to a holder, one of the book's or a new one.

It binds what a hand holds and what a hand says it is on, and nothing else: a label of ours takes the place of the
one before, a maker's own mark answers beside it.  What an audit has made of the label is set right in the same step.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from kiosk.desk.audits import AuditCounter
from kiosk.desk.session import NotThere, Session
from kiosk.desk.shop import ShopCounter
from kiosk.rules import codes
from kiosk.rules.assembly import Holder
from kiosk.rules.cards import HolderCard, UnknownCode


class Origin(Enum):
    """Whose label it is by its looks."""

    OURS = "ours"  # made for a holder
    MARK = "mark"  # a maker's mark or an old sticker
    OTHER = "other"  # ours, made for a place, a badge or a command


@dataclass(frozen=True, slots=True)
class Stray:
    """A label that the book does not know."""

    text: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Likely:
    """A holder that the label may be on: the audit misses it where the label was seen.  `place`: its name."""

    card: HolderCard
    place: str


class AdoptingCounter:
    def __init__(self, session: Session, shop: ShopCounter, audits: AuditCounter) -> None:
        self._session = session
        self._shop = shop
        self._audits = audits

    def look(self, text: str) -> Stray:
        """What an unknown label can become.  Raises NotThere where it is unknown no longer, or never was whole."""
        subject = self._session.cards.subject(text)
        if not isinstance(subject, UnknownCode):
            raise NotThere("unknown label", text)
        if subject.foreign:
            return Stray(subject.text, Origin.MARK)
        ours = codes.parse(subject.text).kind is codes.CodeKind.HOLDER
        return Stray(subject.text, Origin.OURS if ours else Origin.OTHER)

    def likely(self, text: str) -> tuple[Likely, ...]:
        """What this kiosk's audit misses in the slot where the label was seen, else in its drawer; the first."""
        session = self._session
        if session.audit is None:
            return ()
        status = self._audits.status()
        seen = next((each.found for each in status.differences if each.text == text), None)
        places = session.cards.places
        if seen is None or seen not in places.rows:
            return ()
        around = places.within(places.rows[seen]["parent"] or seen)
        found = [item for item in status.missing if item.place in around]
        found.sort(key=lambda item: item.place != seen)
        return tuple(Likely(session.holder(item.key), item.place_name or "") for item in found[:1])

    def give(self, text: str, holder_key: str) -> HolderCard:
        """The label is on this holder.  Raises NotThere, ActRefused."""
        self._session.signed_in()
        stray = self._holders(text)
        if stray.origin is Origin.MARK:
            card = self._shop.adopt_mark(holder_key, stray.text)
        else:
            card = self._shop.replace_label(holder_key, stray.text)
        self._audits.known_now(stray.text)
        return card

    def register(self, holder: Holder, text: str, place: str | None, *, stood_cold: bool) -> HolderCard:
        """The label is on a holder that is new to the book.  Raises NotThere, ActRefused."""
        self._session.signed_in()
        stray = self._holders(text)
        card = self._shop.register(
            holder, stray.text, place, stood_cold=stood_cold, foreign=stray.origin is Origin.MARK
        )
        self._audits.known_now(stray.text)
        return card

    def _holders(self, text: str) -> Stray:
        stray = self.look(text)
        if stray.origin is Origin.OTHER:
            raise NotThere("label for a holder", text)
        return stray
