"""How much unbalance an assembly may keep at a speed, and which grade a measured unbalance is.

It never calls an assembly balanced for a speed it was not worked out for, and takes a mass that nobody weighed for no
more than it is at least: a lighter assembly may keep less.  ISO 21940-11: the grade G is the
speed of the mass centre in mm/s, so U_per [g mm] = 9549 G m [kg] / n [rpm]; 9549 = 60 000 / (2 pi).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from math import floor, pi
from typing import NamedTuple

from kiosk.rules.assembly import Assembly, Unbalance
from kiosk.rules.fitting.fits import SpeedLimit
from kiosk.rules.fitting.loads import least_cutter_mass_kg
from kiosk.rules.say import Say, say

CONSTANT = 60_000 / (2 * pi)


@dataclass(frozen=True, slots=True)
class Balance:
    """Residual unbalance judged at a speed.  rpm_max: up to which speed the asked grade is kept."""

    grade: float
    permissible_gmm: float
    residual_gmm: float
    wanted_grade: float
    rpm: float
    rpm_max: float

    @property
    def ok(self) -> bool:
        return self.residual_gmm <= self.permissible_gmm

    @property
    def kept_rpm(self) -> float:
        """Up to which speed the grade is kept, in whole 1/min, and never above the one that was asked for."""
        return float(floor(min(self.rpm, self.rpm_max)))


class MassOf(Enum):
    """Where a mass comes from; words `balance.mass_<value>`, `balance.by_hand`."""

    BOOK = "book"  # holder and cutter, as they were weighed and entered
    SHANK = "shank"  # nobody weighed the cutter: of it only what is surely there
    SCALE = "scale"  # the assembly was weighed now


class Spindle(NamedTuple):
    """A machine by name and the fastest it turns, 1/min; None: nobody entered that."""

    machine: str
    rpm_max: float | None


@dataclass(frozen=True, slots=True)
class Asked:
    """What a hand says instead of the book: grade G, speed in 1/min, mass in kg.  None: as the book has it."""

    grade: float | None = None
    rpm: float | None = None
    mass_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Demand:
    """What an assembly has to keep.  rpm_of: whose speed that is.  None: not known."""

    grade: float
    mass_kg: float | None
    mass_of: MassOf
    rpm: float | None
    rpm_of: Say | None

    @property
    def permissible_gmm(self) -> float | None:
        """How much unbalance may be left, g mm."""
        if self.mass_kg is None or self.rpm is None:
            return None
        return permissible_gmm(self.grade, self.mass_kg, self.rpm)

    def left(self, residual_gmm: float) -> Unbalance:
        """What a balancing machine found, with what it was asked for."""
        return Unbalance(residual_gmm, self.grade, self.rpm, self.mass_kg)


def demand(
    assembly: Assembly, grade: float, own: SpeedLimit | None, spindles: Iterable[Spindle], asked: Asked
) -> Demand:
    """What an assembly has to keep at the fastest it may ever turn.

    grade: the shop's.  own: the lowest speed that holder, cutter and clamping allow.  spindles: of the machine it goes
    into, or of every one that takes it.
    """
    mass_kg, mass_of = (asked.mass_kg, MassOf.SCALE) if asked.mass_kg is not None else _mass(assembly)
    rpm, rpm_of = (asked.rpm, say("balance.by_hand")) if asked.rpm is not None else _speed(own, tuple(spindles))
    return Demand(asked.grade if asked.grade is not None else grade, mass_kg, mass_of, rpm, rpm_of)


def _mass(assembly: Assembly) -> tuple[float | None, MassOf]:
    weighed = assembly.cutter.wt_kg is not None
    if assembly.holder.mass_kg is None:
        return None, MassOf.BOOK
    return assembly.holder.mass_kg + least_cutter_mass_kg(assembly.cutter), MassOf.BOOK if weighed else MassOf.SHANK


def _speed(own: SpeedLimit | None, spindles: tuple[Spindle, ...]) -> tuple[float | None, Say | None]:
    """The lower of what the assembly allows and what the fastest of these spindles reaches, and which it is."""
    known = [(spindle.rpm_max, spindle.machine) for spindle in spindles if spindle.rpm_max is not None]
    fastest = max(known) if known and len(known) == len(spindles) else None
    if fastest is not None and (own is None or fastest[0] < own.rpm):
        return fastest[0], say("balance.rpm_machine", machine=fastest[1])
    if own is None:
        return None, None
    return own.rpm, say("balance.rpm_own", source=f"term.speed_of_{own.source.value}")


def kept_to_rpm(said: Unbalance) -> float | None:
    """Up to which speed an assembly keeps the grade it was balanced to, whole 1/min; None: nobody said to which.

    Never above the speed it was balanced for: nobody has asked whether it stands more.
    """
    if said.grade is None or said.rpm is None or said.mass_kg is None:
        return None
    return judge(said.residual_gmm, said.mass_kg, said.rpm, said.grade).kept_rpm


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"{name} must be more than 0, not {value:g}")


def permissible_gmm(grade: float, mass_kg: float, rpm: float) -> float:
    """Permissible residual unbalance, g mm.  Raises ValueError for values that are not more than 0."""
    _positive(grade=grade, mass_kg=mass_kg, rpm=rpm)
    return CONSTANT * grade * mass_kg / rpm


def grade_of(unbalance_gmm: float, mass_kg: float, rpm: float) -> float:
    """Balance grade G, mm/s, that an unbalance amounts to at a speed."""
    _positive(mass_kg=mass_kg, rpm=rpm)
    if not unbalance_gmm >= 0:
        raise ValueError(f"unbalance_gmm must not be less than 0, not {unbalance_gmm:g}")
    return unbalance_gmm * rpm / (CONSTANT * mass_kg)


def judge(unbalance_gmm: float, mass_kg: float, rpm: float, wanted_grade: float) -> Balance:
    """A measured unbalance against the grade asked for at the speed asked for."""
    permissible = permissible_gmm(wanted_grade, mass_kg, rpm)
    grade = grade_of(unbalance_gmm, mass_kg, rpm)
    rpm_max = CONSTANT * wanted_grade * mass_kg / unbalance_gmm if unbalance_gmm > 0 else float("inf")
    return Balance(grade, permissible, unbalance_gmm, wanted_grade, rpm, rpm_max)
