"""THE decision: what comes of every scan, outside an audit and in one, and of every command card.

`decide` is given what was scanned and all it may know (`rules.view`), and answers with lines to be written, with what
it waits for, or with a reason and a remedy (`rules.outcomes`).  What moves a holder stands in `checkin`, what a scan is
in an audit in `audit_scan`, what closes a difference in `audit_settling`; nothing decides beside them.

Heat comes before everything, the question who is at work included: whoever holds something hot to a place where it must
not be hears that, with or without a badge.  But without the badge nothing is written that a badge is asked for.
"""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

from kiosk.rules import audit_scan, audit_settling, checkin
from kiosk.rules.acts import apart_answer, of_itself
from kiosk.rules.apart import Answer
from kiosk.rules.cards import (
    Command,
    CommandCard,
    DamagedCode,
    FreshLabel,
    Heat,
    HolderCard,
    Moment,
    OperatorCard,
    Pending,
    PlaceCard,
    RetiredCode,
    Subject,
    UnknownCode,
)
from kiosk.rules.lines import CodeBound, SignedIn, SignedOut
from kiosk.rules.outcomes import ABOUT_HEAT, Done, Outcome, Reason, Refused, Step, Wait, refuse
from kiosk.rules.say import say
from kiosk.rules.view import View


def decide(view: View, subject: Subject, moment: Moment) -> Outcome:
    """The outcome of scanning `subject` at `moment`."""
    outcome = _answer(view, subject, moment)
    if not isinstance(outcome, Done):
        return outcome
    if view.badge_missing and not all(map(of_itself, outcome.lines)):
        return refuse(Reason.BADGE_FIRST)
    if any(apart_answer(view.apart, line) is Answer.REFUSED for line in outcome.lines):
        return _alarm(view, outcome) or refuse(Reason.CATCH_UP_FIRST)
    return outcome


def _answer(view: View, subject: Subject, moment: Moment) -> Outcome:
    match subject:
        case DamagedCode() | UnknownCode() | RetiredCode():
            return _not_in_book(view, subject, moment)
        case FreshLabel():
            return _labelled_by_nobody(view, subject, moment) if view.badge_missing else _first_seen(subject)
        case OperatorCard():
            return _sign_in(view, subject)
        case CommandCard():
            return _command(view, subject.command, moment)
        case PlaceCard() | HolderCard():
            return _scanned_by_nobody(view, subject, moment) if view.badge_missing else _scan(view, subject, moment)
        case _:
            assert_never(subject)


def _scan(view: View, subject: PlaceCard | HolderCard, moment: Moment) -> Outcome:
    if view.audit is not None:
        return audit_scan.scan(view, view.audit, subject, moment)
    if isinstance(subject, HolderCard):
        return checkin.holder_scan(view, subject, moment)
    asked_s = view.audit_asked_s
    if view.to_open is not None and asked_s is not None and moment.watched_s - asked_s <= view.limits.pair_s:
        return audit_scan.begin(view.to_open)
    return checkin.place_scan(view, subject, moment)


def _scanned_by_nobody(view: View, subject: PlaceCard | HolderCard, moment: Moment) -> Refused:
    """Without a badge no audit begins and none looks at a drawer, but steel comes to where its label was scanned."""
    told = _without_badge(view, _scan(view, subject, moment))
    of_pair = _without_badge(view, _scan(replace(view, audit=None, to_open=None), subject, moment))
    if told.reason in ABOUT_HEAT or of_pair.reason in ABOUT_HEAT:
        return told if told.reason in ABOUT_HEAT else of_pair
    if view.audit is None or of_pair.pending is None:
        return of_pair
    return replace(of_pair, pending=replace(of_pair.pending, heat_only=True))  # an audit waits for no pair


def _labelled_by_nobody(view: View, label: FreshLabel | RetiredCode, moment: Moment) -> Refused:
    """It is nobody's yet, or is no more, and moves nothing; what it is stuck on comes to a place all the same."""
    keep = Pending(label.holder, moment.watched_s, heat_only=True) if label.holder else None
    return checkin.about_heat(view, label.holder, None, moment) or refuse(Reason.BADGE_FIRST, pending=keep)


def _without_badge(view: View, outcome: Outcome) -> Refused:
    """What a scan comes to where nobody is signed in: the alarm if it is about heat, else the badge first.

    A pair is waited for all the same, because its second scan may be the one that is about heat.
    """
    if isinstance(outcome, Refused) and outcome.reason in ABOUT_HEAT:
        return outcome
    if isinstance(outcome, Done) and (alarm := _alarm(view, outcome)) is not None:
        return alarm
    kept = outcome.pending if isinstance(outcome, Wait | Refused) else None
    first = kept if kept is not None and (kept.heat_only or isinstance(outcome, Wait)) else None
    known = outcome.lines if isinstance(outcome, Refused) else ()
    return replace(refuse(Reason.BADGE_FIRST, pending=first), lines=known)


