"""Questions about what is hot."""

from __future__ import annotations

from kiosk.desk.heat import ReadingTaken
from kiosk.rules.cards import HeatCurve
from kiosk.rules.holder_drawing import Drawing
from kiosk.screens.questions import Question

__all__ = ["ReadingTaken", "curve", "drawing", "read"]


def curve(key: str) -> Question[HeatCurve | None]:
    """How a holder under a hold is believed to cool."""
    return lambda desk: desk.heat.curve(key)


def drawing(key: str) -> Question[Drawing]:
    """A holder drawn; while it is held, with how warm each part may be.  Raises NotThere."""
    return lambda desk: desk.heat.drawing(key)


def read(key: str, where: str, value_c: float, instrument: str) -> Question[ReadingTaken]:
    """A temperature was measured: what the desk makes of it."""
    return lambda desk: desk.heat.read(key, where, value_c, instrument)
