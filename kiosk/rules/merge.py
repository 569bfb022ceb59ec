"""Differences between kiosks that worked apart: what a line claims, which claims cannot both be, and what closes them.

Two lines are concurrent when neither kiosk had seen the other's.  Where they claim different things of one matter, both
claims stay, nobody is picked, and a difference is open until a hand's scan or a line that settles it was written by a
kiosk that had seen every one of them.  Nothing here looks at a clock; the order is the shared numbers'.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum
from typing import NamedTuple

from kiosk.rules import lines as L
from kiosk.rules.assembly import Condition


class Matter(Enum):
    """What claims can be about, and so the kinds of difference.  Each has words `term.matter.<value>`."""

    PLACE = "place"  # a holder was moved twice
    POCKET = "pocket"  # more stand in a place than it takes
    LABEL = "label"  # one code on two things
    CUTTER = "cutter"  # one cutter in two holders
    HOLDER = "holder"  # two cutters in one holder, or one that is in and out
    NUMBER = "number"  # one tool number twice, or two for one assembly
    USE = "use"  # taken out of use, and used
    SETTING = "setting"  # one setting, one thing's facts, or one assembly's length, set twice
    AUDIT = "audit"  # closed, and something seen in it later
    BADGE = "badge"  # work by a badge that was no longer good
    CONDITION = "condition"  # one cutter that is good and worn
    PIN = "pin"  # two PINs for one supervisor


class Claim(NamedTuple):
    """What a line says about one matter of one subject.

    value: what is claimed; two equal ones agree.  settles: whether a hand stood before the steel and knows.
    """

    matter: Matter
    subject: str
    value: str
    settles: bool = True


@dataclass(frozen=True, slots=True)
class Made:
    """A claim as a line made it.  line: its number in the shared order, or a later one while it waits."""

    line: int
    kiosk: str
    value: str


USED = "used"
RETIRED = "retired"
OPEN = "open"
CLOSED = "closed"
NOTHING = ""


def claims(entry: L.Entry, operator: str | None = None) -> tuple[Claim, ...]:
    """What a line claims.  operator: whose work it is."""
    found = _claims(entry)
    if operator is not None and found:
        found = (*found, Claim(Matter.BADGE, operator, USED, settles=False))
    return found


def _claims(entry: L.Entry) -> tuple[Claim, ...]:
    match entry:
        case L.Moved(holder=holder, origin=origin, goal=goal):
            stood = [Claim(Matter.POCKET, origin, NOTHING)] if origin else []
            stands = [Claim(Matter.POCKET, goal, holder), _used(goal)] if goal else []
            return (Claim(Matter.PLACE, holder, goal or NOTHING), *stood, *stands, _used(holder))
        case L.Heated(holder=holder, place=place):
            # Where it was heated: a step elsewhere that did not know of it may have begun long before.
            return (Claim(Matter.PLACE, holder, place), _used(holder))
        case L.Built(holder=holder, cutter=cutter):
            return (
                Claim(Matter.CUTTER, cutter, holder), Claim(Matter.HOLDER, holder, cutter), _used(holder), _used(cutter)
            )  # fmt: skip
        case L.TornDown(holder=holder, assembly=key, undoes=undoes):
            return (Claim(Matter.HOLDER, holder, NOTHING if undoes is None else key), _used(holder))
        case L.ToolNumbered(assembly=key, number=None):
            return (Claim(Matter.NUMBER, key, NOTHING),)
        case L.ToolNumbered(assembly=key, number=number):
            return (Claim(Matter.NUMBER, str(number), key), Claim(Matter.NUMBER, key, str(number)))
        case L.MeasuredLine(assembly=key, values=values):
            return (Claim(Matter.SETTING, key, str(values)),)
        case L.ConditionSaid(assembly=key, condition=condition, undoes=undoes):
            looked = undoes is None and condition is not Condition.UNKNOWN
            return (Claim(Matter.CONDITION, key, condition.value, settles=looked),)
        case L.CodeBound(text=text, subject=subject):
            return (Claim(Matter.LABEL, text, subject),)
        case L.CodeRetired(text=text):
            return (Claim(Matter.LABEL, text, NOTHING),)
        case L.HolderRetired(holder=key) | L.CutterRetired(cutter=key) | L.PlaceRetired(code=key):
            return (Claim(Matter.USE, key, RETIRED),)
        case L.HolderRegistered(holder=steel):
            return (Claim(Matter.SETTING, steel.key, str(steel)), Claim(Matter.USE, steel.key, USED))
        case L.CutterAdded(cutter=cutting):
            return (Claim(Matter.SETTING, cutting.key, str(cutting)), Claim(Matter.USE, cutting.key, USED))
        case L.CutterReground(cutter=key):
            return (Claim(Matter.SETTING, key, str(entry)), _used(key))
        case L.PlaceAdded(place=place):
            return (Claim(Matter.SETTING, place.code, str(entry)), Claim(Matter.USE, place.code, USED))
        case L.PocketAssigned(pocket=pocket, holder=owner):
            return (Claim(Matter.SETTING, pocket, owner or NOTHING), _used(pocket))
        case L.SettingChanged(name=name, value=value):
            return (Claim(Matter.SETTING, name, value),)
        case L.AuditClosed(audit=audit):
            return (Claim(Matter.AUDIT, audit, CLOSED),)
        case L.Seen(audit=audit) | L.DifferenceSettled(audit=audit):
            return (Claim(Matter.AUDIT, audit, OPEN, settles=False),)
        case L.OperatorRetired(operator=key):
            return (Claim(Matter.BADGE, key, RETIRED),)
        case L.OperatorAdded(operator=key, pin_hash=pin):
            chosen = (Claim(Matter.PIN, key, pin),) if pin is not None else ()
            return (Claim(Matter.BADGE, key, str(replace(entry, pin_hash=None))), *chosen)
        case L.ClaimSettled(matter=matter, subject=subject, value=value):
            return (Claim(Matter(matter), subject, value),)
        case _:
            return ()


def _used(key: str) -> Claim:
    return Claim(Matter.USE, key, USED, settles=False)


def clashing(claim: Claim, kiosk: str, seen: int, made: Iterable[Made]) -> tuple[Made, ...]:
    """What a line of `kiosk` that had seen the shared lines to `seen` claims otherwise than, without having seen it."""
    return tuple(each for each in made if not has_seen(kiosk, seen, each) and _differs(claim, each.value))


def _differs(claim: Claim, value: str) -> bool:
    """Whether one of both is wrong.  Who works may get another name or PIN meanwhile; who is gone does not work."""
    if claim.matter is Matter.BADGE and USED in (claim.value, value):
        return RETIRED in (claim.value, value)
    return claim.value != value


def has_seen(kiosk: str, seen: int, made: Made) -> bool:
    """Whether a line of `kiosk` was written knowing that claim."""
    return made.kiosk == kiosk or made.line <= seen


def closes(claim: Claim, kiosk: str, seen: int, made: Iterable[Made]) -> bool:
    """Whether a line with this claim closes a difference: it saw every claim of it, and a hand stood there."""
    return claim.settles and all(has_seen(kiosk, seen, each) for each in made)


def with_claim(matter: Matter, made: tuple[Made, ...], new: Made) -> tuple[Made, ...]:
    """The claims about something with one more; of each kiosk only its latest counts.

    That somebody worked is said beside who they are: the one takes nothing back of the other.
    """
    def stays(each: Made) -> bool:
        apart = matter is Matter.BADGE and (each.value == USED) is not (new.value == USED)
        return each.kiosk != new.kiosk or apart

    return (*filter(stays, made), new)
