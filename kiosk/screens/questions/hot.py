"""Questions about what is hot."""

from __future__ import annotations

from kiosk.desk.heat import ReadingTaken
from kiosk.rules.cards import HeatCurve
from kiosk.screens.questions import Question

__all__ = ["ReadingTaken", "curve", "read"]


def curve(key: str) -> Question[HeatCurve | None]:
    """How a holder under a hold is believed to cool."""
    return lambda desk: desk.heat.curve(key)


def read(key: str, where: str, value_c: float, instrument: str) -> Question[ReadingTaken]:
    """A temperature was measured: what the desk makes of it."""
    return lambda desk: desk.heat.read(key, where, value_c, instrument)
