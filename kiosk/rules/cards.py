"""What the ledger shows the rules about a holder, a place, an operator: the cards a decision is made from.

Everything here is a snapshot taken for one decision; nothing here decides.  The desk builds these from the
ledger's tables, the cooling model and the kiosk's own short memory (the first scan of a pair); `rules.view` lays
them together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from math import ceil

from kiosk.rules.apart import Apart
from kiosk.rules.assembly import Assembly, Condition, Holder
from kiosk.rules.fitting.magazine import Loaded, Magazine
from kiosk.rules.places import Place
from kiosk.rules.say import Say, say


@dataclass(frozen=True, slots=True)
class Moment:
    """When: `utc_s` for people to read, `watched_s` for everything that is counted."""

    utc_s: float
    watched_s: float


class Until(Enum):
    """What the time of a hold means; the value is the key of its words.  The first three have no time."""

    READING = "heat.reading_ends"
    AIR_TOO_WARM = "heat.air_too_warm"
    PROBE_NOW = "strip.probe_now"
    PROBE_IN = "heat.probe_in"
    SAFE_IN = "heat.safe_in"


NO_TIME = (Until.READING, Until.AIR_TOO_WARM)


@dataclass(frozen=True, slots=True)
class HoldView:
    """A hold at one moment.  Temperatures °C, times in seconds from that moment.

    `remaining_s` None: time alone will not end it, a reading must (`needs_reading`).
    """

    hottest_c: float
    low_c: float
    high_c: float
    where: str
    remaining_s: float | None
    measure_in_s: float | None
    take_out_in_s: float | None = None
    needs_reading: bool = False
    gap: bool = False  # the kiosk did not watch for a while, so the hold is longer
    since_utc_s: float = 0.0
    heating: int | None = None  # number of the line that began it
    unheard: bool = False  # some kiosk that may have moved or heated it again is not in hearing: no time ends it now
    air_too_warm: bool = False  # the shop is so near to the touch limit that no time ends it

    @property
    def ended(self) -> bool:
        """Whether watched time alone has brought it to its end."""
        return self.time_is_up and not self.unheard

    @property
    def time_is_up(self) -> bool:
        """Whether it would have ended by what this kiosk knows."""
        return not self.needs_reading and self.remaining_s is not None and self.remaining_s <= 0

    @property
    def counts_s(self) -> float | None:
        """What there is to count down; None: nothing, for no time is known, or none of it is left."""
        return self.remaining_s if self.remaining_s is not None and self.remaining_s > 0 else None

    @property
    def safe_in_s(self) -> float | None:
        """Until time alone lets it be touched; None: no time does now, a reading must, or others must be heard."""
        return None if self.needs_reading or (self.unheard and self.time_is_up) else self.remaining_s

    @property
    def until(self) -> Until:
        """What is waited for: words without a time wherever there is none to count."""
        if self.counts_s is not None:
            return Until.PROBE_IN if self.needs_reading else Until.SAFE_IN
        if self.needs_reading and self.remaining_s is not None:
            return Until.PROBE_NOW
        return Until.AIR_TOO_WARM if self.air_too_warm else Until.READING


_AT_ONCE_S = 30.0  # by when a probe is held on and read


@dataclass(frozen=True, slots=True)
class ProbeNext:
    """The reading that frees a held holder soonest.  Times in seconds from the moment it is said; in_s 0: now.

    where: nose, flange, shank.  free_s: free then if it shows under `under_c` there; else_s: about then otherwise.
    again: then it is read once more, for only a reading ends it.
    """

    where: str
    in_s: float
    under_c: float
    free_s: float
    else_s: float
    again: bool = False

    @property
    def say(self) -> Say:
        """In a setter's words."""
        key = f"advice.{'later' if self.in_s > 0 else 'now'}{'_again' if self.again else ''}"
        if key == "advice.now" and self.free_s <= _AT_ONCE_S:
            key = "advice.now_free"
        return say(
            key,
            where=f"term.{self.where}",
            in_min=ceil(self.in_s / 60),
            under_c=self.under_c,
            free_min=max(ceil(self.free_s / 60), 1),
            else_min=ceil(self.else_s / 60),
        )

    @property
    def say_shortly(self) -> Say:
        """Where and when only."""
        key = f"advice.{'later' if self.in_s > 0 else 'now'}_shortly"
        return say(key, where=f"term.{self.where}", in_min=ceil(self.in_s / 60))


@dataclass(frozen=True, slots=True)
class HeatCurve:
    """A hold as a plot.  points: seconds since heating, hottest, low and high °C; readings: seconds, °C."""

    points: tuple[tuple[float, float, float, float], ...]
    readings: tuple[tuple[float, float], ...]
    limit_c: float
    now_s: float


class Heat(Enum):
    """What is known of a holder's temperature when no hold is running."""

    COOL = "cool"
    HELD = "held"
    UNKNOWN = "unknown"


def place_name(path: tuple[str, ...]) -> str:
    """How people say a place: cabinet and slot, machine and pocket.  A slot's name has its drawer in it."""
    return " · ".join(path if len(path) < 3 else (path[0], path[-1]))


