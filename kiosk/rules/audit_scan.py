"""A scan in an audit: what was seen where, what it says of the holder, and what the next place scanned means.

In an audit a holder is ticked off and nothing moves, but where a setter says so: a stray holder and then its place
again.  A photograph of a drawer is a row of the same scans and gets the same answers.  Heat comes first: what is hot
where it must not be is an alarm, whatever else is wrong with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kiosk.rules import audit_settling
from kiosk.rules.audit import ABOUT_HEAT, HOT, NOTES, Action, Findings, Open, Shows, Sighting, must_not_stand
from kiosk.rules.cards import (
    Command,
    CommandCard,
    DamagedCode,
    FreshLabel,
    HolderCard,
    Moment,
    OperatorCard,
    Pending,
    PlaceCard,
    RetiredCode,
    Subject,
    UnknownCode,
    holder_under,
)
from kiosk.rules.checkin import warmth
from kiosk.rules.lines import AuditOpened, Entry, Seen
from kiosk.rules.outcomes import Done, Expects, Outcome, Reason, Refused, Step, Wait, refuse
from kiosk.rules.places import Kind
from kiosk.rules.say import say
from kiosk.rules.view import AuditToOpen, AuditView, Doubt, View


@dataclass(frozen=True, slots=True)
class InPicture:
    """A label in a photograph, as read, with what it stands for and the place it was seen at."""

    text: str
    subject: Subject
    at: PlaceCard


def begin(wanted: AuditToOpen, then: Command | None = None) -> Done | Refused:
    """Opens an audit of a place, or goes on with the one that runs there.  `then`: the command card that asked."""
    if wanted.retired:
        return refuse(Reason.NOT_AUDITED, place=wanted.name)
    if wanted.running is not None:
        words = say("audit.resumed", place=wanted.name)
        return Done((), words, then, step=Step.AUDIT_OPENED, audit=wanted.running)
    opened = AuditOpened(wanted.fresh_key, wanted.place)
    return Done(
        (opened,), say("audit.opened", place=wanted.name), then, step=Step.AUDIT_OPENED, audit=wanted.fresh_key
    )


def scan(view: View, audit: AuditView, subject: HolderCard | PlaceCard, moment: Moment) -> Outcome:
    """A holder's or a place's label in an audit."""
    if isinstance(subject, HolderCard):
        return _holder(view, audit, subject, moment)
    meant = _meant(view, audit, subject, moment)
    if meant is not None:
        return audit_settling.settle(view, meant, moment)
    waiting = Pending(subject, moment.watched_s)
    words = say("audit.at", place=subject.name)
    return Wait(Expects.HOLDER, words, waiting, goal=subject, step=Step.AUDIT_AT)


def stray_label(audit: AuditView, subject: RetiredCode | UnknownCode) -> Done:
    """A label that answers to nothing, or to nothing any more, was seen: that is taken down.

    One that was replaced is still on some steel: if that is hot, the steel was seen, an alarm like any other.
    """
    card = holder_under(subject)
    if card is not None and _too_warm_here(audit, card):
        lines = (Seen(audit.key, subject.text, card.holder.key, _code(audit.at)),)
        words = say("audit.hot", name=card.name, place=audit.at.name if audit.at else None)
        return Done(lines, words, alarm=True, holder=card, goal=audit.at, step=Step.AUDIT_HOT)
    step = Step.AUDIT_RETIRED if isinstance(subject, RetiredCode) else Step.AUDIT_UNKNOWN
    key = "audit.retired" if step is Step.AUDIT_RETIRED else "audit.unknown"
    return Done((Seen(audit.key, subject.text, None, _code(audit.at)),), say(key, code=subject.text), step=step)


def doubted(findings: Findings, holder: str) -> Open | None:
    """What is wrong with a holder that was just seen: the most dangerous first."""
    return next((each for each in findings.open if each.text == holder and each.difference not in NOTES), None)


def stands_empty(audit: AuditView, card: HolderCard, before: Sighting | None, is_empty: bool) -> Seen:
    """An eye says whether a cutter is in a holder.  It stands where it was seen `before`, or where the walk is."""
    if before is None:
        return Seen(audit.key, card.code, card.holder.key, _code(audit.at), empty=is_empty)
    return Seen(audit.key, before.text, card.holder.key, before.place, twin=before.twin, empty=is_empty)


def photograph(view: View, labels: Sequence[InPicture], moment: Moment) -> tuple[Outcome, ...]:
    """What comes of each label in one picture, taken in the audit `view.audit`.

    A printed label that waits for its first scan, a badge and a card do nothing: that takes a hand.  The same label in
    two places of one picture is on two pieces of steel.
    """
    audit = view.audit
    if audit is None:
        return tuple(refuse(Reason.NO_AUDIT) for _ in labels)
    outcomes: list[Outcome] = []
    first: dict[str, str] = {}  # codes of holders in this picture, and where
    for label in labels:
        audit = replace(audit, at=label.at)
        outcome = _in_picture(view, audit, label, first, moment)
        if isinstance(label.subject, HolderCard):
            first.setdefault(label.subject.code, label.at.place.code)
        if isinstance(outcome, Done):
            outcome = replace(outcome, lines=tuple(map(_by_photo, outcome.lines)))
        outcomes.append(outcome)
    return tuple(outcomes)


def shows(subject: Subject, outcome: Outcome) -> Shows:
    """How a label in a picture is drawn."""
    if holder_under(subject) is None or not isinstance(outcome, Done):
        return Shows.UNKNOWN
    if outcome.alarm:
        return Shows.HOT
    if not isinstance(subject, HolderCard):
        return Shows.UNKNOWN
    return Shows.MISPLACED if outcome.step in (Step.AUDIT_MISPLACED, Step.AUDIT_TWIN) else Shows.SEEN


def _in_picture(view: View, audit: AuditView, label: InPicture, first: dict[str, str], moment: Moment) -> Outcome:
    match subject := label.subject:
        case FreshLabel() | OperatorCard() | CommandCard() | PlaceCard():
            name = subject.holder.name if isinstance(subject, FreshLabel) else label.text
            return Done((), say("audit.by_hand", name=name), step=Step.AUDIT_BY_HAND)
        case DamagedCode(text=code, near=near):
            return refuse(Reason.DAMAGED_CODE, code=code, near=", ".join(near) or None)
        case RetiredCode() | UnknownCode():
            return stray_label(audit, subject)
        case HolderCard():
            twin = first.get(subject.code)
            return _holder(view, audit, subject, moment) if twin is None else _seen(audit, subject, twin=twin)


def _holder(view: View, audit: AuditView, card: HolderCard, moment: Moment) -> Done:
    at = _code(audit.at)
    before = audit.seen.get(card.code)
    # A drawer says less than the slot in it that was seen before, and a slot more than its drawer: both are one place.
    again = before is not None and (at in (None, before.place) or before.place in audit.scope.within(at))
    # One piece of steel cannot be in two places so soon after one another: two labels bear the same code.
    since_s = moment.watched_s - before.watched_s if before is not None and before.watched_s is not None else None
    soon = since_s is not None and since_s < view.limits.travel_s
    around = before is not None and before.place in audit.scope.around(at)
    twin = before.place if before is not None and soon and not again and not around else None
    return _seen(audit, card, again=again, twin=twin)


def _seen(audit: AuditView, card: HolderCard, again: bool = False, twin: str | None = None) -> Done:
    """A holder was seen where the walk is; `twin`: its label was seen there too, and cannot have come from there."""
    at = _code(audit.at)
    seen = Seen(audit.key, card.code, card.holder.key, at, twin=twin)
    lines: tuple[Entry, ...] = () if again else (seen, *audit_settling.put_back(audit, card, seen))
    where_seen = audit.at.name if audit.at else None
    if _too_warm_here(audit, card):
        words = say("audit.hot", name=card.name, place=where_seen)
        return Done(lines, words, alarm=True, holder=card, goal=audit.at, step=Step.AUDIT_HOT)
    if twin is not None:
        words = say("audit.twin", name=card.name, place=where_seen, code=card.code)
        return Done(lines, words, holder=card, goal=audit.at, step=Step.AUDIT_TWIN)
    if again:
        return Done((), say("audit.again", name=card.name), holder=card, step=Step.AUDIT_AGAIN)
    where = card.at.name if card.at else None
    if audit.scope.astray(_code(card.at), at) is None:
        words = say("audit.seen", name=card.name, place=where)
        return Done(lines, words, holder=card, goal=audit.at, step=Step.AUDIT_SEEN)
    words = say("audit.misplaced", name=card.name, place=where)
    return Done(lines, words, holder=card, goal=audit.at, step=Step.AUDIT_MISPLACED)


def _too_warm_here(audit: AuditView, card: HolderCard) -> bool:
    """Whether it is hot, or not known to be cool, and was seen where such a holder must not be."""
    if audit.at is not None:
        return must_not_stand(warmth(card), audit.at.place.kind)
    if audit.scope.place == HOT:
        return False
    return must_not_stand(warmth(card), audit.scope.kinds.get(audit.scope.place, Kind.SLOT))


def _meant(view: View, audit: AuditView, place: PlaceCard, moment: Moment) -> audit_settling.Settling | None:
    """What scanning this place right after a stray holder says; None: it only goes on with the walk."""
    doubt = audit.doubt
    if doubt is None or moment.watched_s - doubt.since_watched_s > view.limits.pair_s:
        return None
    action = _action(audit, doubt, place)
    return audit_settling.Settling(doubt.difference, action, card=doubt.card, goal=place) if action else None


def _action(audit: AuditView, doubt: Doubt, place: PlaceCard) -> Action | None:
    difference = doubt.difference
    if difference.difference in ABOUT_HEAT:
        return Action.TO_COOLING if place.place.kind is Kind.COOLING else None
    if Action.BOOK_MOVED not in difference.actions:
        return None
    code = place.place.code
    inside = difference.found is None or code in doubt.inside
    vague = audit.at is None or difference.found != audit.at.place.code
    return Action.BOOK_MOVED if code == difference.found or (inside and vague) else None


def _by_photo(line: Entry) -> Entry:
    return replace(line, by_photo=True) if isinstance(line, Seen) else line


def _code(place: PlaceCard | None) -> str | None:
    return place.place.code if place else None
