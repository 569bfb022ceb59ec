"""A holder carried from place to place: many stages cost no more, and taking some together never shortens a hold."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Coupling
from kiosk.rules.belief import Instrument
from kiosk.rules.cooling.assessment import Touch, assess, assess_bound, bound_of, last_above_s, predict_bound
from kiosk.rules.cooling.mesh import Zone
from kiosk.rules.cooling.stand import (
    CoolingError,
    Heat,
    Room,
    Stage,
    course_of,
    default_heated_mm,
    few,
    limit_over_ambient_k,
)
from kiosk.rules.cooling.unknowns import FILMS, SKIN, Film, Way
from kiosk.rules.lessons import Known, untaught
from kiosk.rules.outline import outline

ROOM = Room(22.0, 43.0)
COMMON = outline(Coupling.parse("HSK63"), 12, 24, 106, insert_mm=47, stickout_mm=40)
HEAT = Heat(330.0, default_heated_mm(COMMON))


def carried(places: int, stay_s: float = 25.0) -> tuple[Stage, ...]:
    """Through as many places, every way of cooling in turn."""
    ways = (Way.FREE_AIR, Way.SLEEVE, Way.FREE_AIR, Way.FORCED_AIR, Way.FREE_AIR, Way.MIST)
    return tuple(
        Stage(
            ways[at % len(ways)],
            at * stay_s,
            (at + 1) * stay_s if at + 1 < places else None,
            57.0 if ways[at % len(ways)] is Way.SLEEVE else None,
        )
        for at in range(places)
    )


@given(st.lists(st.tuples(st.sampled_from(Way), st.floats(1.0, 400.0)), min_size=1, max_size=30))
def test_few_stages_cover_the_same_time_without_a_hole_and_end_with_the_place_it_stands_in(
    stays: list[tuple[Way, float]],
) -> None:
    stages, at_s = [], 0.0
    for way, long_s in stays:
        stages.append(Stage(way, at_s, at_s + long_s))
        at_s += long_s
    stages[-1] = stages[-1]._replace(end_s=None)
    kept = few(stages)
    assert len(kept) == min(len(stages), 8)
    assert kept[0].start_s == 0.0 and kept[-1] == stages[-1]
    assert all(one.end_s == two.start_s for one, two in pairwise(kept))


@settings(max_examples=15, deadline=None)
@given(st.integers(9, 24), st.floats(5.0, 60.0))
def test_stages_taken_together_are_never_a_sooner_end(places: int, stay_s: float) -> None:
    stages = carried(places, stay_s)
    limit_k = limit_over_ambient_k(ROOM)
    whole = last_above_s(course_of(COMMON, HEAT, stages, ROOM), limit_k)
    fewer = last_above_s(course_of(COMMON, HEAT, few(stages), ROOM), limit_k)
    assert fewer >= whole - 1.0


@pytest.mark.parametrize("places", [9, 40, 400])
def test_however_often_it_is_carried_the_same_number_of_stages_is_solved(places: int) -> None:
    bound = bound_of(COMMON, HEAT, carried(places), ROOM)
    assert len(bound.stages) == 8 and bound.simplified
    assert assess_bound(bound).hold_s is not None


def test_a_cold_reading_of_a_holder_carried_about_shortens_nothing_and_is_no_lesson_about_films() -> None:
    bound = bound_of(COMMON, HEAT, carried(14), ROOM)
    at_s = 14 * 25.0 + 30.0
    seen = predict_bound(bound, Zone.NOSE, at_s)
    assert seen.by_heat_k == seen.by_film_k == 0.0 and not any(film.by_k for film in seen.films)
    unread, read = (assess_bound(bound, touches).hold_s for touches in ((), (cold(at_s, seen.expected_c),)))
    assert unread is not None and read is not None and read >= unread


def cold(at_s: float, expected_c: float) -> Touch:
    return Touch(at_s, Zone.NOSE, Instrument.PROBE, 22.0 + 0.6 * (expected_c - 22.0))


def test_each_film_a_reading_hangs_on_is_told_with_what_it_was_taken_for() -> None:
    stages = (Stage(Way.FREE_AIR, 0.0, 60.0), Stage(Way.SLEEVE, 60.0, 90.0, 50.0), Stage(Way.FREE_AIR, 90.0))
    found = predict_bound(bound_of(COMMON, HEAT, stages, Room()), Zone.NOSE, 300.0)
    assert {film.way for film in found.films} == {Way.FREE_AIR, Way.SLEEVE} and found.about_heat == 0.0
    assert {film.about for film in found.films} == {round(math.log(SKIN), 4)}


@pytest.mark.parametrize("way", [Way.FORCED_AIR, Way.SLEEVE, Way.MIST])
def test_what_is_known_of_a_film_was_found_on_the_real_skin(way: Way) -> None:
    """The steps in which a cone is counted cool too well by a twentieth; a film that was learnt makes up for it."""
    known = untaught()
    sure = known.cov.copy()
    at = 1 + tuple(Way).index(way)
    sure[at, at] = 0.0
    stages, room = (Stage(way, 0.0),), Room()
    as_counted = assess(COMMON, HEAT, stages, room).touch_safe_s
    learnt = assess(COMMON, HEAT, stages, room, Known(known.mean, sure)).touch_safe_s
    slower = {**FILMS, way: Film(FILMS[way].film_w_m2k * SKIN, FILMS[way].emissivity * SKIN)}
    assert learnt == pytest.approx(assess(COMMON, HEAT, stages, room._replace(films=slower)).touch_safe_s, abs=1.5)
    assert learnt > as_counted


@pytest.mark.parametrize("least", range(7))
def test_of_nine_stages_the_two_neighbours_that_cool_least_are_taken_together(least: int) -> None:
    """What is given away is counted in seconds times film; the stay it is in now is never taken."""
    long_s = [40.0 if at in (least, least + 1) else 90.0 for at in range(8)]
    since_s = [sum(long_s[:at]) for at in range(9)]
    stages = [Stage(Way.SLEEVE, since_s[at], since_s[at + 1], 50.0) for at in range(8)] + [Stage(Way.MIST, since_s[8])]
    merged = Stage(Way.FREE_AIR, since_s[least], since_s[least + 2])
    assert few(stages) == (*stages[:least], merged, *stages[least + 2 :])
    free = [stage._replace(way=Way.FREE_AIR) if at in (6, 7) else stage for at, stage in enumerate(stages)]
    assert few(free)[6] == Stage(Way.FREE_AIR, since_s[6], since_s[8]), "free air gives nothing away"


def test_eight_stages_are_left_as_they_are_and_a_fault_says_its_field() -> None:
    stages = carried(8)
    assert few(stages) == stages and len(few(carried(9))) == 8
    fault = CoolingError("limit_c", "is none")
    assert (str(fault), fault.field, fault.why) == ("limit_c: is none", "limit_c", "is none")
