"""Ages in place of clocks: never more than the true time, whatever counters and messages do, after months."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.ages import COUNTED, FASTEST, TOO_FAST, Ages, StayName, Trip, pace

STAY, OTHER = StayName("a", 7), StayName("b", 7)
MONTHS_S = 7e6


def test_a_stay_is_as_old_as_this_kiosk_has_had_its_line() -> None:
    ages = Ages()
    ages.began(STAY, MONTHS_S)
    ages.began(STAY, MONTHS_S + 50.0)
    assert ages.age_s(STAY, MONTHS_S + 100.0) == 100.0 * COUNTED
    assert ages.age_s(OTHER, MONTHS_S + 100.0) == 0.0


def test_a_counted_second_is_never_more_than_a_true_one_at_the_fastest_counter() -> None:
    assert FASTEST * COUNTED < 1.0


def test_the_largest_age_counts_and_goes_on_from_there() -> None:
    ages = Ages()
    ages.began(STAY, MONTHS_S)
    ages.heard({STAY: 500.0}, MONTHS_S + 10.0, believed=True)
    assert ages.age_s(STAY, MONTHS_S + 20.0) == 500.0 + 10.0 * COUNTED
    ages.heard({STAY: 3.0}, MONTHS_S + 20.0, believed=True)
    assert ages.age_s(STAY, MONTHS_S + 20.0) == 500.0 + 10.0 * COUNTED


def test_what_a_counter_that_runs_fast_says_is_not_believed() -> None:
    ages = Ages()
    ages.began(STAY, MONTHS_S)
    ages.heard({STAY: 500.0}, MONTHS_S, believed=False)
    assert ages.age_s(STAY, MONTHS_S) == 0.0


def test_a_kiosk_that_runs_fast_itself_counts_no_more_and_takes_what_others_count() -> None:
    ages = Ages()
    ages.began(STAY, MONTHS_S)
    ages.found_fast(MONTHS_S + 100.0)
    ages.found_fast(MONTHS_S + 900.0)
    assert ages.age_s(STAY, MONTHS_S + 1000.0) == 100.0 * COUNTED
    ages.heard({STAY: 400.0}, MONTHS_S + 1000.0, believed=True)
    assert ages.age_s(STAY, MONTHS_S + 2000.0) == 400.0


def test_a_stay_that_is_over_is_told_no_more() -> None:
    ages = Ages()
    ages.began(STAY, MONTHS_S)
    ages.over(STAY)
    assert ages.told(MONTHS_S + 5.0) == {}


KIOSKS = st.lists(st.tuples(st.floats(0.9, FASTEST), st.floats(0.0, 1e7)), min_size=2, max_size=4)
ACTS = st.sampled_from(["has it", "says", "hears", "sleeps", "wakes"])
STEPS = st.lists(st.tuples(ACTS, st.integers(0, 3), st.floats(0.0, 500.0)), max_size=40)


@given(KIOSKS, STEPS)
def test_no_age_is_ever_more_than_the_true_time(
    kiosks: list[tuple[float, float]], steps: list[tuple[str, int, float]]
) -> None:
    """Each kiosk's counter runs at a rate of its own from a start of its own, and stands still while it sleeps."""
    ages = [Ages() for _ in kiosks]
    slept_s, asleep, said = [0.0] * len(kiosks), [False] * len(kiosks), [{STAY: 0.0}]
    true_s = 0.0
    for what, who, pause_s in steps:
        true_s += pause_s
        who %= len(kiosks)
        for at, sleeps in enumerate(asleep):
            slept_s[at] += pause_s if sleeps else 0.0
        counters = [start + rate * (true_s - off) for (rate, start), off in zip(kiosks, slept_s, strict=True)]
        if what == "has it":
            ages[who].began(STAY, counters[who])
        elif what == "says":
            said.append(ages[who].told(counters[who]))
        elif what == "hears":
            ages[who].heard(said[-1 - int(pause_s) % len(said)], counters[who], believed=True)
        else:
            asleep[who] = what == "sleeps"
        for each, counter in zip(ages, counters, strict=True):
            assert each.age_s(STAY, counter) <= true_s + 1e-6


SHARES = st.floats(0.0, 1.0)


@given(st.floats(0.9, 1.1), st.floats(0.0, 2.0), st.floats(0.0, 2.0), st.floats(30.0, 900.0), SHARES, SHARES)
def test_round_trips_bound_how_a_counter_runs(
    rate: float, first_s: float, later_s: float, apart_s: float, into: float, then: float
) -> None:
    one = Trip(MONTHS_S, rate * first_s * into, MONTHS_S + first_s)
    sent_s = MONTHS_S + first_s + apart_s
    two = Trip(sent_s, rate * (first_s + apart_s + later_s * then), sent_s + later_s)
    found = pace(one, two)
    assert found is not None
    assert found.least <= rate * (1 + 1e-9) and found.most >= rate * (1 - 1e-9)
    assert not (found.other_runs_fast and rate <= TOO_FAST / (1 + 1e-6))
    assert not (found.own_runs_fast and rate >= (1 + 1e-6) / TOO_FAST)


def test_three_per_cent_show_within_ten_minutes_on_a_shops_network() -> None:
    found = pace(Trip(MONTHS_S, 0.0, MONTHS_S + 0.2), Trip(MONTHS_S + 600.0, 618.0, MONTHS_S + 600.2))
    assert found is not None and found.other_runs_fast and not found.own_runs_fast


OVERLAPS, ANEW = Trip(MONTHS_S + 0.1, 5.0, MONTHS_S + 9.0), Trip(MONTHS_S + 50.0, -3.0, MONTHS_S + 51.0)


@pytest.mark.parametrize("later", [OVERLAPS, ANEW])
def test_trips_that_overlap_or_a_counter_that_began_anew_say_nothing(later: Trip) -> None:
    assert pace(Trip(MONTHS_S, 0.0, MONTHS_S + 0.2), later) is None
