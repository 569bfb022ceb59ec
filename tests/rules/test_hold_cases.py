"""What the book leaves open about a hold is never decided in favour of the sooner end, whatever was read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.belief import Standing
from kiosk.rules.cooling.assessment import Room
from kiosk.rules.hold import is_sound, verdict
from kiosk.rules.hold_cases import Weighed, solved, weighed
from kiosk.rules.hold_facts import HeatValues, HoldFacts, HoldRules, Reading, Stay, all_found, cooling_from_s

HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
CUTTER = Cutter("c1", "End mill 12", 12.0, 12.0, 83.0)
BUILT = Assembly("a1", "End mill 12", HOLDER, CUTTER, 38.0)
DEPTH_UNKNOWN = replace(BUILT, insert_mm=None)
SET = HeatValues(330.0, 23.0, 43.0, 60.0, 3.0)
ANY = HoldRules(Room(), 330.0)
ROUNDED_S = 2.0  # a hold is rounded up to a second on both of its ways

begins = st.sampled_from([5.0, 6 * 3600.0, 3e6])
courses = st.sampled_from([(), ("free_air",), ("forced_air",), ("sleeve",)])
changes = st.sampled_from(
    [
        {"temp_c": 380.0}, {"temp_c": 200.0}, {"ambient_c": 29.0}, {"ambient_c": 15.0}, {"heating_s": 300.0},
        {"heating_s": 10.0}, {"limit_c": 40.0}, {"limit_c": 48.0}, {"length_tolerance_um": 1.0},
    ]
)  # fmt: skip
readings = st.lists(
    st.tuples(st.floats(0.0, 2400.0), st.sampled_from(["nose", "flange", "shank"]), st.floats(0.4, 1.2)), max_size=4
)


def heated(start_s: float, course: Sequence[str], built: Assembly | None = BUILT) -> HoldFacts:
    station = Stay("station", start_s)
    stays = (station, *(Stay(way, start_s + 90.0, way, 40.0 if way == "sleeve" else None) for way in course))
    return HoldFacts(HOLDER, built, start_s, 1.79e9, None, None, stays, began=(SET,), heating=7)


@cache
def unread(course: Sequence[str]) -> Weighed:
    return worked(heated(0.0, course), SET)


def worked(facts: HoldFacts, now: HeatValues) -> Weighed:
    return weighed(solved(facts, ANY.of(now), None), facts, ANY.of(now))


def ends_s(facts: HoldFacts, now: HeatValues) -> float:
    """Watched time at which its hold ends with the shop's values as they are `now`."""
    hold_s = worked(facts, now).found.hold_s
    return inf if hold_s is None else cooling_from_s(facts, ANY.of(now)) + hold_s


def with_read(facts: HoldFacts, course: Sequence[str], taken: Sequence[tuple[float, str, float]]) -> HoldFacts:
    """Read at some seconds after it was heated, to show a share of the excess that is expected there."""
    found = unread(tuple(course)).found
    seen = []
    for after_s, where, share in sorted(taken):
        value_c = 23.0 + share * (found.now(after_s).hottest_c - 23.0) * (0.8 if where == "flange" else 1.0)
        seen.append(Reading(facts.heated_at_s + after_s, where, value_c, "probe", "agrees"))
    return replace(facts, readings=tuple(seen))


@given(begins, courses, readings, st.lists(changes, min_size=1, max_size=3), st.booleans())
@settings(max_examples=12)
def test_no_value_that_is_set_brings_an_end_nearer_whatever_was_read(
    start_s: float,
    course: Sequence[str],
    taken: Sequence[tuple[float, str, float]],
    changed: Sequence[dict[str, float]],
    depth_known: bool,
) -> None:
    facts = with_read(heated(start_s, course, BUILT if depth_known else DEPTH_UNKNOWN), course, taken)
    now, before_s = SET, ends_s(facts, SET)
    for change in changed:
        now = replace(now, **change)
        changed_s = ends_s(facts, now)
        facts = replace(facts, began=all_found(facts.began, now))
        assert changed_s >= before_s - ROUNDED_S
        assert ends_s(facts, now) == changed_s, "and it is the same once it is written down"
        before_s = changed_s
    assert ends_s(facts, SET) == before_s, "set back, it is as it was"


def test_readings_that_a_hotter_start_explains_by_better_cooling_shorten_nothing() -> None:
    taken = [(300.0, "nose", 1.0), (600.0, "nose", 1.0)]
    facts = with_read(heated(9e6, ()), (), taken)
    hotter = replace(SET, temp_c=380.0)
    alone_s = ends_s(replace(facts, began=(hotter,)), hotter)
    assert alone_s < ends_s(facts, SET) - 60.0, "as if it had been set so from the start: this is what must not count"
    assert ends_s(facts, hotter) >= ends_s(facts, SET)


