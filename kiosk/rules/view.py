"""Everything a decision may look at, laid together for one scan: cards, the shop's limits, the audit this kiosk is in.

A snapshot; nothing here decides.  The desk gathers it, and leaves out what the scan at hand cannot need.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from kiosk.rules.apart import Apart
from kiosk.rules.audit import Findings, Open, Scope
from kiosk.rules.cards import HolderCard, LastStep, OperatorCard, Pending, PlaceCard

NOTHING_FOUND = Findings()


@dataclass(frozen=True, slots=True)
class Limits:
    """The settings a decision depends on."""

    pair_s: float = 20.0
    undo_s: float = 60.0
    reheat_s: float = 30.0  # two scans at the station within this are one heating
    travel_s: float = 5.0
    badge_required: bool = False


@dataclass(frozen=True, slots=True)
class Glimpse:
    """When and where an audit saw a label last.  `place` None: somewhere in the audited place.

    watched_s: by the clock of the kiosk that asks; None: another's counted it, and how long ago that was nobody knows.
    """

    place: str | None
    watched_s: float | None


@dataclass(frozen=True, slots=True)
class Doubt:
    """A holder that was just seen where it should not be: the next place scanned may say what to do with it."""

    card: HolderCard
    difference: Open
    since_watched_s: float
    inside: frozenset[str] = frozenset()  # codes of the place it was seen at and of everything in it


@dataclass(frozen=True, slots=True)
class Stray:
    """A holder this audit saw elsewhere than the book has it, and where."""

    card: HolderCard
    seen: PlaceCard


@dataclass(frozen=True, slots=True)
class AuditView:
    """The audit this kiosk is in the middle of."""

    key: str
    scope: Scope
    at: PlaceCard | None = None  # the drawer or slot scanned last
    seen: Mapping[str, Glimpse] = field(default_factory=dict)  # by the label's text
    findings: Findings = NOTHING_FOUND
    doubt: Doubt | None = None
    strays: Mapping[str, Stray] = field(default_factory=dict)  # by holder key: those that may stand in the way
    worked_at_s: tuple[tuple[str, float], ...] = ()  # kiosk and watched time of its lines, where it is to be closed


@dataclass(frozen=True, slots=True)
class AuditToOpen:
    """The audit that a place's label stands for.  `running`: key of the one that runs there already."""

    place: str  # a place's code, or `audit.HOT`
    name: str
    fresh_key: str  # what a new one would be called, like no other
    running: str | None = None
    retired: bool = False


@dataclass(frozen=True, slots=True)
class View:
    """Everything `decision.decide` may look at beside what was scanned."""

    kiosk: str = ""
    pending: Pending | None = None
    here: PlaceCard | None = None
    operator: OperatorCard | None = None
    last_step: LastStep | None = None
    audit: AuditView | None = None
    cooling_place: PlaceCard | None = None  # where to send a hot holder
    limits: Limits = Limits()
    to_open: AuditToOpen | None = None  # of the place scanned, or of the one this kiosk stands at
    phone: str = ""  # the telephone that asks; empty: the kiosk's own window
    audit_asked_s: float | None = None  # watched time of the command card that asked for an audit of what comes next
    apart: Apart | None = None  # how far this kiosk is cut off from others on the same book

    @property
    def badge_missing(self) -> bool:
        """Whether this shop lets nobody work without a badge, and nobody is signed in."""
        return self.limits.badge_required and self.operator is None
