"""Heat that had longer to go deeper than was counted: no hold is shorter than the longest it may have been."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import inf

import numpy as np
import pytest

from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.belief import Instrument
from kiosk.rules.cooling.assessment import (
    Assessment,
    CoolingError,
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
)
from kiosk.rules.cooling.lasting import taken
from kiosk.rules.cooling.stand import checked, course_of, few
from kiosk.rules.outline import Profile, outlines_of

SLIM = Holder("k1", "6", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 6.0, nose_mm=21.0, projection_mm=80.0)
HOLDERS = (SLIM, replace(SLIM, bore_mm=20.0, nose_mm=33.0, projection_mm=100.0))
SOAKED_S = (0.0, 5.0, 20.0, 60.0, 150.0, 300.0, 450.0, 700.0, 1500.0, 4000.0)
ROOM = Room()


def outline(holder: Holder) -> Profile:
    return outlines_of(holder, None)[0]


def soaks(profile: Profile, way: Way, counted_s: float, longer_s: float, out_s: float | None = None) -> float:
    """How long it is held after it came to its second place.  out_s: it is taken out again after that long."""
    heat = Heat(330.0, default_heated_mm(profile))
    stages = [
        Stage(Way.FREE_AIR, 0.0, counted_s, longer_s=longer_s),
        Stage(way, counted_s, None, heat.length_mm if way is Way.SLEEVE else None),
    ]
    if out_s is not None:
        stages[1:] = [stages[1]._replace(end_s=counted_s + out_s), Stage(Way.FREE_AIR, counted_s + out_s)]
    hold_s = assess(profile, heat, stages, ROOM).hold_s
    assert hold_s is not None
    return hold_s - counted_s


@pytest.mark.parametrize("out_s", [None, 30.0], ids=["for good", "30 s"])
@pytest.mark.parametrize("way", [Way.SLEEVE, Way.FORCED_AIR, Way.MIST])
@pytest.mark.parametrize("holder", HOLDERS, ids=lambda holder: f"nose {holder.nose_mm:g}")
@pytest.mark.parametrize(("counted_s", "longer_s"), [(20.0, 60.0), (20.0, inf), (0.0, 25.0)])
def test_a_hold_after_a_stay_of_unknown_length_is_as_long_as_after_the_worst_of_them_and_hardly_longer(
    holder: Holder, way: Way, counted_s: float, longer_s: float, out_s: float | None
) -> None:
    profile = outline(holder)
    each_s = SOAKED_S if longer_s == inf else [longer_s * share for share in (0.0, 0.1, 0.3, 0.6, 1.0)]
    worst_s = max(soaks(profile, way, counted_s + each, 0.0, out_s) for each in each_s)
    held_s = soaks(profile, way, counted_s, longer_s, out_s)
    assert held_s >= worst_s - 2.0
    assert held_s <= 1.12 * worst_s + 10.0, "nobody waits for heat that was counted in nose and body at once"


@pytest.mark.parametrize("longer_s", [40.0, inf])
@pytest.mark.parametrize("way", [Way.SLEEVE, Way.FORCED_AIR])
def test_of_the_stays_that_are_solved_one_is_hotter_than_any_other_at_every_moment(way: Way, longer_s: float) -> None:
    """Against the courses of stays of every length, the hottest skin of each, ever after."""
    profile, counted_s = outline(SLIM), 10.0
    heat = Heat(330.0, default_heated_mm(profile))
    after_s = np.array([5.0, 15.0, 40.0, 100.0, 250.0, 600.0, 1500.0, 4000.0])

    def hottest_k(first: Stage) -> np.ndarray:
        end_s = first.end_s or 0.0
        second = Stage(way, end_s, None, heat.length_mm if way is Way.SLEEVE else None)
        return course_of(profile, heat, (first, second), ROOM).hottest(end_s + after_s)

    solved = taken((Stage(Way.FREE_AIR, 0.0, counted_s, longer_s=longer_s), Stage(way, counted_s)))
    bound = np.max([hottest_k(first) for first, _ in solved], axis=0)
    for soaked_s in (each for each in (*SOAKED_S, 1.0, 2.5, 12.0, 33.0, 40.0) if each <= longer_s):
        real = hottest_k(Stage(Way.FREE_AIR, 0.0, counted_s + soaked_s))
        assert (real - bound).max() < 0.3, soaked_s


@pytest.mark.parametrize("longer_s", [1.0, 60.0, 300.0, 5000.0, 1e7, inf])
def test_the_stays_that_are_solved_leave_no_length_out(longer_s: float) -> None:
    stages = (Stage(Way.FREE_AIR, 0.0, 5.0, longer_s=longer_s), Stage(Way.SLEEVE, 5.0))
    spans = [each[0].taken for each in taken(stages)]
    assert spans[0].least_s == spans[0].taken_s == 0.0 and spans[-1].most_s >= longer_s
    for one, two in pairwise(spans):
        assert (one.most_s, two.least_s) == (two.taken_s, one.taken_s) and one.taken_s < two.taken_s
    assert not any(span.alone for span in spans)


def test_of_two_stays_of_unknown_length_the_first_is_taken_apart_and_the_second_stays_whole() -> None:
    first, second = Stage(Way.FREE_AIR, 0.0, 5.0, longer_s=9.0), Stage(Way.SLEEVE, 5.0, 8.0, 40.0, inf)
    found = taken((first, second, Stage(Way.FREE_AIR, 8.0)))
    assert len(found) > 1 and all(each[1:] == (second, Stage(Way.FREE_AIR, 8.0)) for each in found)
    last = Stage(Way.FREE_AIR, 0.0, longer_s=9.0)
    assert taken((last,)) == ((last,),), "it still stands there"


def test_every_cell_is_as_warm_as_it_may_have_become() -> None:
    """Against the courses of stays of every length, cell by cell, ever after."""
    profile = outline(SLIM)
    heat = Heat(330.0, default_heated_mm(profile))

    def course(counted_s: float, longer_s: float):  # type: ignore[no-untyped-def]
        first = Stage(Way.FREE_AIR, 0.0, counted_s, longer_s=longer_s)
        return course_of(profile, heat, (first, Stage(Way.SLEEVE, counted_s, None, heat.length_mm)), ROOM)

    bound = course(10.0, inf)
    for soaked_s in SOAKED_S:
        real = course(10.0 + soaked_s, 0.0)
        for after_s in (0.0, 3.0, 30.0, 200.0, 900.0, 5000.0):
            short_k = real.state(10.0 + soaked_s + after_s) - bound.state(10.0 + after_s)
            assert short_k.max() < 0.6, (soaked_s, after_s)
    assert np.abs(bound.state(9.99) - course(10.0, 0.0).state(9.99)).max() < 0.6, "before that it is what was counted"


def test_a_stay_that_counts_for_no_time_at_all_may_have_been_one() -> None:
    profile = outline(SLIM)
    assert (
        soaks(profile, Way.SLEEVE, 0.0, inf)
        >= soaks(profile, Way.SLEEVE, 0.0, 60.0)
        > soaks(profile, Way.SLEEVE, 0.0, 0.0)
    )


def test_where_more_places_are_taken_together_than_are_solved_what_may_have_been_longer_stays_so() -> None:
    ways = (Way.SLEEVE, Way.FREE_AIR) * 6
    stages = tuple(
        Stage(way, 10.0 * at, 10.0 * at + 10.0, 40.0 if way is Way.SLEEVE else None, inf if at == 2 else 0.0)
        for at, way in enumerate(ways)
    )
    kept = few((*stages, Stage(Way.SLEEVE, 120.0, None, 40.0)))
    assert len(kept) < len(stages) and sum(stage.longer_s == inf for stage in kept) == 1


@pytest.mark.parametrize("longer_s", [-1.0, float("nan")])
def test_no_stay_was_longer_by_less_than_nothing(longer_s: float) -> None:
    profile = outline(SLIM)
    with pytest.raises(CoolingError, match="longer_s"):
        checked(profile, Heat(330.0, 40.0), (Stage(Way.FREE_AIR, 0.0, longer_s=longer_s),), ROOM)


@pytest.mark.parametrize("way", [Way.FORCED_AIR, Way.SLEEVE])
@pytest.mark.parametrize("share", [0.6, 0.8, 1.0])
def test_a_reading_counts_for_whatever_it_may_have_soaked_before(way: Way, share: float) -> None:
    """One that shows little is of a holder that cools fast, or of one whose heat is still behind the spot."""
    profile, soaked_s = outline(HOLDERS[1]), 40.0
    heat = Heat(330.0, default_heated_mm(profile))
    wet_mm = heat.length_mm if way is Way.SLEEVE else None
    bound = bound_of(
        profile, heat, (Stage(Way.FREE_AIR, 0.0, 0.0, longer_s=soaked_s), Stage(way, 0.0, None, wet_mm)), ROOM
    )
    usual = assess_bound(bound)
    at_s = 0.5 * usual.touch_safe_s
    touch = Touch(at_s, Zone.NOSE, Instrument.PROBE, 23.0 + share * (usual.now(at_s).hottest_c - 23.0))
    held_s = assess_bound(bound, [touch]).hold_s
    chance = hot_after(bound, at_s, [touch])
    assert held_s is not None
    for end_s in (0.0, soaked_s):
        known = (Stage(Way.FREE_AIR, 0.0, end_s), Stage(way, end_s, None, wet_mm))
        alone = bound_of(profile, heat, known, ROOM)
        later = [touch._replace(at_s=at_s + end_s)]
        alone_s = assess_bound(alone, later).hold_s
        assert alone_s is not None and held_s >= 0.99 * (alone_s - end_s) - 2.0
        assert chance >= 0.9 * hot_after(alone, at_s + end_s, later) - 0.002


@pytest.mark.parametrize("unseen_s", [240.0, 300.0])
def test_a_reading_after_a_stay_of_unknown_length_counts_for_the_shortest_and_the_longest_of_them(
    unseen_s: float,
) -> None:
    """The one that lasts longest unread may be neither."""
    profile = outlines_of(SLIM, None)[0]
    heat = Heat(330.0, default_heated_mm(profile))

    def stages(first_s: float, longer_s: float = 0.0) -> tuple[Stage, ...]:
        out_s = first_s + 90.0
        mist = Stage(Way.MIST, first_s, out_s)
        return Stage(Way.FREE_AIR, 0.0, first_s, longer_s=longer_s), mist, Stage(Way.FREE_AIR, out_s)

    read = Touch(188.0, Zone.FLANGE, Instrument.PROBE, 33.0, sure=True)
    unseen = bound_of(profile, heat, stages(0.0, unseen_s), ROOM)
    soonest = bound_of(profile, heat, stages(5.0), ROOM)
    hot = hot_after(soonest, 193.0, [read._replace(at_s=193.0)])
    assert hot_after(unseen, 188.0, [read]) >= 0.5 * hot > 0.005


def test_what_is_shown_is_never_cooler_than_a_holder_that_stood_no_longer_than_was_counted() -> None:
    profile = outline(SLIM)
    heat = Heat(330.0, default_heated_mm(profile))

    def shown(longer_s: float) -> Assessment:
        first = Stage(Way.FREE_AIR, 0.0, 2.0, longer_s=longer_s)
        return assess(profile, heat, (first, Stage(Way.SLEEVE, 2.0, None, heat.length_mm)), ROOM)

    at_once = shown(0.0)
    for longer_s in (60.0, inf):
        maybe = shown(longer_s)
        assert all(maybe.now(at_s).hottest_c >= at_once.now(at_s).hottest_c - 2.0 for at_s in (0.0, 1.0, 5.0, 20.0))
