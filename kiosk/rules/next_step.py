"""What comes next for a holder as it stands, and where: said after every outcome that leaves a hand with steel in it.

Says and never decides: whether a step is allowed is `checkin.may_go`'s alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.rules.assembly import Clamping, Condition
from kiosk.rules.cards import Heat, HolderCard, Moment
from kiosk.rules.checkin import warmth
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say


@dataclass(frozen=True, slots=True)
class Ways:
    """Names of the places a next step can lead to; None: this shop has none.

    home: the slot it came from last, while that is free.
    """

    home: str | None = None
    station: str | None = None
    bench: str | None = None
    presetter: str | None = None
    cooling: str | None = None


def next_step(card: HolderCard, ways: Ways, moment: Moment) -> Say | None:
    """What is to be done with it now.  None: nothing waits."""
    kind = card.at.place.kind if card.at else None
    hold = card.hold
    if hold is not None and warmth(card) is Heat.HELD:
        if kind is not Kind.COOLING:
            return say("next.cool", place=ways.cooling)
        if hold.take_out_in_s is not None:
            spot = f"term.{hold.where}" if hold.needs_reading else None
            return say("next.in_sleeve", place=_at(card), out_at=moment.utc_s + hold.take_out_in_s, where=spot)
        if hold.safe_in_s is None:
            read_at = _later(moment, hold.remaining_s)
            return say("next.read", place=_at(card), where=f"term.{hold.where}", read_at=read_at)
        return say("next.cooling", place=_at(card), free_at=moment.utc_s + hold.safe_in_s)
    if warmth(card) is Heat.UNKNOWN:
        return say("next.unproven", place=ways.cooling)
    assembly = card.assembly
    if assembly is None or kind is Kind.OUT or (kind is not None and kind.in_machine):
        return None
    if assembly.condition in (Condition.WORN, Condition.BROKEN):
        shrinks = card.holder.clamping is Clamping.SHRINK_FIT
        return say("next.tear_down", place=ways.station if shrinks else ways.bench)
    if assembly.measured is None or assembly.measured.length_error_um is not None:
        return say("next.measure", place=ways.presetter)
    return None if kind is not None and kind.stores else say("next.home", place=ways.home)


def _at(card: HolderCard) -> str | None:
    return card.at.name if card.at else None


def _later(moment: Moment, in_s: float | None) -> float | None:
    return moment.utc_s + in_s if in_s else None
