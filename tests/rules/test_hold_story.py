"""A heating afterwards: what readings did to the wait and what they saved."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.belief import Standing
from kiosk.rules.cooling.assessment import Room
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


def test_advice_is_told_in_watched_time() -> None:
    now_s = START_S + 700.0
    found = advice(FACTS, NOW.longest, now_s)
    assert found is not None
    assert now_s <= found.at_s < found.free_s < START_S + hold_s()


def test_the_story_says_what_each_reading_did_and_what_they_saved() -> None:
    facts = with_readings(
        reading(900, usual_c(900)), reading(1000, 28.0, "questioned"), reading(1900, usual_c(1900))
    )
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
