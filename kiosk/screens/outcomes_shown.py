"""What an outcome asks of the window: to fill it, to show pockets or to ask how a cutter is.  Decides nothing of it."""

from __future__ import annotations

from kiosk.rules.cards import HolderCard
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused
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
