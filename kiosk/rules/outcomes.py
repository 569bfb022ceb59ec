"""What can come of a scan: done with lines to be written, waiting for the second of a pair, or refused with a remedy.

Values only; `rules.decision` makes them, the desk writes their lines, and a screen shows them.  What happens next hangs
on `step`, `reason` and `then`, never on the words.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from kiosk.rules.cards import Command, HolderCard, Pending, PlaceCard
from kiosk.rules.say import Say, Value, say

if TYPE_CHECKING:  # the window knows outcomes before it knows what is written down of them
    from kiosk.rules.lines import Entry


class Reason(Enum):
    """Why a scan is refused.  Each has a sentence `refused.<value>` and a remedy `remedy.<value>`."""

    HOT = "hot"
    NOWHERE_KNOWN = "nowhere_known"
    DAMAGED_CODE = "damaged_code"
    UNKNOWN_CODE = "unknown_code"
    FOREIGN_CODE = "foreign_code"
    RETIRED_CODE = "retired_code"
    RETIRED_HOLDER = "retired_holder"
    RETIRED_PLACE = "retired_place"
    RETIRED_BADGE = "retired_badge"
    BADGE_FIRST = "badge_first"
    NOT_THEIR_PHONE = "not_their_phone"  # a badge was shown to somebody else's telephone
    SUPERVISOR_FIRST = "supervisor_first"  # nobody has a PIN yet, and this is a supervisor's all the same
    LAST_PIN = "last_pin"  # without this supervisor nobody could give one any more
    HOLDS_NOTHING = "holds_nothing"
    PLACE_FULL = "place_full"
    NOT_A_STEP = "not_a_step"
    NOT_SHRINK = "not_shrink"
    NO_ASSEMBLY = "no_assembly"
    BROKEN_CUTTER = "broken_cutter"
    POCKET_UNKNOWN = "pocket_unknown"
    POCKET_BLOCKED = "pocket_blocked"
    TWIN_CODE = "twin_code"
    NOTHING_TO_UNDO = "nothing_to_undo"
    UNDO_TOO_LATE = "undo_too_late"
    UNDO_HEAT = "undo_heat"
    UNDO_OVERTAKEN = "undo_overtaken"
    NO_AUDIT = "no_audit"
    AUDIT_OPEN = "audit_open"  # differences of it wait for an action
    NOT_AUDITED = "not_audited"
    NEEDS_REASON = "needs_reason"
    NOT_SETTLED_SO = "not_settled_so"  # this action does not close that difference
    UNHEARD = "unheard"  # it would be cool by what this kiosk knows, and others that heat or move are not heard
    NOT_THE_STATION = "not_the_station"  # a heating at a kiosk from which the others expect none
    TAKEN_AS_OFF = "taken_as_off"  # the others count on nothing hot being moved at a kiosk that was switched off
    TOLD_OTHERWISE = "told_otherwise"  # the step is written down, and another kiosk's stands against it
    LOOK_FIRST = "look_first"  # who stands in that pocket now is not known here
    UNDO_SHARED = "undo_shared"
    SETTLE_FIRST = "settle_first"  # it would settle something else told differently, at which nobody looked
    CATCH_UP_FIRST = "catch_up_first"  # what the whole shop goes by is done with the server in reach


class Expects(Enum):
    """What the next scan should be."""

    HOLDER = "holder"
    PLACE = "place"


class Step(Enum):
    """What kind of step was taken.  What a screen or the desk does next hangs on this, never on the words."""

    OTHER = "other"
    MOVED = "moved"
    HEATING = "heating"
    ALREADY_THERE = "already_there"
    UNDONE = "undone"
    LABEL_BOUND = "label_bound"
    SIGNED_IN = "signed_in"
    SIGNED_OUT = "signed_out"
    CANCELLED = "cancelled"
    COMMAND = "command"  # a card that leads to something the desk does next
    AUDIT_OPENED = "audit_opened"  # or gone on with
    AUDIT_AT = "audit_at"  # the place that is looked at from now on
    AUDIT_SEEN = "audit_seen"
    AUDIT_AGAIN = "audit_again"  # seen there before
    AUDIT_HOT = "audit_hot"
    AUDIT_MISPLACED = "audit_misplaced"
    AUDIT_TWIN = "audit_twin"
    AUDIT_UNKNOWN = "audit_unknown"
    AUDIT_RETIRED = "audit_retired"
    AUDIT_BY_HAND = "audit_by_hand"  # a photograph does not set it in motion
    AUDIT_SETTLED = "audit_settled"
    AUDIT_CLOSED = "audit_closed"

    @property
    def audits(self) -> bool:
        """Whether it is a step of an audit."""
        return self in _OF_AUDITS


_OF_AUDITS = frozenset(step for step in Step if step.name.startswith("AUDIT_"))


@dataclass(frozen=True, slots=True)
class Done:
    """Accepted: write `lines`, say `say`; `then` is something the desk does next (a command card)."""

    lines: tuple[Entry, ...]
    say: Say
    then: Command | None = None
    alarm: bool = False  # something hot was seen where it must not be
    holder: HolderCard | None = None
    goal: PlaceCard | None = None
    step: Step = Step.OTHER
    audit: str | None = None  # key of the audit this kiosk works on from now on
    note: Say | None = None  # how far this can be relied on while others are not heard


@dataclass(frozen=True, slots=True)
class Wait:
    """Understood; the second scan of the pair is still to come."""

    expects: Expects
    say: Say
    pending: Pending
    holder: HolderCard | None = None
    goal: PlaceCard | None = None
    step: Step = Step.OTHER


@dataclass(frozen=True, slots=True)
class Refused:
    """Not accepted: why, and what to do instead.  `pending` stays, so that a better place is one scan away.

    lines: what is written all the same, because it is known now, refused or not.
    """

    reason: Reason
    why: Say
    remedy: Say
    pending: Pending | None = None
    holder: HolderCard | None = None
    goal: PlaceCard | None = None
    lines: tuple[Entry, ...] = ()


Outcome = Done | Wait | Refused

ABOUT_HEAT = frozenset((Reason.HOT, Reason.NOWHERE_KNOWN, Reason.UNHEARD))  # it is hot, or nobody knows that it is not
UNDO_TOUCH_S = 2.0  # from the last sight of Undo to the touch at the desk: a beat of the window, and a finger
ABOUT_LABEL = frozenset(  # what was read says nothing here: a supervisor may want to see the label
    (Reason.DAMAGED_CODE, Reason.UNKNOWN_CODE, Reason.FOREIGN_CODE, Reason.RETIRED_CODE, Reason.TWIN_CODE)
)


def undo_offered_s(left_s: float) -> float:
    """How long Undo is shown yet, where the desk takes a step back for so long: what is offered is not refused."""
    return max(0.0, left_s - UNDO_TOUCH_S)


def refuse(
    reason: Reason,
    holder: HolderCard | None = None,
    goal: PlaceCard | None = None,
    pending: Pending | None = None,
    **values: Value,
) -> Refused:
    """A refusal in the words of its reason."""
    why = say(f"refused.{reason.value}", **values)
    return Refused(reason, why, say(f"remedy.{reason.value}", **values), pending, holder, goal)
