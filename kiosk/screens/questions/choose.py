"""Questions of the list that stands in for a scan: holders and places whose label can be named."""

from __future__ import annotations

from typing import NamedTuple

from kiosk.desk import Desk
from kiosk.rules.finding_words import folded
from kiosk.rules.places import Kind
from kiosk.screens.questions import Question

MOST = 200  # of either kind; who looks further types a part of the name
_DOORS = frozenset({Kind.MACHINE})  # nothing stands at a machine itself, only in its pockets


class Pick(NamedTuple):
    """A thing whose label may be taken as scanned.  `where`: what it lies in, or where it stands."""

    code: str
    name: str
    where: str


def holders(text: str) -> Question[tuple[Pick, ...]]:
    """Holders that wear a label, soonest usable first, of those that answer to a text."""

    def answer(desk: Desk) -> tuple[Pick, ...]:
        found = desk.finding.find(text, 0, MOST)
        known = desk.session.cards.is_bound
        return tuple(Pick(row.code, row.name, row.place_name or "") for row in found.rows if known(row.code))

    return answer


def places(text: str) -> Question[tuple[Pick, ...]]:
    """Places in use, in walking order, of those whose name has every word of a text."""

    def answer(desk: Desk) -> tuple[Pick, ...]:
        wanted = folded(text).split()
        found: list[Pick] = []
        for card in desk.shop.places():
            if card.retired or card.place.kind in _DOORS:
                continue
            whole = folded(" ".join(card.path))
            if all(word in whole for word in wanted):
                found.append(Pick(card.place.code, card.name, card.place.kind.value))
            if len(found) == MOST:
                break
        return tuple(found)

    return answer
