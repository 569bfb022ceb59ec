"""What should be here against what was seen: the differences of an audit, what each means and what may be done.

Works on values taken from the book and the audit's sightings and gives the same answer at every kiosk and after
every restart; it moves nothing and settles nothing (`checkin.may_go` judges every step that follows from it).
A move made while the audit runs is believed: whoever scanned a holder to a slot has seen it there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from itertools import pairwise

from kiosk.rules.assembly import Condition
from kiosk.rules.cards import Heat
from kiosk.rules.places import Kind

HOT = "hot"  # the audit of everything hot, in place of a place's code


class Difference(Enum):
    """What can be wrong, in the order of what can hurt.  Each has words `term.difference.<value>`."""

    HOT = "hot"  # under a hold where a held holder must not be
    NOT_PROVEN_COOL = "not_proven_cool"
    DUPLICATE_LABEL = "duplicate_label"
    MISSING = "missing"
    MISPLACED = "misplaced"  # belongs here, in another place of it
    UNEXPECTED = "unexpected"  # the book has it elsewhere, or nowhere
    EMPTY_HOLDER = "empty_holder"
    UNKNOWN_CODE = "unknown_code"
    RETIRED_LABEL = "retired_label"
    PAST_LIFE = "past_life"
    MEASURED_LONG_AGO = "measured_long_ago"


class Action(Enum):
    """How a difference is closed.  Each has words `term.action.<value>`."""

    TO_COOLING = "to_cooling"  # taken to a cooling place
    COOLED = "cooled"  # by time or by a reading, before a hand took it away; the kiosk says so, nobody chooses it
    PUT_BACK = "put_back"  # taken to where the book has it
    BOOK_MOVED = "book_moved"  # the book follows the steel
    NOWHERE = "nowhere"  # not found: booked as nowhere known
    LABEL_OFF = "label_off"  # the label was taken off
    REGISTERED = "registered"
    TORN_DOWN = "torn_down"  # the book follows the eye: no cutter in it
    SAID_WORN = "said_worn"
    NOTED = "noted"  # known now; what is to be done comes before it is used
    CARRIED_OVER = "carried_over"  # stays open, with a reason


ACTIONS: Mapping[Difference, tuple[Action, ...]] = {
    Difference.HOT: (Action.TO_COOLING,),
    Difference.NOT_PROVEN_COOL: (Action.TO_COOLING,),
    Difference.DUPLICATE_LABEL: (Action.LABEL_OFF, Action.CARRIED_OVER),
    Difference.MISSING: (Action.NOWHERE, Action.CARRIED_OVER),
    Difference.MISPLACED: (Action.PUT_BACK, Action.BOOK_MOVED, Action.CARRIED_OVER),
    Difference.UNEXPECTED: (Action.BOOK_MOVED, Action.PUT_BACK, Action.CARRIED_OVER),
    Difference.EMPTY_HOLDER: (Action.TORN_DOWN, Action.CARRIED_OVER),
    Difference.UNKNOWN_CODE: (Action.LABEL_OFF, Action.REGISTERED, Action.CARRIED_OVER),
    Difference.RETIRED_LABEL: (Action.LABEL_OFF, Action.CARRIED_OVER),
    Difference.PAST_LIFE: (Action.SAID_WORN, Action.NOTED, Action.CARRIED_OVER),
    Difference.MEASURED_LONG_AGO: (Action.NOTED, Action.CARRIED_OVER),
}

ABOUT_STANDING = frozenset((Difference.MISSING, Difference.MISPLACED, Difference.UNEXPECTED))
ABOUT_HEAT = frozenset((Difference.HOT, Difference.NOT_PROVEN_COOL))
NOTES = frozenset((Difference.PAST_LIFE, Difference.MEASURED_LONG_AGO))  # true of the steel, not of the book


@dataclass(frozen=True, slots=True)
class Spot:
    """A place where a label can be seen: a slot, a pocket, a bench."""

    code: str
    name: str
    kind: Kind
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """Spots that are walked together: a drawer, a machine, one bench.  Groups stand in walking order."""

    code: str
    name: str
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class Scope:
    """What an audit covers.  `inside`: for every place of it, the codes of itself and all within."""

    place: str  # a place's code, or HOT
    name: str
    groups: tuple[Group, ...]
    inside: Mapping[str, frozenset[str]]
    kinds: Mapping[str, Kind]

    @property
    def members(self) -> frozenset[str]:
        return frozenset(self.inside)

    def same_spot(self, booked: str, seen: str) -> bool:
        """Whether one of the two lies at or within the other: a drawer's label says less than a slot's."""
        return seen in self.inside.get(booked, ()) or booked in self.inside.get(seen, ())


@dataclass(frozen=True, slots=True)
class Item:
    """A holder as the book has it."""

    key: str
    code: str
    name: str
    place: str | None
    place_name: str | None
    heat: Heat = Heat.COOL
    since_line: int = 0
    assembled: bool = False
    torn_line: int = 0  # when its last assembly was torn down
    condition: Condition = Condition.GOOD
    used_min: float = 0.0
    life_min: float | None = None
    heat_cycles: int = 0
    heat_limit: float | None = None
    measured_utc_s: float | None = None


@dataclass(frozen=True, slots=True)
class Sighting:
    """One label seen in the audit, the last time it was.  `twin`: seen there too, impossibly soon before."""

    text: str
    holder: str | None
    place: str | None
    line: int
    retired: bool = False  # the label was replaced; it should not be on anything
    bound: bool = False  # unknown when it was seen, registered since
    twin: str | None = None
    empty: bool = False


@dataclass(frozen=True, slots=True)
class Settled:
    """A difference that was closed."""

    text: str  # holder key, or the label's text where no holder answers to it
    difference: Difference
    action: Action
    reason: str
    booked: str | None
    found: str | None
    line: int
    name: str = ""
    utc_s: float = 0.0
    operator: str | None = None


@dataclass(frozen=True, slots=True)
class Open:
    """A difference that waits for an action."""

    text: str
    difference: Difference
    name: str
    booked: str | None = None  # place codes
    found: str | None = None

    @property
    def key(self) -> str:
        return f"{self.text}/{self.difference.value}"

    @property
    def actions(self) -> tuple[Action, ...]:
        return ACTIONS[self.difference]


class State(Enum):
    """What a spot of the slot grid shows.  Each has words `term.state.<value>`."""

    EMPTY = "empty"
    MISSING = "missing"  # expected and not seen yet
    SEEN = "seen"
    MISPLACED = "misplaced"  # something is here that the book has elsewhere
    HOT = "hot"
    UNKNOWN = "unknown"  # a label nobody knows was seen here


@dataclass(frozen=True, slots=True)
class SpotState:
    """A spot with what is or should be there.  A bench has one for each holder."""

    spot: Spot
    state: State
    holder: str | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class GroupState:
    group: Group
    spots: tuple[SpotState, ...]

    @property
    def missing(self) -> int:
        return sum(spot.state is State.MISSING for spot in self.spots)

    @property
    def seen(self) -> int:
        return sum(spot.state in (State.SEEN, State.HOT) for spot in self.spots)


@dataclass(frozen=True, slots=True)
class Counts:
    """An audit in figures, differences counted as found, whatever was done about them since."""

    expected: int = 0
    seen: int = 0
    missing: int = 0
    misplaced: int = 0
    unexpected: int = 0
    unknown: int = 0  # unknown, retired and duplicate labels
    hot: int = 0  # hot or not proven cool

    @property
    def right_share(self) -> float:
        """Share of what should be here that was found right the first time."""
        return (self.expected - self.missing - self.misplaced) / self.expected if self.expected else 1.0


@dataclass(frozen=True, slots=True)
class Standard:
    """What the shop asks of an assembly on the shelf.  `now_utc_s` only dates measured values."""

    now_utc_s: float
    measured_s: float = 180 * 86400.0
    heat_limit: float = 2000.0


@dataclass(frozen=True, slots=True)
class Findings:
    """How an audit stands."""

    counts: Counts
    open: tuple[Open, ...]
    groups: tuple[GroupState, ...]
    missing: tuple[Item, ...] = field(default=())  # in walking order

    def difference(self, key: str) -> Open | None:
        return next((each for each in self.open if each.key == key), None)


def evaluate(
    scope: Scope,
    items: Mapping[str, Item],
    sightings: Sequence[Sighting],
    settled: Sequence[Settled],
    opened_line: int,
    standard: Standard,
) -> Findings:
    """Compares book and sightings.

    items: by key, every holder booked within the scope and every one sighted.  opened_line: a holder moved into
    the scope after that line was seen by the scan that moved it.
    """
    looked = _Looked(scope, items, sightings, opened_line)
    found = sorted(looked.differences(standard), key=lambda each: _rank(scope, each))
    closed = {(each.text, each.difference) for each in settled}
    still = tuple(each for each in found if (each.text, each.difference) not in closed)
    return Findings(
        _counts(looked, found, settled),
        still,
        tuple(state for group in scope.groups if (state := _group(group, looked)).spots),
        tuple(item for item in looked.booked if item.key in looked.unseen),
    )


class _Looked:
    """Book and sightings brought together."""

    def __init__(
        self, scope: Scope, items: Mapping[str, Item], sightings: Sequence[Sighting], opened_line: int
    ) -> None:
        self.scope = scope
        self.items = items
        order = {spot.code: at for at, spot in enumerate(_walk(scope))}
        inside = [item for item in items.values() if item.place in scope.members]
        self.booked = sorted(inside, key=lambda item: (order.get(item.place or "", -1), item.name, item.key))
        # A holder moved since it was seen is where that scan took it, not where the audit saw it.
        self.sighted = {
            each.holder: each
            for each in sightings
            if each.holder is not None and each.holder in items and each.line > items[each.holder].since_line
        }
        self.strange = [each for each in sightings if each.holder is None and not each.bound]
        self.twins = [each for each in sightings if each.twin is not None]
        self.unseen = frozenset(
            item.key for item in self.booked if item.key not in self.sighted and item.since_line <= opened_line
        )

    def stands(self, item: Item) -> str | None:
        """Where it was seen, as exactly as is known; None: not seen."""
        sighting = self.sighted.get(item.key)
        if sighting is None:
            return None if item.key in self.unseen else item.place
        if sighting.place is None:
            return item.place if item.place in self.scope.members else self.scope.place
        if item.place is not None and item.place in self.scope.inside.get(sighting.place, ()):
            return item.place
        return sighting.place

    def astray(self, item: Item) -> bool:
        sighting = self.sighted.get(item.key)
        if sighting is None or self.scope.place == HOT:
            return False
        if item.place not in self.scope.members:
            return True
        return sighting.place is not None and not self.scope.same_spot(item.place, sighting.place)

    def differences(self, standard: Standard) -> Iterator[Open]:
        for item in self.booked:
            if item.key in self.unseen:
                yield Open(item.key, Difference.MISSING, item.name, item.place)
            else:
                yield from self._of(item, standard)
        for item in self.items.values():
            if item.place not in self.scope.members and item.key in self.sighted:
                yield from self._of(item, standard)
        for each in self.strange:
            what = Difference.RETIRED_LABEL if each.retired else Difference.UNKNOWN_CODE
            yield Open(each.text, what, each.text, None, each.place or self.scope.place)
        for each in self.twins:
            known = self.items.get(each.holder or "")
            name = known.name if known else each.text
            yield Open(each.text, Difference.DUPLICATE_LABEL, name, each.twin, each.place)

    def _of(self, item: Item, standard: Standard) -> Iterator[Open]:
        stands = self.stands(item)
        kind = self.scope.kinds.get(stands or "")
        if item.heat is not Heat.COOL and kind is not None and not kind.may_be_hot:
            what = Difference.HOT if item.heat is Heat.HELD else Difference.NOT_PROVEN_COOL
            yield Open(item.key, what, item.name, item.place, stands)
        if self.astray(item):
            inside = item.place in self.scope.members
            what = Difference.MISPLACED if inside else Difference.UNEXPECTED
            yield Open(item.key, what, item.name, item.place, stands)
        if self._stands_empty(item, kind):
            yield Open(item.key, Difference.EMPTY_HOLDER, item.name, item.place, stands)
        limit = item.heat_limit or standard.heat_limit
        worn_out = item.life_min is not None and item.used_min >= item.life_min
        if item.assembled and item.condition is Condition.GOOD and (worn_out or item.heat_cycles >= limit):
            yield Open(item.key, Difference.PAST_LIFE, item.name, item.place, stands)
        if (
            item.assembled
            and item.measured_utc_s is not None
            and standard.now_utc_s - item.measured_utc_s > standard.measured_s
        ):
            yield Open(item.key, Difference.MEASURED_LONG_AGO, item.name, item.place, stands)

    def _stands_empty(self, item: Item, kind: Kind | None) -> bool:
        """No cutter where one should be: an eye said so, it is in a machine, or it was put here with one."""
        sighting = self.sighted.get(item.key)
        if item.assembled:
            return sighting is not None and sighting.empty
        return kind is not None and (kind.in_machine or (kind.stores and item.torn_line > item.since_line))


def _walk(scope: Scope) -> Iterator[Spot]:
    for group in scope.groups:
        yield from group.spots


def _rank(scope: Scope, each: Open) -> tuple[int, int]:
    order = {spot.code: at for at, spot in enumerate(_walk(scope))}
    at = each.booked if each.difference is Difference.MISSING else each.found
    return list(Difference).index(each.difference), order.get(at or "", len(order))


def _counts(looked: _Looked, found: Iterable[Open], settled: Sequence[Settled]) -> Counts:
    told = {(each.text, each.difference) for each in found}
    taken = []
    for each in settled:
        item = looked.items.get(each.text)
        if each.difference is Difference.MISSING and item and item.key in looked.sighted:
            continue  # it turned up after it had been given up
        taken.append(each)
        told.add((each.text, each.difference))
    lost = {each.text for each in taken if each.action is Action.NOWHERE}
    come = {
        each.text for each in taken if each.difference is Difference.UNEXPECTED and each.action is Action.BOOK_MOVED
    }
    booked = {item.key for item in looked.booked}
    expected = (booked | lost) - come
    amount = {kind: sum(1 for _, difference in told if difference is kind) for kind in Difference}
    return Counts(
        len(expected),
        len(expected - looked.unseen - lost),
        amount[Difference.MISSING],
        amount[Difference.MISPLACED],
        amount[Difference.UNEXPECTED],
        sum(amount[kind] for kind in (Difference.UNKNOWN_CODE, Difference.RETIRED_LABEL, Difference.DUPLICATE_LABEL)),
        amount[Difference.HOT] + amount[Difference.NOT_PROVEN_COOL],
    )


def _group(group: Group, looked: _Looked) -> GroupState:
    here: dict[str, list[SpotState]] = {spot.code: [] for spot in group.spots}
    spots = {spot.code: spot for spot in group.spots}
    for item in looked.items.values():
        stands = looked.stands(item)
        if item.place in spots and item.key in looked.unseen:
            here[item.place].append(SpotState(spots[item.place], State.MISSING, item.key, item.name))
        elif stands in spots:
            hot = item.heat is not Heat.COOL and not spots[stands].kind.may_be_hot
            state = State.HOT if hot else State.MISPLACED if looked.astray(item) else State.SEEN
            here[stands].append(SpotState(spots[stands], state, item.key, item.name))
    for each in looked.strange:
        if each.place in spots:
            here[each.place].append(SpotState(spots[each.place], State.UNKNOWN, None, each.text))
    rows: list[SpotState] = []
    for spot in group.spots:
        # The drawer itself is no slot that waits to be filled.
        box = spot.code == group.code and looked.scope.inside[group.code] != {group.code}
        rows += here[spot.code] or ([] if box else [SpotState(spot, State.EMPTY)])
    return GroupState(group, tuple(rows))


@dataclass(frozen=True, slots=True)
class Mark:
    """A closed audit as a point of the trend.  `active_s`: watched time somebody was at it."""

    key: str
    closed_utc_s: float
    counts: Counts
    active_s: float

    @property
    def seconds_per_hundred(self) -> float | None:
        """Time for a hundred holders; None where none was seen."""
        return self.active_s * 100 / self.counts.seen if self.counts.seen else None


LONGEST_GAP_S = 120.0  # between two scans of an audit; whoever needs longer does something else


def active_s(watched: Sequence[float]) -> float:
    """Time somebody was at an audit, from the watched times of its lines in order, seconds."""
    return sum(min(LONGEST_GAP_S, max(0.0, later - earlier)) for earlier, later in pairwise(watched))


@dataclass(frozen=True, slots=True)
class Row:
    """One difference as a report says it, in names.  `operator`: who settled it."""

    difference: Difference
    name: str
    text: str
    booked: str | None
    found: str | None
    action: Action
    reason: str
    operator: str | None
    utc_s: float


@dataclass(frozen=True, slots=True)
class AuditReport:
    """A closed audit on paper.  `hash` is that of line `line`, which closed it, and covers all before it."""

    audit: str
    place: str
    kiosk: str
    opened_utc_s: float
    closed_utc_s: float
    people: tuple[str, ...]
    counts: Counts
    active_s: float
    rows: tuple[Row, ...]
    line: int
    hash: str
