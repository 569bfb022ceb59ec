"""Questions about what is hot."""

from __future__ import annotations

from kiosk.desk.heat import ReadingTaken, Withdrawn
from kiosk.exchange.thermometers import typed
from kiosk.rules.cards import HeatCurve, ProbeNext
from kiosk.rules.hold_proof import Owed
from kiosk.rules.holder_drawing import Drawing
from kiosk.screens.questions import Question

__all__ = [
    "Owed", "ReadingTaken", "Withdrawn", "advice", "curve", "drawing", "owed", "probed", "read", "typed", "withdraw",
]  # fmt: skip


def curve(key: str) -> Question[HeatCurve | None]:
    """How a holder under a hold is believed to cool."""
    return lambda desk: desk.heat.curve(key)


def drawing(key: str) -> Question[Drawing]:
    """A holder drawn; while it is held, with how warm each part may be.  Raises NotThere."""
    return lambda desk: desk.heat.drawing(key)


def advice(key: str) -> Question[ProbeNext | None]:
    """Where and when to probe a held holder next, so that it is free sooner."""
    return lambda desk: desk.heat.advice(key)


def probed() -> Question[float | None]:
    """What a probe on a cable shows now, °C; None: there is none, or it says nothing."""
    return lambda desk: desk.probe.shows_c()


def read(key: str, where: str, value_c: float, instrument: str) -> Question[ReadingTaken]:
    """A temperature was measured: what the desk makes of it."""
    return lambda desk: desk.heat.read(key, where, value_c, instrument)


def owed(key: str) -> Question[Owed]:
    """What is still to be read of a holder, and when.  Raises NotThere."""
    return lambda desk: desk.heat.owed(key)


def withdraw(key: str, line: int) -> Question[Withdrawn]:
    """The last reading (number of its line) was mistyped.  Raises NotThere, ReadingFault."""
    return lambda desk: desk.heat.withdraw(key, line)
