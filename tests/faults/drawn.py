"""What draws are made of, and a shift on a shop floor with no rules yet: `machine` and `slips` say what can be done.

`WITHOUT` (names of rules, by the environment variable of that name, parted by commas) leaves rules out, to look behind
a fault that is known.
"""

from __future__ import annotations

import os
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition

from tests.faults.shopfloor import Floor
from tests.faults.truth import HOLDERS, PLACES
from tests.faults.weeks_of_work import WORLDS, prepared

HOUR_S, DAY_S = 3600.0, 86400.0
WITHOUT = frozenset(os.environ.get("WITHOUT", "").split(","))

holders = st.sampled_from(HOLDERS)
places = st.sampled_from(PLACES)
heat_places = st.sampled_from(("Shrink station", "Sleeve 1", "Rack 1", "Air blower"))
spots = st.sampled_from(("nose", "flange", "shank"))
waits = st.sampled_from((1.0, 4.0, 20.0, 31.0, 61.0, 300.0, 1200.0, 3600.0, 4 * HOUR_S, 7 * HOUR_S))
steps = st.integers(1, 60)

done = {"steps": 0, "examples": 0}  # how much was tried in this process


def unless_left_out(name: str) -> Any:
    return precondition(lambda self: name not in WITHOUT)


class Shift(RuleBasedStateMachine):
    """A kiosk and four holders."""

    floor: Floor | None = None

    @initialize(
        world=st.sampled_from(tuple(WORLDS)),
        pin=st.booleans(),
        watched_s=st.sampled_from((5.0, HOUR_S, 9 * HOUR_S, 3 * DAY_S, 40 * DAY_S, 150 * DAY_S)),
    )
    def opens(self, world: str, pin: bool, watched_s: float) -> None:
        self.floor = Floor(prepared(world, pin), WORLDS[world], watched_s)
        done["examples"] += 1

    @property
    def it(self) -> Floor:
        assert self.floor is not None
        return self.floor

    @invariant()
    def nothing_hot_counts_as_cool(self) -> None:
        if self.floor is not None:
            self.floor.look()

    def teardown(self) -> None:
        if self.floor is not None:
            try:
                self.floor.disk_fills(None)
                self.floor.check()
            finally:
                done["steps"] += self.floor.acts
                self.floor.gone()
