"""What readings teach, and what they must not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.belief import (
    ENOUGH_READINGS,
    Belief,
    Instrument,
    Lesson,
    Prediction,
    Verdict,
    is_such_a_heating,
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


def test_what_differs_from_heat_to_heat_is_added_to_what_is_believed() -> None:
    belief = replace(prior(Way.SLEEVE), var_heat=0.002, var_film=0.03, cov=-0.001)
    fresh_heat, fresh_film = HEAT_LEVEL.fresh, FILM[Way.SLEEVE].fresh
    assert belief.total() == pytest.approx((0.002 + fresh_heat**2, 0.03 + fresh_film**2, -0.001), rel=1e-12)


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


def sure(heat: float = 0.0, film: float = 0.0) -> Belief:
    """A belief with hardly a doubt left of its own."""
    return replace(prior(Way.FREE_AIR), heat=heat, film=film, var_heat=1e-12, var_film=1e-12)


def off_by_sd(belief: Belief, seen: Prediction, instrument: Instrument) -> float:
    """K: how far off a reading is that lies one standard deviation away, worked out here once more."""
    var_heat, var_film = belief.var_heat + HEAT_LEVEL.fresh**2, belief.var_film + FILM[belief.way].fresh ** 2
    base, share = {Instrument.PROBE: (1.5, 0.01), Instrument.INFRARED: (3.0, 0.03)}[instrument]
    noise = base + share * (seen.expected_c - seen.ambient_c)
    both = 2 * seen.by_heat_k * seen.by_film_k * belief.cov
    return math.sqrt(seen.by_heat_k**2 * var_heat + both + seen.by_film_k**2 * var_film + seen.other_sd_k**2 + noise**2)


@pytest.mark.parametrize("instrument", list(Instrument))
@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize(
    "seen",
    [
        SEEN,
        Prediction(24.0, 48.0, 20.0, 0.0, 0.0),
        Prediction(22.0, 70.0, 0.0, -30.0, 0.0),
        Prediction(20.0, 60.0, 10.0, -10.0, 9.0),
    ],
)
def test_a_reading_is_questioned_from_three_standard_deviations_on(
    instrument: Instrument, side: float, seen: Prediction
) -> None:
    for belief in (prior(Way.FREE_AIR), sure(), replace(prior(Way.FREE_AIR), cov=-0.004)):
        sd_k = off_by_sd(belief, seen, instrument)
        near = lesson(seen.expected_c + side * 2.98 * sd_k, instrument=instrument, seen=seen)
        far = lesson(seen.expected_c + side * 3.02 * sd_k, instrument=instrument, seen=seen)
        assert judge(belief, near) is Verdict.AGREES
        assert judge(belief, far) is Verdict.QUESTIONED


def test_two_doubted_readings_tell_one_story_by_their_difference_or_by_their_ratio() -> None:
    hot = Prediction(20.0, 320.0, 100.0, -30.0, 5.0)
    doubted = update(prior(Way.FREE_AIR), lesson(120.0, 0.0, seen=hot)).belief
    assert judge(doubted, lesson(125.9, 60.0, seen=hot)) is Verdict.CONFIRMED, "under 6 K apart"
    assert judge(doubted, lesson(154.0, 60.0, seen=hot)) is Verdict.CONFIRMED, "134 K over the shop after 100 K"
    assert judge(doubted, lesson(156.0, 60.0, seen=hot)) is Verdict.QUESTIONED, "136 K after 100 K"
    later = replace(hot, expected_c=70.0)
    assert judge(doubted, lesson(38.0, 60.0, seen=later)) is Verdict.CONFIRMED, "a third of what was expected, twice"


@pytest.mark.parametrize(("apart_s", "verdict"), [(4.9, Verdict.QUESTIONED), (5.0, Verdict.CONFIRMED)])
def test_two_readings_are_two_when_they_lie_five_seconds_apart(apart_s: float, verdict: Verdict) -> None:
    hot = Prediction(22.0, 200.0, 180.0, -40.0, 6.0)
    for first_s in (0.0, 9 * 3600.0, 40 * 86400.0):
        doubted = update(prior(Way.FREE_AIR), lesson(140.0, first_s, seen=hot)).belief
        assert judge(doubted, lesson(140.0, first_s + apart_s, seen=hot)) is verdict


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


def filtered(belief: Belief, one: Lesson) -> tuple[list[float], list[float]]:
    """Means and covariances after a reading, by the textbook's filter: K = P h / (h' (P + F) h + R)."""
    seen = one.prediction
    var_f = FILM[belief.way].fresh ** 2
    variance = off_by_sd(belief, seen, one.instrument) ** 2
    h, f = seen.by_heat_k, seen.by_film_k
    gain_h, gain_f = belief.var_heat * h + belief.cov * f, belief.cov * h + belief.var_film * f
    assert variance > h * gain_h + f * gain_f and var_f > 0
    means = [belief.heat + gain_h * one.off_k / variance, belief.film + gain_f * one.off_k / variance]
    spread = [
        belief.var_heat - gain_h**2 / variance,
        belief.var_film - gain_f**2 / variance,
        belief.cov - gain_h * gain_f / variance,
    ]
    return means, spread


@given(st.floats(-12.0, 12.0), st.floats(20.0, 180.0), st.floats(-60.0, -5.0), st.floats(-0.003, 0.003))
def test_an_accepted_reading_moves_a_belief_as_the_textbooks_filter_does(
    off_k: float, by_heat_k: float, by_film_k: float, cov: float
) -> None:
    belief = replace(prior(Way.FREE_AIR), heat=0.02, film=-0.05, cov=cov)
    one = lesson(120.0 + off_k, seen=Prediction(22.0, 120.0, by_heat_k, by_film_k, 4.0))
    learnt = update(belief, one)
    assert learnt.verdict is Verdict.AGREES
    means, spread = filtered(belief, one)
    assert [learnt.belief.heat, learnt.belief.film] == pytest.approx(means)
    assert [learnt.belief.var_heat, learnt.belief.var_film, learnt.belief.cov] == pytest.approx(spread)
    assert learnt.belief.readings == 1


def test_a_confirmed_pair_moves_a_belief_as_if_it_had_been_twice_as_unsure() -> None:
    hot = Prediction(22.0, 200.0, 180.0, -40.0, 6.0)
    first, second = lesson(140.0, 0.0, seen=hot), lesson(138.0, 40.0, seen=hot)
    doubted = replace(update(prior(Way.FREE_AIR), first).belief, cov=-0.004)
    wide = replace(doubted, var_heat=4 * doubted.var_heat, var_film=4 * doubted.var_film, cov=-0.016, doubted=None)
    (heat, film), (var_heat, var_film, cov) = filtered(wide, first)
    between = replace(wide, heat=heat, film=film, var_heat=var_heat, var_film=var_film, cov=cov)
    means, spread = filtered(between, second)
    found = update(doubted, second).belief
    assert [found.heat, found.film] == pytest.approx(means)
    assert [found.var_heat, found.var_film, found.cov] == pytest.approx(spread)
    assert found.readings == 2


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
