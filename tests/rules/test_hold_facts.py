"""What the book keeps of a heating: whose values are stricter, when it left the coil, which readings count for it."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.belief import Instrument
from kiosk.rules.cooling.assessment import Room, Touch, Way, Zone
from kiosk.rules.hold_facts import (
    SPOTS,
    HeatValues,
    HoldFacts,
    HoldRules,
    Reading,
    Stay,
    cooling_from_s,
    last_place,
    left_coil_s,
    pair,
    touches,
    type_of,
    way_now,
)

BEGINS = (0.0, 7 * 3600.0, 5 * 86400.0, 250 * 86400.0)
HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
STRICT_UP = ("temp_c", "ambient_c", "heating_s")  # more of it is a longer hold

values = st.builds(
    HeatValues,
    st.sampled_from([300.0, 330.0, 360.0]),
    st.sampled_from([20.0, 23.0]),
    st.sampled_from([41.0, 43.0]),
    st.sampled_from([30.0, 60.0]),
    st.sampled_from([2.0, 3.0]),
)


def rules_of(set_to: HeatValues) -> HoldRules:
    return HoldRules(Room(), 250.0).of(set_to)


def heated(start_s: float, *stays: Stay, readings: tuple[Reading, ...] = (), **more: bool) -> HoldFacts:
    return HoldFacts(HOLDER, None, start_s, 1.79e9, None, None, (Stay("station", start_s), *stays), readings, **more)


def is_as_strict(one: HeatValues, other: HeatValues) -> bool:
    return all(
        getattr(one, field.name) >= getattr(other, field.name)
        if field.name in STRICT_UP
        else getattr(one, field.name) <= getattr(other, field.name)
        for field in fields(HeatValues)
    )


@settings(max_examples=60)
@given(values, values)
def test_values_hold_as_long_as_others_only_if_each_of_them_does(one: HeatValues, other: HeatValues) -> None:
    assert rules_of(one).values == one
    assert rules_of(one).holds_as_long_as(rules_of(other)) is is_as_strict(one, other)


@settings(max_examples=60)
@given(values, st.lists(values, max_size=3).map(tuple))
def test_the_strictest_of_all_is_as_strict_as_each_and_no_stricter(
    now: HeatValues, began: tuple[HeatValues, ...]
) -> None:
    strictest = rules_of(now).stricter(began).values
    for field in fields(HeatValues):
        among = [getattr(each, field.name) for each in (now, *began)]
        assert getattr(strictest, field.name) == (max(among) if field.name in STRICT_UP else min(among))


@given(st.sampled_from(BEGINS), st.sampled_from([30.0, 60.0]), values, st.one_of(st.none(), st.integers(0, 90)))
def test_it_left_the_coil_as_it_left_the_station_and_at_the_latest_when_heating_is_over(
    start_s: float, heating_s: float, began: HeatValues, stepped_s: int | None
) -> None:
    stays = () if stepped_s is None else (Stay("rack", start_s + stepped_s, "free_air"), Stay("mist", start_s + 500.0))
    facts = replace(heated(start_s, *stays), began=(began,))
    left_s = start_s + min(heating_s, heating_s if stepped_s is None else stepped_s)
    assert left_coil_s(facts, heating_s) == left_s
    longest_s = max(heating_s, began.heating_s)
    assert cooling_from_s(facts, HoldRules(Room(), 330.0, heating_s)) == left_coil_s(facts, longest_s)


def test_readings_are_counted_by_type_of_holder_and_place() -> None:
    assert pair(HOLDER, "rack") == "HSK63 12.0 24.0 106.0 at rack" and pair(HOLDER, None).endswith(" at nowhere")
    for place in ("rack", "at the wall", None):
        assert type_of(pair(HOLDER, place)) == "HSK63 12.0 24.0 106.0"
    longer = replace(HOLDER, projection_mm=120.0)
    assert type_of(pair(longer, "rack")) != type_of(pair(HOLDER, "rack"))


def test_the_latest_place_of_each_way_counts() -> None:
    facts = heated(5e6, Stay("rack", 6e6, "free_air"), Stay("mist", 7e6, "mist"), Stay("rack 2", 8e6, "free_air"))
    assert last_place(facts) == {Way.FREE_AIR: "rack 2", Way.MIST: "mist"} and way_now(facts) is Way.FREE_AIR
    assert last_place(heated(5e6)) == {Way.FREE_AIR: "station"}


def test_spots_are_nose_flange_and_shank_and_an_old_reading_is_older_than_every_line() -> None:
    assert SPOTS == ("nose", "flange", "shank")
    old = Reading(5e6, "nose", 80.0, "probe", "agrees")
    assert old.line == 0 and touches(heated(4e6, readings=(old,)), 4e6)


taken = st.lists(
    st.tuples(
        st.integers(-60, 2000).map(float),
        st.sampled_from(SPOTS),
        st.sampled_from(["agrees", "questioned", "confirmed"]),
        st.sampled_from(["probe", "infrared"]),
    ),
    max_size=6,
)


@given(st.sampled_from(BEGINS), taken, st.booleans())
def test_what_counts_is_what_was_believed_after_it_left_the_coil_and_a_doubt_its_second_confirmed(
    start_s: float, seen: list[tuple[float, str, str, str]], unseen: bool
) -> None:
    readings = tuple(
        Reading(start_s + after_s, where, 80.0 + at, instrument, verdict)
        for at, (after_s, where, verdict, instrument) in enumerate(seen)
    )
    expected = []
    for at, each in enumerate(readings):
        after = readings[at + 1].verdict if at + 1 < len(readings) else ""
        believed = each.verdict != "questioned" or after == "confirmed"
        if believed and each.at_s > start_s and not unseen:
            expected.append(Touch(each.at_s - start_s, Zone(each.where), Instrument(each.instrument), each.value_c))
    assert list(touches(heated(start_s, readings=readings, reading_only=unseen), start_s)) == expected


@pytest.mark.parametrize("unseen", [False, True])
def test_what_nobody_saw_heated_or_nobody_knows_the_place_of_teaches_nothing(unseen: bool) -> None:
    known = heated(5e6, Stay("rack", 5e6 + 9.0), reading_only=unseen)
    assert known.teaches is not unseen
    assert not replace(known, stays=(*known.stays, Stay(None, 6e6))).teaches
    one = HeatValues(330.0, 23.0, 43.0, 60.0, 3.0)
    assert replace(known, began=(one,)).teaches is not unseen
    assert not replace(known, began=(one, replace(one, temp_c=360.0))).teaches
