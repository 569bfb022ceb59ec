"""Holds: what the kiosk would enforce, what a reading may end, and when to take it out of the sleeve."""

from __future__ import annotations

import copy
import math
from typing import Any

import numpy as np
import pytest
from cooling_examples import CASES
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import SIZES, Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.belief import Instrument, Lesson, Verdict
from kiosk.rules.cooling.assessment import (
    Assessment,
    CoolingError,
    Heat,
    Room,
    Stage,
    Way,
    Zone,
    assess,
    bound_of,
    default_heated_mm,
    last_above_s,
    predict_bound,
    reading_ends_hold,
    touch_safe_s,
)
from kiosk.rules.cooling.bound import draw_of, unknown_mean, unknown_sd
from kiosk.rules.cooling.case import Case, case_report
from kiosk.rules.cooling.stand import course_of
from kiosk.rules.hold_cases import assessment
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Stay
from kiosk.rules.lessons import Heats
from kiosk.rules.outline import Profile, outline

ROOM = Room(22.0, 43.0)
SPINDLES = [Coupling(family, size) for family, sizes in SIZES.items() for size in sizes]
COMMON = outline(Coupling.parse("HSK63"), 12, 24, 106, insert_mm=47, stickout_mm=40)
HEAT = Heat(330.0, default_heated_mm(COMMON))


def sleeved(long_s: float | None) -> tuple[Stage, ...]:
    """Ten seconds at the station, then the sleeve, then the rack (or the sleeve for good)."""
    stages: tuple[Stage, ...] = (Stage(Way.FREE_AIR, 0, 10),)
    if long_s is None:
        return (*stages, Stage(Way.SLEEVE, 10, None, 55.0))
    return (*stages, Stage(Way.SLEEVE, 10, 10 + long_s, 55.0), Stage(Way.FREE_AIR, 10 + long_s))


def taken_out(stages: tuple[Stage, ...], at_s: float) -> tuple[Stage, ...]:
    """The same stages, but from `at_s` on in free air."""
    before = [stage for stage in stages if stage.start_s < at_s]
    ended = [stage._replace(end_s=min(stage.end_s if stage.end_s is not None else at_s, at_s)) for stage in before]
    return (*ended, Stage(Way.FREE_AIR, at_s))


AIR = (Stage(Way.FREE_AIR, 0),)


@pytest.fixture(scope="module")
def in_air() -> Assessment:
    return assess(COMMON, HEAT, AIR, ROOM)


def test_a_hold_is_never_shorter_than_the_nominal_time_and_measuring_comes_last(in_air: Assessment) -> None:
    assert in_air.hold_s is not None
    assert in_air.touch_safe_s < in_air.hold_s
    assert in_air.touch_safe_s < in_air.measure_ready_s


def test_free_air_needs_half_an_hour_a_short_dip_minutes_and_a_long_one_seconds_more() -> None:
    times = [touch_safe_s(COMMON, HEAT, stages, ROOM) for stages in (AIR, sleeved(30), sleeved(120))]
    assert 1500 < times[0] < 3000
    assert 240 < times[1] < 900
    assert times[2] < 140


@settings(max_examples=25)
@given(st.floats(5, 200), st.floats(1, 150))
def test_longer_in_the_sleeve_is_never_a_longer_hold(first_s: float, more_s: float) -> None:
    short = touch_safe_s(COMMON, HEAT, sleeved(first_s), ROOM)
    assert touch_safe_s(COMMON, HEAT, sleeved(first_s + more_s), ROOM) <= short + 1


@settings(max_examples=25)
@given(st.floats(200, 380), st.floats(0, 40), st.floats(15, 30), st.floats(0, 5))
def test_more_heat_and_a_warmer_shop_are_never_a_shorter_hold(
    temp_c: float, more_c: float, ambient_c: float, warmer_k: float
) -> None:
    one = touch_safe_s(COMMON, Heat(temp_c, HEAT.length_mm), sleeved(40), Room(ambient_c, 43.0))
    two = touch_safe_s(COMMON, Heat(temp_c + more_c, HEAT.length_mm), sleeved(40), Room(ambient_c + warmer_k, 43.0))
    assert two >= one - 1


