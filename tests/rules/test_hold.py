"""A holder nobody saw heated is proven cool by a probe alone, all over and long enough."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.hold_facts import Reading
from kiosk.rules.hold_proof import SOAK_S, cool_all_over

ALL = ("nose", "flange", "shank")


def probe(at_s: float, where: str, value_c: float = 24.0, instrument: str = "probe") -> Reading:
    return Reading(at_s, where, value_c, instrument, "")


def test_every_place_cool_and_the_nose_again_after_the_soak_proves_it() -> None:
    readings = [probe(at, where) for at, where in enumerate(ALL)]
    assert cool_all_over(readings, 43.0, 10.0) == pytest.approx(SOAK_S - 2)
    assert cool_all_over([*readings, probe(SOAK_S, "nose")], 43.0, SOAK_S) == 0.0


@pytest.mark.parametrize("left_out", ALL)
def test_a_place_that_was_not_read_proves_nothing(left_out: str) -> None:
    readings = [probe(at * SOAK_S, where) for at, where in enumerate(ALL) if where != left_out]
    assert cool_all_over(readings, 43.0, 2 * SOAK_S) is None


def test_one_warm_reading_undoes_all_before_it() -> None:
    readings = [probe(0, "nose"), probe(1, "flange"), probe(2, "shank"), probe(310, "nose", 51.0)]
    assert cool_all_over(readings, 43.0, 310) is None


def test_infrared_and_old_readings_do_not_count() -> None:
    bright = [probe(at * SOAK_S / 2, where, instrument="infrared") for at, where in enumerate((*ALL, "nose"))]
    assert cool_all_over(bright, 43.0, 2 * SOAK_S) is None
    old = [probe(at * SOAK_S / 2, where) for at, where in enumerate((*ALL, "nose"))]
    assert cool_all_over(old, 43.0, 10_000.0) is None


@given(st.lists(st.tuples(st.floats(0, 1200), st.sampled_from(ALL), st.floats(15, 90)), max_size=12))
def test_whatever_is_read_the_proof_holds_a_whole_soak_of_cool_readings(taken: list[tuple[float, str, float]]) -> None:
    readings = [probe(at_s, where, value_c) for at_s, where, value_c in taken]
    now_s = max((reading.at_s for reading in readings), default=0.0)
    if cool_all_over(readings, 43.0, now_s) == 0.0:
        warm_s = max((reading.at_s for reading in readings if reading.value_c > 43.0), default=-1.0)
        cool = [reading for reading in readings if reading.at_s >= warm_s and reading.value_c <= 43.0]
        assert {reading.where for reading in cool} == set(ALL)
        assert max(reading.at_s for reading in cool) - min(reading.at_s for reading in cool) >= SOAK_S


@pytest.mark.parametrize("begun_s", [0.0, 6 * 3600.0, 3 * 86400.0, 200 * 86400.0])
def test_the_proof_takes_five_minutes_wherever_the_watched_clock_stands(begun_s: float) -> None:
    readings = [probe(begun_s + at, where) for at, where in enumerate(ALL)]
    for last_s, left_s in ((2.0, 298.0), (299.0, 1.0), (300.0, 0.0), (400.0, 0.0)):
        taken = [*readings, probe(begun_s + last_s, "nose")]
        assert cool_all_over(taken, 43.0, begun_s + last_s) == pytest.approx(left_s, abs=1e-6)
        assert cool_all_over(taken[::-1], 43.0, begun_s + last_s) == pytest.approx(left_s, abs=1e-6)
    assert cool_all_over([], 43.0, begun_s) is None


@pytest.mark.parametrize("begun_s", [0.0, 6 * 3600.0, 200 * 86400.0])
def test_a_reading_counts_for_twenty_minutes_and_cool_is_up_to_the_limit(begun_s: float) -> None:
    readings = [probe(begun_s + at * 150.0, where, 43.0) for at, where in enumerate(ALL)]
    assert cool_all_over(readings, 43.0, begun_s + 1200.0) == 0.0
    assert cool_all_over(readings, 43.0, begun_s + 1201.0) is None
    warmer = [*readings[:2], probe(begun_s + 300.0, "shank", 43.1)]
    assert cool_all_over(warmer, 43.0, begun_s + 300.0) is None
