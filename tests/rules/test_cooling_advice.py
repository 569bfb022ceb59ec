"""What to probe next: worth it, never in the past, and as good as it says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest
from test_cooling_posterior import AIR, BOUNDS, COMMON, HEAT, NOTHING, expected_c, hold_s, probe

from kiosk.rules.belief import Instrument
from kiosk.rules.cards import HoldView
from kiosk.rules.cooling.advice import Advice, advise
from kiosk.rules.cooling.assessment import Room, Touch, Zone, advise_bound, bound_of
from kiosk.rules.cooling.lasting import moments
from kiosk.rules.cooling.likelihood import right_density, wrong_density
from kiosk.rules.cooling.unknowns import WRONG
from kiosk.rules.hold import probe_next


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


@pytest.mark.parametrize("name", BOUNDS)
@pytest.mark.parametrize("share", [0.8, 0.9])
@pytest.mark.parametrize("begins_s", [0.0, 250 * 86400.0])
def test_late_in_a_hold_a_cool_reading_frees_it_at_once_and_that_is_said(
    name: str, share: float, begins_s: float
) -> None:
    """Then nearly every reading that may come frees it: what parts them is the one that does not."""
    nothing_s = NOTHING[name].hold_s
    assert nothing_s is not None
    now_s = share * nothing_s
    found = advise_bound(BOUNDS[name], now_s)
    if nothing_s - now_s < 70.0:
        return
    assert found is not None and found.at_s == found.free_s == now_s
    assert found.else_s > found.free_s + 60.0 or found.else_s == nothing_s
    watched = replace(
        found, at_s=begins_s + now_s, free_s=begins_s + found.free_s, else_s=begins_s + found.else_s
    )
    hold = HoldView(45.0, 25.0, 50.0, found.where.value, nothing_s - now_s, 0.0)
    told = probe_next(watched, hold, begins_s + now_s + 15.0)
    assert told is not None and told.say.key == "advice.now_free"


def test_where_little_is_left_to_gain_nothing_is_advised() -> None:
    nothing_s = NOTHING["air"].hold_s
    assert nothing_s is not None
    assert advise_bound(BOUNDS["air"], nothing_s - 40.0) is None
    assert advise_bound(BOUNDS["air"], nothing_s + 1.0) is None
    assert advise_bound(BOUNDS["air"], -1.0) is None, "it is not even heated"


TRIED = "kiosk.rules.cooling.advice._tried"


def advised(
    now_s: float, hold_s: float, saves_s: Mapping[float, float] | float, tolerance_k: float = 1.5
) -> tuple[Advice | None, list[float]]:
    """What is advised where a reading so long from now saves so much at the flange, less elsewhere; what was tried."""
    draws = SimpleNamespace(
        surface=SimpleNamespace(zones=(Zone.FLANGE, Zone.NOSE, Zone.TAPER)),
        shown=lambda zone, moments: np.tile(moments, (2, 1)),
    )
    moments: list[float] = []

    def tried(draws: object, shown: dict[Zone, Any], touch: Touch, until_s: float) -> Advice:
        zone, at_s = touch.zone, touch.at_s
        assert zone is not Zone.TAPER and until_s == hold_s, "nobody probes the taper"
        assert (touch.instrument, touch.tolerance_k) == (Instrument.PROBE, tolerance_k), "the shop's own probe"
        assert all((values == at_s).all() for values in shown.values())
        moments.append(at_s)
        saves = saves_s if isinstance(saves_s, float) else saves_s.get(at_s - now_s, 0.0)
        return Advice(zone, at_s, 50.0, at_s, hold_s, saves if zone is Zone.FLANGE else saves / 2)

    with patch(TRIED, tried):
        return advise(draws, now_s, hold_s, tolerance_k), sorted(set(moments))  # type: ignore[arg-type]


@pytest.mark.parametrize("now_s", [0.0, 500.0, 9e4])
def test_nothing_is_tried_after_the_hold_is_over(now_s: float) -> None:
    assert advised(now_s, now_s, 900.0)[0] is None and advised(now_s, now_s - 1.0, 900.0)[0] is None
    assert advised(now_s, now_s + 300.0, 900.0)[1] == [now_s]
    assert advised(now_s, now_s + 301.0, 900.0)[1] == [now_s, now_s + 300.0]
    every = advised(now_s, now_s + 1e5, 9000.0)[1]
    assert every == [now_s + later_s for later_s in (0.0, 300.0, 600.0, 900.0, 1200.0, 1800.0, 2700.0, 3600.0)]


@pytest.mark.parametrize("now_s", [0.0, 500.0, 9e4])
def test_a_reading_is_worth_a_walk_from_a_minute_on_and_a_twentieth_of_what_is_left(now_s: float) -> None:
    for left_s, least_s in ((1000.0, 60.0), (1200.0, 60.0), (4000.0, 200.0)):
        assert advised(now_s, now_s + left_s, least_s - 0.25)[0] is None
        found = advised(now_s, now_s + left_s, least_s)[0]
        assert found is not None and (found.where, found.at_s) == (Zone.FLANGE, now_s)


@pytest.mark.parametrize("now_s", [0.0, 500.0, 9e4])
def test_the_soonest_moment_that_saves_nine_tenths_of_the_most_is_advised(now_s: float) -> None:
    for saves_s, in_s in (
        ({0.0: 900.0, 600.0: 1000.0}, 0.0), ({0.0: 899.0, 600.0: 1000.0}, 600.0),
        ({0.0: 100.0, 300.0: 950.0, 1800.0: 1000.0, 2700.0: 990.0}, 300.0),
    ):  # fmt: skip
        found = advised(now_s, now_s + 4000.0, saves_s)[0]
        assert found is not None and found.at_s == now_s + in_s


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
    draws = BOUNDS[name].draw(moments(BOUNDS[name].stages, 3.0 * nothing_s))
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