def test_of_holders_drawn_as_the_unknowns_say_fewer_than_one_in_a_hundred_is_released_too_early() -> None:
    rng = np.random.default_rng(11)
    spread = unknown_sd(COMMON)
    early, count = 0, 100
    for stages in (AIR, sleeved(30), sleeved(90)):
        hold_s = assess(COMMON, HEAT, stages, ROOM).hold_s
        assert hold_s is not None
        for _ in range(count):
            draw = draw_of(unknown_mean() + spread * rng.standard_normal(len(spread)))
            course = course_of(COMMON, HEAT, stages, ROOM, draw)
            early += last_above_s(course, ROOM.limit_c - course.ambient_c) > hold_s
    assert early <= 0.01 * 3 * count


def test_numbers_nobody_gave_make_the_hold_longer() -> None:
    known = outline(Coupling.parse("HSK63"), 32, 44, 160, insert_mm=62, stickout_mm=128)
    guessed = outline(Coupling.parse("HSK63"), 32, 44, 160)
    holds = [assess(profile, Heat(330, 66), AIR, ROOM).hold_s for profile in (known, guessed)]
    assert holds[0] is not None and holds[1] is not None
    assert holds[1] > holds[0]


def test_a_holder_heated_again_while_warm_takes_longer() -> None:
    again = Heat(HEAT.temp_c, HEAT.length_mm, body_c=60.0)
    assert touch_safe_s(COMMON, again, AIR, ROOM) > touch_safe_s(COMMON, HEAT, AIR, ROOM)


def test_taking_it_out_when_the_countdown_says_so_warms_nothing_above_the_limit() -> None:
    assessment = assess(COMMON, HEAT, sleeved(None), ROOM)
    assert assessment.take_out_s is not None
    out = taken_out(sleeved(None), assessment.take_out_s)
    assert touch_safe_s(COMMON, HEAT, out, ROOM) <= assessment.take_out_s
    early = taken_out(sleeved(None), 25.0)
    assert touch_safe_s(COMMON, HEAT, early, ROOM) > assessment.take_out_s


def test_in_air_there_is_nothing_to_take_out(in_air: Assessment) -> None:
    assert in_air.take_out_s is None


def test_taken_out_early_the_model_goes_on_in_air_and_put_back_it_goes_on_again() -> None:
    out_s = touch_safe_s(COMMON, HEAT, taken_out(sleeved(None), 30.0), ROOM)
    back = (*taken_out(sleeved(None), 30.0)[:-1], Stage(Way.FREE_AIR, 30, 50), Stage(Way.SLEEVE, 50, None, 55.0))
    assert touch_safe_s(COMMON, HEAT, back, ROOM) < out_s


def test_the_band_holds_the_nominal_and_closes_with_time(in_air: Assessment) -> None:
    for at_s in (0.0, 1.0, 77.0, 900.0, 1e6):
        now = in_air.now(at_s)
        assert now.low_c <= now.hottest_c <= now.high_c
    early, late = in_air.now(60.0), in_air.now(3000.0)
    assert early.high_c - early.low_c > late.high_c - late.low_c
    assert early.where in (Zone.NOSE, Zone.SHANK)


def test_the_length_error_is_what_alpha_and_temperature_make_of_the_gauge_length() -> None:
    even = Heat(42.0, COMMON.length_mm, body_c=42.0)
    assessment = assess(COMMON, even, AIR, ROOM)
    steel_um = (COMMON.gauge_z_mm - 47) * 11.5e-6 * 20e3
    cutter_um = 40 * 5.5e-6 * 20e3
    both_um = 47 * 11.5e-6 * 20e3
    length_um = assessment.length_error_um(0.0)
    assert steel_um + cutter_um + 47 * 5.5e-6 * 20e3 < length_um < steel_um + cutter_um + both_um


def test_ready_to_measure_means_under_the_tolerance_from_then_on(in_air: Assessment) -> None:
    assert in_air.length_error_um(in_air.measure_ready_s) <= ROOM.tolerance_um + 0.2
    assert in_air.length_error_um(in_air.measure_ready_s * 0.9) > ROOM.tolerance_um
    loose = assess(COMMON, HEAT, AIR, Room(22.0, 43.0, tolerance_um=10.0))
    assert loose.measure_ready_s < in_air.measure_ready_s


def test_a_cool_reading_at_the_hottest_point_ends_the_hold(in_air: Assessment) -> None:
    at_s = in_air.touch_safe_s * 0.95
    hottest = in_air.now(at_s).where
    assert reading_ends_hold(in_air, at_s, hottest, 38.0, Verdict.AGREES)
    assert not reading_ends_hold(in_air, at_s, hottest, 44.0, Verdict.AGREES)


