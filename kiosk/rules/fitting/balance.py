"""How much unbalance an assembly may keep at a speed, and which grade a measured unbalance is.

It never calls an assembly balanced for a speed it was not worked out for.  ISO 21940-11: the grade G is the
speed of the mass centre in mm/s, so U_per [g mm] = 9549 G m [kg] / n [rpm]; 9549 = 60 000 / (2 pi).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

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
