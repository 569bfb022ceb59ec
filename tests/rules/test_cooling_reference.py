"""The cooling model against solutions made without it."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import axisymmetric
import numpy as np
import pytest
from cooling_examples import CASES

from kiosk.rules.cooling.case import Case, case_report

REFERENCE = Path(__file__).parents[3] / "shared" / "reference" / "cooling"
FILES = sorted(REFERENCE.glob("*.json"))


def accept(case: dict[str, Any], safe_s: float, curve: np.ndarray) -> None:
    """Never short, at most 15 % (and 20 s) long; the hottest point within -3/+10 K from a minute on."""
    report = case_report(Case.from_json(case))
    assert safe_s <= report.touch_safe_s <= 1.15 * safe_s
    assert safe_s >= 100 or report.touch_safe_s <= safe_s + 20
    ours = np.array(report.curve)
    late = curve[curve[:, 0] >= 60]
    off = np.interp(late[:, 0], ours[:, 0], ours[:, 1]) - late[:, 1]
    assert np.all(off >= -3) and np.all(off <= 10)
    assert report.hold_s is not None and report.hold_s >= report.touch_safe_s


@pytest.mark.skipif(not FILES, reason="the reference solutions are not beside this checkout")
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_reference_case_is_met_on_the_warm_side(file: Path) -> None:
    data = json.loads(file.read_text())
    accept(data["case"], data["reference"]["safe_s"], np.array(data["reference"]["curve_s_hottest_c_mean_c"])[:, :2])
    mass_kg = case_report(Case.from_json(data["case"])).mass_kg
    assert math.isclose(mass_kg, data["reference"]["mass_kg"], rel_tol=0.015)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_a_case_solved_a_second_way_is_met_on_the_warm_side(case: dict[str, Any]) -> None:
    solution = axisymmetric.solve(case)
    accept(case, solution.safe_s, solution.curve)


@pytest.mark.skipif(not FILES, reason="the reference solutions are not beside this checkout")
def test_the_second_way_agrees_with_the_reference_itself() -> None:
    data = json.loads((REFERENCE / "taper40_d20_sleeve60.json").read_text())
    solution = axisymmetric.solve(data["case"], until_s=data["reference"]["safe_s"] + 5)
    assert math.isclose(solution.safe_s, data["reference"]["safe_s"], rel_tol=0.01)
    for time_s, hottest_c, _ in data["reference"]["curve_s_hottest_c_mean_c"]:
        if time_s <= data["reference"]["safe_s"]:
            assert abs(np.interp(time_s, *solution.curve.T) - hottest_c) < 0.2