@dataclass(frozen=True, slots=True)
class PlaceCard:
    """A place with what a decision needs about it.  `path`: cabinet to slot, machine to pocket, by name."""

    place: Place
    path: tuple[str, ...]
    occupants: tuple[str, ...] = ()  # keys of the holders standing there
    magazine: Magazine | None = None
    loaded: tuple[Loaded, ...] = ()
    returning: tuple[Loaded, ...] = ()  # away from their fixed pockets, and coming back to them
    owners: Mapping[int, str] = field(default_factory=dict)  # pocket number -> holder key
    retired: bool = False

    @property
    def name(self) -> str:
        return place_name(self.path)


@dataclass(frozen=True, slots=True)
class HolderCard:
    """A holder with what a decision needs about it."""

    holder: Holder
    code: str
    assembly: Assembly | None = None
    at: PlaceCard | None = None  # None: nowhere known
    since_utc_s: float | None = None  # when it came there, for people
    since_watched_s: float | None = None  # the same by the clock of the kiosk that asks; another's: when it heard of it
    last_kiosk: str | None = None  # which kiosk moved it last
    heat: Heat = Heat.COOL
    hold: HoldView | None = None
    measure_in_s: float | None = None  # too warm to measure for so long, though perhaps safe to touch
    heated_at_s: float | None = None  # by this kiosk's clock, while it stands where it was heated; else None
    body_c: float | None = None  # how warm it may still be from its last heating
    body_unknown: bool = False  # nobody knows how warm its body is
    heat_unused: bool = False  # heated, and no shrink fit was opened or closed by that heating yet
    heat_cycles: int = 0
    retired: bool = False
    apart: Apart | None = None  # how far this kiosk is cut off from others on the same book; None: there are none
    label_spent: float = 0.0  # share of its label's error correction that damage takes

    @property
    def name(self) -> str:
        return self.assembly.name if self.assembly else self.holder.name


@dataclass(frozen=True, slots=True)
class OperatorCard:
    """Somebody with a badge.  language: what the kiosk speaks to them; empty: the shop's."""

    key: str
    name: str
    role: str
    retired: bool = False
    language: str = ""


class Command(Enum):
    """What a printed command card asks for; the value is the card code's number."""

    UNDO = 1
    CANCEL = 2
    PRINT_LABEL = 3
    START_AUDIT = 4
    CLOSE_AUDIT = 5
    SHOW_HOT = 6
    SIGN_OUT = 7
    TEAR_DOWN = 8
    PRINT_HOT_TAG = 9


@dataclass(frozen=True, slots=True)
class CommandCard:
    command: Command


@dataclass(frozen=True, slots=True)
class RetiredCode:
    """A label that was replaced.  `holder`: what it stood for, if that still exists."""

    text: str
    holder: HolderCard | None


@dataclass(frozen=True, slots=True)
class FreshLabel:
    """A label printed for a holder and seen now for the first time."""

    text: str
    holder: HolderCard


@dataclass(frozen=True, slots=True)
class UnknownCode:
    """A good code, or a foreign text, that nothing is bound to."""

    text: str
    foreign: bool
    near: tuple[str, ...] = ()  # codes that exist, one slip away


@dataclass(frozen=True, slots=True)
class DamagedCode:
    """A text that should be one of our codes and is not."""

    text: str
    near: tuple[str, ...] = ()


Subject = HolderCard | PlaceCard | OperatorCard | CommandCard | FreshLabel | RetiredCode | UnknownCode | DamagedCode


def holder_under(subject: Subject) -> HolderCard | None:
    """The holder a label is stuck on, be it in use, printed and not scanned yet, or retired; None: on none."""
    match subject:
        case HolderCard():
            return subject
        case FreshLabel(holder=holder) | RetiredCode(holder=holder):
            return holder
        case _:
            return None


@dataclass(frozen=True, slots=True)
class Pending:
    """The first scan of a pair, waiting for the second."""

    card: HolderCard | PlaceCard
    since_watched_s: float
    look_at: str | None = None  # code of the pocket a hand was asked to look at
    heat_only: bool = False  # a label that moves nothing (replaced, out of use, a machine's own): what is hot is told

    def left_s(self, moment: Moment, pair_s: float) -> float:
        """Seconds that the second scan may still take; negative: it comes too late."""
        return pair_s - (moment.watched_s - self.since_watched_s)


@dataclass(frozen=True, slots=True)
class LastStep:
    """The last step of this operator at this kiosk."""

    line: int
    at_watched_s: float
    holder: HolderCard
    origin: PlaceCard | None
    goal: str | None
    heated: bool = False
    still_there: bool = True  # nobody moved it since
    torn: Torn | None = None  # it was a tear-down
    shared: bool = False  # it has its place in the order of all kiosks


@dataclass(frozen=True, slots=True)
class Torn:
    """An assembly that was torn down.  said_before: how its cutter was called until then."""

    assembly: str
    name: str
    said_before: Condition
