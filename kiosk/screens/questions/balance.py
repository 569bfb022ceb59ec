"""Questions about balancing."""

from __future__ import annotations

from kiosk.desk.balancing import BalanceTaken, ToBalance
from kiosk.rules.fitting.balance import Asked
from kiosk.screens.questions import Question

__all__ = ["Asked", "BalanceTaken", "ToBalance", "take", "to_balance"]


def to_balance(key: str, asked: Asked) -> Question[ToBalance]:
    """What the assembly in a holder has to keep.  Raises BuildRefused."""
    return lambda desk: desk.balancing.asked(key, asked)


def take(key: str, residual_gmm: float, asked: Asked, assembly: str) -> Question[BalanceTaken]:
    """Write down what the balancing machine found, g mm, of that assembly.  Raises BuildRefused."""
    return lambda desk: desk.balancing.take(key, residual_gmm, asked, assembly)
