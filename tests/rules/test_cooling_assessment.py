"""What an assessment says between its points, and when a reading ends a hold by it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.belief import Verdict
from kiosk.rules.cooling.assessment import Assessment, Zone, reading_ends_hold

TIMES = (0.0, 10.0, 30.0, 70.0)
HOT, LOW, HIGH = (300.0, 200.0, 100.0, 60.0), (280.0, 180.0, 90.0, 50.0), (320.0, 230.0, 120.0, 80.0)
RISE, GROWTH = (4.0, 12.0, 2.0, 0.0), (80.0, 60.0, -10.0, 0.0)
WHERE = (Zone.NOSE, Zone.FLANGE, Zone.TAPER, Zone.SHANK)
FOUND = Assessment(23.0, 43.0, 50.0, 60.0, 55.0, None, TIMES, HOT, LOW, HIGH, RISE, GROWTH, WHERE)


@given(st.one_of(st.sampled_from([-5.0, *TIMES, 71.0, 1e6]), st.floats(-20.0, 100.0)))
def test_between_its_points_it_goes_straight_and_beyond_them_it_stays(at_s: float) -> None:
    now = FOUND.now(at_s)
    for value, values in ((now.hottest_c, HOT), (now.low_c, LOW), (now.high_c, HIGH)):
        assert value == pytest.approx(float(np.interp(at_s, TIMES, values)))
    assert FOUND.length_error_um(at_s) == pytest.approx(float(np.interp(at_s, TIMES, GROWTH)), abs=1e-9)
    passed = max([0, *(at for at, since_s in enumerate(TIMES) if since_s <= at_s)])
    assert now.where is WHERE[passed]
    rises = float(np.interp(at_s, TIMES, RISE))
    assert FOUND.rises_k(at_s) == pytest.approx(max(RISE[passed], rises)), "never less than where it was last known"


@pytest.mark.parametrize("at_s", [0.0, 10.0, 35.0, 70.0])
def test_a_reading_ends_a_hold_at_the_hottest_spot_with_what_it_still_rises_added(at_s: float) -> None:
    zone, least_c = FOUND.now(at_s).where.read_at, 43.0 - FOUND.rises_k(at_s)
    for verdict in (Verdict.AGREES, Verdict.CONFIRMED):
        assert reading_ends_hold(FOUND, at_s, zone, least_c, verdict)
        assert not reading_ends_hold(FOUND, at_s, zone, least_c + 0.01, verdict)
    assert not reading_ends_hold(FOUND, at_s, zone, least_c, Verdict.QUESTIONED)
    others = [other for other in (Zone.NOSE, Zone.FLANGE, Zone.SHANK) if other is not zone]
    assert not any(reading_ends_hold(FOUND, at_s, other, least_c, Verdict.AGREES) for other in others)
    assert not any(reading_ends_hold(FOUND, at_s, zone, no, Verdict.AGREES) for no in (math.nan, math.inf, -math.inf))
    assert reading_ends_hold(FOUND, at_s, Zone.TAPER, least_c, Verdict.AGREES) is (zone is Zone.FLANGE)