def _alarm(view: View, outcome: Done) -> Refused | None:
    """The alarm of an audit whose line is not written: what is hot is told all the same; None: it is none."""
    if not outcome.alarm or outcome.holder is None or view.audit is None:
        return None
    place = outcome.goal.name if outcome.goal else view.audit.scope.name
    return checkin.too_warm(outcome.holder, outcome.goal, place, view.cooling_place)


def _not_in_book(view: View, subject: DamagedCode | UnknownCode | RetiredCode, moment: Moment) -> Outcome:
    """A label that was replaced is still on some steel: where that is hot, heat comes first here too."""
    if view.audit is not None and not isinstance(subject, DamagedCode):
        seen = audit_scan.stray_label(view.audit, subject)
        if not view.badge_missing:
            return seen
        by_audit = _without_badge(view, seen)
        if isinstance(subject, RetiredCode) and by_audit.reason not in ABOUT_HEAT:
            return _labelled_by_nobody(view, subject, moment)
        return by_audit
    if view.audit is not None and view.badge_missing:
        return refuse(Reason.BADGE_FIRST)
    if isinstance(subject, RetiredCode):
        card = subject.holder
        if (told := checkin.about_heat(view, card, None, moment)) is not None:
            return told
        place = card.at.name if card and card.at else None
        name = card.name if card else None
        hot = card is not None and checkin.warmth(card) is not Heat.COOL
        keep = Pending(card, moment.watched_s, heat_only=True) if card is not None and hot else view.pending
        return refuse(Reason.RETIRED_CODE, card, None, keep, code=subject.text, name=name, place=place)
    near = ", ".join(subject.near) or None
    if isinstance(subject, DamagedCode):
        return refuse(Reason.DAMAGED_CODE, None, None, view.pending, code=subject.text, near=near)
    reason = Reason.FOREIGN_CODE if subject.foreign else Reason.UNKNOWN_CODE
    return refuse(reason, None, None, view.pending, code=subject.text, near=near)


def _first_seen(label: FreshLabel) -> Done:
    """A printed label on its holder: from now on it is the holder's, and the one before is retired.

    Whoever sticks a label on has the steel in hand, so one on hot steel is an alarm.
    """
    card = label.holder
    old = card.code if card.code != card.holder.key else None
    line = CodeBound(label.text, card.holder.key, "holder", replaces=old)
    hot = checkin.warmth(card) is not Heat.COOL
    words = say("label_bound_hot" if hot else "label_bound", name=card.name, old_code=old)
    return Done((line,), words, alarm=hot, holder=card, step=Step.LABEL_BOUND)


def _sign_in(view: View, card: OperatorCard) -> Outcome:
    """A telephone stays the person's it was lent to: another one's badge signs nobody in on it."""
    if card.retired:
        return refuse(Reason.RETIRED_BADGE, name=card.name)
    if view.phone and (view.operator is None or view.operator.key != card.key):
        return refuse(Reason.NOT_THEIR_PHONE, name=card.name)
    return Done((SignedIn(card.key),), say("signed_in", name=card.name), step=Step.SIGNED_IN)


def _command(view: View, command: Command, moment: Moment) -> Outcome:
    match command:
        case Command.UNDO:
            return checkin.undo(view, moment)
        case Command.SIGN_OUT:
            lines = (SignedOut(view.operator.key),) if view.operator else ()
            return Done(lines, say("signed_out"), then=command, step=Step.SIGNED_OUT)
        case Command.CANCEL:
            return Done((), say("cancelled"), then=command, step=Step.CANCELLED)
        case Command.START_AUDIT | Command.CLOSE_AUDIT if view.badge_missing:
            return refuse(Reason.BADGE_FIRST)
        case Command.CLOSE_AUDIT:
            return audit_settling.close(view)
        case Command.START_AUDIT if view.audit is not None:
            words = say("audit.running", place=view.audit.scope.name)
            return Done((), words, then=command, step=Step.AUDIT_OPENED)
        case Command.START_AUDIT if view.to_open is not None:
            return audit_scan.begin(view.to_open, command)
        case _:
            return Done((), say(f"command.{command.name.lower()}"), then=command, step=Step.COMMAND)
