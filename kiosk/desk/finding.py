"""The finding counter: where a thing is and how soon it is of use, answered while somebody types.

Only looks; what may be done with what was found is decided where it is scanned.
"""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.desk.session import NotThere, Session
from kiosk.ledger.find import FindIndex
from kiosk.rules.as_of import AsOf, as_of
from kiosk.rules.finding import Query, SoughtHolder, Usable, parse
from kiosk.rules.place_drawing import Level, PlaceDrawing
from kiosk.rules.places import Kind

FRESH_S = 1.0  # a hold's rest is worked out once a second at most


@dataclass(frozen=True, slots=True)
class FoundRow:
    """A holder that was found.  `left_s`: until it may be touched, for one that is cooling; None: not by time."""

    key: str
    code: str
    name: str
    holder_name: str
    usable: Usable
    place: str | None  # code
    place_name: str | None
    left_s: float | None
    diameter_mm: float | None
    corner_mm: float | None
    length_mm: float | None
    as_of: AsOf | None = None  # how old it is, where it rests on what another kiosk told


@dataclass(frozen=True, slots=True)
class Found:
    """A page of what was found, and how much there is in all."""

    query: Query
    rows: tuple[FoundRow, ...]
    total: int


@dataclass(frozen=True, slots=True)
class WayThere:
    """"Take me there": names from the outside in, as they stand on the steel; empty: nowhere known."""

    name: str
    code: str
    path: tuple[str, ...]
    usable: Usable
    left_s: float | None
    as_of: AsOf | None = None


class FindingCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._index = FindIndex(lambda: session.cards.places, lambda: session.cards.counting)
        self._left: dict[str, float | None] = {}
        self._left_at_s = float("-inf")

    def catch_up(self) -> None:
        """Lines of other kiosks came."""
        self._index.forget()

    def warm(self) -> None:
        """Reads everything in, so that the first letter typed is answered at once."""
        self.find("")

    def find(self, what: str | Query, first: int = 0, count: int = 50) -> Found:
        """What matches, soonest usable first: a page from `first` on."""
        query = what if isinstance(what, Query) else parse(what)
        hits = self._index.search(query, first, count, self._left_s)
        return Found(query, tuple(self._row(row) for row in hits.rows), hits.total)

    def way(self, holder_key: str) -> WayThere:
        """Cabinet, drawer and slot, or machine and pocket.  Raises NotThere."""
        card = self._session.holder(holder_key)
        row = self._index.row(holder_key)
        if row is None:
            raise NotThere("holder in use", holder_key)
        path = card.at.path if card.at else ()
        found = self._row(row)
        return WayThere(card.name, card.code, path, row.usable, found.left_s, found.as_of)

    def picture(self, holder_key: str) -> PlaceDrawing:
        """Where it stands, drawn among what lies beside it; empty for a place that stands alone.  Raises NotThere."""
        card = self._session.holder(holder_key)
        return self.place_picture(card.at.place.code) if card.at else PlaceDrawing()

    def place_picture(self, code: str | None) -> PlaceDrawing:
        """A place, drawn among what lies beside it; empty for one that stands alone or is not known."""
        places = self._session.cards.places
        if code is not None and code not in places.rows:
            return PlaceDrawing()
        levels: list[Level] = []
        while code is not None and (parent := places.rows[code]["parent"]) is not None:
            magazine = places.magazine(parent)
            if magazine is not None:
                return PlaceDrawing((), magazine, places.place(code).number)
            kind = places.place(code).kind
            beside = [each for each in places.within(parent) if places.rows[each]["parent"] == parent]
            beside = [each for each in beside if places.place(each).kind is kind]
            if len(beside) > 1:
                names = tuple(_own_name(places.path(each)) for each in beside)
                levels.insert(0, Level(names, beside.index(code), stacked=kind is Kind.DRAWER))
            code = parent
        return PlaceDrawing(tuple(levels))

    def _row(self, row: SoughtHolder) -> FoundRow:
        return FoundRow(
            row.key,
            row.code,
            row.name,
            row.holder_name,
            row.usable,
            row.place,
            row.place_name,
            self._left_s(row.key) if row.usable is Usable.COOLING else None,
            row.dc_mm,
            row.re_mm,
            row.length_mm,
            as_of(self._session.cards.apart, row.last_kiosk),
        )

    def _left_s(self, key: str) -> float | None:
        now_s = self._session.now().watched_s
        if now_s - self._left_at_s > FRESH_S:
            self._left = {}
            self._left_at_s = now_s
        if key not in self._left:
            card = self._session.cards.holder(key)
            hold = card.hold if card else None
            self._left[key] = None if hold is None else hold.safe_in_s
        return self._left[key]


def _own_name(path: tuple[str, ...]) -> str:
    """A place's name without what is said by what it lies in."""
    name = path[-1]
    for before in path[:-1]:
        name = name.removeprefix(f"{before} · ")
    return name
