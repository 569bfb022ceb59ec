"""What a place may be: a slot in a drawer, a drawer in a cabinet, a pocket in a machine, no rings, and nothing cools
but a cooling place.

Looks at places as a file or the book has them and says which cannot be; it mends nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from kiosk.rules.places import Kind, Place

# None: it may stand for itself.  A kind that is not here is never inside another place.
INSIDE: Mapping[Kind, frozenset[Kind | None]] = {
    Kind.DRAWER: frozenset({Kind.CABINET, None}),
    Kind.SLOT: frozenset({Kind.DRAWER, Kind.CABINET, None}),
    Kind.POCKET: frozenset({Kind.MACHINE}),
    Kind.SPINDLE: frozenset({Kind.MACHINE}),
}
_ALONE: frozenset[Kind | None] = frozenset({None})


def fault(place: Place, places: Mapping[str, Place]) -> str | None:
    """Why `place` cannot be what it says, in words of a file; None: it can.

    places: all there are, by code, `place` among them.
    """
    seen = {place.code}
    at = place
    while at.parent is not None:
        if at.parent in seen:
            return "is inside itself"
        if at.parent not in places:
            return f"there is no place {at.parent!r}"
        seen.add(at.parent)
        at = places[at.parent]
    if (place.kind is Kind.COOLING) != (place.way is not None):
        return "a cooling place says how it cools, and no other place does"
    around = places[place.parent].kind if place.parent is not None else None
    allowed = INSIDE.get(place.kind, _ALONE)
    if around not in allowed:
        fits = " or ".join(sorted(kind.value if kind else "nothing" for kind in allowed))
        return f"a {place.kind.value} is inside {fits}, not {around.value if around else 'nothing'}"
    return None
