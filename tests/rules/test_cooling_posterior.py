"""A reading of this heat counts for this heat: what it may do to a hold, and what it must not."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Coupling
from kiosk.rules.belief import Instrument
from kiosk.rules.cooling.assessment import (
    Heat,
    Room,
    Stage,
    Touch,
    Way,
    Zone,
    assess,
    assess_bound,
    bound_of,
    default_heated_mm,
    hot_after,
    last_above_s,
    predict_bound,
)
from kiosk.rules.cooling.bound import draw_of, unknown_mean, unknown_sd
from kiosk.rules.cooling.mesh import ZONES
from kiosk.rules.cooling.stand import course_of
from kiosk.rules.cooling.touches import told_apart
from kiosk.rules.outline import outline

ROOM = Room(22.0, 43.0)
COMMON = outline(Coupling.parse("HSK63"), 12, 24, 106, insert_mm=47, stickout_mm=40)
HEAT = Heat(330.0, default_heated_mm(COMMON))
AIR = (Stage(Way.FREE_AIR, 0),)
SLEEVED = (Stage(Way.FREE_AIR, 0, 20), Stage(Way.SLEEVE, 20, 50, 57.0), Stage(Way.FREE_AIR, 50))
BLOWN = (Stage(Way.FREE_AIR, 0, 15), Stage(Way.FORCED_AIR, 15, 315), Stage(Way.FREE_AIR, 315))
ALL = {"air": AIR, "sleeved": SLEEVED, "blown": BLOWN}
BOUNDS = {name: bound_of(COMMON, HEAT, stages, ROOM) for name, stages in ALL.items()}
NOTHING = {name: assess_bound(bound) for name, bound in BOUNDS.items()}


def probe(at_s: float, value_c: float, zone: Zone = Zone.NOSE, instrument: Instrument = Instrument.PROBE) -> Touch:
    return Touch(at_s, zone, instrument, value_c)


def hold_s(name: str, *touches: Touch) -> float:
    found = assess_bound(BOUNDS[name], touches).hold_s
    assert found is not None
    return found


def expected_c(name: str, share: float = 0.5, zone: Zone = Zone.NOSE) -> tuple[float, float]:
    """A moment at a share of the nominal time, and what a zone should show then."""
    at_s = share * NOTHING[name].touch_safe_s
    return at_s, predict_bound(BOUNDS[name], zone, at_s).expected_c


@pytest.mark.parametrize("name", ALL)
def test_one_probe_that_finds_what_was_expected_shortens_the_hold(name: str) -> None:
    nothing_s = NOTHING[name].hold_s
    assert nothing_s is not None
    at_s, shown_c = expected_c(name)
    assert NOTHING[name].touch_safe_s < hold_s(name, probe(at_s, shown_c)) < 0.85 * nothing_s


@pytest.mark.parametrize("name", ALL)
def test_the_better_the_probe_the_more_a_reading_of_what_was_expected_shortens(name: str) -> None:
    at_s, shown_c = expected_c(name, 0.7)
    good_s, usual_s, poor_s = (
        hold_s(name, probe(at_s, shown_c)._replace(tolerance_k=tolerance_k)) for tolerance_k in (1.5, 2.5, 5.0)
    )
    assert good_s < 0.97 * usual_s < usual_s < 0.95 * poor_s


@pytest.mark.parametrize("name", ALL)
def test_air_that_a_thermometer_measures_is_a_shorter_hold_and_air_that_is_less_known_a_longer_one(name: str) -> None:
    found = {
        sd_k: assess(COMMON, HEAT, ALL[name], ROOM._replace(ambient_sd_k=sd_k)).hold_s for sd_k in (0.8, 1.5, 2.5)
    }
    measured_s, by_hand_s, worse_s = found.values()
    assert measured_s and by_hand_s and worse_s and measured_s < 0.99 * by_hand_s < 0.98 * worse_s
    assert by_hand_s == NOTHING[name].hold_s


def test_a_thermometer_in_the_air_says_nothing_of_water() -> None:
    wet = (Stage(Way.FREE_AIR, 0, 20), Stage(Way.SLEEVE, 20, None, 57.0))
    measured = assess(COMMON, HEAT, wet, ROOM._replace(ambient_sd_k=0.8))
    assert measured == assess(COMMON, HEAT, wet, ROOM)


@pytest.mark.parametrize("name", ALL)
def test_the_hotter_a_believable_reading_the_longer_the_hold(name: str) -> None:
    at_s, shown_c = expected_c(name)
    seen = predict_bound(BOUNDS[name], Zone.NOSE, at_s)
    assert seen.spread_k is not None
    holds = [hold_s(name, probe(at_s, shown_c + step * seen.spread_k)) for step in (-0.6, 0.0, 0.6, 1.5, 2.5)]
    assert holds == sorted(holds)


@pytest.mark.parametrize("name", ["sleeved", "blown"])
def test_a_reading_colder_than_is_likely_is_believed_less(name: str) -> None:
    at_s, shown_c = expected_c(name)
    seen = predict_bound(BOUNDS[name], Zone.NOSE, at_s)
    assert seen.spread_k is not None
    likely = hold_s(name, probe(at_s, shown_c - 0.6 * seen.spread_k))
    assert hold_s(name, probe(at_s, shown_c - 2.0 * seen.spread_k)) > likely


def test_a_reading_hotter_than_anything_expected_lengthens_the_hold() -> None:
    nothing_s = NOTHING["air"].hold_s
    at_s, shown_c = expected_c("air")
    seen = predict_bound(BOUNDS["air"], Zone.NOSE, at_s)
    assert nothing_s is not None and seen.spread_k is not None
    assert hold_s("air", probe(at_s, shown_c + 2.7 * seen.spread_k)) > nothing_s


@pytest.mark.parametrize("name", ALL)
def test_a_second_reading_minutes_later_shortens_it_again_and_infrared_says_less_than_a_probe(name: str) -> None:
    early_s, early_c = expected_c(name, 0.4)
    late_s, late_c = expected_c(name, 0.8)
    one_s = hold_s(name, probe(early_s, early_c))
    assert hold_s(name, probe(early_s, early_c), probe(late_s, late_c)) < one_s
    assert hold_s(name, probe(early_s, early_c, instrument=Instrument.INFRARED)) > one_s


@pytest.mark.parametrize("zone", [Zone.FLANGE, Zone.SHANK])
def test_every_spot_says_something(zone: Zone) -> None:
    at_s, shown_c = expected_c("air", zone=zone)
    nothing_s = NOTHING["air"].hold_s
    assert nothing_s is not None
    assert hold_s("air", probe(at_s, shown_c, zone)) < nothing_s


def test_what_to_expect_of_the_next_reading_is_known_better_after_one() -> None:
    at_s, shown_c = expected_c("sleeved", 0.4)
    before = predict_bound(BOUNDS["sleeved"], Zone.NOSE, 2 * at_s)
    after = predict_bound(BOUNDS["sleeved"], Zone.NOSE, 2 * at_s, [probe(at_s, shown_c)])
    assert before.spread_k is not None and after.spread_k is not None
    assert after.spread_k < 0.6 * before.spread_k
    assert after.usual_c == before.usual_c, "what is learnt from it is told from before any reading"


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("value_c", [6.0, 24.0, 31.0])
def test_a_reading_no_such_holder_can_show_shortens_next_to_nothing(name: str, value_c: float) -> None:
    nothing_s = NOTHING[name].hold_s
    assert nothing_s is not None
    at_s = 0.15 * NOTHING[name].touch_safe_s
    assert hold_s(name, probe(at_s, value_c)) > 0.85 * nothing_s
    assert hold_s(name, probe(at_s, value_c), probe(at_s + 8.0, value_c)) > 0.85 * nothing_s


@pytest.mark.parametrize("name", ALL)
def test_where_no_drawn_holder_fits_the_readings_nothing_is_shortened(name: str) -> None:
    nothing_s = NOTHING[name].hold_s
    assert nothing_s is not None
    safe_s = NOTHING[name].touch_safe_s
    told = ((0.3, 200.0), (0.5, 40.0), (0.7, 150.0))
    at_odds = [probe(share * safe_s, value_c)._replace(sure=True) for share, value_c in told]
    assert hold_s(name, *at_odds) >= nothing_s
    assert hot_after(BOUNDS[name], 0.8 * safe_s, at_odds) == 1.0


def test_what_was_read_before_it_began_to_cool_says_nothing() -> None:
    assert hold_s("air", probe(0.0, 60.0), probe(-40.0, 60.0)) == NOTHING["air"].hold_s


def test_a_probe_left_where_it_is_counts_once_a_minute_and_by_its_hottest() -> None:
    at_s, shown_c = expected_c("air")
    left = [probe(at_s + second, shown_c - 0.1 * second) for second in range(40)]
    assert told_apart(left) == [left[0]]
    assert hold_s("air", *left) == hold_s("air", left[0])


def test_a_logger_left_on_the_holder_says_no_more_of_the_level_than_one_reading_and_how_it_falls_besides() -> None:
    at_s, _ = expected_c("air")
    usual = [(at_s + second, NOTHING["air"].now(at_s + second).hottest_c - 2.0) for second in range(1800)]
    row = told_apart([probe(*each) for each in usual])
    assert len(row) == 2 and all(touch.alike == 2 for touch in row)
    by_hand = [probe(*usual[0]), probe(*usual[-1])]
    assert all(touch.alike == 1 for touch in told_apart(by_hand))
    assert hold_s("air", *by_hand) <= hold_s("air", *(probe(*each) for each in usual))


def test_what_a_logger_shows_hotter_than_before_is_not_thinned_out() -> None:
    at_s, shown_c = expected_c("air")
    falls = [probe(at_s + 70.0 * step, shown_c - step) for step in range(8)]
    rose = probe(at_s + 280.0, shown_c + 12.0)
    assert rose._replace(alike=3) in told_apart([*falls[:4], rose, *falls[5:]])


@settings(max_examples=12, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([600.0, 900.0, 1500.0]),
            st.floats(35, 140),
            st.sampled_from([Zone.NOSE, Zone.FLANGE, Zone.SHANK]),
            st.sampled_from(list(Instrument)),
        ),
        max_size=4,
    ),
    st.randoms(),
)
def test_the_same_readings_in_any_order_are_the_same_hold(
    readings: list[tuple[float, float, Zone, Instrument]], shuffled: object
) -> None:
    touches = [probe(at_s, value_c, zone, instrument) for at_s, value_c, zone, instrument in readings]
    mixed = list(touches)
    shuffled.shuffle(mixed)  # type: ignore[attr-defined]
    assert assess_bound(BOUNDS["air"], touches) == assess_bound(BOUNDS["air"], mixed)


def test_a_hold_worked_out_anew_is_the_same_hold() -> None:
    touches = [probe(*expected_c("sleeved"))]
    once = assess(COMMON, HEAT, SLEEVED, ROOM, None, touches)
    assert once == assess(COMMON, HEAT, SLEEVED, ROOM, None, touches) == assess_bound(BOUNDS["sleeved"], touches)


@settings(max_examples=15, deadline=None)
@given(st.floats(240, 360), st.floats(2, 40), st.sampled_from(list(ALL)))
def test_more_heat_is_never_a_shorter_hold(temp_c: float, more_c: float, name: str) -> None:
    holds = [
        assess(COMMON, Heat(heat_c, HEAT.length_mm), ALL[name], ROOM).hold_s for heat_c in (temp_c, temp_c + more_c)
    ]
    assert holds[0] is not None and holds[1] is not None
    assert holds[1] >= holds[0] - 1


@pytest.mark.parametrize("name", ALL)
def test_of_holders_drawn_and_probed_once_hardly_any_is_released_too_early(name: str) -> None:
    spread, stages = unknown_sd(COMMON), ALL[name]
    early, ratios = 0, []
    for seed in range(60):
        rng = np.random.default_rng([seed, 77])
        course = course_of(COMMON, HEAT, stages, ROOM, draw_of(unknown_mean() + spread * rng.standard_normal(8)))
        true_s = last_above_s(course, ROOM.limit_c - course.ambient_c)
        at_s = float(rng.uniform(0.3, 0.7)) * NOTHING[name].touch_safe_s
        nose_k = float(course.skin(np.array([at_s]))[course.mesh.zone == ZONES.index(Zone.NOSE), 0].max())
        value_c = course.ambient_c + nose_k + Instrument.PROBE.noise_k(nose_k) * float(rng.standard_normal())
        found_s = hold_s(name, probe(at_s, value_c))
        early += true_s > max(found_s, at_s)
        ratios.append(found_s / true_s)
    nothing_s = NOTHING[name].hold_s
    assert nothing_s is not None
    assert early <= 1
    assert np.median(ratios) < 2.0


def test_the_surface_agrees_with_the_solver_where_nobody_solved() -> None:
    spread = unknown_sd(COMMON)
    for stages in (AIR, SLEEVED):
        bound = bound_of(COMMON, HEAT, stages, ROOM)
        times = np.unique(np.concatenate([np.linspace(60, 600, 30), np.geomspace(600, 9000, 90)]))
        draws = bound.draw(times)
        for seed in range(12):
            unknown = unknown_mean() + spread * np.random.default_rng(seed).standard_normal(8)
            course = course_of(COMMON, HEAT, stages, ROOM, draw_of(unknown))
            solved_c = course.ambient_c + course.hottest(times)
            values = unknown[list(draws.setting.moved)][None]
            drawn_c = ROOM.ambient_c + unknown[-1] + np.exp(draws.hottest(values)[0])
            close = (solved_c > 35) & (solved_c < 150)
            excess_k = solved_c[close] - course.ambient_c
            assert np.abs((drawn_c[close] - solved_c[close]) / excess_k - 0.01).max() < 0.05, "guarded by 1 %"


def test_one_assessment_costs_little_enough_to_be_made_with_every_fact() -> None:
    touches = [probe(*expected_c("blown"))]
    best_s = math.inf
    for _ in range(5):
        start_s = time.process_time()
        assess(COMMON, HEAT, BLOWN, ROOM, None, touches)
        best_s = min(best_s, time.process_time() - start_s)
    assert best_s < 0.12
