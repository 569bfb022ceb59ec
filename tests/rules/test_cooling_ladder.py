"""A hold is as short as its promises allow: beside the shortest time many other holders of the same readings keep."""

from __future__ import annotations

import numpy as np
import pytest

from kiosk.bench.cooling_chance import scenes
from kiosk.bench.cooling_ladder import STEPS, rungs

SCENES = {scene.name: scene for scene in scenes()}


@pytest.mark.parametrize("name", ["HSK63_d12_air", "A40_d20_sleeve30"])
def test_a_hold_is_what_its_promises_cost_and_nothing_on_top(name: str) -> None:
    found = list(rungs(SCENES[name], 5, 2.5, 1.5))
    assert {rung.readings for rung in found} == {0, 1, 2}
    for rung in found:
        steps = [rung.held[step] for step in STEPS]
        assert steps[0] <= steps[1] and steps[2] <= 1.02 * steps[3]
    for readings in range(3):
        over = [rung.held["hold"] / rung.held["sure"] for rung in found if rung.readings == readings]
        assert 0.94 < float(np.median(over)) < 1.06
