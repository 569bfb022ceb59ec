"""What an outcome asks of the window: to fill it, to show pockets or to ask how a cutter is, and which sign it wears.

Decides nothing of it: whether a holder counts as cool is the rules' (`checkin.warmth`).
"""

from __future__ import annotations

from kiosk.rules.cards import Heat, HolderCard
from kiosk.rules.outcomes import ABOUT_HEAT, Done, Outcome, Reason, Refused
from kiosk.rules.places import Kind


def is_about_heat(outcome: Outcome) -> bool:
    """What is refused for heat fills the screen."""
    return isinstance(outcome, Refused) and outcome.reason is Reason.HOT


def found_hot(outcome: Outcome) -> bool:
    """An audit found hot steel where hands reach: that comes before every screen too."""
    return isinstance(outcome, Done) and outcome.alarm and outcome.step.audits


def asks_for_pocket(outcome: Outcome) -> bool:
    """A whole machine was scanned: its pockets can be chosen by touch."""
    return (
        isinstance(outcome, Refused)
        and outcome.reason is Reason.HOLDS_NOTHING
        and outcome.goal is not None
        and outcome.goal.place.kind is Kind.MACHINE
    )


def waiting_for_place(outcome: Outcome) -> HolderCard | None:
    """The holder whose place is still to come."""
    pending = outcome.pending if isinstance(outcome, Refused) else None
    return pending.card if pending and not pending.heat_only and isinstance(pending.card, HolderCard) else None


def came_back(outcome: Done) -> bool:
    """Whether an assembly has left a machine: then a hand is asked how the cutter is."""
    before, goal = outcome.holder, outcome.goal
    if before is None or before.assembly is None or before.at is None or goal is None:
        return False
    return before.at.place.kind.in_machine and not goal.place.kind.in_machine


def counts_as_hot(card: HolderCard | None) -> bool:
    """Whether what was done with it wears the sign of heat: it is hot, or nobody knows that it is cool."""
    from kiosk.rules.checkin import warmth  # whoever has a card to show has a desk, which loaded it

    return card is not None and warmth(card) is not Heat.COOL


def for_heat(why: Refused | Exception) -> bool:
    """Whether heat is why something was not done: then its sign is that of heat."""
    if isinstance(why, Refused):
        return why.reason in ABOUT_HEAT
    return type(why).__name__ == "StillHot" or getattr(why, "hot", False)
