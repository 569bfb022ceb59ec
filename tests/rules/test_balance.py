"""Permissible unbalance and grades, by ISO 21940-11."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Family, Holder, Unbalance
from kiosk.rules.fitting.balance import (
    Asked,
    MassOf,
    Spindle,
    demand,
    grade_of,
    judge,
    kept_to_rpm,
    permissible_gmm,
)
from kiosk.rules.fitting.fits import Source, SpeedLimit
from kiosk.rules.fitting.loads import cutter_mass_kg, least_cutter_mass_kg
from kiosk.rules.say import say

CUTTER = Cutter("C", "End mill 12", 12.0, 12.0, 83.0, lu_mm=26.0)
HOLDER = Holder("H", "Shrink 12", Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0, mass_kg=1.2)
MILLS = (Spindle("Mill 1", 12000.0), Spindle("Mill 2", 18000.0))
OWN = SpeedLimit(Source.CUTTER, 16000.0)


def built(holder: Holder = HOLDER, cutter: Cutter = CUTTER) -> Assembly:
    return Assembly("A", "End mill 12", holder, cutter)


def test_permissible_unbalance_by_hand() -> None:
    # G 2.5, 1.2 kg, 18 000 rpm: 9549 * 2.5 * 1.2 / 18000 = 1.5915 g mm
    assert permissible_gmm(2.5, 1.2, 18000.0) == pytest.approx(1.5915, abs=2e-4)
    # G 6.3, 4 kg, 8 000 rpm: 9549 * 6.3 * 4 / 8000 = 30.079 g mm
    assert permissible_gmm(6.3, 4.0, 8000.0) == pytest.approx(30.079, abs=2e-3)


def test_the_grade_of_a_residue_and_the_speed_it_is_good_for() -> None:
    # 3 g mm on 1.2 kg at 18 000: 3 * 18000 / (9549 * 1.2) = 4.712; G 2.5 is kept to 9549 * 2.5 * 1.2 / 3 = 9549
    answer = judge(3.0, 1.2, 18000.0, 2.5)
    assert answer.grade == pytest.approx(4.7125, abs=1e-3)
    assert not answer.ok
    assert answer.rpm_max == pytest.approx(9549.3, abs=0.1)
    assert judge(3.0, 1.2, 9500.0, 2.5).ok
    assert judge(0.0, 1.2, 40000.0, 2.5).rpm_max == float("inf")


@pytest.mark.parametrize("values", [(0.0, 1.0, 100.0), (2.5, 0.0, 100.0), (2.5, 1.0, 0.0), (2.5, 1.0, float("nan"))])
def test_values_that_mean_nothing_are_refused_by_name(values: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="must be more than 0"):
        permissible_gmm(*values)
    with pytest.raises(ValueError, match="unbalance_gmm"):
        grade_of(-1.0, 1.0, 100.0)


@given(st.floats(0.1, 100), st.floats(0.05, 30), st.floats(10, 60000))
def test_a_residue_at_the_permissible_limit_is_exactly_the_grade(grade: float, mass: float, rpm: float) -> None:
    assert grade_of(permissible_gmm(grade, mass, rpm), mass, rpm) == pytest.approx(grade)


def test_a_cutter_nobody_weighed_counts_by_its_shank_alone_so_that_never_more_is_allowed() -> None:
    # 57 mm of a 12 mm carbide shank: pi/4 * 144 * 57 mm3 * 14 500 kg/m3 = 0.0935 kg; the whole round would be 0.1361
    assert least_cutter_mass_kg(CUTTER) == pytest.approx(0.0935, abs=1e-4)
    assert least_cutter_mass_kg(replace(CUTTER, coolant=True)) == pytest.approx(0.0701, abs=1e-4)
    assert least_cutter_mass_kg(replace(CUTTER, lu_mm=None)) == 0.0
    assert least_cutter_mass_kg(replace(CUTTER, lu_mm=90.0)) == 0.0
    assert cutter_mass_kg(CUTTER) == pytest.approx(0.1361, abs=1e-4)
    unweighed = demand(built(), 2.5, OWN, (), Asked())
    assert (unweighed.mass_of, unweighed.mass_kg) == (MassOf.SHANK, pytest.approx(1.2935, abs=1e-4))
    weighed = demand(built(cutter=replace(CUTTER, wt_kg=0.128)), 2.5, OWN, (), Asked())
    assert (weighed.mass_of, weighed.mass_kg) == (MassOf.BOOK, pytest.approx(1.328))
    assert demand(built(), 2.5, OWN, (), Asked(mass_kg=1.31)).mass_of is MassOf.SCALE
    assert demand(built(replace(HOLDER, mass_kg=None)), 2.5, OWN, (), Asked()).permissible_gmm is None


@pytest.mark.parametrize(
    ("own", "spindles", "rpm", "whose"),
    [
        (OWN, (), 16000.0, say("balance.rpm_own", source="term.speed_of_cutter")),
        (OWN, MILLS, 16000.0, say("balance.rpm_own", source="term.speed_of_cutter")),
        (OWN, MILLS[:1], 12000.0, say("balance.rpm_machine", machine="Mill 1")),
        (None, MILLS, 18000.0, say("balance.rpm_machine", machine="Mill 2")),  # the fastest that may take it
        (None, (*MILLS, Spindle("Mill 3", None)), None, None),  # one that may be faster than any
        (SpeedLimit(Source.GRIP, 15000.0), (*MILLS[:1], Spindle("Mill 3", None)), 15000.0,
         say("balance.rpm_own", source="term.speed_of_grip")),
        (None, (), None, None),
    ],
)  # fmt: skip
def test_the_speed_is_the_fastest_it_may_ever_turn(
    own: SpeedLimit | None, spindles: tuple[Spindle, ...], rpm: float | None, whose: object
) -> None:
    wanted = demand(built(), 2.5, own, spindles, Asked())
    assert (wanted.rpm, wanted.rpm_of) == (rpm, whose)
    assert demand(built(), 2.5, own, spindles, Asked(rpm=9000.0)).rpm == 9000.0
    assert (wanted.permissible_gmm is None) == (rpm is None)


def test_what_a_hand_says_counts_before_the_book() -> None:
    wanted = demand(built(), 2.5, OWN, MILLS, Asked(6.3, 4000.0, 2.0))
    assert wanted.permissible_gmm == pytest.approx(9549.3 * 6.3 * 2.0 / 4000, abs=1e-3)
    assert wanted.left(3.5) == Unbalance(3.5, 6.3, 4000.0, 2.0)


def test_the_speed_a_balance_is_good_for_is_never_said_too_high() -> None:
    assert kept_to_rpm(Unbalance(3.0, 2.5, 18000.0, 1.2)) == 9549.0  # 9549.3
    assert kept_to_rpm(Unbalance(1.0, 2.5, 18000.0, 1.2)) == 18000.0  # not 28 648: nobody asked
    assert judge(3.0, 1.2, 18000.0, 2.5).kept_rpm == 9549.0
    assert kept_to_rpm(Unbalance(0.0, 2.5, 18000.0, 1.2)) == 18000.0
    for said in (Unbalance(3.0), Unbalance(3.0, 2.5, 18000.0), Unbalance(3.0, None, 18000.0, 1.2)):
        assert kept_to_rpm(said) is None
