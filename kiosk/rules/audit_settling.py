"""Closing differences: the lines each action writes, and when an audit itself may close.

What may move is `checkin`'s to say: no action here moves what a scan could not.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from kiosk.rules import checkin
from kiosk.rules.assembly import Clamping, Condition
from kiosk.rules.audit import ABOUT_HEAT, NOTES, Action, Difference, Open, Settled, Sighting, active_s
from kiosk.rules.cards import Heat, HolderCard, Moment, PlaceCard
from kiosk.rules.lines import AuditClosed, ConditionSaid, DifferenceSettled, Entry, Moved, Seen, TornDown
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused, Step, refuse
from kiosk.rules.say import say
from kiosk.rules.view import AuditView, View

ASTRAY = frozenset((Difference.MISPLACED, Difference.UNEXPECTED))


@dataclass(frozen=True, slots=True)
class Settling:
    """A difference that is to be closed, how, and the steel it is about.

    goal: the place asked for.  found: the place it was seen at.  answers: what its label stands for by now.
    """

    difference: Open
    action: Action
    reason: str = ""
    card: HolderCard | None = None
    goal: PlaceCard | None = None
    found: PlaceCard | None = None
    answers: HolderCard | PlaceCard | None = None


def settle(view: View, asked: Settling, moment: Moment) -> Outcome:
    """Closes a difference of the audit this kiosk is in by an action, or carries it over with a reason."""
    audit, difference, action = view.audit, asked.difference, asked.action
    if audit is None:
        return refuse(Reason.NO_AUDIT)
    if action not in difference.actions:
        return _not_so(difference.name, action)
    if action is Action.CARRIED_OVER and not asked.reason.strip():
        return refuse(Reason.NEEDS_REASON, name=difference.name)
    goal = asked.goal or (view.cooling_place if action is Action.TO_COOLING else asked.found)
    steps = _steps(view, audit, asked, goal, moment)
    if isinstance(steps, Refused):
        return steps
    settled = _settled(audit, difference, action, asked.reason.strip(), goal.place.code if goal else difference.found)
    words = say(f"audit.settled.{action.value}", name=difference.name, place=goal.name if goal else None)
    return Done((*steps, settled), words, holder=asked.card, step=Step.AUDIT_SETTLED)


def put_back(audit: AuditView, card: HolderCard, seen: Seen) -> tuple[DifferenceSettled, ...]:
    """A holder seen astray before and now at its own place was put back: that is written down as well."""
    booked = card.at.place.code if card.at else None
    if booked is None or seen.place is None or seen.twin is not None or not audit.scope.same_spot(booked, seen.place):
        return ()
    return tuple(
        replace(_settled(audit, each, Action.PUT_BACK, "", each.found), booked=booked)
        for each in audit.findings.open
        if each.text == card.holder.key and each.difference in ASTRAY
    )


def cooled(audit: str, was: Open, card: HolderCard, settled: Iterable[Settled]) -> DifferenceSettled | None:
    """What was seen hot and is cool by now was still found hot: the line that says so, unless it was closed before."""
    if card.hold is not None or card.heat is not Heat.COOL:
        return None
    if any(each.text == was.text and each.difference in ABOUT_HEAT for each in settled):
        return None
    what, how = was.difference.value, Action.COOLED.value
    return DifferenceSettled(audit, was.text, what, how, "", was.booked, was.found, was.name)


def known_since(sightings: Iterable[Sighting], text: str) -> Open | None:
    """The difference of a label that was unknown when it was seen, and is bound by now."""
    for each in sightings:
        if each.text == text and each.bound and each.holder is None:
            return Open(text, Difference.UNKNOWN_CODE, text, None, each.place)
    return None


def close(view: View) -> Outcome:
    """Closes the audit this kiosk is in, once no difference waits for an action; what is only noted is noted."""
    audit = view.audit
    if audit is None:
        return refuse(Reason.NO_AUDIT)
    if view.badge_missing:
        return refuse(Reason.BADGE_FIRST)
    still = audit.findings.open
    waiting = [each for each in still if each.difference not in NOTES]
    name = audit.scope.name
    if waiting:
        return refuse(Reason.AUDIT_OPEN, place=name, count=len(waiting), name=waiting[0].name)
    notes = tuple(_settled(audit, each, Action.NOTED, "", each.found) for each in still)
    counts = audit.findings.counts
    closed = AuditClosed(
        audit.key, counts.expected, counts.seen, counts.missing, counts.misplaced, counts.unexpected, counts.unknown,
        counts.hot, active_s(audit.worked_at_s),
    )  # fmt: skip
    words = say("audit.closed", place=name, seen=counts.seen, expected=counts.expected, missing=counts.missing)
    return Done((*notes, closed), words, step=Step.AUDIT_CLOSED)


def _steps(
    view: View, audit: AuditView, asked: Settling, goal: PlaceCard | None, moment: Moment
) -> tuple[Entry, ...] | Refused:
    """The lines an action writes before its difference counts as settled."""
    card, difference = asked.card, asked.difference
    match asked.action:
        case Action.BOOK_MOVED if card:
            return _book_moved(audit, card, goal)
        case Action.TO_COOLING if card:
            return _to_cooling(view, card, goal, moment)
        case Action.PUT_BACK if card:
            if card.at is None:
                return _not_so(card.name, asked.action)
            at = card.at.place.code
            return (Seen(audit.key, card.code, card.holder.key, at),) if at in audit.scope.members else ()
        case Action.NOWHERE if card:
            return (Moved(card.holder.key, difference.booked, None, reason="audit"),)
        case Action.TORN_DOWN if card and card.assembly:
            torn = TornDown(card.holder.key, card.assembly.key)
            if card.holder.clamping is not Clamping.SHRINK_FIT:
                return (torn,)
            # A shrunk cutter comes out by heat only, and nobody wrote down when: how warm it is, is not known.
            where = card.at.place.code if card.at else None
            return (torn, Moved(card.holder.key, where, None, reason="audit"))
        case Action.SAID_WORN if card and card.assembly:
            return (ConditionSaid(card.holder.key, card.assembly.key, Condition.WORN),)
        case Action.REGISTERED:
            if isinstance(asked.answers, HolderCard):
                return (Seen(audit.key, difference.text, asked.answers.holder.key, difference.found),)
            return () if asked.answers else refuse(Reason.UNKNOWN_CODE, code=difference.text, near=None)
    return ()


def _to_cooling(view: View, card: HolderCard, goal: PlaceCard | None, moment: Moment) -> tuple[Entry, ...] | Refused:
    if goal is None:
        return refuse(Reason.PLACE_FULL, name=card.name, place=None, capacity=0)
    outcome = checkin.pair(view, card, goal, moment)
    return outcome if isinstance(outcome, Refused) else outcome.lines


def _book_moved(audit: AuditView, card: HolderCard, goal: PlaceCard | None) -> tuple[Entry, ...] | Refused:
    """The book follows the steel.  Where another holder is booked there that was itself seen elsewhere (two holders
    changed places), the book follows that one too, in the same step.
    """
    lines: list[Entry] = []
    leaving: set[str] = set()
    mover, place = card, goal
    while True:
        if place is None:
            return refuse(Reason.NOWHERE_KNOWN, name=mover.name, place=None)
        leaving.add(mover.holder.key)
        rest = tuple(key for key in place.occupants if key not in leaving)
        refused = checkin.may_go(mover, replace(place, occupants=rest))
        if refused is None:
            return (*lines, *_followed(audit, mover, place, mover is card))
        full = refused.reason is Reason.PLACE_FULL and len(rest) == 1
        follower = audit.strays.get(rest[0]) if full else None
        if follower is None or follower.seen.place.code == place.place.code:
            return refused
        if (refused := checkin.may_go(mover, replace(place, occupants=()))) is not None:
            return refused
        lines += _followed(audit, mover, place, mover is card)
        mover, place = follower.card, follower.seen


def _followed(audit: AuditView, card: HolderCard, goal: PlaceCard, asked: bool) -> tuple[Entry, ...]:
    """The book follows a holder to where it was seen; one that was not asked about is settled with it."""
    came = checkin.arrival(card, goal, "audit")
    if asked:
        return came
    origin, key = card.at.place.code if card.at else None, card.holder.key
    what, how = Difference.MISPLACED.value, Action.BOOK_MOVED.value
    return (*came, DifferenceSettled(audit.key, key, what, how, "", origin, goal.place.code, card.name))


def _settled(audit: AuditView, each: Open, action: Action, reason: str, found: str | None) -> DifferenceSettled:
    what, how = each.difference.value, action.value
    return DifferenceSettled(audit.key, each.text, what, how, reason, each.booked, found, each.name)


def _not_so(name: str, action: Action) -> Refused:
    return refuse(Reason.NOT_SETTLED_SO, name=name, action=f"term.action.{action.value}")
