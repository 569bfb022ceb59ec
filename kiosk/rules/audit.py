"""What an audit is made of: its scope, its sightings, the differences, what each means and what may be done about it.

Values only.  `audit_findings` compares book and sightings, `audit_scan` answers scans, `audit_settling` closes
differences; `checkin.may_go` judges every step that follows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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
    LABEL_WORN = "label_worn"  # to be printed anew before it fails


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
    Difference.LABEL_WORN: (Action.NOTED, Action.CARRIED_OVER),
}

# Why a difference may stay open, to be touched rather than typed.  Each has words `auditing.reason.<value>`.
REASONS = ("looked_for", "at_machine", "at_regrind", "new_label", "supervisor", "next_shift")

ABOUT_STANDING = frozenset((Difference.MISSING, Difference.MISPLACED, Difference.UNEXPECTED))
ABOUT_HEAT = frozenset((Difference.HOT, Difference.NOT_PROVEN_COOL))
# true of the steel, not of the book
NOTES = frozenset((Difference.PAST_LIFE, Difference.MEASURED_LONG_AGO, Difference.LABEL_WORN))


def must_not_stand(heat: Heat, kind: Kind) -> bool:
    """Whether something so warm must not be at a place of this kind."""
    return heat is not Heat.COOL and not kind.may_be_hot


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

    def within(self, code: str | None) -> frozenset[str]:
        """Codes of a place of the scope and of what is in it."""
        return self.inside.get(code or "", frozenset())

    def around(self, code: str | None) -> frozenset[str]:
        """Codes of what a place of the scope is in."""
        return frozenset(outer for outer, inside in self.inside.items() if code in inside and outer != code)

    def astray(self, booked: str | None, seen: str | None) -> Difference | None:
        """What it is to be booked at one place and seen at another; None: it is where the book has it.

        `seen` None: somewhere in the audited place.  In the audit of everything hot nothing is astray.
        """
        if self.place == HOT:
            return None
        if booked not in self.members:
            return Difference.UNEXPECTED
        return None if seen is None or booked is None or self.same_spot(booked, seen) else Difference.MISPLACED

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
    label_spent: float = 0.0  # share of its label's error correction that damage takes


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


class Shows(Enum):
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
    state: Shows
    holder: str | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class GroupState:
    group: Group
    spots: tuple[SpotState, ...]

    @property
    def missing(self) -> int:
        return sum(spot.state is Shows.MISSING for spot in self.spots)

    @property
    def seen(self) -> int:
        return sum(spot.state in (Shows.SEEN, Shows.HOT) for spot in self.spots)


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

    counts: Counts = Counts()
    open: tuple[Open, ...] = ()
    groups: tuple[GroupState, ...] = ()
    missing: tuple[Item, ...] = ()  # in walking order

    def difference(self, key: str) -> Open | None:
        return next((each for each in self.open if each.key == key), None)


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


def active_s(worked: Sequence[tuple[str, float]]) -> float:
    """Time somebody was at an audit, seconds, from its lines in order: the kiosk that counted, and its watched time.

    Two clocks are never subtracted: between lines of two kiosks nobody knows how long it was, and nothing is counted.
    """
    return sum(
        min(LONGEST_GAP_S, max(0.0, later_s - earlier_s))
        for (one, earlier_s), (other, later_s) in pairwise(worked)
        if one == other
    )


@dataclass(frozen=True, slots=True)
class ReportedDifference:
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
    rows: tuple[ReportedDifference, ...]
    line: int
    hash: str
