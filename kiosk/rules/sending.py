"""Which cooling place a hot holder is sent to.

One answer for the alarm on the screen, for an audit that finds something hot, and for who settles that by touch.
"""

from __future__ import annotations

from collections.abc import Iterable

from kiosk.rules.cards import PlaceCard
from kiosk.rules.places import Kind


def cooling_place(places: Iterable[PlaceCard]) -> PlaceCard | None:
    """A cooling place in use with room, a sleeve first, then by name; where none has room, the one to make room at."""
    cooling = [card for card in places if card.place.kind is Kind.COOLING and not card.retired]
    roomy = [card for card in cooling if card.place.capacity is None or len(card.occupants) < card.place.capacity]
    return min(roomy or cooling, key=lambda card: (card.place.way != "sleeve", card.name), default=None)
