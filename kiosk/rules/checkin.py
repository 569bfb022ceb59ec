"""THE decision: what a scan means, whether the step it asks for may be taken, and what to say.

Two scans move a holder, in either order: the holder's label and the place's label; a kiosk that stands at a
place needs only the holder's.  Which steps exist at all is `places.MOVES`; what each one needs is looked at
here and nowhere else (`may_go`), so that the screen, the audit and the command line give the same answer.
A decision never writes, waits, measures or looks at a clock: it is given a view and a moment, and answers
with lines to be written, with what it waits for, or with a reason and a remedy.

The order of the questions is the order of what can hurt: heat first, then what breaks a machine, then what
only loses a holder.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import assert_never

from kiosk.rules.assembly import Clamping, Condition
from kiosk.rules.cards import (
    Command,
    CommandCard,
    DamagedCode,
    FreshLabel,
    Heat,
    HolderCard,
    LastStep,
    Moment,
    OperatorCard,
    Pending,
    PlaceCard,
    RetiredCode,
    UnknownCode,
    View,
)
from kiosk.rules.fitting.obstacles import limits, obstacles
from kiosk.rules.fitting.proposals import Proposal, propose
from kiosk.rules.lines import CodeBound, Entry, Heated, HoldEnded, Moved, Seen, SignedIn, SignedOut
from kiosk.rules.places import Kind, Need, needs_of
from kiosk.rules.say import Say, Value, say


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
    """Not accepted: why, and what to do instead.  `pending` stays, so that a better place is one scan away."""

    reason: Reason
    why: Say
    remedy: Say
    pending: Pending | None = None
    holder: HolderCard | None = None
    goal: PlaceCard | None = None


Outcome = Done | Wait | Refused


def decide(view: View, moment: Moment) -> Outcome:
    """The outcome of scanning `view.subject` at `moment`."""
    subject = view.subject
    match subject:
        case DamagedCode() | UnknownCode() | RetiredCode():
            return _not_in_book(view, subject, moment)
        case FreshLabel():
            return _first_seen(subject)
        case OperatorCard():
            return _sign_in(subject)
        case CommandCard():
            return _command(view, subject.command, moment)
        case PlaceCard() | HolderCard():
            if view.limits.badge_required and view.operator is None:
                return _refuse(Reason.BADGE_FIRST)
            if view.audit is not None:
                return _audit_scan(view, subject, moment)
            if isinstance(subject, PlaceCard):
                return _place_scan(view, subject, moment)
            return _holder_scan(view, subject, moment)
        case _:
            assert_never(subject)


def may_go(card: HolderCard, goal: PlaceCard, cooling: PlaceCard | None = None) -> Refused | None:
    """May this holder go there now?  None: yes.  The one home of that question.

    cooling: where to send it if it is hot and not at a cooling place already.
    """
    origin = card.place
    if card.retired:
        return _refuse(Reason.RETIRED_HOLDER, card, goal, None, name=card.name, place=goal.name)
    if goal.retired:
        return _refuse(Reason.RETIRED_PLACE, card, goal, None, name=card.name, place=goal.name)
    if goal.place.kind is Kind.MACHINE:
        return _refuse(Reason.HOLDS_NOTHING, card, goal, None, name=card.name, place=goal.name)
    if _is_hot(card) and not goal.place.kind.may_be_hot:
        return _hot(card, goal, cooling)
    needs = needs_of(origin.place.kind if origin else None, goal.place.kind)
    if origin is None and card.heat is Heat.UNKNOWN and (needs is None or Need.COOL in needs):
        return _refuse(Reason.NOWHERE_KNOWN, card, goal, None, name=card.name, place=goal.name)
    if needs is None:
        came = origin.name if origin else None
        return _refuse(Reason.NOT_A_STEP, card, goal, None, name=card.name, place=goal.name, origin=came)
    if Need.SHRINKS in needs and card.holder.clamping is not Clamping.SHRINK_FIT:
        return _refuse(Reason.NOT_SHRINK, card, goal, None, name=card.name, place=goal.name)
    if Need.COOL in needs and card.heat is Heat.UNKNOWN:
        return _refuse(Reason.NOWHERE_KNOWN, card, goal, None, name=card.name, place=goal.name)
    if Need.ASSEMBLED in needs and card.assembly is None:
        return _refuse(Reason.NO_ASSEMBLY, card, goal, None, name=card.name, place=goal.name)
    if Need.SOUND in needs and card.assembly is not None and card.assembly.condition is Condition.BROKEN:
        return _refuse(Reason.BROKEN_CUTTER, card, goal, None, name=card.name, place=goal.name)
    if Need.FITS_POCKET in needs and (blocked := _pocket(card, goal)):
        return blocked
    others = [key for key in goal.occupants if key != card.holder.key]
    if goal.place.capacity is not None and len(others) >= goal.place.capacity:
        return _refuse(
            Reason.PLACE_FULL, card, goal, None, name=card.name, place=goal.name, capacity=goal.place.capacity
        )
    return None


def _is_hot(card: HolderCard) -> bool:
    return card.hold is not None and not card.hold.ended


def _hot(card: HolderCard, goal: PlaceCard, cooling: PlaceCard | None) -> Refused:
    hold = card.hold
    assert hold is not None  # _is_hot said so
    at = card.place if card.place and card.place.place.kind is Kind.COOLING else cooling
    return Refused(
        Reason.HOT,
        say(
            "refused.hot",
            name=card.name,
            place=goal.name,
            hottest_c=hold.hottest_c,
            where=f"term.{hold.where}",
            remaining_s=hold.remaining_s,
        ),
        say("remedy.hot", name=card.name, place=at.name if at else None, reading=hold.needs_reading),
        holder=card,
        goal=goal,
    )


def _pocket(card: HolderCard, goal: PlaceCard) -> Refused | None:
    """What the machine's magazine has against it; for the spindle only what holds in the whole machine."""
    assert card.assembly is not None  # Need.ASSEMBLED comes first
    number = goal.place.number
    magazine = goal.magazine
    if magazine is None:
        return _refuse(
            Reason.POCKET_UNKNOWN, card, goal, None, name=card.name, place=goal.name, pocket=number
        )
    others = tuple(loaded for loaded in goal.loaded if loaded.assembly.holder.key != card.holder.key)
    use_pocket = None
    if goal.place.kind is Kind.SPINDLE:
        found = limits(magazine, card.assembly)
    elif number is None or number not in magazine:
        return _refuse(
            Reason.POCKET_UNKNOWN, card, goal, None, name=card.name, place=goal.name, pocket=number
        )
    else:
        found = obstacles(magazine, others, goal.owners, number, card.assembly, goal.returning)
        if found:
            better = propose(magazine, others, goal.owners, card.assembly, returning=goal.returning)
            use_pocket = better.pocket if isinstance(better, Proposal) else None
    if not found:
        return None
    first = found[0]
    values: dict[str, Value] = {"name": card.name, "place": goal.name, "use_pocket": use_pocket}
    values["to_pocket"] = number
    values.update(first.values)
    remedy = "remedy.use_pocket" if use_pocket is not None else f"remedy.{first.message_id}"
    return Refused(
        Reason.POCKET_BLOCKED, say(first.message_id, **values), say(remedy, **values), holder=card, goal=goal
    )


