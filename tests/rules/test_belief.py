"""What a reading is worth, and when enough were believed."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.belief import (
    ENOUGH_READINGS,
    Instrument,
    Lesson,
    Prediction,
    Standing,
    Verdict,
    is_such_a_heating,
    judge,
    replay,
    take,
)
from kiosk.rules.cooling.mesh import Zone
from kiosk.rules.cooling.unknowns import FILM, HEAT_LEVEL, Way

SEEN = Prediction(ambient_c=22.0, expected_c=80.0, by_heat_k=55.0, by_film_k=-30.0, other_sd_k=3.0, spread_k=6.0)
HOT = Prediction(22.0, 200.0, 180.0, -40.0, 6.0, 14.0)
MONTHS_S = 9e6


def lesson(
    value_c: float, at_s: float = 0.0, instrument: Instrument = Instrument.PROBE, seen: Prediction = SEEN
) -> Lesson:
    return Lesson(MONTHS_S + at_s, Zone.NOSE, instrument, value_c, seen, heating=7)


def doubting(first: Lesson) -> Standing:
    taken = take(Standing(), first)
    assert taken.verdict is Verdict.QUESTIONED and taken.accepted == ()
    return taken.standing


def test_a_reading_near_what_was_expected_agrees_and_counts() -> None:
    taken = take(Standing(), lesson(83.0))
    assert taken.verdict is Verdict.AGREES
    assert taken.standing.readings == 1 and len(taken.accepted) == 1


def test_a_probe_of_30_where_200_was_expected_is_questioned_and_teaches_nothing() -> None:
    standing = doubting(lesson(30.0, seen=HOT))
    assert standing.readings == 0 and standing.needs_reading


def test_the_more_was_known_the_sooner_a_reading_is_questioned() -> None:
    assert judge(Standing(), lesson(95.0)) is Verdict.AGREES
    assert judge(Standing(), lesson(95.0, seen=replace(SEEN, spread_k=2.0))) is Verdict.QUESTIONED


def test_a_line_from_before_spreads_were_kept_is_judged_by_what_it_has() -> None:
    old = replace(SEEN, spread_k=None)
    assert judge(Standing(), lesson(90.0, seen=old)) is Verdict.AGREES
    assert judge(Standing(), lesson(160.0, seen=old)) is Verdict.QUESTIONED


def test_a_second_reading_that_tells_the_same_confirms_the_first_and_both_count() -> None:
    first = lesson(140.0, 0.0, seen=HOT)
    taken = take(doubting(first), lesson(138.0, 40.0, seen=HOT))
    assert taken.verdict is Verdict.CONFIRMED
    assert taken.standing == Standing(2) and taken.accepted == (first, lesson(138.0, 40.0, seen=HOT))


def test_what_another_heating_showed_confirms_nothing() -> None:
    other = replace(lesson(138.0, 40.0, seen=HOT), heating=8)
    assert judge(doubting(lesson(140.0, 0.0, seen=HOT)), other) is Verdict.QUESTIONED


@pytest.mark.parametrize("later_s", [40.0, -9e6, 86_400.0])
def test_a_reading_by_another_clock_confirms_nothing_because_nobody_knows_how_far_apart_they_are(
    later_s: float,
) -> None:
    second = lesson(138.0, later_s, seen=HOT)
    assert judge(doubting(lesson(140.0, 0.0, seen=HOT)), second) is Verdict.CONFIRMED
    assert judge(doubting(lesson(140.0, 0.0, seen=HOT)), replace(second, clock="other")) is Verdict.QUESTIONED


def test_the_same_reading_written_twice_confirms_nothing() -> None:
    assert judge(doubting(lesson(30.0, 0.0, seen=HOT)), lesson(30.0, 2.0, seen=HOT)) is Verdict.QUESTIONED


def test_infrared_that_reads_cold_twice_is_bright_steel_until_a_probe_says_so() -> None:
    doubted = doubting(lesson(60.0, 0.0, Instrument.INFRARED, HOT))
    assert judge(doubted, lesson(60.0, 60.0, Instrument.INFRARED, HOT)) is Verdict.QUESTIONED
    assert judge(doubted, lesson(60.0, 60.0, Instrument.PROBE, HOT)) is Verdict.CONFIRMED


def test_two_doubts_that_contradict_each_other_confirm_nothing() -> None:
    warm = Prediction(22.0, 120.0, 95.0, -30.0, 5.0, 9.0)
    assert judge(doubting(lesson(40.0, 0.0, seen=warm)), lesson(230.0, 60.0, seen=warm)) is Verdict.QUESTIONED


def test_three_accepted_readings_are_needed_before_the_bound_alone_may_end_a_hold() -> None:
    standing = Standing()
    for index in range(ENOUGH_READINGS):
        assert standing.needs_reading
        standing = take(standing, lesson(80.0, 100.0 * index)).standing
    assert not standing.needs_reading


def test_a_doubted_reading_asks_for_another_even_in_a_well_known_pair() -> None:
    known, _ = replay(lesson(80.0, 100.0 * index) for index in range(5))
    assert not known.needs_reading
    assert take(known, lesson(25.0, 900.0)).standing.needs_reading


@settings(max_examples=200)
@given(st.lists(st.tuples(st.floats(-30, 400), st.floats(23, 350), st.sampled_from(list(Instrument))), max_size=12))
def test_replaying_readings_gives_the_same_standing(readings: list[tuple[float, float, Instrument]]) -> None:
    lessons = [
        lesson(value, 60.0 * index, instrument, Prediction(22.0, expected, expected - 22, -0.3 * expected, 2.0))
        for index, (value, expected, instrument) in enumerate(readings)
    ]
    standing, accepted = Standing(), []
    for one in lessons:
        standing, _, more = take(standing, one)
        accepted += more
    assert (standing, tuple(accepted)) == replay(lessons)
    assert standing.readings == len(accepted) <= len(lessons)


@pytest.mark.parametrize(
    ("instrument", "excess_k", "noise_k"),
    [
        (Instrument.PROBE, 0.0, 1.5),
        (Instrument.PROBE, 100.0, 2.5),
        (Instrument.PROBE, -40.0, 1.5),
        (Instrument.INFRARED, 0.0, 3.0),
        (Instrument.INFRARED, 100.0, 6.0),
        (Instrument.INFRARED, -40.0, 3.0),
    ],
)
def test_an_instrument_errs_by_so_much(instrument: Instrument, excess_k: float, noise_k: float) -> None:
    assert instrument.noise_k(excess_k) == pytest.approx(noise_k)


def test_a_probe_errs_less_where_its_limit_of_error_is_known_and_infrared_does_not() -> None:
    assert Instrument.PROBE.noise_within(2.5) == Instrument.PROBE.noise == (1.5, 0.01)
    assert Instrument.PROBE.noise_within(1.5) == pytest.approx((0.9, 0.01))
    assert Instrument.PROBE.noise_within(0.1) == (0.5, 0.01), "it is held by a hand"
    assert Instrument.INFRARED.noise_within(0.1) == Instrument.INFRARED.noise == (3.0, 0.03)


@pytest.mark.parametrize("instrument", list(Instrument))
@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize("spread_k", [0.0, 3.0, 17.0])
def test_a_reading_is_questioned_from_three_standard_deviations_on(
    instrument: Instrument, side: float, spread_k: float
) -> None:
    base, share = {Instrument.PROBE: (1.5, 0.01), Instrument.INFRARED: (3.0, 0.03)}[instrument]
    seen = Prediction(22.0, 122.0, 50.0, -20.0, 4.0, spread_k)
    sd_k = math.hypot(spread_k, base + share * 100.0)
    assert judge(Standing(), lesson(122.0 + side * 2.98 * sd_k, 0.0, instrument, seen)) is Verdict.AGREES
    assert judge(Standing(), lesson(122.0 + side * 3.02 * sd_k, 0.0, instrument, seen)) is Verdict.QUESTIONED


def test_two_doubted_readings_tell_one_story_by_their_difference_or_by_their_ratio() -> None:
    hot = Prediction(20.0, 320.0, 100.0, -30.0, 5.0, 9.0)
    doubted = doubting(lesson(120.0, 0.0, seen=hot))
    assert judge(doubted, lesson(125.9, 60.0, seen=hot)) is Verdict.CONFIRMED, "under 6 K apart"
    assert judge(doubted, lesson(154.0, 60.0, seen=hot)) is Verdict.CONFIRMED, "134 K over the shop after 100 K"
    assert judge(doubted, lesson(156.0, 60.0, seen=hot)) is Verdict.QUESTIONED, "136 K after 100 K"
    later = replace(hot, expected_c=70.0)
    assert judge(doubted, lesson(38.0, 60.0, seen=later)) is Verdict.CONFIRMED, "a third of what was expected, twice"


@pytest.mark.parametrize(("apart_s", "verdict"), [(4.9, Verdict.QUESTIONED), (5.0, Verdict.CONFIRMED)])
def test_two_readings_are_two_when_they_lie_five_seconds_apart(apart_s: float, verdict: Verdict) -> None:
    for first_s in (0.0, 9 * 3600.0, 40 * 86400.0):
        doubted = doubting(lesson(140.0, first_s, seen=HOT))
        assert judge(doubted, lesson(140.0, first_s + apart_s, seen=HOT)) is verdict


@pytest.mark.parametrize(
    ("expected_c", "value_c", "such"),
    [
        (122.0, 22.0 + 56.0, True),
        (122.0, 22.0 + 54.0, False),
        (122.0, 22.0 + 179.0, True),
        (122.0, 22.0 + 181.0, False),
        (31.9, 200.0, True),  # where next to nothing is expected, a share says nothing
        (32.1, 200.0, False),
        (32.1, 22.0, False),
    ],
)
def test_a_share_of_what_was_expected_tells_another_heating(expected_c: float, value_c: float, such: bool) -> None:
    assert is_such_a_heating(lesson(value_c, seen=Prediction(22.0, expected_c, 10.0, -5.0, 1.0))) is such


def test_a_holder_that_was_never_heated_teaches_nothing_about_those_that_are() -> None:
    taken = take(doubting(lesson(24.0, seen=HOT)), lesson(24.0, 60.0, seen=HOT))
    assert taken.verdict is Verdict.CONFIRMED
    assert taken.accepted == () and taken.standing == Standing()


def test_a_way_has_a_spread_even_where_a_line_says_nothing_of_it() -> None:
    assert all(replace(lesson(80.0, seen=replace(SEEN, spread_k=None)), way=way).sd_k > 3.0 for way in Way)


# the figures, written here a second time


def test_three_believed_readings_are_enough_while_none_is_doubted() -> None:
    assert [Standing(readings).needs_reading for readings in range(5)] == [True, True, True, False, False]
    assert Standing(9, lesson(30.0)).needs_reading


def test_what_a_reading_may_be_off_by_is_what_was_not_known_and_the_instruments_noise() -> None:
    noise_k = 1.5 + 0.01 * 58.0
    assert lesson(80.0).sd_k == pytest.approx(math.hypot(6.0, noise_k))
    heat, film = HEAT_LEVEL.whole, FILM[Way.FREE_AIR].whole
    old = lesson(80.0, seen=replace(SEEN, spread_k=None))
    assert old.sd_k == pytest.approx(math.sqrt((55.0 * heat) ** 2 + (30.0 * film) ** 2 + 9.0 + noise_k**2))
    bright = lesson(80.0, instrument=Instrument.INFRARED, seen=replace(SEEN, spread_k=0.0))
    assert bright.sd_k == pytest.approx(3.0 + 0.03 * 58.0)


SHARP = replace(SEEN, spread_k=0.0)


@pytest.mark.parametrize("off_k", [6.23, -6.23, 6.25, -6.25])
def test_three_standard_deviations_are_believed_and_no_more(off_k: float) -> None:
    believed = judge(Standing(3), lesson(80.0 + off_k, seen=SHARP)) is Verdict.AGREES
    assert believed is (abs(off_k) < 6.24)


def second(first: Lesson, value_c: float, after_s: float = 40.0, **more: object) -> Verdict:
    return judge(doubting(first), replace(lesson(value_c, first.at_s - MONTHS_S + after_s, seen=SHARP), **more))  # type: ignore[arg-type]


def test_two_doubted_readings_on_either_side_of_what_was_expected_confirm_nothing() -> None:
    assert second(lesson(86.5, seen=SHARP), 73.5) is second(lesson(73.5, seen=SHARP), 86.5) is Verdict.QUESTIONED
    assert second(lesson(86.5, seen=SHARP), 87.0) is second(lesson(73.5, seen=SHARP), 73.0) is Verdict.CONFIRMED


@pytest.mark.parametrize(("after_s", "word"), [(4.9, Verdict.QUESTIONED), (5.0, Verdict.CONFIRMED)])
def test_a_reading_written_twice_is_one(after_s: float, word: Verdict) -> None:
    assert second(lesson(140.0, seen=SHARP), 139.0, after_s) is word


def test_infrared_confirms_warm_but_never_cold() -> None:
    red = Instrument.INFRARED
    assert second(lesson(140.0, instrument=red, seen=SHARP), 141.0, instrument=red) is Verdict.CONFIRMED
    assert second(lesson(40.0, instrument=red, seen=SHARP), 41.0, instrument=red) is Verdict.QUESTIONED
    assert second(lesson(40.0, instrument=red, seen=SHARP), 41.0) is Verdict.CONFIRMED, "a probe says so"
    assert second(lesson(40.0, seen=SHARP), 41.0, instrument=red) is Verdict.CONFIRMED, "a probe said so"


@pytest.mark.parametrize(("value_c", "word"), [(18.1, Verdict.CONFIRMED), (17.9, Verdict.QUESTIONED)])
def test_doubted_readings_tell_the_same_within_six_kelvin(value_c: float, word: Verdict) -> None:
    barely = replace(SHARP, expected_c=30.0)
    assert second(lesson(24.0, seen=barely), value_c, prediction=barely) is word


def test_or_within_a_third_of_their_shares_of_what_was_expected() -> None:
    def expecting(excess_k: float) -> Prediction:
        return replace(SHARP, expected_c=22.0 + excess_k)

    def shares(first_k: float, of_k: float, second_k: float, of_second_k: float) -> Verdict:
        first = lesson(22.0 + first_k, seen=expecting(of_k))
        return second(first, 22.0 + second_k, prediction=expecting(of_second_k))

    assert shares(20.0, 178.0, 13.4, 90.0) is Verdict.CONFIRMED
    assert shares(20.0, 178.0, 14.0, 90.0) is Verdict.QUESTIONED
    assert shares(0.5, 178.0, 1.2, 170.0) is Verdict.CONFIRMED, "under one kelvin is one kelvin"
    assert shares(0.5, 178.0, 1.6, 170.0) is Verdict.QUESTIONED
    assert shares(38.0, 0.5, 75.0, 2.0) is Verdict.CONFIRMED


@pytest.mark.parametrize(
    ("expected_k", "share", "such"),
    [
        (100.0, 0.55, True), (100.0, 0.54, False), (100.0, 1.8, True), (100.0, 1.81, False), (100.0, -0.2, False),
        (10.0, 3.0, False), (9.9, 3.0, True), (0.0, 3.0, True), (-4.0, 3.0, True),
    ],
)  # fmt: skip
def test_a_heating_is_known_again_by_half_to_nearly_twice_its_warmth(
    expected_k: float, share: float, such: bool
) -> None:
    seen = replace(SEEN, ambient_c=0.0, expected_c=expected_k)
    assert is_such_a_heating(lesson(share * expected_k, seen=seen)) is such


def test_what_is_off_by_three_sigmas_is_still_explained_and_by_a_hair_more_is_not() -> None:
    cold = Prediction(22.0, 22.0, 0.0, 0.0, 0.0, spread_k=2.0)  # a probe of what is as cold as the shop: sd 2.5 K
    for off_k, verdict in ((7.5, Verdict.AGREES), (-7.5, Verdict.AGREES), (7.51, Verdict.QUESTIONED)):
        assert judge(Standing(), lesson(22.0 + off_k, seen=cold)) is verdict


def test_a_line_from_before_heat_levels_were_learnt_took_what_was_to_be_expected() -> None:
    assert Prediction(22.0, 80.0, 55.0, -30.0, 3.0).about_heat == 0.0
    assert judge(Standing(), lesson(80.0, seen=Prediction(22.0, 80.0, 55.0, -30.0, 3.0))) is Verdict.AGREES


@pytest.mark.parametrize(
    ("expected_c", "first_c", "second_c", "verdict"),
    [
        (70.0, 30.0, 24.0, Verdict.CONFIRMED),  # six kelvin apart, though four times the other's excess
        (70.0, 30.0, 23.9, Verdict.QUESTIONED),
        (122.0, 222.0, 292.0, Verdict.CONFIRMED),  # 200 and 270 K above the shop
        (122.0, 222.0, 292.5, Verdict.QUESTIONED),
    ],
)
def test_two_doubted_readings_tell_one_story_within_six_kelvin_or_a_third_of_their_excess(
    expected_c: float, first_c: float, second_c: float, verdict: Verdict
) -> None:
    seen = Prediction(22.0, expected_c, 0.0, 0.0, 0.0, spread_k=2.0)
    first = doubting(lesson(first_c, seen=seen))
    assert judge(first, lesson(second_c, 10.0, seen=seen)) is verdict
