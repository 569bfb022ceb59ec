"""What a shrink fit opens to when hot and how hard it grips when cold and when turning.

It never assumes a lucky pair: where bore or shank is not measured the whole tolerance band is carried through,
and the grip that is promised is the one of the loosest pair.  Lamé's equations for a solid shank in a ring,
plane stress, with the centrifugal growth of both; h6 from ISO 286-2; steel and carbide values from the trade.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, inf, pi, sqrt
from typing import NamedTuple

from kiosk.rules.assembly import Material

H6_UM = ((3.0, 6.0), (6.0, 8.0), (10.0, 9.0), (18.0, 11.0), (30.0, 13.0), (50.0, 16.0), (80.0, 19.0))
DIAL_STEP_C = 5.0


class Elastic(NamedTuple):
    """A material as the fit sees it: MPa, -, kg/m3, 1/K."""

    young_mpa: float
    poisson: float
    density_kg_m3: float
    expansion_per_k: float


STEEL = Elastic(210e3, 0.30, 7800.0, 11.5e-6)
SHANKS = {
    Material.CARBIDE: Elastic(600e3, 0.22, 14500.0, 5.5e-6),
    Material.HSS: Elastic(210e3, 0.30, 8100.0, 11.5e-6),
}


class BoreBand(NamedTuple):
    """How far below the nominal a cold bore is ground, up to a nominal diameter.  µm; the maker says."""

    up_to_mm: float
    least_um: float
    most_um: float


@dataclass(frozen=True, slots=True)
class ShrinkRules:
    """The shop's values for shrink fits."""

    ambient_c: float = 20.0
    unit_max_c: float = 350.0  # hottest the heating unit brings a nose to
    clearance_um: float = 7.0  # play the shank needs to slide in
    friction: float = 0.12  # dry and clean
    release_share: float = 0.6  # of the bore's temperature rise, what the shank has reached at release
    grip_kept: float = 0.5  # share of the grip at rest that must be left at speed
    stress_max_mpa: float = 1000.0  # at the bore of the nose
    heat_limit: int = 2000  # heat cycles a holder is good for where it has no limit of its own
    heats_warn_left: int = 50
    bores: Sequence[BoreBand] = (
        BoreBand(3.0, 7.0, 9.0),
        BoreBand(6.0, 10.0, 13.0),
        BoreBand(10.0, 14.0, 18.0),
        BoreBand(18.0, 20.0, 26.0),
        BoreBand(30.0, 30.0, 38.0),
        BoreBand(50.0, 45.0, 55.0),
    )


class Range(NamedTuple):
    """From the least to the most a value can be."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Grip:
    """What holds the shank, at the loosest and the tightest pair.  `rpm` 0: at rest."""

    rpm: float
    pressure_mpa: Range
    torque_nm: Range
    pull_n: Range


@dataclass(frozen=True, slots=True)
class Dial:
    """What the setter sets at the heating unit and at the depth stop.

    temperature_c None: the unit cannot open this bore far enough for every shank within its tolerance.
    """

    bore_mm: float
    temperature_c: float | None
    insert_mm: float | None
    stick_out_mm: float | None
    length_mm: float | None  # gauge length that will come out


@dataclass(frozen=True, slots=True)
class Shrink:
    """A shrink fit worked out.  µm on the diameter.

    margin_um: opening at the unit's hottest less interference and play, for the tightest and loosest pair.
    release_um: the same when the shank has warmed up too, negative where it will not come out by itself.
    rest and at_speed are None where the nose diameter or the insertion is not known.
    """

    interference_um: Range
    opening_um: float
    margin_um: Range
    release_um: float
    needed_c: float
    rest: Grip | None
    at_speed: Grip | None
    grip_limit_rpm: float | None
    hoop_mpa: float | None
    heats_used: int
    heats_left: int
    dial: Dial


def h6_um(diameter_mm: float) -> float:
    """How far below nominal an h6 shank may be, µm.  Raises ValueError outside 0 < d <= 80 mm."""
    if not 0 < diameter_mm <= H6_UM[-1][0]:
        raise ValueError(f"h6 is tabled up to {H6_UM[-1][0]:g} mm, not for {diameter_mm:g} mm")
    return next(width for up_to_mm, width in H6_UM if diameter_mm <= up_to_mm)


def opening_um(bore_mm: float, rise_k: float, expansion_per_k: float = STEEL.expansion_per_k) -> float:
    """Growth of a bore's diameter with temperature, µm."""
    return expansion_per_k * bore_mm * rise_k * 1000


def pressure_mpa(interference_um: float, bore_mm: float, outside_mm: float, shank: Elastic) -> float:
    """Lamé pressure between a solid shank and a steel ring; 0 where there is no interference.

    Raises ValueError where the ring has no wall.
    """
    if not outside_mm > bore_mm > 0:
        raise ValueError(f"a ring of {outside_mm:g} mm has no wall around a bore of {bore_mm:g} mm")
    ring = (outside_mm**2 + bore_mm**2) / (outside_mm**2 - bore_mm**2) + STEEL.poisson
    give = ring / STEEL.young_mpa + (1 - shank.poisson) / shank.young_mpa
    return max(0.0, interference_um / 1000 / (bore_mm * give))