def _holder_scan(view: View, card: HolderCard, moment: Moment) -> Outcome:
    if card.retired:
        return _refuse(Reason.RETIRED_HOLDER, card, None, name=card.name)
    goal = _fresh_place(view, moment) or view.here
    if goal is None:
        place = card.place.name if card.place else None
        waiting = Pending(card, moment.watched_s)
        return Wait(Expects.PLACE, say("wait.place", name=card.name, place=place), waiting, holder=card)
    return _pair(view, card, goal, moment)


def _place_scan(view: View, goal: PlaceCard, moment: Moment) -> Outcome:
    if goal.retired:
        return _refuse(Reason.RETIRED_PLACE, None, goal, place=goal.name)
    pending = view.pending
    if pending and isinstance(pending.card, HolderCard) and _fresh(view, pending, moment):
        return _pair(view, pending.card, goal, moment)
    if goal.place.kind is Kind.MACHINE:
        return _refuse(Reason.HOLDS_NOTHING, None, goal, place=goal.name)
    return Wait(
        Expects.HOLDER, say("wait.holder", place=goal.name), Pending(goal, moment.watched_s), goal=goal
    )


def _fresh(view: View, pending: Pending, moment: Moment) -> bool:
    return pending.left_s(moment, view.limits.pair_s) >= 0.0


def _fresh_place(view: View, moment: Moment) -> PlaceCard | None:
    pending = view.pending
    if pending and isinstance(pending.card, PlaceCard) and _fresh(view, pending, moment):
        return pending.card
    return None


