"""A hold depends on what went by and not on where the watched clock stood: hours, days or months, drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.belief import Instrument, Standing
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import HoldView, Until
from kiosk.rules.cooling.assessment import Assessment, Room, Way, Zone
from kiosk.rules.hold import curve, is_sound, length_error_um, not_computable, verdict, view
from kiosk.rules.hold_cases import Case, assessment, solved
from kiosk.rules.hold_facts import (
    HeatValues,
    HoldFacts,
    HoldRules,
    Reading,
    Stay,
    cooling_from_s,
    last_place,
    way_now,
)
from kiosk.rules.outline import outlines_of
from kiosk.rules.shop_air import TOO_WARM_K

HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
CUTTER = Cutter("c1", "End mill 12", 12.0, 12.0, 83.0)
BUILT = Assembly("a1", "End mill 12", HOLDER, CUTTER, 38.0)
RULES = HoldRules(Room(), 330.0, 60.0)
WAYS = (Way.FREE_AIR, Way.FORCED_AIR, Way.SLEEVE)
TRUSTED = Standing(readings=3)

begins = st.one_of(st.floats(3600.0, 86400.0), st.floats(86400.0, 3e6), st.floats(3e6, 3e7))


def facts_at(start_s: float, *stays: tuple[str | None, float, str | None]) -> HoldFacts:
    """A heating at watched time `start_s`; stays as (place, seconds after it, way)."""
    wet_mm = {"sleeve": 40.0}
    stood = tuple(Stay(place, start_s + after_s, way, wet_mm.get(way or "")) for place, after_s, way in stays)
    station = Stay("station", start_s)
    return HoldFacts(HOLDER, BUILT, start_s, 1.79e9, None, None, (station, *stood), heating=7)


@cache
def computed(*stays: tuple[str | None, float, str | None]) -> Assessment:
    return assessment(facts_at(0.0, *stays), RULES, None)


@cache
def ready(*stays: tuple[str | None, float, str | None]) -> tuple[Case, ...]:
    return solved(facts_at(0.0, *stays), RULES, None)


def seen(facts: HoldFacts, now_s: float, found: Assessment, rules: HoldRules = RULES) -> HoldView:
    return view(facts, rules, found, TRUSTED, now_s)


RACK = ("rack", 25.0, "free_air")
BLOWN = ("blower", 80.0, "forced_air")
courses: st.SearchStrategy[Sequence[tuple[str | None, float, str | None]]] = st.sampled_from(
    [(), (RACK,), (BLOWN,), (("rack", 25.0, "free_air"), ("blower", 200.0, "forced_air"))]
)


@given(begins, courses, st.floats(0.0, 9000.0))
def test_a_hold_is_what_is_left_of_its_time_wherever_the_clock_stood(
    start_s: float, stays: Sequence[tuple[str, float, str]], after_s: float
) -> None:
    found = computed(*stays)
    assert found.hold_s is not None and found.hold_s > 300.0
    facts = facts_at(start_s, *stays)
    out_of_coil_s = min(stays[0][1] if stays else 60.0, 60.0)
    assert cooling_from_s(facts, RULES) == pytest.approx(start_s + out_of_coil_s, abs=1e-6)
    now = seen(facts, start_s + after_s, found)
    since_s = after_s - out_of_coil_s
    assert now.remaining_s == pytest.approx(max(found.hold_s - since_s, 0.0), abs=1e-5)
    assert now.ended is (since_s >= found.hold_s)
    assert now.measure_in_s == pytest.approx(max(found.measure_ready_s - since_s, 0.0), abs=1e-5)
    expected = found.now(since_s)
    assert (now.hottest_c, now.low_c, now.high_c) == pytest.approx(expected[:3], abs=1e-3)
    assert now.where == expected.where.read_at.value
    assert now.heating == 7 and not now.gap and now.since_utc_s == facts.heated_utc_s
    error_um = length_error_um(facts, RULES, found, start_s + after_s)
    assert error_um == pytest.approx(found.length_error_um(since_s), abs=1e-3)


@given(begins, st.floats(1.0, 4000.0))
def test_in_a_sleeve_the_time_to_take_it_out_is_left_too(start_s: float, after_s: float) -> None:
    sleeve = ("sleeve", 25.0, "sleeve")
    found = computed(sleeve)
    assert found.take_out_s is not None
    now = seen(facts_at(start_s, sleeve), start_s + 25.0 + after_s, found)
    assert now.take_out_in_s == pytest.approx(max(found.take_out_s - after_s, 0.0), abs=1e-5)


@given(begins, courses, st.floats(10.0, 3000.0))
def test_a_plot_stands_where_its_heating_does(
    start_s: float, stays: Sequence[tuple[str, float, str]], after_s: float
) -> None:
    found, facts = computed(*stays), facts_at(start_s, *stays)
    begun_s = cooling_from_s(facts, RULES)
    read = replace(facts, readings=(Reading(begun_s + after_s, "nose", 80.0, "probe", "agrees"),))
    plot = curve(read, RULES, found, begun_s + after_s)
    assert plot.now_s == pytest.approx(after_s, abs=1e-5)
    assert plot.readings[0] == pytest.approx((after_s, 80.0), abs=1e-5)
    assert plot.points[0][0] == 0.0 and plot.points[-1][0] == pytest.approx(1.15 * max(found.hold_s or 0.0, 60.0))
    for at_s, hottest_c, low_c, high_c in plot.points[::20]:
        assert (hottest_c, low_c, high_c) == found.now(at_s)[:3]
    late_s = 40_000.0
    whole = curve(read, RULES, found, begun_s + late_s, whole=True)
    assert whole.points[-1][0] == pytest.approx(1.05 * late_s)


@given(begins, st.floats(30.0, 3000.0), st.sampled_from(["nose", "flange"]))
def test_a_reading_is_judged_at_its_own_moment(start_s: float, after_s: float, where: str) -> None:
    facts, found = facts_at(start_s, RACK), computed(RACK)
    at_s = start_s + 25.0 + after_s
    cases, one = ready(RACK), Reading(25.0 + after_s, where, 60.0, "probe", "")
    base = verdict(facts_at(0.0, RACK), RULES, cases, found, TRUSTED, one)
    same = verdict(facts, RULES, cases, found, TRUSTED, Reading(at_s, where, 60.0, "probe", ""))
    assert (same.word, same.ends, same.strange) == (base.word, base.ends, base.strange)
    assert same.prediction.expected_c == pytest.approx(base.prediction.expected_c, abs=0.05)
    assert same.hottest_at is found.now(after_s).where.read_at
    assert same.rises_k == pytest.approx(found.rises_k(after_s), abs=0.01)


@pytest.mark.parametrize("instrument", list(Instrument))
def test_only_a_probe_that_the_model_explains_ends_a_hold(instrument: Instrument) -> None:
    facts, found = facts_at(5e5, RACK), computed(RACK)
    late_s = cooling_from_s(facts, RULES) + found.touch_safe_s + 900.0
    hottest = found.now(found.touch_safe_s + 900.0)
    reading = Reading(late_s, hottest.where.read_at.value, hottest.hottest_c, instrument.value, "")
    cases = ready(RACK)
    assert verdict(facts, RULES, cases, found, TRUSTED, reading).ends is (instrument is Instrument.PROBE)
    early = replace(reading, where="nose", at_s=cooling_from_s(facts, RULES) + 60.0, value_c=24.0)
    judged = verdict(facts, RULES, cases, found, TRUSTED, early)
    assert judged.strange and not judged.ends and judged.word is Word.QUESTIONED


# what time alone does not end


@given(begins, st.floats(0.0, 1e6))
def test_nowhere_known_and_what_was_not_seen_end_by_no_time(start_s: float, after_s: float) -> None:
    gone = facts_at(start_s, RACK, (None, 100.0, None))
    found = computed(RACK, (None, 100.0, None))
    assert not seen(gone, start_s + after_s, found).ended and seen(gone, start_s + after_s, found).needs_reading
    unseen = replace(facts_at(start_s, RACK), reading_only=True)
    assert not seen(unseen, start_s + after_s, computed(RACK)).ended
    endless = replace(computed(RACK), hold_s=None)
    assert not seen(facts_at(start_s, RACK), start_s + after_s, endless).ended


@given(begins, st.sampled_from(["nose", "flange", "shank"]), st.floats(100.0, 9000.0))
def test_a_spot_that_was_misread_is_read_again_before_time_ends_anything(
    start_s: float, where: str, after_s: float
) -> None:
    facts, found = facts_at(start_s, RACK), computed(RACK)
    misread = Reading(start_s + after_s, where, 24.0, "probe", "withdrawn", line=20)
    now_s = start_s + after_s + 2e6
    assert seen(facts, now_s, found).ended
    owing = replace(facts, withdrawn=(misread,))
    assert seen(owing, now_s, found).needs_reading and not seen(owing, now_s, found).ended
    again = replace(misread, value_c=60.0, verdict="agrees", line=21)
    assert seen(replace(owing, readings=(again,)), now_s, found).ended
    for no_proof in (
        replace(again, line=19), replace(again, line=20), replace(again, instrument="infrared"),
        replace(again, verdict="questioned"), replace(again, where="flange" if where != "flange" else "nose"),
    ):  # fmt: skip
        assert not seen(replace(owing, readings=(no_proof,)), now_s, found).ended
        assert seen(replace(owing, readings=(no_proof, again)), now_s, found).ended


def test_a_place_that_was_not_learnt_about_needs_a_reading() -> None:
    facts, found = facts_at(9e6, RACK), computed(RACK)
    assert not seen(facts, 1e7, found).needs_reading
    assert view(facts, RULES, found, Standing(), 1e7).needs_reading
    assert way_now(facts) is Way.FREE_AIR and last_place(facts)[Way.FREE_AIR] == "rack"


def test_a_hold_without_an_end_needs_a_reading() -> None:
    facts, endless = facts_at(9e6, RACK), replace(computed(RACK), hold_s=None)
    assert seen(facts, 9e6 + 60.0, endless).needs_reading and seen(facts, 1e9, endless).remaining_s is None


def test_where_nobody_says_how_long_it_is_heated_it_is_a_minute() -> None:
    assert cooling_from_s(facts_at(9e6), HoldRules(Room(), 330.0)) == 9e6 + 60.0


def test_a_gap_in_watching_is_shown() -> None:
    assert facts_at(9e6).gaps == 0 and facts_at(9e6).watched
    for gaps in (0, 1, 2):
        facts = replace(facts_at(9e6, RACK), gaps=gaps)
        assert seen(facts, 1e7, computed(RACK)).gap is not_computable(facts, RULES).gap is (gaps > 0)


def test_what_is_left_is_left_and_never_less_than_nothing() -> None:
    facts, found = facts_at(9e6, RACK), computed(RACK)
    assert found.hold_s is not None and found.measure_ready_s > 100.0
    begun_s = cooling_from_s(facts, RULES)
    over = seen(facts, begun_s + 1e5, found)
    assert (over.remaining_s, over.measure_in_s) == (0.0, 0.0)
    soon = seen(facts, begun_s + 40.0, found)
    assert soon.measure_in_s == pytest.approx(found.measure_ready_s - 40.0)
    assert soon.remaining_s == pytest.approx(found.hold_s - 40.0)


def test_it_cools_the_way_of_where_it_stands_last() -> None:
    facts = facts_at(9e6, RACK, BLOWN, ("rack", 300.0, "free_air"), ("sleeve", 400.0, "sleeve"))
    assert way_now(facts) is Way.SLEEVE and way_now(facts_at(9e6, BLOWN, RACK)) is Way.FREE_AIR


def test_a_plot_of_what_has_no_end_is_as_long_as_what_was_worked_out() -> None:
    facts, found = facts_at(9e6, RACK), computed(RACK)
    endless = curve(facts, RULES, replace(found, hold_s=None), 9e6 + 60.0)
    assert endless.points[-1][0] == pytest.approx(1.15 * found.t_s[-1]) and len(endless.points) == 80
    assert curve(facts, RULES, found, 9e6 + 40_000.0).points[-1][0] < 40_000.0, "not whole unless it is asked for"
    for hold_s, shown_s in ((5.0, 60.0), (59.0, 60.0), (61.0, 61.0), (100.0, 100.0)):
        short = curve(facts, RULES, replace(found, hold_s=hold_s), 9e6 + 30.0)
        assert short.points[-1][0] == pytest.approx(1.15 * shown_s), "and the plot of a short one a minute at least"


@pytest.mark.parametrize("field", ["hold_s", "touch_safe_s", "measure_ready_s", "take_out_s"])
@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_no_number_that_is_none_passes_for_a_hold(field: str, value: float) -> None:
    found = computed(RACK)
    assert is_sound(found) and is_sound(replace(found, hold_s=None, take_out_s=None))
    assert not is_sound(replace(found, **{field: value}))
    assert not is_sound(replace(found, high_c=(*found.high_c[:-1], value)))


def test_what_cannot_be_worked_out_is_as_hot_as_it_can_be() -> None:
    now = not_computable(replace(facts_at(9e6, RACK), temp_c=390.0, gaps=2), RULES)
    assert now.needs_reading and not now.ended and now.remaining_s is None
    assert (now.hottest_c, now.high_c, now.low_c, now.heating, now.gap) == (390.0, 390.0, 23.0, 7, True)
    assert not_computable(facts_at(9e6, RACK), RULES).hottest_c == 330.0, "where the heat is not known: the shop's"


# the stricter of what was set and what is


BEGAN = HeatValues(330.0, 23.0, 43.0, 60.0, 3.0)


@pytest.mark.parametrize(
    ("name", "hotter", "milder"),
    [
        ("temp_c", 360.0, 200.0),
        ("ambient_c", 27.0, 15.0),
        ("limit_c", 38.0, 48.0),
        ("heating_s", 120.0, 10.0),
        ("length_tolerance_um", 1.0, 30.0),
        ("ambient_sd_k", 2.5, 0.8),
    ],
)
def test_of_each_value_the_stricter_counts_whichever_came_first(name: str, hotter: float, milder: float) -> None:
    same = RULES.stricter((BEGAN,))
    assert same == RULES == RULES.stricter(())
    assert RULES.stricter((replace(BEGAN, **{name: milder}),)) == RULES
    strict = RULES.stricter((replace(BEGAN, **{name: hotter}),))
    now = {
        "temp_c": strict.temp_c, "heating_s": strict.heating_s, "ambient_c": strict.room.ambient_c,
        "limit_c": strict.room.limit_c, "length_tolerance_um": strict.room.tolerance_um,
        "ambient_sd_k": strict.room.ambient_sd_k,
    }  # fmt: skip
    assert now.pop(name) == hotter
    assert now == {key: value for key, value in _values(RULES).items() if key != name}


def _values(rules: HoldRules) -> dict[str, float]:
    return {
        "temp_c": rules.temp_c, "heating_s": rules.heating_s, "ambient_c": rules.room.ambient_c,
        "limit_c": rules.room.limit_c, "length_tolerance_um": rules.room.tolerance_um,
        "ambient_sd_k": rules.room.ambient_sd_k,
    }  # fmt: skip


# more heat


def held_s(facts: HoldFacts) -> float:
    found = assessment(facts, RULES, None)
    return float("inf") if found.hold_s is None else found.hold_s


ROUNDED_S = 2.0  # a hold is rounded up to a second on both of its ways

ways = st.sampled_from([RACK, BLOWN, ("mist", 25.0, "mist"), ("sleeve", 25.0, "sleeve")])


@given(
    begins,
    ways,
    st.floats(150.0, 400.0),
    st.one_of(st.none(), st.floats(10.0, 90.0)),
    st.one_of(st.none(), st.floats(15.0, 450.0)),
    st.sampled_from(["temp_c", "length_mm", "body_c", "body_unknown", "heated again"]),
    st.floats(0.1, 100.0),
)
def test_more_heat_is_never_a_shorter_hold(
    start_s: float,
    way: tuple[str, float, str],
    temp_c: float,
    length_mm: float | None,
    body_c: float | None,
    what: str,
    more: float,
) -> None:
    facts = replace(facts_at(start_s, way), temp_c=temp_c, length_mm=length_mm, body_c=body_c)
    match what:
        case "temp_c":
            hotter = replace(facts, temp_c=temp_c + more)
        case "length_mm":
            hotter = replace(facts, length_mm=(length_mm or 42.0) + more)
        case "body_c":
            hotter = replace(facts, body_c=(body_c or 15.0) + more)
        case "body_unknown":
            hotter = replace(facts, body_unknown=True)
        case _:
            hotter = replace(facts, body_c=max(body_c or 0.0, temp_c))
    assert held_s(hotter) >= held_s(facts) - ROUNDED_S


def test_a_body_is_taken_for_no_hotter_than_heat_and_no_colder_than_the_shop() -> None:
    facts = facts_at(9e6, RACK)
    hottest_s = held_s(replace(facts, body_unknown=True))
    assert held_s(replace(facts, body_c=4000.0)) == hottest_s == held_s(replace(facts, body_c=330.0))
    assert held_s(replace(facts, body_c=-40.0)) == held_s(replace(facts, body_c=23.0)) == held_s(facts)
    assert held_s(replace(facts, body_c=60.0)) > held_s(facts) + 60.0
    assert held_s(replace(facts, temp_c=150.0, body_c=300.0)) > held_s(replace(facts, temp_c=150.0, body_c=150.0))


def test_a_zone_of_the_outline_is_what_a_hold_names() -> None:
    assert {Zone(name).read_at.value for name in ("nose", "flange", "shank")} <= {"nose", "flange", "shank"}


NOSES = st.sampled_from([(6.0, 21.0), (10.0, 16.0), (12.0, 24.0), (20.0, 33.0)])


@given(begins, ways, NOSES, st.sampled_from(["HSK63", "HSK100", "A40", "J40"]), st.floats(70.0, 200.0), st.booleans())
@settings(max_examples=25)
def test_where_nobody_knows_the_cutter_no_hold_is_shorter_than_with_one_or_without(
    start_s: float,
    way: tuple[str, float, str],
    nose: tuple[float, float],
    coupling: str,
    projection_mm: float,
    deep_unknown: bool,
) -> None:
    bore_mm, nose_mm = nose
    holder = replace(
        HOLDER, coupling=Coupling.parse(coupling), bore_mm=bore_mm, nose_mm=nose_mm, projection_mm=projection_mm
    )
    cutter = replace(CUTTER, dc_mm=bore_mm, dmm_mm=bore_mm)
    built = Assembly("a1", "End mill", holder, cutter, None) if deep_unknown else None
    facts = replace(facts_at(start_s, way), holder=holder, assembly=built)
    hold_s = held_s(facts)
    for outline in outlines_of(holder, built):
        with patch("kiosk.rules.hold_cases.outlines_of", return_value=(outline,)):
            assert held_s(facts) <= hold_s


def test_taking_the_cutter_out_on_paper_makes_no_hold_shorter() -> None:
    for course in ((), (RACK,), (BLOWN,)):
        facts = facts_at(9e6, *course)
        empty = outlines_of(HOLDER, None)[1]
        with patch("kiosk.rules.hold_cases.outlines_of", return_value=(empty,)):
            alone_s = held_s(facts)
        assert held_s(replace(facts, assembly=None)) >= alone_s > 300.0


def test_where_the_air_is_too_warm_for_any_end_the_hold_says_so_and_in_cooler_air_it_does_not() -> None:
    stays = (("rack", 20.0, "free_air"),)
    facts = facts_at(9e6, *stays)
    warm = HoldRules(Room(38.0, 43.0, ambient_sd_k=TOO_WARM_K), 330.0, 60.0)
    found = assessment(facts, warm, None)
    told = view(facts, warm, found, TRUSTED, 9e6 + 600.0)
    assert (found.hold_s, told.until, told.safe_in_s) == (None, Until.AIR_TOO_WARM, None)
    assert view(facts, RULES, computed(*stays), TRUSTED, 9e6 + 600.0).until is Until.SAFE_IN
    since = replace(facts, began=(warm.values,))
    assert not_computable(since, RULES).until is Until.AIR_TOO_WARM, "it was so warm since the hold began"
    assert not_computable(facts, RULES).until is Until.READING
