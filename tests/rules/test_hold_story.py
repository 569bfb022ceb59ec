"""A heating afterwards: what readings did to the wait and what they saved."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import pytest

from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.belief import Instrument, Lesson, Standing
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cooling.assessment import Room, Touch, Zone, advise_bound, assess_bound, hot_after, predict_bound
from kiosk.rules.hold import advice, verdict
from kiosk.rules.hold_cases import assessment, solved, weighed
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Reading, Stay, cooling_from_s, touches
from kiosk.rules.hold_story import story

DAYS_S = 40 * 86400.0
RULES = HoldRules(Room(22.0, 43.0), 330.0)
HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
FACTS = HoldFacts(
    HOLDER,
    None,
    DAYS_S,
    1.7e9,
    330.0,
    51.0,
    (Stay("station", DAYS_S), Stay("rack", DAYS_S + 20.0, "free_air")),
    heating=90,
)
START_S = cooling_from_s(FACTS, RULES)
CASES = solved(FACTS, RULES, None)
NOW = weighed(CASES, FACTS, RULES)
USUAL = NOW.found


def reading(after_s: float, value_c: float, word: str = "agrees", where: str = "nose") -> Reading:
    return Reading(START_S + after_s, where, value_c, "probe", word)


def usual_c(after_s: float) -> float:
    return USUAL.now(after_s).hottest_c - 3.0


def with_readings(*readings: Reading) -> HoldFacts:
    return replace(FACTS, readings=readings)


def hold_s(*readings: Reading) -> float:
    found = assessment(with_readings(*readings), RULES, None).hold_s
    assert found is not None
    return found


def test_a_believed_reading_shortens_the_hold_and_a_doubted_one_leaves_it_as_it_is() -> None:
    believed = hold_s(reading(1200, usual_c(1200)))
    assert believed < hold_s()
    assert hold_s(reading(600, 30.0, "questioned")) == hold_s()
    assert hold_s(reading(600, 30.0, "questioned"), reading(1200, usual_c(1200))) == believed


def test_a_doubted_reading_counts_once_a_second_confirms_it() -> None:
    doubted, second = reading(900, 70.0, "questioned"), reading(1000, 67.0, "confirmed")
    assert len(touches(with_readings(doubted), START_S)) == 0
    assert len(touches(with_readings(doubted, second), START_S)) == 2
    between = reading(950, usual_c(950))
    assert len(touches(with_readings(doubted, between, second), START_S)) == 2


def test_what_was_read_of_a_holder_nobody_saw_heated_shortens_nothing() -> None:
    facts = replace(with_readings(reading(1200, usual_c(1200))), reading_only=True)
    assert assessment(facts, RULES, None).hold_s == hold_s()
    assert advice(facts, NOW.longest, START_S + 600) is None


def test_a_cool_reading_ends_a_hold_only_where_hardly_any_chance_is_left_of_its_being_hot() -> None:
    at_s = 0.9 * USUAL.touch_safe_s
    where = USUAL.now(at_s).where.read_at.value
    cool, at_the_limit = reading(at_s, 36.0, "", where), reading(at_s, 42.8, "", where)
    assert verdict(FACTS, RULES, CASES, USUAL, Standing(5), cool).ends
    assert not verdict(FACTS, RULES, CASES, USUAL, Standing(5), at_the_limit).ends, "the thermometer is not that exact"


def test_the_chance_a_hold_may_end_with_is_one_in_a_hundred() -> None:
    at_s = 0.85 * USUAL.touch_safe_s
    zone = USUAL.now(at_s).where.read_at
    just_under = just_over = 0
    for value_c in (36.0 + step / 4 for step in range(13)):
        sure = Touch(at_s, zone, Instrument.PROBE, value_c, sure=True)
        chance = max(hot_after(case.bound, at_s, (sure,)) for case in CASES)
        just_under += 0.006 < chance <= 0.01
        just_over += 0.01 < chance < 0.019
        ends = verdict(FACTS, RULES, CASES, USUAL, Standing(5), reading(at_s, value_c, "", zone.value)).ends
        assert ends is (chance <= 0.01), value_c
    assert just_under and just_over


def test_two_cold_readings_of_what_should_be_hot_agree_with_each_other_and_end_nothing() -> None:
    zone = USUAL.now(110.0).where.read_at
    first = verdict(FACTS, RULES, CASES, USUAL, Standing(5), reading(100.0, 24.0, "", zone.value))
    assert first.word is Word.QUESTIONED and first.strange
    doubted = Lesson(START_S + 100.0, zone, Instrument.PROBE, 24.0, first.prediction, heating=90)
    second = verdict(FACTS, RULES, CASES, USUAL, Standing(5, doubted), reading(110.0, 24.0, "", zone.value))
    assert second.word is Word.CONFIRMED and second.strange and not second.ends


def test_a_reading_before_it_can_have_left_the_coil_is_judged_as_if_it_had_just_left_it() -> None:
    early = verdict(FACTS, RULES, CASES, USUAL, Standing(5), reading(-15.0, 200.0))
    at_once = verdict(FACTS, RULES, CASES, USUAL, Standing(5), reading(0.0, 200.0))
    assert early.prediction == at_once.prediction and early.rises_k == at_once.rises_k == USUAL.rises_k(0.0)
    assert early.prediction.expected_c == predict_bound(CASES[0].bound, Zone.NOSE, 0.0, ()).expected_c
    assert touches(with_readings(reading(-1.0, 200.0), reading(0.0, 200.0)), START_S) == ()
    earlier = replace(USUAL, t_s=(-30.0, 0.0, *USUAL.t_s[2:]), rise_k=(90.0, *USUAL.rise_k[1:]))
    assert earlier.rises_k(-1.0) == 90.0 > earlier.rises_k(0.0)
    assert verdict(FACTS, RULES, CASES, earlier, Standing(5), reading(-15.0, 200.0)).rises_k == earlier.rises_k(0.0)
    with (
        patch("kiosk.rules.hold.reading_ends_hold", return_value=True),
        patch("kiosk.rules.hold.is_such_a_heating", return_value=True),
        patch("kiosk.rules.hold.hot_after", return_value=0.0) as left,
    ):
        assert verdict(FACTS, RULES, CASES, USUAL, Standing(5), reading(-15.0, 30.0)).ends
    for told in left.call_args_list:
        _, after_s, (shown,) = told.args
        assert after_s == shown.at_s == 0.0 and (shown.zone, shown.value_c, shown.sure) == (Zone.NOSE, 30.0, True)


def test_advice_is_told_in_watched_time() -> None:
    now_s = START_S + 700.0
    found = advice(FACTS, NOW.longest, now_s)
    assert found is not None
    assert now_s <= found.at_s < found.free_s < START_S + hold_s()
    bare = advise_bound(NOW.longest.bound, 700.0, ())
    assert bare is not None and found.else_s == pytest.approx(bare.else_s + START_S) and found.else_s > now_s
    at_once, first = advice(FACTS, NOW.longest, START_S), advise_bound(NOW.longest.bound, 0.0, ())
    assert at_once is not None and first is not None and at_once.at_s == START_S + first.at_s
    assert advice(FACTS, NOW.longest, START_S - 10.0) == at_once
    assert advice(FACTS, NOW.longest, START_S + 1e6) is None, "by then it is cool"


def test_the_story_says_what_each_reading_did_and_what_they_saved() -> None:
    facts = with_readings(reading(900, usual_c(900)), reading(1000, 28.0, "questioned"), reading(1900, usual_c(1900)))
    after_s = hold_s(*facts.readings)
    told = story(facts, RULES, None, START_S + after_s, START_S + 9000)
    first, doubted, last = told.steps
    assert first.hold_before_s == hold_s() and first.shortens_s > 300
    assert doubted.shortens_s == 0.0
    assert last.hold_after_s == after_s and last.shortens_s > 0
    assert told.released_s == pytest.approx(after_s)
    assert told.without_s == hold_s()
    assert told.saved_s == pytest.approx(hold_s() - after_s)
    assert len(told.expected.readings) == 3


def test_without_readings_or_without_an_end_nothing_was_saved() -> None:
    assert story(FACTS, RULES, None, START_S + 600, START_S + 900).saved_s == 0.0
    running = story(with_readings(reading(900, usual_c(900))), RULES, None, None, START_S + 1000)
    assert running.released_s is None and running.saved_s == 0.0


def test_a_reading_is_told_by_where_it_had_stood_by_then() -> None:
    moved = replace(
        with_readings(reading(900, usual_c(900))),
        stays=(*FACTS.stays, Stay("sleeve", START_S + 1500, "sleeve", 55.0), Stay("rack", START_S + 1560, "free_air")),
    )
    told = story(moved, RULES, None, None, START_S + 1700)
    assert told.steps[0].hold_before_s == hold_s(), "nobody knew then that it would be dipped"
    assert told.without_s is not None and told.without_s < hold_s()


def test_what_a_reading_is_worth_is_told_by_the_case_that_lasts_longest_unread() -> None:
    milder, hotter = replace(RULES.values, temp_c=250.0), replace(RULES.values, temp_c=380.0, heating_s=90.0)
    for began in ((), (milder,), (hotter,), (milder, hotter), (hotter, milder)):
        facts = replace(FACTS, temp_c=None, began=began)
        cases = solved(facts, RULES, None)
        ends_s = [(assess_bound(case.bound).hold_s or 1e9) + case.start_s(facts) for case in cases]
        assert len(cases) >= 2 and ends_s[0] == max(ends_s) > min(ends_s)
        now = weighed(cases, facts, RULES)
        judged = verdict(facts, RULES, cases, now.found, Standing(5), reading(600.0, 80.0))
        after_s = START_S + 600.0 - cases[0].start_s(facts)
        seen = [predict_bound(case.bound, Zone.NOSE, after_s, ()).expected_c for case in cases]
        assert judged.prediction.expected_c == seen[0] != seen[-1]


@pytest.mark.parametrize("way", [None, "sleeve"])
def test_of_several_cases_a_hold_is_at_no_moment_cooler_nor_sooner_over_than_one_of_them(way: str | None) -> None:
    hotter = replace(RULES.values, temp_c=380.0, heating_s=90.0, ambient_c=25.0)
    station = Stay("station", DAYS_S)
    stays = (station, Stay("bath", DAYS_S + 80.0, way, 51.0)) if way else (station,)
    facts = replace(FACTS, temp_c=None, stays=stays, began=(hotter,))
    cases = solved(facts, RULES, None)
    found, start_s = weighed(cases, facts, RULES).found, cooling_from_s(facts, RULES)
    alone = [(case.start_s(facts) - start_s, assess_bound(case.bound)) for case in cases]
    assert len({shift_s for shift_s, _ in alone}) > 1 and max(shift_s for shift_s, _ in alone) == 0.0
    assert found.hold_s == max((each.hold_s or 1e9) + shift_s for shift_s, each in alone)
    assert found.touch_safe_s == max(each.touch_safe_s + shift_s for shift_s, each in alone)
    assert found.measure_ready_s == max(each.measure_ready_s + shift_s for shift_s, each in alone)
    outs_s = [each.take_out_s + shift_s for shift_s, each in alone if each.take_out_s is not None]
    assert found.take_out_s == (max(outs_s) if way else None) and bool(outs_s) is bool(way)
    assert (found.ambient_c, found.limit_c) == (25.0, 43.0)
    for at_s in (0.0, 30.0, 120.0, 400.0, 900.0, 2500.0):
        now, each_now = found.now(at_s), [each.now(at_s - shift_s) for shift_s, each in alone]
        assert now.hottest_c == pytest.approx(max(one.hottest_c for one in each_now), abs=0.3)
        assert now.high_c == pytest.approx(max(one.high_c for one in each_now), abs=0.3)
        longest_um = max((each.length_error_um(at_s - shift_s) for shift_s, each in alone), key=abs)
        assert found.length_error_um(at_s) == pytest.approx(longest_um, abs=0.5)
        assert found.rises_k(at_s) >= max(each.rises_k(at_s - shift_s) for shift_s, each in alone) - 0.05


def test_where_one_of_several_cases_has_no_end_neither_has_the_hold() -> None:
    warm = replace(RULES.values, ambient_c=42.4)
    facts = replace(FACTS, temp_c=None, began=(warm,))
    cases = solved(facts, RULES, None)
    assert {assess_bound(case.bound).hold_s is None for case in cases} == {True, False}
    now = weighed(cases, facts, RULES)
    assert now.found.hold_s is None and assess_bound(now.longest.bound).hold_s is None


def test_what_no_such_heating_explains_ends_nothing_even_where_the_model_sees_no_heat_left() -> None:
    zone = USUAL.now(110.0).where.read_at
    first = verdict(FACTS, RULES, CASES, USUAL, Standing(5), reading(100.0, 24.0, "", zone.value))
    doubted = Lesson(START_S + 100.0, zone, Instrument.PROBE, 24.0, first.prediction, heating=90)
    with patch("kiosk.rules.hold.hot_after", return_value=0.0):
        second = verdict(FACTS, RULES, CASES, USUAL, Standing(5, doubted), reading(110.0, 24.0, "", zone.value))
    assert second.word is Word.CONFIRMED and second.strange and not second.ends


def test_a_chance_of_just_one_in_a_hundred_may_be_left() -> None:
    at_s = 0.9 * USUAL.touch_safe_s
    cool = reading(at_s, 36.0, "", USUAL.now(at_s).where.read_at.value)
    for chance, ends in ((0.0, True), (0.01, True), (0.0101, False), (1.0, False)):
        with patch("kiosk.rules.hold.hot_after", return_value=chance):
            assert verdict(FACTS, RULES, CASES, USUAL, Standing(5), cool).ends is ends, chance


def test_two_readings_that_agree_and_can_come_of_such_a_heating_are_not_strange() -> None:
    first = verdict(FACTS, RULES, CASES, USUAL, Standing(5), reading(100.0, 155.0))
    assert first.word is Word.QUESTIONED and not first.strange
    doubted = Lesson(START_S + 100.0, Zone.NOSE, Instrument.PROBE, 155.0, first.prediction, heating=90)
    second = verdict(FACTS, RULES, CASES, USUAL, Standing(5, doubted), reading(110.0, 153.0))
    assert second.word is Word.CONFIRMED and not second.strange and not second.ends


@pytest.mark.parametrize("where", ["nose", "flange", "shank"])
@pytest.mark.parametrize("instrument", ["probe", "infrared"])
@pytest.mark.parametrize(("share", "value_c"), [(0.9, 34.5), (1.6, 28.0)])
def test_only_a_probe_at_the_hottest_place_ends_a_hold(
    share: float, value_c: float, where: str, instrument: str
) -> None:
    at_s = share * USUAL.touch_safe_s
    hottest = USUAL.now(at_s).where.read_at.value
    cool = replace(reading(at_s, value_c, "", where), instrument=instrument)
    found = verdict(FACTS, RULES, CASES, USUAL, Standing(5), cool)
    assert found.ends is (where == hottest and instrument == "probe"), found.word


def test_cold_where_it_should_be_hot_and_warm_inside_end_nothing() -> None:
    at_s = 0.9 * USUAL.touch_safe_s
    cool = reading(at_s, 36.0, "", USUAL.now(at_s).where.read_at.value)
    assert verdict(FACTS, RULES, CASES, USUAL, Standing(5), cool).ends
    rises = replace(USUAL, rise_k=tuple(8.0 for _ in USUAL.rise_k))
    assert not verdict(FACTS, RULES, CASES, rises, Standing(5), cool).ends, "it comes back from inside"
    strange = reading(200.0, 23.0, "", USUAL.now(200.0).where.read_at.value)
    assert not verdict(FACTS, RULES, CASES, USUAL, Standing(5), strange).ends


def test_a_hold_is_worked_out_from_the_heat_that_was_written_down() -> None:
    def held_s(**more: float | None) -> float:
        found = assessment(replace(FACTS, **more), RULES, None).hold_s
        assert found is not None
        return found

    assert held_s(temp_c=390.0) > held_s() + 60.0 and held_s(temp_c=None) == held_s(temp_c=330.0)
    assert held_s(length_mm=80.0) > held_s() + 60.0 and held_s(length_mm=30.0) < held_s() - 60.0
    assert held_s(body_c=120.0) > held_s() + 60.0