def _pair(view: View, card: HolderCard, goal: PlaceCard, moment: Moment) -> Outcome:
    """The step a pair of scans asks for."""
    keep = Pending(card, moment.watched_s)
    if _is_twin(view, card, goal, moment):
        return _refuse(Reason.TWIN_CODE, card, goal, name=card.name, place=goal.name, code=card.code)
    refused = may_go(card, goal, view.cooling_place)
    if refused is not None:
        return Refused(refused.reason, refused.why, refused.remedy, keep, card, goal)
    origin = card.place.place.code if card.place else None
    again = _is_same_heating(view, card, goal, moment)
    if origin == goal.place.code and (again or goal.place.kind is not Kind.SHRINK):
        # The same heating, scanned once more, is one heating; it is hot from the later scan on.
        lines = (Heated(card.holder.key, goal.place.code, heats=0, again=True),) if again else ()
        words = say("already_there", name=card.name, place=goal.name)
        return Done(lines, words, holder=card, goal=goal, step=Step.ALREADY_THERE)
    step = Step.HEATING if goal.place.kind is Kind.SHRINK else Step.MOVED
    key = "heating" if step is Step.HEATING else "moved"
    words = say(key, name=card.name, origin=card.place.name if card.place else None, goal=goal.name)
    return Done(arrival(card, goal), words, holder=card, goal=goal, step=step)


def arrival(card: HolderCard, goal: PlaceCard, reason: str = "") -> tuple[Entry, ...]:
    """The lines by which a holder is at `goal` from now on, however that came to be known.

    What stands at the station is being heated there; what comes to a cooling place and nobody knows how warm, is as
    hot as a heating makes it, until it was read all over.
    """
    lines: list[Entry] = []
    if card.hold is not None and card.hold.ended:
        lines.append(HoldEnded(card.holder.key, "time", card.hold.heating))
    origin = card.place.place.code if card.place else None
    if origin != goal.place.code:
        lines.append(Moved(card.holder.key, origin, goal.place.code, reason=reason))
    if goal.place.kind is Kind.SHRINK:
        lines.append(heating(card, goal))
    elif card.heat is Heat.UNKNOWN and card.hold is None and goal.place.kind is Kind.COOLING:
        lines.append(Heated(card.holder.key, goal.place.code, heats=0, reading_only=True, body_unknown=True))
    return tuple(lines)


def heating(card: HolderCard, at: PlaceCard, heats: int = 1) -> Heated:
    """A heating that begins now, on whatever warmth is left of the one before."""
    return Heated(
        card.holder.key, at.place.code, heats=heats, body_c=card.body_c, body_unknown=card.body_unknown
    )


def _is_same_heating(view: View, card: HolderCard, goal: PlaceCard, moment: Moment) -> bool:
    """Whether a scan at the station belongs to the heating that runs: it has not left, and it is only just scanned."""
    if goal.place.kind is not Kind.SHRINK or card.place is None or card.place.place.code != goal.place.code:
        return False
    if card.hold is None or card.heated_at_s is None:
        return False
    return 0.0 <= moment.watched_s - card.heated_at_s <= view.limits.reheat_s


def _is_twin(view: View, card: HolderCard, goal: PlaceCard, moment: Moment) -> bool:
    """Seen at another kiosk so short a time ago that one piece of steel cannot have walked here."""
    if card.last_kiosk in (None, view.kiosk) or card.since_watched_s is None or card.place is None:
        return False
    return (
        card.place.place.code != goal.place.code
        and 0 <= moment.watched_s - card.since_watched_s < view.limits.travel_s
    )


def _not_in_book(view: View, subject: DamagedCode | UnknownCode | RetiredCode, moment: Moment) -> Outcome:
    at = view.audit.at.place.code if view.audit and view.audit.at else None
    if view.audit is not None and view.limits.badge_required and view.operator is None:
        return _refuse(Reason.BADGE_FIRST)
    if isinstance(subject, RetiredCode):
        if view.audit is not None:
            seen = Seen(view.audit.key, subject.text, None, at)
            return Done((seen,), say("audit.retired", code=subject.text), step=Step.AUDIT_RETIRED)
        card = subject.holder
        place = card.place.name if card and card.place else None
        name = card.name if card else None
        return _refuse(
            Reason.RETIRED_CODE, card, None, view.pending, code=subject.text, name=name, place=place
        )
    near = ", ".join(subject.near) or None
    if isinstance(subject, DamagedCode):
        return _refuse(Reason.DAMAGED_CODE, None, None, view.pending, code=subject.text, near=near)
    if view.audit is not None:
        seen = Seen(view.audit.key, subject.text, None, at)
        return Done((seen,), say("audit.unknown", code=subject.text), step=Step.AUDIT_UNKNOWN)
    reason = Reason.FOREIGN_CODE if subject.foreign else Reason.UNKNOWN_CODE
    return _refuse(reason, None, None, view.pending, code=subject.text, near=near)


def _first_seen(label: FreshLabel) -> Outcome:
    """A printed label on its holder: from now on it is the holder's, and the one before is retired."""
    card = label.holder
    old = card.code if card.code != card.holder.key else None
    line = CodeBound(label.text, card.holder.key, "holder", replaces=old)
    return Done((line,), say("label_bound", name=card.name, old_code=old), holder=card, step=Step.LABEL_BOUND)


