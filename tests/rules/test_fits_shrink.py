"""The shrink fit against hand calculation and against a ring solved another way."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Material
from kiosk.rules.fitting.shrink import (
    SHANKS,
    STEEL,
    BoreBand,
    Elastic,
    Range,
    ShrinkRules,
    grip_limit_rpm,
    h6_um,
    hoop_mpa,
    opening_um,
    pressure_mpa,
    pull_n,
    relaxed_um,
    torque_nm,
    work_out,
)

CARBIDE = SHANKS[Material.CARBIDE]
RULES = ShrinkRules()


@pytest.mark.parametrize(
    ("diameter_mm", "below_um"),
    [(1, 6), (3, 6), (3.01, 8), (6, 8), (6.5, 9), (10, 9), (12, 11), (18, 11), (20, 13), (30, 13), (32, 16), (50, 16)],
)
def test_h6_is_the_table_of_the_standard(diameter_mm: float, below_um: float) -> None:
    assert h6_um(diameter_mm) == below_um


@pytest.mark.parametrize("diameter_mm", [0.0, -3.0, 81.0, float("nan")])
def test_h6_is_not_made_up_outside_its_table(diameter_mm: float) -> None:
    with pytest.raises(ValueError, match="h6"):
        h6_um(diameter_mm)


def test_a_twelve_millimetre_bore_opens_by_hand_calculation() -> None:
    # 11.5e-6 /K * 12 mm * 280 K = 38.64 um
    assert opening_um(12.0, 280.0) == pytest.approx(38.64)


def test_pressure_torque_and_pull_by_hand_with_lame() -> None:
    # Carbide shank 12 mm, ring 24 mm outside, 15 um interference:
    #   (D2+d2)/(D2-d2) = (576+144)/(576-144) = 1.6667
    #   1/E_o (1.6667 + 0.3)   = 1.9667 / 210000 = 9.3651e-6
    #   1/E_i (1 - 0.22)       = 0.78   / 600000 = 1.3000e-6
    #   p = 0.015 / (12 * 10.6651e-6) = 117.205 MPa
    #   M = 0.12 * 117.205 * pi * 144 * 36 / 2 = 114 528 Nmm = 114.5 Nm
    #   F = 0.12 * 117.205 * pi * 12 * 36 = 19 088 N
    #   hoop at the bore = 117.205 * 1.6667 = 195.3 MPa
    pressure = pressure_mpa(15.0, 12.0, 24.0, CARBIDE)
    assert pressure == pytest.approx(117.205, abs=0.005)
    assert torque_nm(pressure, 12.0, 36.0, 0.12) == pytest.approx(114.53, abs=0.01)
    assert pull_n(pressure, 12.0, 36.0, 0.12) == pytest.approx(19088, abs=2)
    assert hoop_mpa(pressure, 12.0, 24.0) == pytest.approx(195.34, abs=0.01)


def test_no_interference_is_no_pressure_and_no_wall_is_an_error() -> None:
    assert pressure_mpa(-3.0, 12.0, 24.0, CARBIDE) == 0.0
    with pytest.raises(ValueError, match="no wall"):
        pressure_mpa(15.0, 12.0, 12.0, CARBIDE)


def _solved_pressure_mpa(
    interference_um: float, bore_mm: float, outside_mm: float, shank: Elastic, rpm: float, cells: int = 1500
) -> float:
    """Shank and ring as one finite-difference boundary value problem in plane stress; no Lamé in it.

    u'' + u'/r - u/r2 + (1 - nu2)/E rho w2 r = 0 in each body; u(0) = 0, same radial stress on both sides of the
    joint, a jump of half the interference there, and a free outside.
    """
    omega2 = (rpm * pi / 30) ** 2
    a, b = bore_mm / 2, outside_mm / 2
    bodies = [(shank, np.linspace(0.0, a, cells)), (STEEL, np.linspace(a, b, cells))]
    matrix = np.zeros((2 * cells, 2 * cells))
    right = np.zeros(2 * cells)
    stress = []
    for body, (stuff, r) in enumerate(bodies):
        h = r[1] - r[0]
        base = body * cells
        for at in range(1, cells - 1):
            row = base + at
            matrix[row, row - 1] = 1 / h**2 - 1 / (2 * h * r[at])
            matrix[row, row] = -2 / h**2 - 1 / r[at] ** 2
            matrix[row, row + 1] = 1 / h**2 + 1 / (2 * h * r[at])
            density = stuff.density_kg_m3 * 1e-12
            right[row] = -(1 - stuff.poisson**2) / stuff.young_mpa * density * omega2 * r[at]
        stiff = stuff.young_mpa / (1 - stuff.poisson**2)
        for end, side in ((0, 1), (cells - 1, -1)):
            line = np.zeros(2 * cells)
            line[base + end] = -1.5 * side / h
            line[base + end + side] = 2.0 * side / h
            line[base + end + 2 * side] = -0.5 * side / h
            if r[end] > 0:
                line[base + end] += stuff.poisson / r[end]
            stress.append(stiff * line)
    matrix[0, 0] = 1.0
    matrix[cells - 1] = (stress[1] - stress[2]) / STEEL.young_mpa
    matrix[cells, cells], matrix[cells, cells - 1] = 1.0, -1.0
    right[cells] = interference_um / 2000
    matrix[2 * cells - 1] = stress[3] / STEEL.young_mpa
    growth = np.linalg.solve(matrix, right)
    return float(-(stress[2] @ growth))


@pytest.mark.parametrize(
    ("bore_mm", "outside_mm", "interference_um", "material", "rpm"),
    [
        (12.0, 24.0, 15.0, Material.CARBIDE, 0.0),
        (12.0, 24.0, 15.0, Material.CARBIDE, 60000.0),
        (20.0, 33.0, 22.0, Material.CARBIDE, 40000.0),
        (25.0, 53.0, 30.0, Material.HSS, 30000.0),
        (6.0, 10.0, 5.0, Material.HSS, 0.0),
    ],
)
def test_pressure_at_rest_and_at_speed_agrees_with_a_ring_solved_by_finite_differences(
    bore_mm: float, outside_mm: float, interference_um: float, material: Material, rpm: float
) -> None:
    shank = SHANKS[material]
    left_um = interference_um - relaxed_um(bore_mm, outside_mm, rpm, shank)
    solved = _solved_pressure_mpa(interference_um, bore_mm, outside_mm, shank, rpm)
    assert pressure_mpa(left_um, bore_mm, outside_mm, shank) == pytest.approx(solved, rel=2e-4)


def test_speed_takes_grip_away_with_its_square_and_the_limit_keeps_what_is_asked() -> None:
    once = relaxed_um(20.0, 50.0, 10000.0, CARBIDE)
    assert relaxed_um(20.0, 50.0, 20000.0, CARBIDE) == pytest.approx(4 * once)
    limit = grip_limit_rpm(10.0, 20.0, 50.0, CARBIDE, kept=0.5)
    assert relaxed_um(20.0, 50.0, limit, CARBIDE) == pytest.approx(5.0)
    assert grip_limit_rpm(0.0, 20.0, 50.0, CARBIDE, kept=0.5) == 0.0


def test_a_whole_fit_by_hand() -> None:
    # Bore 12 ground 20..26 um under, shank h6 0/-11: interference 9..26 um.
    # Opening to 350 C: 11.5e-6 * 12 * 330 = 45.54 um.  Tightest pair needs 26 + 7 = 33: margin 12.54 um;
    # loosest 9 + 7 = 16: margin 29.54 um.  33 um are reached at 20 + 33 / 0.138 = 259.1 C, dialled as 260.
    # Release with the carbide at 0.6 of the rise: 45.54 - 5.5e-6 * 12 * 198 * 1000 = 32.47; less 26: 6.47 um.
    fit = work_out(
        12.0,
        Range(20.0, 26.0),
        Range(-11.0, 0.0),
        Material.CARBIDE,
        RULES,
        outside_mm=24.0,
        insert_mm=36.0,
        oal_mm=83.0,
        projection_mm=80.0,
        rpm=18000.0,
        heats_used=1990,
    )
    assert fit.interference_um == Range(9.0, 26.0)
    assert fit.opening_um == pytest.approx(45.54)
    assert fit.margin_um == pytest.approx((12.54, 29.54))
    assert fit.needed_c == pytest.approx(259.13, abs=0.01)
    assert fit.dial.temperature_c == 260.0
    assert fit.release_um == pytest.approx(6.472, abs=0.001)
    assert fit.rest is not None and fit.at_speed is not None
    # loosest pair holds 9/15 of the hand-worked 15 um case
    assert fit.rest.torque_nm.least == pytest.approx(114.53 * 9 / 15, abs=0.01)
    assert fit.rest.pull_n.most == pytest.approx(19088 * 26 / 15, abs=3)
    assert 0 < fit.at_speed.torque_nm.least < fit.rest.torque_nm.least
    assert (fit.dial.stick_out_mm, fit.dial.length_mm) == (47.0, 127.0)
    assert (fit.heats_used, fit.heats_left) == (1990, 10)


def test_high_speed_steel_that_has_warmed_up_is_seen_to_release_badly() -> None:
    through = replace(RULES, release_share=1.0)
    steel = work_out(12.0, Range(20, 26), Range(-11, 0), Material.HSS, through, outside_mm=24.0, insert_mm=36.0)
    # it grows as the bore does: nothing opens, the whole interference stays
    assert steel.release_um == pytest.approx(-26.0)


def test_what_the_unit_cannot_open_has_no_temperature_to_dial() -> None:
    cold = replace(RULES, unit_max_c=200.0)
    fit = work_out(12.0, Range(20, 26), Range(-11, 0), Material.CARBIDE, cold, outside_mm=24.0, insert_mm=36.0)
    assert fit.dial.temperature_c is None
    assert fit.margin_um.least < 0 < fit.margin_um.most


@settings(max_examples=100, deadline=None)
@given(
    bore_mm=st.floats(3, 32),
    wall=st.floats(1.2, 3.0),
    interference_um=st.floats(0.5, 60),
    rpm=st.floats(0, 60000),
    material=st.sampled_from(Material),
)
def test_grip_never_grows_with_speed_in_a_nose_of_usual_wall(
    bore_mm: float, wall: float, interference_um: float, rpm: float, material: Material
) -> None:
    shank, outside_mm = SHANKS[material], bore_mm * wall
    rest = pressure_mpa(interference_um, bore_mm, outside_mm, shank)
    turning = pressure_mpa(interference_um - relaxed_um(bore_mm, outside_mm, rpm, shank), bore_mm, outside_mm, shank)
    assert 0 <= turning <= rest


def test_the_shops_own_bores_are_used() -> None:
    from kiosk.rules.fitting.shrink import bore_below_um

    own = replace(RULES, bores=(BoreBand(20.0, 11.0, 12.0),))
    assert bore_below_um(12.0, own) == Range(11.0, 12.0)
    assert bore_below_um(21.0, own) is None
