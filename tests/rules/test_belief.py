"""What readings teach, and what they must not."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.belief import (
    ENOUGH_READINGS,
    Instrument,
    Lesson,
    Prediction,
    Verdict,
    judge,
    prior,
    replay,
    update,
)
from kiosk.rules.cooling_mesh import Zone
from kiosk.rules.cooling_unknowns import FILM, HEAT_LEVEL, Way

SEEN = Prediction(ambient_c=22.0, expected_c=80.0, by_heat_k=55.0, by_film_k=-30.0, other_sd_k=3.0)


def lesson(
    value_c: float, at_s: float = 0.0, instrument: Instrument = Instrument.PROBE, seen: Prediction = SEEN
) -> Lesson:
    return Lesson(at_s, Zone.NOSE, instrument, value_c, seen)


def test_a_reading_near_what_was_expected_agrees_and_counts() -> None:
    learnt = update(prior(Way.FREE_AIR), lesson(83.0))
    assert learnt.verdict is Verdict.AGREES
    assert learnt.belief.readings == 1


def test_a_colder_reading_means_less_heat_or_more_film_and_a_hotter_one_the_opposite() -> None:
    cold = update(prior(Way.FREE_AIR), lesson(72.0)).belief
    hot = update(prior(Way.FREE_AIR), lesson(88.0)).belief
    assert cold.heat < 0 < cold.film
    assert hot.heat > 0 > hot.film


def test_readings_narrow_what_is_believed_but_never_what_changes_from_heat_to_heat() -> None:
    before = prior(Way.SLEEVE)
    after = replay(Way.SLEEVE, [lesson(80.0, at_s=60.0 * index) for index in range(30)])
    assert after.var_heat < before.var_heat and after.var_film < before.var_film
    assert after.total()[0] >= HEAT_LEVEL.fresh**2
    assert after.total()[1] >= FILM[Way.SLEEVE].fresh ** 2


def test_a_probe_of_30_where_200_was_expected_is_questioned_and_changes_nothing() -> None:
    hot = Prediction(22.0, 200.0, 180.0, -40.0, 6.0)
    before = prior(Way.FREE_AIR)
    learnt = update(before, lesson(30.0, seen=hot))
    assert learnt.verdict is Verdict.QUESTIONED
    assert (learnt.belief.heat, learnt.belief.film, learnt.belief.readings) == (before.heat, before.film, 0)
    assert learnt.belief.needs_reading


def test_a_second_reading_that_tells_the_same_confirms_the_first_and_both_count() -> None:
    hot = Prediction(22.0, 200.0, 180.0, -40.0, 6.0)
    doubted = update(prior(Way.FREE_AIR), lesson(140.0, 0.0, seen=hot)).belief
    learnt = update(doubted, lesson(138.0, 40.0, seen=hot))
    assert learnt.verdict is Verdict.CONFIRMED
    assert learnt.belief.readings == 2
    assert learnt.belief.heat < 0
    assert learnt.belief.doubted is None


def test_the_same_reading_written_twice_confirms_nothing() -> None:
    hot = Prediction(22.0, 200.0, 180.0, -40.0, 6.0)
    doubted = update(prior(Way.FREE_AIR), lesson(30.0, 0.0, seen=hot)).belief
    assert judge(doubted, lesson(30.0, 2.0, seen=hot)) is Verdict.QUESTIONED


def test_infrared_that_reads_cold_twice_is_bright_steel_until_a_probe_says_so() -> None:
    hot = Prediction(22.0, 200.0, 180.0, -40.0, 6.0)
    doubted = update(prior(Way.FREE_AIR), lesson(60.0, 0.0, Instrument.INFRARED, hot)).belief
    assert judge(doubted, lesson(60.0, 60.0, Instrument.INFRARED, hot)) is Verdict.QUESTIONED
    assert judge(doubted, lesson(60.0, 60.0, Instrument.PROBE, hot)) is Verdict.CONFIRMED


def test_two_doubts_that_contradict_each_other_confirm_nothing() -> None:
    hot = Prediction(22.0, 120.0, 95.0, -30.0, 5.0)
    doubted = update(prior(Way.FREE_AIR), lesson(40.0, 0.0, seen=hot)).belief
    assert judge(doubted, lesson(230.0, 60.0, seen=hot)) is Verdict.QUESTIONED


def test_three_accepted_readings_are_needed_before_the_bound_alone_may_end_a_hold() -> None:
    belief = prior(Way.FREE_AIR)
    for index in range(ENOUGH_READINGS):
        assert belief.needs_reading
        belief = update(belief, lesson(80.0, 100.0 * index)).belief
    assert not belief.needs_reading


def test_a_doubted_reading_asks_for_another_even_in_a_well_known_pair() -> None:
    known = replay(Way.FREE_AIR, [lesson(80.0, 100.0 * index) for index in range(5)])
    assert update(known, lesson(25.0, 900.0)).belief.needs_reading


@settings(max_examples=200)
@given(st.lists(st.tuples(st.floats(-30, 400), st.floats(23, 350), st.sampled_from(list(Instrument))), max_size=12))
def test_replaying_readings_gives_the_same_belief_and_a_proper_distribution(
    readings: list[tuple[float, float, Instrument]],
) -> None:
    lessons = [
        lesson(value, 60.0 * index, instrument, Prediction(22.0, expected, expected - 22, -0.3 * expected, 2.0))
        for index, (value, expected, instrument) in enumerate(readings)
    ]
    belief = prior(Way.MIST)
    for one in lessons:
        belief = update(belief, one).belief
    assert belief == replay(Way.MIST, lessons)
    assert math.isfinite(belief.heat) and math.isfinite(belief.film)
    assert belief.var_heat > 0 and belief.var_film > 0
    assert belief.var_heat * belief.var_film >= belief.cov**2 * (1 - 1e-9)
    assert belief.readings <= len(lessons)


@pytest.mark.parametrize("instrument", list(Instrument))
def test_an_instrument_is_less_sure_of_hotter_steel(instrument: Instrument) -> None:
    assert instrument.noise_k(200) > instrument.noise_k(10) > 0


def test_a_holder_that_was_never_heated_teaches_nothing_about_those_that_are() -> None:
    hot = Prediction(23.0, 200.0, 177.0, -60.0, 4.0)
    doubted = update(prior(Way.FREE_AIR), Lesson(0.0, Zone.NOSE, Instrument.PROBE, 24.0, hot)).belief
    confirmed = update(doubted, Lesson(60.0, Zone.NOSE, Instrument.PROBE, 24.0, hot))
    assert confirmed.verdict is Verdict.CONFIRMED
    assert confirmed.belief == prior(Way.FREE_AIR)