def _sign_in(card: OperatorCard) -> Outcome:
    if card.retired:
        return _refuse(Reason.RETIRED_BADGE, name=card.name)
    return Done((SignedIn(card.key),), say("signed_in", name=card.name), step=Step.SIGNED_IN)


def _command(view: View, command: Command, moment: Moment) -> Outcome:
    match command:
        case Command.UNDO:
            return _undo(view, moment)
        case Command.SIGN_OUT:
            lines = (SignedOut(view.operator.key),) if view.operator else ()
            return Done(lines, say("signed_out"), then=command, step=Step.SIGNED_OUT)
        case Command.CANCEL:
            return Done((), say("cancelled"), then=command, step=Step.CANCELLED)
        case _:
            return Done((), say(f"command.{command.name.lower()}"), then=command, step=Step.COMMAND)


def _undo(view: View, moment: Moment) -> Outcome:
    """Takes back the last own step by a step the other way, which must itself be allowed."""
    step: LastStep | None = view.last_step
    if step is None:
        return _refuse(Reason.NOTHING_TO_UNDO)
    card = step.holder
    if moment.watched_s - step.at_watched_s > view.limits.undo_s:
        return _refuse(Reason.UNDO_TOO_LATE, card, None, name=card.name)
    if step.heated:
        return _refuse(Reason.UNDO_HEAT, card, None, name=card.name)
    if not step.still_there:
        return _refuse(Reason.UNDO_OVERTAKEN, card, None, name=card.name)
    if step.origin is None:
        back = Moved(card.holder.key, step.goal, None, undoes=step.line)
        return Done((back,), say("undone", name=card.name, place=None), holder=card, step=Step.UNDONE)
    refused = may_go(card, step.origin, view.cooling_place)
    if refused is not None:
        return refused
    back = Moved(card.holder.key, step.goal, step.origin.place.code, undoes=step.line)
    words = say("undone", name=card.name, place=step.origin.name)
    return Done((back,), words, holder=card, goal=step.origin, step=Step.UNDONE)


def _audit_scan(view: View, subject: HolderCard | PlaceCard, moment: Moment) -> Outcome:
    """In an audit a holder is ticked off, and nothing moves."""
    audit = view.audit
    assert audit is not None
    if isinstance(subject, PlaceCard):
        waiting = Pending(subject, moment.watched_s)
        return Wait(Expects.HOLDER, say("audit.at", place=subject.name), waiting, goal=subject, step=Step.AUDIT_AT)
    at = audit.at.place.code if audit.at else None
    before = audit.seen.get(subject.code)
    # A drawer says less than the slot in it that was seen before, and a slot more than its drawer: both are one place.
    again = before is not None and (at in (None, before.place) or before.place in audit.within)
    # One piece of steel cannot be in two places so soon after one another: two labels bear the same code.
    soon = before is not None and moment.watched_s - before.watched_s < view.limits.travel_s
    twin = before.place if before is not None and soon and not again and before.place not in audit.around else None
    lines = () if again else (Seen(audit.key, subject.code, subject.holder.key, at, twin=twin),)
    where_seen = audit.at.name if audit.at else None
    may_be_hot = audit.at.place.kind.may_be_hot if audit.at else audit.may_be_hot
    if (_is_hot(subject) or subject.heat is Heat.UNKNOWN) and not may_be_hot:
        words = say("audit.hot", name=subject.name, place=where_seen)
        return Done(lines, words, alarm=True, holder=subject, goal=audit.at, step=Step.AUDIT_HOT)
    if twin is not None:
        words = say("audit.twin", name=subject.name, place=where_seen, code=subject.code)
        return Done(lines, words, holder=subject, goal=audit.at, step=Step.AUDIT_TWIN)
    if again:
        return Done((), say("audit.again", name=subject.name), holder=subject, step=Step.AUDIT_AGAIN)
    where = subject.place.name if subject.place else None
    home = subject.place is not None and subject.place.place.code in audit.members
    elsewhere = subject.place is not None and at is not None and not _same_spot(subject.place, audit.at)
    right = home and not elsewhere
    words = say("audit.seen" if right else "audit.misplaced", name=subject.name, place=where)
    step = Step.AUDIT_SEEN if right else Step.AUDIT_MISPLACED
    return Done(lines, words, holder=subject, goal=audit.at, step=step)


def _same_spot(book: PlaceCard, seen: PlaceCard | None) -> bool:
    """Whether the place in the book lies at or inside the place where it was seen."""
    return seen is not None and book.path[: len(seen.path)] == seen.path


def _refuse(
    reason: Reason,
    holder: HolderCard | None = None,
    goal: PlaceCard | None = None,
    pending: Pending | None = None,
    **values: Value,
) -> Refused:
    why = say(f"refused.{reason.value}", **values)
    return Refused(reason, why, say(f"remedy.{reason.value}", **values), pending, holder, goal)
