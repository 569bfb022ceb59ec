"""Questions about a presetter on a cable: which ports there are, what its lines say, what came of them."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from kiosk.desk import Desk
from kiosk.desk.presetting import CableSeen, Came
from kiosk.desk.session import Locked, NotThere
from kiosk.exchange.cable import State, fields_of
from kiosk.exchange.faults import Fault
from kiosk.exchange.presetter import Fields, PresetterMap, Reading, SerialLine, Unit, heard
from kiosk.rules.cards import HolderCard
from kiosk.screens.questions import Question
from kiosk.screens.questions.found import serial_ports
from kiosk.settings import Settings
from kiosk.words import t

__all__ = [
    "CableSeen", "Came", "Fault", "Fields", "Locked", "PresetterMap", "Reading", "SerialLine", "State", "Tried",
    "Unit", "Would", "fields_of", "heard", "keep", "ports", "rest", "seen", "tried", "try_out", "turn", "would",
]  # fmt: skip

Tried = tuple[State, tuple[tuple[int, str], ...]]


class Would(NamedTuple):
    """What a line would be taken down as.  holder: whose; None: nobody knows, or more than one could be meant."""

    reading: Reading
    holder: HolderCard | None


def ports() -> tuple[str, ...]:
    """The serial ports that are there now, those that are plugged in first; needs no desk."""
    named = serial_ports()
    known = {Path(port).resolve() for port in named}
    try:
        from serial.tools.list_ports import comports  # only a kiosk with a cable needs the driver
    except ImportError:
        return named
    others = sorted(each.device for each in comports())
    return (*named, *(port for port in others if Path(port).resolve() not in known))


def seen() -> Question[CableSeen]:
    """How the cable is, and what came."""
    return lambda desk: desk.presetter.seen()


def try_out(line: SerialLine) -> Question[None]:
    """From now on the lines of this port are shown, and nothing is taken down."""
    return lambda desk: desk.presetter.try_out(line)


def tried() -> Question[Tried | None]:
    """How the port is that is tried, and its last lines; None: none is."""
    return lambda desk: desk.presetter.tried()


def rest() -> Question[None]:
    """Nothing is tried any more."""
    return lambda desk: desk.presetter.rest()


def would(reading: Reading) -> Question[Would]:
    """Whose measurement this would be."""

    def answer(desk: Desk) -> Would:
        try:
            return Would(reading, desk.papers.meant(reading))
        except NotThere:
            return Would(reading, None)

    return answer


def keep(made: PresetterMap) -> Question[None]:
    """By this map the cable is listened to from now on.  Raises Locked, OSError, SettingsFault."""
    return lambda desk: desk.presetter.keep(made, t("settings.on_screen"))


def turn(on: bool) -> Question[Settings]:
    """Whether the cable is listened to.  Raises Locked, SettingsFault."""
    return lambda desk: desk.people.change_setting("presetter", "on", str(on).lower(), t("settings.on_screen"))
