"""Which readings of one heat say something each: a thermometer that was left where it is says its error but once."""

from __future__ import annotations

import pytest

from kiosk.rules.belief import Instrument
from kiosk.rules.cooling.mesh import Zone
from kiosk.rules.cooling.touches import Touch, told_apart


def probe(at_s: float, value_c: float = 80.0, zone: Zone = Zone.NOSE) -> Touch:
    return Touch(at_s, zone, Instrument.PROBE, value_c)


@pytest.mark.parametrize("begun_s", [10.0, 7000.0])
def test_within_a_minute_the_hottest_counts_and_at_a_minute_both(begun_s: float) -> None:
    near = [probe(begun_s, 90.0), probe(begun_s + 59.75, 80.0)]
    assert told_apart(near) == told_apart(near[::-1]) == [near[0]]
    apart = [probe(begun_s, 90.0), probe(begun_s + 60.0, 80.0)]
    assert told_apart(apart) == [each._replace(alike=2) for each in apart], "two that share an error"
    other = [near[0], near[1]._replace(zone=Zone.FLANGE), near[1]._replace(instrument=Instrument.INFRARED)]
    assert set(told_apart(other)) == set(other), "another spot or instrument is another reading"


@pytest.mark.parametrize("begun_s", [10.0, 7000.0])
def test_what_follows_without_a_pause_shares_an_error_in_each_row_by_itself(begun_s: float) -> None:
    first = [probe(begun_s + 70.0 * at, 150.0 - at) for at in range(3)]
    second = [probe(begun_s + 1000.0 + 89.0 * at, 120.0 - at) for at in range(5)]
    third = [probe(begun_s + 3000.0, 60.0), probe(begun_s + 3090.0, 59.0)]
    told = told_apart([*third, *second, *first])
    ends = [first[0], first[-1], second[0], second[-1]]
    assert told == [*(each._replace(alike=2) for each in ends), *third]


def test_of_a_row_what_was_hotter_than_all_before_it_counts_too() -> None:
    row = [probe(70.0 * at, value_c) for at, value_c in enumerate((100.0, 104.0, 103.0, 106.0, 90.0), 1)]
    told = told_apart(row)
    assert [each.value_c for each in told] == [100.0, 104.0, 106.0, 90.0] and {each.alike for each in told} == {4}


def test_what_was_read_before_it_began_to_cool_says_nothing() -> None:
    assert told_apart([probe(-1.0), probe(0.0)]) == [] and told_apart([probe(0.25)]) == [probe(0.25)]
