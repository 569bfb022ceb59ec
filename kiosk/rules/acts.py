"""Which lines are somebody's work, and which a kiosk writes by itself.

Where a shop asks for a badge, a line of work without somebody signed in is not written (`desk.session.write`); a
kind of line that is not named here is work.  And which lines would open a shop that has a PIN to everybody.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from kiosk.rules import lines as L
from kiosk.rules import merge
from kiosk.rules.apart import TABLE, Answer, Apart, Question
from kiosk.rules.audit import Action
from kiosk.rules.cards import OperatorCard

# Said by whoever comes and goes, be it with a telephone, by the program that starts, by refusals, and by a camera that
# sees how worn a label is; a PIN says itself whose it is.
_ALWAYS = (
    L.SignedIn, L.SignedOut, L.PinGiven, L.PhonePaired, L.PhoneEnded, L.TurnedAway, L.KioskStarted, L.Restored,
    L.AuditPaused, L.KioskStands, L.KioskRests, L.LabelWorn,
)  # fmt: skip


def of_itself(entry: L.Entry) -> bool:
    """Whether a kiosk writes this line without a hand: time has passed, somebody came, something was refused."""
    match entry:
        case L.HoldEnded(by=by):
            return by == "time"
        case L.Heated(heats=0, reading_only=True):
            return True  # nobody heated it by this line: nobody knows any more how warm it is
        case L.DifferenceSettled(action=action):
            return action == Action.COOLED.value
        case L.SettingChanged(name=name, reason=reason):
            return reason == L.OUTSIDE or (reason == L.THERMOMETER and name in L.BY_THERMOMETER)
        case _:
            return isinstance(entry, _ALWAYS)


def of_supervisor(entry: L.Entry) -> bool:
    """Whether a line, written by hand, is a supervisor's even where it changes nothing the book had.

    A new place may be one where hot steel counts as cooling, and a new person one who may do more.
    """
    return isinstance(
        entry, L.PlaceAdded | L.PlaceRetired | L.OperatorAdded | L.OperatorRetired | L.HolderRetired | L.CutterRetired
    )


def left_alone(operator: OperatorCard, idle_s: float, sign_out_s: float) -> L.SignedOut | None:
    """Who was at work is taken to be gone when nothing was scanned for longer than the shop allows.

    idle_s: watched seconds since the last scan.
    """
    return L.SignedOut(operator.key, "time") if idle_s > sign_out_s else None


@dataclass(frozen=True, slots=True)
class Person:
    """A role and a PIN, as far as the shop's lock hangs on them."""

    supervisor: bool
    has_pin: bool
    retired: bool = False

    @property
    def can_unlock(self) -> bool:
        return self.supervisor and self.has_pin and not self.retired


_OR = "\n"  # in no digest


def pins(kept: str) -> list[str]:
    """The digests of PINs of which each opens for one person: two, where two kiosks each chose one and no other could
    settle it."""
    return kept.split(_OR)


def either_pin(*kept: str) -> str:
    """As they are kept, each once and in one order, so that any of them opens."""
    return _OR.join(sorted({each for some in kept for each in pins(some)}))


def loses_its_pin(people: Mapping[str, Person], entries: Iterable[L.Entry]) -> bool:
    """Whether a shop that has a supervisor with a PIN would have none after these lines.  people: by key."""
    after = dict(people)
    for entry in entries:
        match entry:
            case L.OperatorRetired(operator=key) if key in after:
                after[key] = replace(after[key], retired=True)
            case L.OperatorAdded(operator=key, role=role, pin_hash=chosen):
                kept = key in after and after[key].has_pin
                after[key] = Person(role == "supervisor", chosen is not None or kept)
    return any(each.can_unlock for each in people.values()) and not any(each.can_unlock for each in after.values())


def needs_supervisor_at_work(
    people: Mapping[str, Person], entries: Iterable[L.Entry], badges: Mapping[str, str]
) -> bool:
    """Whether these lines give a PIN, or say who is a supervisor or wears one's badge, where none of them has a PIN.

    Once one has, the PIN guards that; where there is no supervisor yet, anybody enters the first.  people: by key.
    badges: whose each is, by what is written on it.
    """
    supervisors = {key for key, each in people.items() if each.supervisor and not each.retired}
    if not supervisors or any(people[key].has_pin for key in supervisors):
        return False
    for entry in entries:
        match entry:
            case L.OperatorAdded(operator=key, role=role, pin_hash=chosen):
                if role == "supervisor" or chosen is not None or key in supervisors:
                    return True
            case L.OperatorRetired(operator=key) | L.CodeBound(subject=key, what="operator") if key in supervisors:
                return True
            case L.CodeRetired(text=text) if badges.get(text) in supervisors:  # nobody could give them another
                return True
            case L.ClaimSettled(matter=merge.Matter.BADGE.value, subject=key, value=merge.USED):
                if key in people and people[key].supervisor:
                    return True
    return False


def from_presetter(entry: L.Entry) -> bool:
    """Whether an instrument may say this without a hand."""
    return isinstance(entry, L.MeasuredLine)


# What the whole shop must hear of before anybody goes by it.
_OFFICE = (
    L.PlaceRetired, L.HolderRetired, L.CutterRetired, L.OperatorAdded, L.OperatorRetired, L.Imported, L.ImportUndone,
)  # fmt: skip


def apart_answer(apart: Apart | None, entry: L.Entry) -> Answer:
    """Whether a line may be written at a kiosk that is cut off."""
    if apart is not None and not apart.admitted and not of_itself(entry):
        return Answer.REFUSED
    if apart is not None and not apart.awake and _about_heat(entry):
        return Answer.REFUSED
    if apart is None or apart.caught_up:
        return Answer.AS_EVER
    match entry:
        case L.AuditClosed():
            return TABLE[Question.AUDIT_CLOSE]
        case L.Seen():
            return TABLE[Question.AUDIT_SEEN]
        case L.SignedIn():
            return TABLE[Question.BADGE]
        case L.SettingChanged(reason=reason) if reason not in (L.OUTSIDE, L.THERMOMETER):
            return TABLE[Question.OFFICE]
        case _ if isinstance(entry, _OFFICE):
            return TABLE[Question.OFFICE]
        case _:
            return Answer.AS_EVER


def _about_heat(entry: L.Entry) -> bool:
    """Whether steel was heated by what this line tells."""
    return isinstance(entry, L.Heated | L.Built | L.TornDown) and not of_itself(entry)
