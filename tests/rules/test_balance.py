"""Permissible unbalance and grades, by ISO 21940-11."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.fitting.balance import grade_of, judge, permissible_gmm


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
