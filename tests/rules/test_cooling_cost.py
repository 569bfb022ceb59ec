"""What one hold costs, counted: how many holders are solved, through how many tangents, how often draws are made.

Times depend on what else a machine does; these numbers do not, and what makes a hold dearer raises one of them.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import pytest

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.cooling import flow, surface
from kiosk.rules.cooling.assessment import Way
from kiosk.rules.cooling.posterior import Draws
from kiosk.rules.hold_cases import assessment
from kiosk.rules.hold_facts import Earlier, HoldFacts, HoldRules, Reading, Stay
from tests.rules.test_cooling_figures import ROOM

RULES = HoldRules(ROOM, 330.0)
HELD_BY = Coupling.parse("HSK63"), Clamping.SHRINK_FIT
SLIM = Holder("h", "h", *HELD_BY, 6.0, nose_mm=21.0, projection_mm=80.0)
BUILT = Assembly("a", "a", SLIM, Cutter("c", "c", 6.0, 6.0, 58.0), 36.0)
DAYS_40_S = 40 * 86_400.0
BEFORE = Earlier(None, None, None, (RULES.values,), (Stay("station", 0.0),), 40.0, 0.0, BUILT.key)


def held(way: Way, heats: int, read: bool, begun_s: float) -> HoldFacts:
    """On the coil for at most 20 s, then put to its place."""
    readings = (Reading(begun_s + 80.0, "nose", 70.0, "probe", "agrees"),) if read else ()
    stays = (Stay("station", begun_s), Stay("place", begun_s + 20.0, way.value))
    facts = HoldFacts(SLIM, BUILT, begun_s, begun_s, None, None, stays, readings)
    if heats == 1:
        return facts
    return replace(facts, body_c=300.0, heats=heats, earlier=(BEFORE,) * (heats - 1))


def counted(facts: HoldFacts) -> Counter[str]:
    """What is solved and drawn for one assessment from nothing."""
    found: Counter[str] = Counter()
    space, stage, fitted = flow._space, flow._stage, surface.Surface._fit
    drawn = Draws.__init__

    def solves(mesh: Any, state: Any, *rest: Any) -> Any:
        found["solved"] += len(state)
        return space(mesh, state, *rest)

    def tangents(*asked: Any) -> Any:
        pieces = stage(*asked)
        found["tangents"] += len(pieces)
        return pieces

    def draws(self: Draws, *asked: Any) -> None:
        found["draws"] += 1
        drawn(self, *asked)

    def fits(self: surface.Surface, times_s: Any, parts: Any) -> Any:
        found["fitted moments"] += len(times_s) * len(parts)
        return fitted(self, times_s, parts)

    with (
        patch.object(flow, "_space", solves), patch.object(flow, "_stage", tangents),
        patch.object(Draws, "__init__", draws), patch.object(surface.Surface, "_fit", fits),
    ):  # fmt: skip
        assessment(facts, RULES, None)
    return found


@pytest.mark.parametrize(
    ("way", "heats", "read", "most"),
    [
        (Way.FREE_AIR, 4, True, (21, 45, 1, 736)), (Way.FORCED_AIR, 4, False, (49, 41, 1, 732)),
        (Way.FORCED_AIR, 4, True, (123, 83, 3, 2208)), (Way.MIST, 2, True, (123, 21, 3, 2208)),
        (Way.SLEEVE, 1, True, (83, 30, 2, 1472)), (Way.SLEEVE, 4, False, (102, 94, 2, 1464)),
        (Way.SLEEVE, 4, True, (178, 126, 6, 2944)),
    ],
    ids=lambda value: getattr(value, "value", None),
)  # fmt: skip
@pytest.mark.parametrize("begun_s", [6 * 3600.0, DAYS_40_S])
def test_a_hold_is_solved_no_more_often_than_it_was(
    way: Way, heats: int, read: bool, most: tuple[int, ...], begun_s: float
) -> None:
    """From nothing, as after a restart: what is dearest in each way."""
    found = counted(held(way, heats, read, begun_s))
    spent = tuple(found[name] for name in ("solved", "tangents", "draws", "fitted moments"))
    assert all(here <= allowed for here, allowed in zip(spent, most, strict=True)), (spent, most)
    assert min(spent) > 0, "counted at all"
