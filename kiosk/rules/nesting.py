"""What a place may be: a slot in a drawer, a drawer in a cabinet, a pocket in a machine, no rings, and nothing cools
but a cooling place.

Looks at places as a file or the book has them and says which cannot be; it mends nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from kiosk.rules.places import Kind, Place
from kiosk.rules.say import Say, say

# None: it may stand for itself.  A kind that is not here is never inside another place.
INSIDE: Mapping[Kind, frozenset[Kind | None]] = {
    Kind.DRAWER: frozenset({Kind.CABINET, None}),
    Kind.SLOT: frozenset({Kind.DRAWER, Kind.CABINET, None}),
    Kind.POCKET: frozenset({Kind.MACHINE}),
    Kind.SPINDLE: frozenset({Kind.MACHINE}),
}
_ALONE: frozenset[Kind | None] = frozenset({None})


def fault(place: Place, places: Mapping[str, Place]) -> Say | None:
    """Why `place` cannot be what it says; None: it can.

    places: all there are, by code, `place` among them.
    """
    seen = {place.code}
    at = place
    while at.parent is not None:
        if at.parent in seen:
            return say("file_fault.nesting.itself")
        if at.parent not in places:
            return say("file_fault.no_place", said=repr(at.parent))
        seen.add(at.parent)
        at = places[at.parent]
    if (place.kind is Kind.COOLING) != (place.way is not None):
        return say("file_fault.nesting.cools")
    around = places[place.parent].kind if place.parent is not None else None
    allowed = INSIDE.get(place.kind, _ALONE)
    if around not in allowed:
        kind = place.kind.value
        other = around.value if around else None
        return say(f"file_fault.nesting.{kind if place.kind in INSIDE else 'alone'}", said=kind, around_said=other)
    return None
