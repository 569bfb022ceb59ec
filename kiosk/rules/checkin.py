"""What moves a holder: the pairs of scans, the lines of a step, and THE question whether a holder may go there now.

Two scans move a holder, in either order: the holder's label and the place's label; a kiosk that stands at a
place needs only the holder's.  Which steps exist at all is `places.MOVES`; what each one needs is looked at
here and nowhere else (`may_go`), so that the screen, the audit and the command line give the same answer.
`rules.decision` asks this room for every scan of a holder or a place outside an audit.  Nothing here writes, waits,
measures or looks at a clock: it is given a view and a moment, and answers with lines to be written, with what it
waits for, or with a reason and a remedy.

The order of the questions is the order of what can hurt: heat first, then what breaks a machine, then what
only loses a holder.
"""

from __future__ import annotations

from dataclasses import replace

from kiosk.rules.apart import Answer, about_cool, about_heating, about_pocket, about_undo
from kiosk.rules.assembly import Clamping, Condition
from kiosk.rules.cards import Heat, HolderCard, LastStep, Moment, Pending, PlaceCard, Torn, Until
from kiosk.rules.fitting.obstacles import limits, obstacles
from kiosk.rules.fitting.proposals import Proposal, propose
from kiosk.rules.lines import LOOKED, NOT_VERIFIED, ConditionSaid, Entry, Heated, HoldEnded, Moved, TornDown
from kiosk.rules.outcomes import ABOUT_HEAT, Done, Expects, Outcome, Reason, Refused, Step, Wait, refuse
from kiosk.rules.places import Kind, Need, needs_of
from kiosk.rules.say import Say, Value, say
from kiosk.rules.view import View

# Later than this heat has gone into the body, and whoever heats it again heats it warm, whatever a shop has set.
ONE_HEATING_S = 30.0


def may_go(
    card: HolderCard, goal: PlaceCard, cooling: PlaceCard | None = None, *, looked: bool = False
) -> Refused | None:
    """May this holder go there now?  None: yes.  The one home of that question.

    cooling: where to send it if it is hot and not at a cooling place already.  looked: a hand has looked whether
    the pocket is empty.
    """
    origin = card.at
    heat = warmth(card)
    if heat is Heat.HELD and not goal.place.kind.may_be_hot:
        return too_warm(card, goal, goal.name, cooling)
    never = card.retired or goal.retired or goal.place.kind is Kind.MACHINE
    if never and heat is Heat.UNKNOWN and not goal.place.kind.may_be_hot:
        return too_warm(card, goal, goal.name, cooling)
    if card.retired:
        return refuse(Reason.RETIRED_HOLDER, card, goal, name=card.name, place=goal.name)
    if goal.retired:
        return refuse(Reason.RETIRED_PLACE, card, goal, name=card.name, place=goal.name)
    if goal.place.kind is Kind.MACHINE:
        return refuse(Reason.HOLDS_NOTHING, card, goal, name=card.name, place=goal.name)
    needs = needs_of(origin.place.kind if origin else None, goal.place.kind)
    if needs is None and origin is None and heat is Heat.UNKNOWN:
        return too_warm(card, goal, goal.name, cooling)
    if needs is None:
        came = origin.name if origin else None
        return refuse(Reason.NOT_A_STEP, card, goal, name=card.name, place=goal.name, origin=came)
    if Need.SHRINKS in needs and card.holder.clamping is not Clamping.SHRINK_FIT:
        return refuse(Reason.NOT_SHRINK, card, goal, name=card.name, place=goal.name)
    if Need.SHRINKS in needs and about_heating(card.apart) is Answer.REFUSED:
        return refuse(Reason.NOT_THE_STATION, card, goal, name=card.name, place=goal.name)
    if heat is not Heat.COOL and card.apart is not None and not card.apart.awake:
        return refuse(Reason.TAKEN_AS_OFF, card, goal, name=card.name, place=goal.name)
    if Need.COOL in needs and heat is Heat.UNKNOWN:
        return too_warm(card, goal, goal.name, cooling)
    if Need.ASSEMBLED in needs and card.assembly is None:
        return refuse(Reason.NO_ASSEMBLY, card, goal, name=card.name, place=goal.name)
    if Need.SOUND in needs and card.assembly is not None and card.assembly.condition is Condition.BROKEN:
        return refuse(Reason.BROKEN_CUTTER, card, goal, name=card.name, place=goal.name)
    if Need.FITS_POCKET in needs and (blocked := _pocket(card, goal)):
        return blocked
    others = [key for key in goal.occupants if key != card.holder.key]
    if goal.place.capacity is not None and len(others) >= goal.place.capacity:
        return refuse(Reason.PLACE_FULL, card, goal, name=card.name, place=goal.name, capacity=goal.place.capacity)
    if goal.place.kind.in_machine and not looked and _facts(card, goal) is Answer.LOOK_FIRST:
        return refuse(Reason.LOOK_FIRST, card, goal, name=card.name, place=goal.name)
    return None