def test_a_cool_reading_elsewhere_or_a_doubted_one_ends_nothing(in_air: Assessment) -> None:
    at_s = in_air.touch_safe_s * 0.95
    hottest = in_air.now(at_s).where.read_at
    elsewhere = next(zone for zone in (Zone.NOSE, Zone.FLANGE, Zone.SHANK) if zone is not hottest)
    assert not reading_ends_hold(in_air, at_s, elsewhere, 30.0, Verdict.AGREES)
    assert not reading_ends_hold(in_air, at_s, hottest, 30.0, Verdict.QUESTIONED)


def test_a_cool_reading_right_after_a_dip_ends_nothing_while_the_skin_will_warm_again() -> None:
    assessment = assess(COMMON, HEAT, sleeved(35), ROOM)
    just_out_s = 46.0
    assert assessment.rises_k(just_out_s) > 0 or assessment.now(just_out_s).hottest_c > ROOM.limit_c
    long = assess(COMMON, HEAT, sleeved(None), ROOM)
    assert long.take_out_s is not None
    in_sleeve = assess(COMMON, HEAT, sleeved(20), ROOM)
    assert not reading_ends_hold(in_sleeve, 29.0, in_sleeve.now(29.0).where, 42.5, Verdict.AGREES)


def test_heats_read_before_shorten_the_hold_and_hot_ones_lengthen_it(in_air: Assessment) -> None:
    def after(off_k: float) -> float:
        heats = Heats()
        for heating in range(1, 5):
            seen = predict_bound(bound_of(COMMON, HEAT, AIR, ROOM, heats.known("12", {})), Zone.NOSE, 1500.0)
            heats.add(
                Lesson(
                    1e6 * heating,
                    Zone.NOSE,
                    Instrument.PROBE,
                    seen.expected_c + off_k,
                    seen,
                    type="12",
                    heating=heating,
                )
            )
        hold_s = assess(COMMON, HEAT, AIR, ROOM, heats.known("12", {})).hold_s
        assert hold_s is not None
        return hold_s

    assert in_air.hold_s is not None
    assert after(-2.0) < after(0.0) < in_air.hold_s
    assert after(3.0) > after(0.0)


def test_a_prediction_says_how_it_hangs_on_heat_and_every_film_it_passed() -> None:
    seen = predict_bound(bound_of(COMMON, HEAT, sleeved(30), ROOM), Zone.NOSE, 600.0)
    assert seen.by_heat_k > 0 > seen.by_film_k
    assert seen.other_sd_k > 0 and seen.spread_k is not None and seen.spread_k > seen.other_sd_k / 2
    assert {film.way for film in seen.films} == {Way.FREE_AIR, Way.SLEEVE}
    assert all(film.by_k < 0 for film in seen.films)
    warm = Heats([Lesson(0, Zone.NOSE, Instrument.PROBE, seen.expected_c + 8, seen, type="12", heating=1)])
    again = predict_bound(bound_of(COMMON, HEAT, sleeved(30), ROOM, warm.known("12", {})), Zone.NOSE, 600.0)
    assert again.expected_c > seen.expected_c


@pytest.mark.parametrize(
    ("heat", "stages", "room", "field"),
    [
        (Heat(math.nan, 50), AIR, ROOM, "heat.temp_c"),
        (Heat(10.0, 50), AIR, ROOM, "heat.temp_c"),
        (HEAT, (), ROOM, "stages"),
        (HEAT, (Stage(Way.FREE_AIR, 5),), ROOM, "stages[0].start_s"),
        (HEAT, (Stage(Way.FREE_AIR, 0), Stage(Way.MIST, 9)), ROOM, "stages[0].end_s"),
        (HEAT, (Stage(Way.FREE_AIR, 0, 9), Stage(Way.MIST, 8)), ROOM, "stages[1].start_s"),
        (HEAT, (Stage(Way.SLEEVE, 0, None, math.inf),), ROOM, "stages[0].wet_length_mm"),
        (HEAT, AIR, Room(43.0, 43.0), "limit_c"),
    ],
)
def test_data_that_cannot_bound_a_temperature_are_named(
    heat: Heat, stages: tuple[Stage, ...], room: Room, field: str
) -> None:
    with pytest.raises(CoolingError) as caught:
        assess(COMMON, heat, stages, room)
    assert caught.value.field == field


def test_a_last_stage_with_an_end_is_followed_by_free_air_and_not_by_nothing() -> None:
    ended = (Stage(Way.FREE_AIR, 0, 10), Stage(Way.SLEEVE, 10, 40, 55.0))
    assert touch_safe_s(COMMON, HEAT, ended, ROOM) == touch_safe_s(COMMON, HEAT, sleeved(30), ROOM)


