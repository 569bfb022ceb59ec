"""The shop's temperature by a thermometer: warmer is told at once, colder only if it lasts, silence is no cold."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.cooling.unknowns import AMBIENT_K, AMBIENT_READ_K
from kiosk.rules.shop_air import (
    AGE_S,
    TOO_WARM_K,
    AirReading,
    can_be,
    is_a_bare_figure,
    is_too_warm,
    of_burst,
    to_know_k,
    to_set_c,
)

DAYS_S = 40 * 86400.0


def test_warmer_is_told_at_the_next_degree_and_small_changes_are_no_news() -> None:
    assert to_set_c(23.0, AirReading(26.1, DAYS_S), DAYS_S, 28.0, 38.0) == 27.0
    assert to_set_c(27.0, AirReading(26.9, DAYS_S), DAYS_S, 28.0, 38.0) is None
    assert to_set_c(27.0, AirReading(25.2, DAYS_S), DAYS_S, 28.0, 38.0) is None
    assert to_set_c(27.0, AirReading(20.4, DAYS_S), DAYS_S, 28.0, 38.0) == 21.0


def test_the_air_is_known_better_while_a_thermometer_says_how_warm_it_is_and_no_longer() -> None:
    by_hand_k, read_k = AMBIENT_K.whole, AMBIENT_READ_K.whole
    fresh = AirReading(22.0, DAYS_S)
    assert to_know_k(by_hand_k, fresh, DAYS_S) == read_k < by_hand_k
    assert to_know_k(read_k, fresh, DAYS_S + AGE_S) is None, "as it is"
    assert to_know_k(read_k, fresh, DAYS_S + AGE_S + 1.0) == by_hand_k
    assert to_know_k(read_k, None, DAYS_S) == by_hand_k
    assert to_know_k(by_hand_k, None, DAYS_S) is None
    assert to_know_k(2.5, fresh, DAYS_S) is None and to_know_k(2.5, None, DAYS_S) is None, "a hand knows it is worse"


def test_a_thermometer_that_is_silent_makes_the_shop_warm_and_never_cold() -> None:
    old = AirReading(18.0, DAYS_S)
    assert to_set_c(18.5, old, DAYS_S + AGE_S + 1.0, 28.0, 38.0) == 28.0
    assert to_set_c(18.5, None, DAYS_S, 28.0, 38.0) == 28.0
    assert to_set_c(31.0, None, DAYS_S, 28.0, 38.0) is None


@given(st.floats(5, 60), st.floats(25, 43), st.floats(15, 38), st.sampled_from([0.8, 1.5, 2.5, TOO_WARM_K]))
def test_air_warmer_than_it_may_be_set_is_known_so_badly_that_no_time_ends_a_hold(
    value_c: float, most_c: float, unknown_c: float, set_k: float
) -> None:
    for reading, said_c in ((AirReading(value_c, DAYS_S), value_c), (None, unknown_c)):
        set_c = to_set_c(5.0, reading, DAYS_S, unknown_c, most_c) or 5.0
        assert set_c <= min(most_c, 40.0)
        too_warm = is_too_warm(reading, DAYS_S, unknown_c, most_c)
        known_k = to_know_k(set_k, reading, DAYS_S, too_warm) or set_k
        assert set_c >= said_c or known_k == TOO_WARM_K
        silent = reading is None and set_k == TOO_WARM_K  # what spoke of air that is too warm took nothing back
        assert too_warm or silent or (known_k < TOO_WARM_K and known_k <= max(set_k, AMBIENT_K.whole))


def test_a_thermometer_that_falls_silent_takes_too_warm_not_back_and_one_that_is_taken_away_does() -> None:
    assert to_know_k(TOO_WARM_K, None, DAYS_S) is None
    assert to_know_k(TOO_WARM_K, AirReading(42.5, DAYS_S - 901.0), DAYS_S) is None
    assert to_know_k(TOO_WARM_K, None, DAYS_S, gone=True) == AMBIENT_K.whole
    assert to_know_k(TOO_WARM_K, AirReading(23.0, DAYS_S), DAYS_S) == AMBIENT_READ_K.whole


def test_a_hand_on_the_thermometer_and_a_broken_one_are_not_the_shop() -> None:
    before = AirReading(22.0, DAYS_S)
    assert not can_be(AirReading(29.0, DAYS_S + 20.0), before)
    assert can_be(AirReading(29.0, DAYS_S + 3600.0), before)
    assert can_be(AirReading(44.0, DAYS_S), None) and not can_be(AirReading(85.0, DAYS_S), None)
    assert not can_be(AirReading(-127.0, DAYS_S), None) and not can_be(AirReading(float("nan"), DAYS_S), None)


@given(st.floats(5, 40), st.floats(5, 40), st.floats(15, 38))
def test_what_is_set_is_never_colder_than_what_was_read(set_c: float, value_c: float, unknown_c: float) -> None:
    found = to_set_c(set_c, AirReading(value_c, DAYS_S), DAYS_S + 60.0, unknown_c, 43.0)
    assert (set_c if found is None else found) >= min(value_c, 40.0)


def test_a_shop_that_warms_and_cools_for_days_sets_few_values() -> None:
    set_c, found = 23.0, set()
    for minute in range(5 * 24 * 60):
        at_s = DAYS_S + 60.0 * minute
        value_c = 21.0 + 4.0 * math.sin(minute / 229.0) + 0.3 * math.sin(minute * 1.7)
        set_c = to_set_c(set_c, AirReading(value_c, at_s), at_s, 28.0, 38.0) or set_c
        found.add(set_c)
    assert len(found) <= 10


@pytest.mark.parametrize(
    ("typed", "value_c"),
    [
        ("AIR=23.4C", 23.4),
        ("AIR=23,4C", 23.4),
        ("AIR=74.3F", 23.5),
        ("23.4C", None),  # a probe's
        ("AIR=23.4C HV4T8BRJ3V", None),  # two devices typed at once
        ("AIR=..C", None),
        ("AIR=" + 99 * "1" + "C", None),
    ],
)
def test_a_thermometer_that_types_is_known_by_what_it_types_beside_a_figure(typed: str, value_c: float | None) -> None:
    assert of_burst(typed, r"AIR=([0-9.,]+)([CF])") == value_c


def test_a_label_is_never_a_temperature_and_a_bare_figure_never_the_shops() -> None:
    assert of_burst("HV4T8BRJ3V", r"\D+(\d)\D.*") is None
    for pattern in (r"(-?[0-9.,]+)\s*°?([CF])?", r".*?([0-9.]+).*", r"([0-9]+)"):
        assert is_a_bare_figure(pattern)
    assert not is_a_bare_figure(r"AIR=([0-9.,]+)([CF])")
