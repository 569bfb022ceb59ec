"""Questions about what the shop's kiosks tell differently."""

from __future__ import annotations

from kiosk.desk import Desk
from kiosk.desk.differences import ToldDifferently, ToldHere
from kiosk.rules.merge import Matter
from kiosk.screens.questions import Question

__all__ = ["Matter", "ToldDifferently", "ToldHere", "settle", "told_differently"]


def told_differently() -> Question[tuple[ToldDifferently, ...]]:
    """What nobody has settled."""
    return lambda desk: desk.differences.open()


def settle(key: str, value: str) -> Question[tuple[ToldDifferently, ...]]:
    """A hand has looked: this is the case; what is left.  Raises NotThere, ActRefused."""

    def answer(desk: Desk) -> tuple[ToldDifferently, ...]:
        desk.differences.settle(key, value)
        return desk.differences.open()

    return answer