def _facts(card: HolderCard, goal: PlaceCard) -> Answer:
    """How good what is known of a pocket is."""
    return about_pocket(card.apart, goal.place.parent)


def warmth(card: HolderCard) -> Heat:
    """How warm a holder counts now: held while a hold runs, and cool only where that is known."""
    if card.hold is not None and not card.hold.ended:
        return Heat.HELD
    over = card.heat is Heat.HELD and card.hold is not None
    cool = over or card.heat is Heat.COOL
    return Heat.COOL if cool and _coolness(card) is not Answer.HEAT_UNKNOWN else Heat.UNKNOWN


def _coolness(card: HolderCard) -> Answer:
    """What it is worth that a holder counts as cool."""
    return about_cool(card.apart, card.holder.clamping is Clamping.SHRINK_FIT, card.last_kiosk)


def too_warm(card: HolderCard, goal: PlaceCard | None, place: str, cooling: PlaceCard | None) -> Refused:
    """Something hot, or not known to be cool, must not go to or stay at a place (by name).

    cooling: where to send it if it is hot and not at a cooling place already.
    """
    hold = card.hold
    if (hold is not None and hold.unheard and hold.time_is_up) or (hold is None and card.heat is Heat.COOL):
        at = card.at if card.at and card.at.place.kind is Kind.COOLING else cooling
        why = say("refused.unheard", name=card.name, place=place, silent_at=_silent_since(card))
        remedy = say("remedy.unheard", name=card.name, place=at.name if at else None)
        return Refused(Reason.UNHEARD, why, remedy, holder=card, goal=goal)
    if hold is None or hold.ended:
        return refuse(Reason.NOWHERE_KNOWN, card, goal, name=card.name, place=place)
    at = card.at if card.at and card.at.place.kind is Kind.COOLING else cooling
    if hold.until is Until.AIR_TOO_WARM:
        spot = f"term.{hold.where}"
        why = say("refused.air_too_warm", name=card.name, place=place, hottest_c=hold.hottest_c, where=spot)
        remedy = say("remedy.air_too_warm", name=card.name, place=at.name if at else None)
        return Refused(Reason.HOT, why, remedy, holder=card, goal=goal)
    return Refused(
        Reason.HOT,
        say(
            "refused.hot",
            name=card.name,
            place=place,
            hottest_c=hold.hottest_c,
            where=f"term.{hold.where}",
            remaining_s=hold.safe_in_s,
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
        return refuse(Reason.POCKET_UNKNOWN, card, goal, name=card.name, place=goal.name, pocket=number)
    others = tuple(loaded for loaded in goal.loaded if loaded.assembly.holder.key != card.holder.key)
    use_pocket = None
    if goal.place.kind is Kind.SPINDLE:
        found = limits(magazine, card.assembly)
    elif number is None or number not in magazine:
        return refuse(Reason.POCKET_UNKNOWN, card, goal, name=card.name, place=goal.name, pocket=number)
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


def holder_scan(view: View, card: HolderCard, moment: Moment) -> Outcome:
    """A holder's label: the step to the place scanned before or where this kiosk stands; else a place must follow."""
    goal = _fresh_place(view, moment)
    if goal is not None and view.pending is not None and view.pending.heat_only:
        told = pair(view, card, goal, moment)
        if isinstance(told, Refused) and told.reason in ABOUT_HEAT:
            return told
        goal = None
    goal = goal or view.here
    if card.retired and (goal is None or warmth(card) is Heat.COOL):
        keep = None if warmth(card) is Heat.COOL else Pending(card, moment.watched_s, heat_only=True)
        return refuse(Reason.RETIRED_HOLDER, card, None, keep, name=card.name)
    if goal is None:
        place = card.at.name if card.at else None
        waiting = Pending(card, moment.watched_s)
        return Wait(Expects.PLACE, say("wait.place", name=card.name, place=place), waiting, holder=card)
    return pair(view, card, goal, moment)


def place_scan(view: View, goal: PlaceCard, moment: Moment) -> Outcome:
    """A place's label: the step of the holder scanned before; else a holder must follow."""
    pending = view.pending if view.pending and _fresh(view, view.pending, moment) else None
    if pending and pending.heat_only:
        if told := about_heat(view, pending.card, goal, moment):
            return told
        pending = None
    card = pending.card if pending and isinstance(pending.card, HolderCard) else None
    if card and not (goal.retired and warmth(card) is Heat.COOL):
        return pair(view, card, goal, moment)
    if goal.retired or goal.place.kind is Kind.MACHINE:
        reason = Reason.RETIRED_PLACE if goal.retired else Reason.HOLDS_NOTHING
        keep = None if card else Pending(goal, moment.watched_s, heat_only=True)
        return refuse(reason, None, goal, keep, place=goal.name)
    return Wait(Expects.HOLDER, say("wait.holder", place=goal.name), Pending(goal, moment.watched_s), goal=goal)


def about_heat(
    view: View, card: HolderCard | PlaceCard | None, goal: PlaceCard | None, moment: Moment
) -> Refused | None:
    """What heat has to say where steel would come to `goal` by a label that moves nothing; None: nothing.

    goal: None for the place that was scanned just before, or where this kiosk stands.
    """
    goal = goal or _fresh_place(view, moment) or view.here
    if not isinstance(card, HolderCard) or goal is None:
        return None
    refused = may_go(card, goal, view.cooling_place)
    if refused is None or refused.reason not in ABOUT_HEAT:
        return None
    return replace(refused, pending=Pending(card, moment.watched_s, heat_only=True))


def _fresh(view: View, pending: Pending, moment: Moment) -> bool:
    return pending.left_s(moment, view.limits.pair_s) >= 0.0


def _fresh_place(view: View, moment: Moment) -> PlaceCard | None:
    pending = view.pending
    if pending and isinstance(pending.card, PlaceCard) and _fresh(view, pending, moment):
        return pending.card
    return None


def pair(view: View, card: HolderCard, goal: PlaceCard, moment: Moment) -> Done | Refused:
    """The step a pair of scans asks for."""
    keep = Pending(card, moment.watched_s)
    looked = view.pending is not None and view.pending.look_at == goal.place.code and _fresh(view, view.pending, moment)
    refused = may_go(card, goal, view.cooling_place, looked=looked)
    if _is_twin(view, card, goal, moment) and (refused is None or refused.reason not in ABOUT_HEAT):
        return refuse(Reason.TWIN_CODE, card, goal, name=card.name, place=goal.name, code=card.code)
    if refused is not None:
        if refused.reason is Reason.LOOK_FIRST:
            keep = replace(keep, look_at=goal.place.code)
        return replace(refused, pending=keep, holder=card, goal=goal, lines=_known_all_the_same(card, goal, refused))
    origin = card.at.place.code if card.at else None
    again = origin == goal.place.code and _is_same_heating(view, card, goal, moment)
    if origin == goal.place.code and (again or goal.place.kind is not Kind.SHRINK):
        # The same heating, scanned once more, is one heating; it is hot from the later scan on.
        lines = (Heated(card.holder.key, goal.place.code, heats=0, again=True),) if again else ()
        words = say("already_there", name=card.name, place=goal.name)
        return Done(lines, words, holder=card, goal=goal, step=Step.ALREADY_THERE)
    step = Step.HEATING if goal.place.kind is Kind.SHRINK else Step.MOVED
    words = say(step.value, name=card.name, origin=card.at.name if card.at else None, goal=goal.name)
    reason, note = _relied_on(card, goal)
    return Done(arrival(card, goal, reason), words, holder=card, goal=goal, step=step, note=note)


def _known_all_the_same(card: HolderCard, goal: PlaceCard, refused: Refused) -> tuple[Entry, ...]:
    """What a refusal leaves in the book: a hand stood at the station with that steel, and will not wait for a kiosk.

    The others expect no heating from this one, so that only the doubt is written: nobody knows how warm it is.
    """
    if refused.reason is not Reason.NOT_THE_STATION:
        return ()
    at = card.at or goal
    return (Heated(card.holder.key, at.place.code, heats=0, reading_only=True, body_unknown=True),)


def _relied_on(card: HolderCard, goal: PlaceCard) -> tuple[str, Say | None]:
    """What the line of a step says, and the screen, where the step rests on what others may know better."""
    needs = needs_of(card.at.place.kind if card.at else None, goal.place.kind) or ()
    if Need.COOL in needs and _coolness(card) is Answer.NOT_VERIFIED:
        return NOT_VERIFIED, say("note.not_verified", silent_at=_silent_since(card))
    if not goal.place.kind.in_machine:
        return "", None
    match _facts(card, goal):
        case Answer.LOOK_FIRST:
            return LOOKED, None
        case Answer.TOLD_HOW_OLD:
            return "", say("note.as_of", known_at=card.apart.as_of_utc_s if card.apart else None)
        case _:
            return "", None


def _silent_since(card: HolderCard) -> float | None:
    return card.apart.since_utc_s if card.apart else None


def arrival(card: HolderCard, goal: PlaceCard, reason: str = "") -> tuple[Entry, ...]:
    """The lines by which a holder is at `goal` from now on, however that came to be known.

    What stands at the station is being heated there; what comes to a cooling place and nobody knows how warm, is as
    hot as a heating makes it, until it was read all over.
    """
    lines: list[Entry] = []
    if card.hold is not None and card.hold.ended:
        lines.append(HoldEnded(card.holder.key, "time", card.hold.heating))
    origin = card.at.place.code if card.at else None
    if origin != goal.place.code:
        lines.append(Moved(card.holder.key, origin, goal.place.code, reason=reason))
    if goal.place.kind is Kind.SHRINK:
        lines.append(heating(card, goal))
    elif warmth(card) is Heat.UNKNOWN and card.hold is None and goal.place.kind is Kind.COOLING:
        lines.append(Heated(card.holder.key, goal.place.code, heats=0, reading_only=True, body_unknown=True))
    return tuple(lines)


def heating(card: HolderCard, at: PlaceCard, heats: int = 1) -> Heated:
    """A heating that begins now, on whatever warmth is left of the one before."""
    return Heated(card.holder.key, at.place.code, heats=heats, body_c=card.body_c, body_unknown=card.body_unknown)


def _is_same_heating(view: View, card: HolderCard, goal: PlaceCard, moment: Moment) -> bool:
    """Whether a scan at the station it stands at belongs to the heating that runs: it is only just scanned."""
    if goal.place.kind is not Kind.SHRINK or card.hold is None or card.heated_at_s is None:
        return False
    return 0.0 <= moment.watched_s - card.heated_at_s <= min(view.limits.reheat_s, ONE_HEATING_S)


def _is_twin(view: View, card: HolderCard, goal: PlaceCard, moment: Moment) -> bool:
    """Seen at another kiosk so short a time ago that one piece of steel cannot have walked here.

    Never at the station: whatever is scanned there is being heated, and no doubt about its label unwrites that.
    """
    if card.last_kiosk in (None, view.kiosk) or card.since_watched_s is None or card.at is None:
        return False
    if goal.place.kind is Kind.SHRINK:
        return False
    return card.at.place.code != goal.place.code and 0 <= moment.watched_s - card.since_watched_s < view.limits.travel_s


def undo(view: View, moment: Moment) -> Outcome:
    """Takes back the last own step by a step the other way, which must itself be allowed."""
    step: LastStep | None = view.last_step
    if step is None:
        return refuse(Reason.NOTHING_TO_UNDO)
    card = step.holder
    if moment.watched_s - step.at_watched_s > view.limits.undo_s:
        return refuse(Reason.UNDO_TOO_LATE, card, name=card.name)
    if about_undo(card.apart, step.shared) is Answer.REFUSED:
        return refuse(Reason.UNDO_SHARED, card, name=card.name)
    if step.torn is not None:
        return _put_back_in(step, step.torn)
    if step.heated:
        return refuse(Reason.UNDO_HEAT, card, name=card.name)
    if not step.still_there:
        return refuse(Reason.UNDO_OVERTAKEN, card, name=card.name)
    if step.origin is None:
        back = Moved(card.holder.key, step.goal, None, undoes=step.line)
        return Done((back,), say("undone", name=card.name, place=None), holder=card, step=Step.UNDONE)
    refused = may_go(card, step.origin, view.cooling_place)
    if refused is not None:
        return refused
    back = Moved(card.holder.key, step.goal, step.origin.place.code, undoes=step.line)
    words = say("undone", name=card.name, place=step.origin.name)
    return Done((back,), words, holder=card, goal=step.origin, step=Step.UNDONE)


def _put_back_in(step: LastStep, torn: Torn) -> Done | Refused:
    """A tear-down taken back: the cutter never came out.  What was heated for it stays hot."""
    card = step.holder
    if not step.still_there:
        return refuse(Reason.UNDO_OVERTAKEN, card, name=torn.name)
    lines: tuple[Entry, ...] = (
        TornDown(card.holder.key, torn.assembly, undoes=step.line),
        ConditionSaid(card.holder.key, torn.assembly, torn.said_before, undoes=step.line),
    )
    return Done(lines, say("undone_torn", name=torn.name), holder=card, step=Step.UNDONE)
