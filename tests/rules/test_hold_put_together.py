"""How a hold is put together from its cases, with the model left out: what it is asked, and what becomes of answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import Any, NamedTuple
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.cooling.assessment import Assessment, Heat, Room, Stage, Touch, Way, Zone, default_heated_mm
from kiosk.rules.hold_cases import Case, Weighed, solved, weighed
from kiosk.rules.hold_facts import HeatValues, HoldFacts, HoldRules, Reading, Stay
from kiosk.rules.lessons import Known, untaught
from kiosk.rules.outline import Profile

BEGINS = (0.0, 7 * 3600.0, 5 * 86400.0, 250 * 86400.0)
HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
BUILT = Assembly("a1", "End mill 12", HOLDER, Cutter("c1", "End mill 12", 12.0, 12.0, 83.0), 38.0)
RULES = HoldRules(Room(23.0, 43.0, 3.0), 330.0, 60.0)
begins = st.sampled_from(BEGINS)


class Asked(NamedTuple):
    """What the model was asked."""

    profile: Profile
    heat: Heat
    stages: Sequence[Stage]
    room: Room
    known: Known | None


def heated(start_s: float, *stays: Stay, **more: Any) -> HoldFacts:
    stood = (Stay("station", start_s), *(replace(stay, since_s=start_s + stay.since_s) for stay in stays))
    return HoldFacts(HOLDER, BUILT, start_s, 1.79e9, None, None, stood, **more)


def asked(facts: HoldFacts, rules: HoldRules = RULES, known: Known | None = None) -> list[Asked]:
    """What the model is asked, in the order of the cases; each lasts as long as its steel was hot."""
    with (
        patch("kiosk.rules.hold_cases.bound_of", side_effect=Asked),
        patch("kiosk.rules.hold_cases.assess_bound", side_effect=lambda bound: answer(bound.heat.temp_c)),
    ):
        return [case.bound for case in solved(facts, rules, known)]  # type: ignore[misc]  # in place of a bound


def answer(hold_s: float | None, **more: Any) -> Assessment:
    flat = (0.0,)
    plain = Assessment(23.0, 43.0, 50.0, hold_s, 60.0, None, flat, flat, flat, flat, flat, flat, (Zone.NOSE,))
    return replace(plain, **more)


# what is asked


stood = st.lists(
    st.tuples(
        st.integers(0, 200).map(float),
        st.sampled_from([None, "free_air", "forced_air", "sleeve", "mist"]),
        st.sampled_from([None, 40.0]),
    ),
    max_size=6,
)


@settings(max_examples=60)
@given(begins, stood, st.sampled_from([10.0, 60.0, 150.0]))
def test_the_model_is_asked_about_where_it_stood_at_every_second_since_it_left_the_coil(
    start_s: float, stays: list[tuple[float, str | None, float | None]], heating_s: float
) -> None:
    facts = heated(start_s, *(Stay("there", since_s, way, wet_mm) for since_s, way, wet_mm in sorted(stays, key=str)))
    facts = replace(facts, stays=tuple(sorted(facts.stays, key=lambda stay: stay.since_s)))
    (found,) = asked(facts, replace(RULES, heating_s=heating_s))
    left_s = min([heating_s, *(stay.since_s - start_s for stay in facts.stays[1:2])])
    assert found.stages[0].longer_s == left_s, "it may have left the coil when it was scanned"
    assert all(stage.longer_s == 0.0 for stage in found.stages[1:])
    stages = [stage for stage in found.stages if stage.end_s != stage.start_s]
    starts = [stage.start_s for stage in stages]
    assert starts[0] == 0.0 and starts == sorted(set(starts))
    assert [stage.end_s for stage in stages] == [*starts[1:], None]
    for at_s in (each / 2 for each in range(0, 420, 7)):
        stay = [stay for stay in facts.stays if stay.since_s - start_s <= left_s + at_s][-1]
        stage = [stage for stage in stages if stage.start_s <= at_s][-1]
        way = Way(stay.way or "free_air")
        wet_mm = found.heat.length_mm if way is Way.SLEEVE and stay.wet_length_mm is None else stay.wet_length_mm
        assert (stage.way, stage.wet_length_mm) == (way, wet_mm), at_s


def test_what_goes_on_unchanged_is_one_stage_and_nothing_that_lasted_no_time_is_any() -> None:
    facts = heated(
        9e6,
        Stay("rack", 20.0, "free_air"),
        Stay("other rack", 50.0, None),
        Stay("sleeve", 80.0, "sleeve", 40.0),
        Stay("longer sleeve", 100.0, "sleeve", 50.0),
        Stay("blower", 130.0, "forced_air"),
        Stay("mist", 130.0, "mist"),
        Stay("mist", 140.0, "mist"),
    )
    (found,) = asked(facts)
    assert list(found.stages) == [
        Stage(Way.FREE_AIR, 0.0, 60.0, None, 20.0),
        Stage(Way.SLEEVE, 60.0, 80.0, 40.0, 0.0),
        Stage(Way.SLEEVE, 80.0, 110.0, 50.0, 0.0),
        Stage(Way.MIST, 110.0, None, None, 0.0),
    ]


@pytest.mark.parametrize("begun_s", BEGINS)
def test_a_stay_that_nobody_watched_to_its_end_may_have_been_longer_however_short_it_counts(begun_s: float) -> None:
    facts = heated(
        begun_s,
        Stay("rack", 0.0, "free_air", unwatched=True),
        Stay("other rack", 0.0, None),
        Stay("sleeve", 0.0, "sleeve", 40.0, unwatched=True),
        Stay("blower", 0.0, "forced_air"),
    )
    (found,) = asked(facts)
    assert list(found.stages) == [
        Stage(Way.FREE_AIR, 0.0, 0.0, None, inf),
        Stage(Way.SLEEVE, 0.0, 0.0, 40.0, inf),
        Stage(Way.FORCED_AIR, 0.0, None, None, 0.0),
    ]
    assert facts.may_have_soaked and not facts.teaches
    still = heated(begun_s, Stay("rack", 9.0, "free_air", unwatched=True))
    assert not still.may_have_soaked and not still.teaches


@pytest.mark.parametrize("wet_mm", [79.5, 300.0])
def test_a_sleeve_goes_round_the_nose_and_leaves_the_flange_dry_however_long_it_is(wet_mm: float) -> None:
    (found,) = asked(heated(9e6, Stay("sleeve", 5.0, "sleeve", wet_mm)))
    flange_z_mm, _ = found.profile.flange_mm
    assert found.stages[-1].wet_length_mm == flange_z_mm - 1.0 < wet_mm
    (bath,) = asked(heated(9e6, Stay("mist", 5.0, "mist", wet_mm)))
    assert bath.stages[-1].wet_length_mm == wet_mm


def test_heat_is_what_was_written_down_and_else_the_shops() -> None:
    (found,) = asked(heated(9e6))
    assert found.heat == Heat(330.0, default_heated_mm(found.profile), None) and found.room == RULES.room
    (entered,) = asked(replace(heated(9e6), temp_c=290.0, length_mm=71.0))
    assert entered.heat == Heat(290.0, 71.0, None)
    known = untaught()
    assert asked(heated(9e6), known=known)[0].known is known and found.known is None


@pytest.mark.parametrize(
    ("temp_c", "body_c", "unknown", "asked_c"),
    [
        (None, None, False, None),
        (None, 80.0, False, 80.0),
        (None, 10.0, False, 23.0),
        (None, 400.0, False, 330.0),
        (290.0, 310.0, False, 310.0),
        (290.0, 400.0, False, 330.0),
        (380.0, 360.0, False, 360.0),
        (380.0, 390.0, False, 380.0),
        (None, None, True, 330.0),
        (290.0, 60.0, True, 330.0),
        (380.0, 60.0, True, 380.0),
    ],
)
def test_a_body_is_between_the_shop_and_the_hottest_that_heat_was_ever_put_to_it(
    temp_c: float | None, body_c: float | None, unknown: bool, asked_c: float | None
) -> None:
    found = asked(heated(9e6, body_unknown=unknown, body_c=body_c) if temp_c is None else
                  replace(heated(9e6, body_unknown=unknown, body_c=body_c), temp_c=temp_c))  # fmt: skip
    assert [each.heat.body_c for each in found] == [asked_c] * (2 if unknown else 1)


@pytest.mark.parametrize(("heats", "unknown", "cases"), [(1, False, 1), (5, False, 1), (6, False, 2), (1, True, 2)])
def test_what_may_be_hot_all_through_may_have_a_neck_that_is_slender_to_the_flange(
    heats: int, unknown: bool, cases: int
) -> None:
    found = asked(replace(heated(9e6, body_unknown=unknown), heats=heats))
    thick = [max(part.od_end_mm for part in each.profile.segments[:-2]) for each in found]
    assert len(found) == cases and thick == sorted(thick, reverse=True) and len(set(thick)) == cases


@pytest.mark.parametrize(("heats", "cases"), [(1, 1), (2, 2), (5, 2)])
@pytest.mark.parametrize("stay", [Stay("sleeve", 20.0, "sleeve"), Stay("bath", 20.0, "mist", 40.0)])
def test_where_only_the_nose_is_wet_a_second_heating_is_enough_for_that(stay: Stay, heats: int, cases: int) -> None:
    assert len(asked(replace(heated(9e6, stay), heats=heats))) == cases




# which of them is the first


@given(begins, st.lists(st.sampled_from([250.0, 300.0, 345.0, 390.0]), max_size=3), st.booleans())
def test_every_case_is_asked_once_and_the_one_that_lasts_longest_unread_comes_first(
    start_s: float, temps: list[float], depth_known: bool
) -> None:
    began = tuple(dict.fromkeys(replace(RULES.values, temp_c=temp_c) for temp_c in temps))
    facts = heated(start_s, began=began)
    if not depth_known:
        facts = replace(facts, assembly=replace(BUILT, insert_mm=None))
    found = asked(facts)
    hot = [each.heat.temp_c for each in found]
    every = dict.fromkeys([*(each.temp_c for each in began), 330.0, max([330.0, *temps])])
    assert sorted(hot) == sorted([*every] * (1 if depth_known else 2))
    assert hot[0] == max(hot)
    rest = [temp_c for temp_c in every for _ in range(1 if depth_known else 2)]
    rest.remove(max(hot))
    assert hot[1:] == rest, "the others stay in their order"


def test_of_two_the_longer_one_is_the_first() -> None:
    for other_c, hot in ((250.0, [330.0, 250.0]), (390.0, [390.0, 330.0])):
        found = asked(heated(9e6, began=(replace(RULES.values, temp_c=other_c),)))
        assert [each.heat.temp_c for each in found] == hot


@pytest.mark.parametrize("longest", range(3))
def test_what_counts_is_when_it_ends_and_not_how_long_it_takes(longest: int) -> None:
    """Each was heated for longer than the one before, and cools for less."""
    values = [replace(RULES.values, heating_s=heating_s) for heating_s in (60.0, 100.0, 200.0)]
    facts = heated(9e6, began=tuple(values))
    holds = [[500.0, 450.0, 340.0], [500.0, 470.0, 340.0], [500.0, 450.0, 370.0]][longest]
    lasts = iter(holds)
    with (
        patch("kiosk.rules.hold_cases.bound_of", side_effect=Asked),
        patch("kiosk.rules.hold_cases.assess_bound", side_effect=lambda bound: answer(next(lasts))),
    ):
        found = solved(facts, RULES, None)
    assert found[0].heating_s == values[longest].heating_s
    assert {case.heating_s for case in found} == {60.0, 100.0, 200.0}


@pytest.mark.parametrize("at", range(3))
def test_one_without_an_end_lasts_longest(at: int) -> None:
    values = [replace(RULES.values, temp_c=temp_c) for temp_c in (300.0, 330.0, 360.0)]
    lasts = iter([None if each == at else 1e9 + each for each in range(3)])
    with (
        patch("kiosk.rules.hold_cases.bound_of", side_effect=Asked),
        patch("kiosk.rules.hold_cases.assess_bound", side_effect=lambda bound: answer(next(lasts))),
    ):
        found = solved(heated(9e6, began=tuple(values)), RULES, None)
    assert found[0].bound.heat.temp_c == values[at].temp_c  # type: ignore[attr-defined]


# what becomes of the answers


def together(cases: Sequence[tuple[float, Assessment]], facts: HoldFacts, rules: HoldRules) -> Weighed:
    with patch("kiosk.rules.hold_cases.assess_bound", side_effect=lambda bound, touches: bound):
        return weighed([Case(heating_s, found) for heating_s, found in cases], facts, rules)  # type: ignore[arg-type]


tenths = st.integers(0, 4000).map(lambda count: count / 4)


@st.composite
def answers(draw: st.DrawFn) -> Assessment:
    times = sorted(draw(st.sets(tenths, min_size=2, max_size=5)))

    def drawn(least: int, most: int) -> tuple[float, ...]:
        return tuple(float(draw(st.integers(least, most))) for _ in times)

    return Assessment(
        ambient_c=draw(st.sampled_from([21.0, 23.0, 25.0])),
        limit_c=draw(st.sampled_from([40.0, 43.0])),
        touch_safe_s=draw(tenths),
        hold_s=draw(st.one_of(st.none(), tenths, tenths)),
        measure_ready_s=draw(tenths),
        take_out_s=draw(st.one_of(st.none(), tenths, tenths)),
        t_s=tuple(times),
        hottest_c=drawn(20, 400),
        low_c=drawn(20, 400),
        high_c=drawn(20, 400),
        rise_k=drawn(0, 30),
        growth_um=drawn(-60, 60),
        where=tuple(draw(st.sampled_from([Zone.NOSE, Zone.FLANGE, Zone.SHANK])) for _ in times),
    )


def test_one_answer_alone_is_the_hold() -> None:
    alone = answer(500.0)
    assert together([(60.0, alone)], heated(9e6), RULES).found is alone


def test_times_count_from_when_the_last_of_them_can_have_left_the_coil() -> None:
    sooner = answer(900.0, limit_c=40.0, take_out_s=200.0, t_s=(0.0, 10.0), hottest_c=(300.0, 200.0),
                    low_c=(0.0, 0.0), high_c=(0.0, 0.0), rise_k=(0.0, 0.0), growth_um=(-9.0, -9.0),
                    where=(Zone.NOSE, Zone.NOSE))  # fmt: skip
    later = answer(880.0, limit_c=43.0, take_out_s=190.0, t_s=(5.0,), hottest_c=(210.0,), growth_um=(8.0,))
    values = tuple(replace(RULES.values, heating_s=heating_s) for heating_s in (60.0, 90.0))
    found = together([(60.0, sooner), (90.0, later)], heated(9e6, began=values), RULES).found
    assert (found.hold_s, found.take_out_s, found.limit_c) == (880.0, 190.0, 40.0)
    assert found.t_s == (-30.0, -20.0, 5.0) and found.hottest_c == (300.0, 210.0, 210.0)
    assert found.growth_um == (-9.0, -9.0, -9.0)


@settings(max_examples=40)
@given(begins, st.lists(st.tuples(st.sampled_from([60.0, 90.0, 240.0]), answers()), min_size=1, max_size=3))
def test_of_all_answers_the_hottest_the_latest_and_the_strictest_count_at_every_moment(
    start_s: float, cases: list[tuple[float, Assessment]]
) -> None:
    values = tuple(replace(RULES.values, heating_s=heating_s) for heating_s, _ in cases)
    now = together(cases, heated(start_s, began=values), RULES)
    found, last_s = now.found, max(60.0, *(heating_s for heating_s, _ in cases))
    shifted = [(heating_s - last_s, each) for heating_s, each in cases]
    if len(cases) == 1:
        assert found is cases[0][1], "one alone is as it is, its times since it began to cool"
        return
    assert list(found.t_s) == sorted({at_s + shift_s for shift_s, each in shifted for at_s in each.t_s})
    for at_s in found.t_s:
        seen, each_seen = found.now(at_s), [each.now(at_s - shift_s) for shift_s, each in shifted]
        assert seen.hottest_c == max(one.hottest_c for one in each_seen)
        assert seen.high_c == max(one.high_c for one in each_seen)
        of_hottest = [(one.low_c, one.where) for one in each_seen if one.hottest_c == seen.hottest_c]
        assert (seen.low_c, seen.where) in of_hottest
        assert found.rise_k[found.t_s.index(at_s)] == max(each.rises_k(at_s - shift_s) for shift_s, each in shifted)
        error_um = found.length_error_um(at_s)
        assert abs(error_um) == max(abs(each.length_error_um(at_s - shift_s)) for shift_s, each in shifted)
        assert error_um in [each.length_error_um(at_s - shift_s) for shift_s, each in shifted]
    assert found.ambient_c == max(each.ambient_c for _, each in shifted)
    assert found.limit_c == min(each.limit_c for _, each in shifted)
    assert found.touch_safe_s == max(each.touch_safe_s + shift_s for shift_s, each in shifted)
    assert found.measure_ready_s == max(each.measure_ready_s + shift_s for shift_s, each in shifted)
    for name in ("hold_s", "take_out_s"):
        times = [getattr(each, name) for _, each in shifted]
        latest_s = max(
            (s + shift_s for s, (shift_s, _) in zip(times, shifted, strict=True) if s is not None), default=0
        )
        assert getattr(found, name) == (None if None in times else latest_s)
    ends = [inf if each.hold_s is None else each.hold_s + shift_s for shift_s, each in shifted]
    assert now.longest.bound is shifted[ends.index(max(ends))][1]  # type: ignore[comparison-overlap]


@given(begins, st.lists(st.tuples(st.integers(0, 400).map(float), st.floats(30.0, 300.0)), max_size=4))
def test_each_case_is_told_what_was_read_after_it_can_have_left_its_coil(
    start_s: float, read: list[tuple[float, float]]
) -> None:
    values = tuple(replace(RULES.values, heating_s=heating_s) for heating_s in (90.0, 240.0))
    readings = tuple(Reading(start_s + at_s, "nose", value_c, "probe", "agrees") for at_s, value_c in read)
    told: list[tuple[Touch, ...]] = []

    def keep(bound: Assessment, touches: tuple[Touch, ...]) -> Assessment:
        told.append(touches)
        return bound

    with patch("kiosk.rules.hold_cases.assess_bound", side_effect=keep):
        cases = [Case(heating_s, answer(100.0)) for heating_s in (60.0, 90.0, 240.0)]  # type: ignore[arg-type]
        weighed(cases, heated(start_s, began=values, readings=readings), RULES)
    assert [case.start_s(heated(start_s)) for case in cases] == [start_s + each for each in (60.0, 90.0, 240.0)]
    for heating_s, touches in zip((60.0, 90.0, 240.0), told, strict=True):
        expected = [(at_s - heating_s, value_c) for at_s, value_c in read if at_s > heating_s]
        assert [(touch.at_s, touch.value_c) for touch in touches] == expected


def test_the_strictest_of_all_values_is_among_the_cases() -> None:
    began = (HeatValues(360.0, 21.0, 43.0, 60.0, 3.0), HeatValues(300.0, 27.0, 41.0, 90.0, 3.0))
    found = asked(heated(9e6, began=began))
    assert {(each.heat.temp_c, each.room.ambient_c, each.room.limit_c) for each in found} == {
        (360.0, 21.0, 41.0), (300.0, 27.0, 41.0), (330.0, 23.0, 41.0), (360.0, 27.0, 41.0),
    }  # fmt: skip