def test_a_shop_almost_as_warm_as_the_limit_leaves_only_a_reading() -> None:
    assert assess(COMMON, HEAT, AIR, Room(41.0, 43.0)).hold_s is None


def test_an_empty_holder_cools_too() -> None:
    empty = outline(Coupling.parse("HSK63"), 12, 24, 106, insert_mm=47, with_tool=False)
    assessment = assess(empty, Heat(330, default_heated_mm(empty)), AIR, ROOM)
    assert assessment.hold_s is not None and 600 < assessment.touch_safe_s < 3600


def test_a_sleeve_whose_length_nobody_entered_is_no_bath() -> None:
    holder = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)

    def hold_s(wet_length_mm: float | None) -> float:
        stays = (Stay("station", 0.0), Stay("sleeve", 20.0, "sleeve", wet_length_mm), Stay("rack", 50.0, "free_air"))
        facts = HoldFacts(holder, None, 0.0, 0.0, 330.0, 50.0, stays)
        found = assessment(facts, HoldRules(ROOM, 330.0), None).hold_s
        assert found is not None
        return found

    assert hold_s(None) == hold_s(50.0) > hold_s(150.0)


numbers = st.one_of(st.none(), st.floats(-5, 400), st.just(math.nan), st.just(0.0))


@settings(max_examples=60)
@given(
    st.sampled_from(SPINDLES), st.floats(0, 80), numbers, numbers, numbers, st.sampled_from([None, "sleeve", "mist"])
)
def test_whatever_stands_on_record_there_is_a_hold_and_it_is_no_shorter_than_the_nominal_time(
    spindle: Coupling,
    bore_mm: float,
    nose_mm: float | None,
    projection_mm: float | None,
    insert_mm: float | None,
    way: str | None,
) -> None:
    holder = Holder("k1", "any", spindle, Clamping.SHRINK_FIT, bore_mm, nose_mm=nose_mm, projection_mm=projection_mm)
    cutter = Cutter("c1", "mill", dc_mm=12, dmm_mm=12, oal_mm=80)
    stays = (Stay("station", 0.0), Stay("place", 20.0, way))
    facts = HoldFacts(holder, Assembly("a1", "a", holder, cutter, insert_mm), 0.0, 0.0, None, None, stays)
    found = assessment(facts, HoldRules(ROOM, 330.0), None)
    assert found.hold_s is None or found.hold_s >= found.touch_safe_s > 0
    assert max(found.hottest_c) < 340
    assert found.now(0.0).hottest_c > 150


def _broken(path: str, value: object) -> dict[str, Any]:
    data = copy.deepcopy(CASES[1])
    at: Any = data
    *ways, last = path.split(".")
    for way in ways:
        at = at[int(way)] if way.isdigit() else at[way]
    at[int(last) if last.isdigit() else last] = value
    return data


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("holder", [], "case.holder"),
        ("holder.0.length_mm", "long", "case.holder[0].length_mm"),
        ("holder.1.bore_mm", 99, "holder[1].bore_mm"),
        ("tool.material", "cheese", "case.tool.material"),
        ("heat.temp_c", None, "case.heat.temp_c"),
        ("stages.0.method", "bath", "case.stages[0].method"),
        ("stages.1.start_s", 99, "stages[1].start_s"),
        ("ambient_c", True, "case.ambient_c"),
        ("methods.mist.film_w_m2k", [], "case.methods.mist.film_w_m2k"),
    ],
)
def test_a_case_file_with_a_wrong_field_says_which(path: str, value: object, field: str) -> None:
    with pytest.raises(CoolingError) as caught:
        Case.from_json(_broken(path, value))
    assert caught.value.field == field


def test_a_case_that_is_no_object_is_refused() -> None:
    with pytest.raises(CoolingError):
        Case.from_json([1, 2])


def test_a_case_report_carries_a_curve_over_two_hours_that_starts_hot() -> None:
    report = case_report(Case.from_json(CASES[0]))
    times = [point[0] for point in report.curve]
    assert times == sorted(set(times)) and times[0] == 0 and times[-1] >= 7200
    assert (
        250 < report.curve[0][1] <= max(hottest_c for _, hottest_c in report.curve) < 1.01 * CASES[0]["heat"]["temp_c"]
    )
    assert abs(report.curve[-1][1] - CASES[0]["ambient_c"]) < 5


def test_the_heated_length_without_one_on_record_covers_the_insert() -> None:
    profile: Profile = COMMON
    assert profile.tool is not None
    assert default_heated_mm(profile) > profile.tool.insert_mm