@pytest.mark.parametrize("name", ["temp_c", "ambient_c", "heating_s"])
def test_nothing_the_steel_felt_is_forgotten_by_a_later_value(name: str) -> None:
    other = {"temp_c": 380.0, "ambient_c": 28.0, "heating_s": 90.0}
    once = all_found((SET,), replace(SET, **{name: other[name]}))
    assert set(once) == {SET, replace(SET, **{name: other[name]})}
    rest = next(each for each in other if each != name)
    twice = all_found(once, replace(SET, **{rest: other[rest]}))
    assert set(once) < set(twice) and replace(SET, **{name: other[name], rest: other[rest]}) in twice
    assert all_found(twice, SET) == twice


def test_the_strictest_limit_and_tolerance_count_for_all_and_need_no_case_of_their_own() -> None:
    assert all_found((SET,), replace(SET, limit_c=40.0)) == (replace(SET, limit_c=40.0),)
    assert all_found((SET,), replace(SET, limit_c=48.0, length_tolerance_um=9.0)) == (SET,)


@given(begins, courses, readings, changes)
@settings(max_examples=8)
def test_of_all_cases_the_hottest_is_shown_and_the_latest_counts(
    start_s: float, course: Sequence[str], taken: Sequence[tuple[float, str, float]], change: dict[str, float]
) -> None:
    now = replace(SET, **change)
    facts = with_read(heated(start_s, course, DEPTH_UNKNOWN), course, taken)
    cases, began_s = solved(facts, ANY.of(now), None), cooling_from_s(facts, ANY.of(now))
    both = weighed(cases, facts, ANY.of(now))
    ends = []
    assert is_sound(both.found) and list(both.found.t_s) == sorted(set(both.found.t_s))
    for case in cases:
        alone = weighed((case,), facts, ANY.of(now)).found
        shift_s = case.start_s(facts) - began_s
        for at_s in (both.found.t_s[3], 200.0, 900.0, 2500.0):
            shown, own = both.found.now(at_s), alone.now(at_s - shift_s)
            assert shown.high_c >= own.high_c - 0.1 and shown.hottest_c >= own.hottest_c - 0.1
            assert shown.low_c <= shown.hottest_c
            assert both.found.rises_k(at_s) >= alone.rises_k(at_s - shift_s) - 0.1
        ends.append((inf if alone.hold_s is None else alone.hold_s + shift_s, alone.measure_ready_s + shift_s))
    assert (inf if both.found.hold_s is None else both.found.hold_s) == max(ends_s for ends_s, _ in ends)
    assert both.found.measure_ready_s == max(ready_s for _, ready_s in ends)
    assert ends[cases.index(both.longest)][0] == max(ends_s for ends_s, _ in ends)


def test_a_reading_ends_a_hold_only_if_it_does_in_every_case() -> None:
    facts, hotter = heated(9e6, ("free_air",)), replace(SET, temp_c=400.0, ambient_c=29.0)
    (usual,), (hot,) = (solved(replace(facts, began=()), ANY.of(now), None) for now in (SET, hotter))
    found = weighed((usual,), facts, ANY.of(SET)).found
    told = set()
    for share in (0.6, 0.7, 0.8, 0.9, 1.0):
        at_s = share * found.touch_safe_s
        where = found.now(at_s).where.read_at.value
        for value_c in (33.0, 36.0, 39.0, 41.0):
            reading = Reading(facts.heated_at_s + 60.0 + at_s, where, value_c, "probe", "")
            ends = [
                verdict(facts, ANY, cases, found, Standing(5), reading).ends
                for cases in ((usual,), (usual, hot), (usual, usual, hot))
            ]
            told.add((ends[0], ends[1]))
            assert ends[1] == ends[2] and ends[0] >= ends[1]
    assert told >= {(True, False), (False, False)}, "what the one case would let go, the other keeps"


def test_what_was_heated_under_values_that_changed_teaches_nothing() -> None:
    facts = heated(9e6, ("free_air",))
    assert facts.teaches and replace(facts, began=()).teaches
    assert not replace(facts, began=all_found((SET,), replace(SET, temp_c=380.0))).teaches
    assert not replace(facts, reading_only=True).teaches
    assert not replace(facts, stays=(*facts.stays, Stay(None, 9e6 + 100.0))).teaches
