"""What to probe next: worth it, never in the past, and as good as it says."""

from __future__ import annotations

import numpy as np
import pytest
from test_cooling_posterior import AIR, BOUNDS, COMMON, HEAT, NOTHING, expected_c, hold_s, probe

from kiosk.rules.belief import Instrument
from kiosk.rules.cooling.assessment import Room, Touch, Zone, _moments, advise_bound, bound_of
from kiosk.rules.cooling.posterior import right_density, wrong_density
from kiosk.rules.cooling.unknowns import WRONG


@pytest.mark.parametrize("name", BOUNDS)
@pytest.mark.parametrize("share", [0.05, 0.5, 1.1])
def test_the_advised_reading_frees_it_as_said_if_it_is_as_cool_as_said(name: str, share: float) -> None:
    now_s = share * NOTHING[name].touch_safe_s
    nothing_s = NOTHING[name].hold_s
    found = advise_bound(BOUNDS[name], now_s)
    assert found is not None and nothing_s is not None
    assert found.at_s >= now_s and found.where in (Zone.NOSE, Zone.FLANGE, Zone.SHANK)
    assert found.free_s <= found.else_s < nothing_s
    assert 0.0 < found.saves_s < nothing_s - now_s
    cool = max(hold_s(name, Touch(found.at_s, found.where, Instrument.PROBE, found.under_c)), found.at_s)
    assert cool <= 1.06 * found.free_s


def test_where_little_is_left_to_gain_nothing_is_advised() -> None:
    nothing_s = NOTHING["air"].hold_s
    assert nothing_s is not None
    assert advise_bound(BOUNDS["air"], nothing_s - 40.0) is None
    assert advise_bound(BOUNDS["air"], nothing_s + 1.0) is None


def test_after_a_reading_the_next_one_gains_less() -> None:
    at_s, shown_c = expected_c("air")
    first = advise_bound(BOUNDS["air"], at_s)
    second = advise_bound(BOUNDS["air"], at_s + 1.0, [probe(at_s, shown_c)])
    assert first is not None
    assert second is None or second.saves_s < first.saves_s


def test_a_hold_that_only_a_reading_ends_has_no_time_to_promise() -> None:
    assert advise_bound(bound_of(COMMON, HEAT, AIR, Room(41.0, 43.0)), 600.0) is None


@pytest.mark.parametrize("name", BOUNDS)
def test_no_spot_and_no_minute_within_the_hour_would_have_saved_much_more(name: str) -> None:
    """Every spot, every three minutes, twenty readings that may come: what the hold is then, on average."""
    now_s = 0.3 * NOTHING[name].touch_safe_s
    found = advise_bound(BOUNDS[name], now_s)
    nothing_s = NOTHING[name].hold_s
    assert found is not None and nothing_s is not None
    draws = BOUNDS[name].draw(_moments(BOUNDS[name].stages, 3.0 * nothing_s))
    most_s = 0.0
    for minute in range(0, 61, 3):
        at_s = now_s + 60.0 * minute
        if at_s >= nothing_s:
            break
        shown = {zone: draws.shown(zone, np.array([at_s]))[:, 0] for zone in draws.surface.zones}
        for zone in (Zone.NOSE, Zone.FLANGE, Zone.SHANK):
            order = np.argsort(shown[zone])
            upto = np.cumsum(draws.weight[order])
            may_come = shown[zone][order][np.minimum(np.searchsorted(upto, (np.arange(20) + 0.5) / 20), len(upto) - 1)]
            elsewhere = [values for other, values in shown.items() if other is not zone]
            free = []
            for value_c in may_come.tolist():
                touch = Touch(at_s, zone, Instrument.PROBE, value_c)
                right = right_density(touch, draws.setting, shown[zone])
                wrong = wrong_density(touch, draws.setting, shown[zone], elsewhere)
                free.append(min(max(draws.kept_s((1 - WRONG) * right + WRONG * wrong), at_s), nothing_s))
            most_s = max(most_s, nothing_s - sum(free) / len(free))
    assert found.saves_s > 0.85 * most_s