def relaxed_um(bore_mm: float, outside_mm: float, rpm: float, shank: Elastic) -> float:
    """Interference lost at speed, µm: growth of the ring's bore less the shank's own growth, on the diameter."""
    omega_squared = (rpm * 2 * pi / 60) ** 2
    r_i, r_o = bore_mm / 2, outside_mm / 2
    nu = STEEL.poisson
    ring_mm = (
        STEEL.density_kg_m3
        * 1e-12
        * omega_squared
        * r_i
        / (4 * STEEL.young_mpa)
        * ((1 - nu) * r_i**2 + (3 + nu) * r_o**2)
    )
    shank_mm = shank.density_kg_m3 * 1e-12 * omega_squared * r_i**3 * (1 - shank.poisson) / (4 * shank.young_mpa)
    return 2 * (ring_mm - shank_mm) * 1000


def torque_nm(pressure: float, bore_mm: float, length_mm: float, friction: float) -> float:
    """Torque a pressure (MPa) holds over a length, Nm."""
    return friction * pressure * pi * bore_mm**2 * length_mm / 2 / 1000


def pull_n(pressure: float, bore_mm: float, length_mm: float, friction: float) -> float:
    """Axial force a pressure (MPa) holds over a length, N."""
    return friction * pressure * pi * bore_mm * length_mm


def hoop_mpa(pressure: float, bore_mm: float, outside_mm: float) -> float:
    """Hoop stress at the bore of the ring, where it is highest."""
    return pressure * (outside_mm**2 + bore_mm**2) / (outside_mm**2 - bore_mm**2)


def grip(
    interference_um: Range,
    bore_mm: float,
    outside_mm: float,
    length_mm: float,
    shank: Elastic,
    rpm: float,
    friction: float,
) -> Grip:
    """Grip of the loosest and the tightest pair at a speed."""
    lost_um = relaxed_um(bore_mm, outside_mm, rpm, shank)
    pressures = Range(*(pressure_mpa(tight - lost_um, bore_mm, outside_mm, shank) for tight in interference_um))
    return Grip(
        rpm,
        pressures,
        Range(*(torque_nm(pressure, bore_mm, length_mm, friction) for pressure in pressures)),
        Range(*(pull_n(pressure, bore_mm, length_mm, friction) for pressure in pressures)),
    )


def grip_limit_rpm(interference_um: float, bore_mm: float, outside_mm: float, shank: Elastic, kept: float) -> float:
    """Speed at which only `kept` of the interference is left; 0 where there is none to begin with."""
    if interference_um <= 0:
        return 0.0
    lost_per_rpm2 = relaxed_um(bore_mm, outside_mm, 1.0, shank)
    # a shank heavier than a thin ring is stiff may grow faster than the ring: then speed tightens the fit
    return inf if lost_per_rpm2 <= 0 else sqrt((1 - kept) * interference_um / lost_per_rpm2)


def bore_below_um(bore_mm: float, rules: ShrinkRules) -> Range | None:
    """How far below nominal a cold bore of this size is ground, or None outside the shop's table."""
    for band in rules.bores:
        if bore_mm <= band.up_to_mm:
            return Range(band.least_um, band.most_um)
    return None


def work_out(
    bore_mm: float,
    below_um: Range,
    shank_um: Range,
    material: Material,
    rules: ShrinkRules,
    *,
    outside_mm: float | None,
    insert_mm: float | None,
    oal_mm: float | None = None,
    projection_mm: float | None = None,
    rpm: float | None = None,
    heats_used: int = 0,
    heat_limit: int | None = None,
) -> Shrink:
    """A shrink fit from its sizes.

    below_um: how far the cold bore is under its nominal `bore_mm`.  shank_um: deviation of the shank from that
    nominal (h6: -tolerance to 0).  outside_mm: nose diameter.  rpm: the speed it is to run at.
    """
    shank = SHANKS[material]
    interference = Range(below_um.least + shank_um.least, below_um.most + shank_um.most)
    rise_k = rules.unit_max_c - rules.ambient_c
    opening = opening_um(bore_mm, rise_k)
    needed_um = interference.most + rules.clearance_um
    needed_c = rules.ambient_c + needed_um / opening_um(bore_mm, 1.0)
    release = opening - opening_um(bore_mm, rise_k * rules.release_share, shank.expansion_per_k)
    rest = at_speed = limit = hoop = None
    if outside_mm is not None and outside_mm > bore_mm:
        limit = grip_limit_rpm(interference.least, bore_mm, outside_mm, shank, rules.grip_kept)
        hoop = hoop_mpa(pressure_mpa(interference.most, bore_mm, outside_mm, shank), bore_mm, outside_mm)
        if insert_mm is not None:
            rest = grip(interference, bore_mm, outside_mm, insert_mm, shank, 0.0, rules.friction)
            if rpm is not None:
                at_speed = grip(interference, bore_mm, outside_mm, insert_mm, shank, rpm, rules.friction)
    allowed = rules.heat_limit if heat_limit is None else heat_limit
    dial_c = ceil(needed_c / DIAL_STEP_C) * DIAL_STEP_C
    stick_out = None if insert_mm is None or oal_mm is None else oal_mm - insert_mm
    return Shrink(
        interference_um=interference,
        opening_um=opening,
        margin_um=Range(opening - needed_um, opening - interference.least - rules.clearance_um),
        release_um=release - interference.most,
        needed_c=needed_c,
        rest=rest,
        at_speed=at_speed,
        grip_limit_rpm=limit,
        hoop_mpa=hoop,
        heats_used=heats_used,
        heats_left=max(0, allowed - heats_used),
        dial=Dial(
            bore_mm,
            min(dial_c, rules.unit_max_c) if needed_c <= rules.unit_max_c else None,
            insert_mm,
            stick_out,
            None if stick_out is None or projection_mm is None else projection_mm + stick_out,
        ),
    )
