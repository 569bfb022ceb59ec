"""How the story of a heating is told: what each reading did, what they saved, and by what it had stood at by then."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules import hold_story
from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.cards import HeatCurve
from kiosk.rules.cooling.assessment import Assessment, Room, Zone
from kiosk.rules.hold_cases import Case, Weighed
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Reading, Stay
from kiosk.rules.hold_story import HoldStory, ReadingStep, story
from kiosk.rules.say import say

BEGINS = (0.0, 7 * 3600.0, 5 * 86400.0, 250 * 86400.0)
HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
PLOT = HeatCurve((), (), 43.0, 0.0)
READ = Reading(5e6, "nose", 80.0, "probe", "agrees")
seconds = st.one_of(st.none(), st.integers(0, 4000).map(float))


def step(before_s: float | None, after_s: float | None, at_s: float = 600.0, verdict: str = "agrees") -> ReadingStep:
    return ReadingStep(replace(READ, verdict=verdict), at_s, before_s, after_s)


@given(seconds, seconds, st.integers(0, 4000).map(float))
def test_a_reading_shortens_what_was_left_when_it_was_read(
    before_s: float | None, after_s: float | None, at_s: float
) -> None:
    shorter_s = step(before_s, after_s, at_s).shortens_s
    if before_s is None or after_s is None:
        assert shorter_s == 0.0
    else:
        assert shorter_s == max(before_s - at_s, 0.0) - max(after_s - at_s, 0.0)


@given(seconds, seconds, st.booleans())
def test_readings_saved_what_it_was_free_sooner_and_nothing_without_any_or_an_end(
    released_s: float | None, without_s: float | None, read: bool
) -> None:
    told = HoldStory(PLOT, (step(900.0, 800.0),) if read else (), released_s, without_s)
    known = released_s is not None and without_s is not None and read
    assert told.saved_s == (max((without_s or 0.0) - (released_s or 0.0), 0.0) if known else 0.0)


@pytest.mark.parametrize(
    ("before_s", "after_s", "verdict", "did", "by_min"),
    [
        (2000.0, 1970.0, "agrees", "sooner", 0),
        (2000.0, 1970.5, "agrees", "nothing", 0),
        (2000.0, 1400.0, "confirmed", "sooner", 10),
        (2000.0, 2030.0, "agrees", "later", 0),
        (2000.0, 2029.5, "agrees", "nothing", 0),
        (2000.0, 2400.0, "agrees", "later", 7),
        (2000.0, 1000.0, "questioned", "doubted", 17),
        (None, 1000.0, "agrees", "nothing", 0),
    ],
)
def test_each_reading_is_told_by_what_it_did(
    before_s: float | None, after_s: float, verdict: str, did: str, by_min: int
) -> None:
    (said,) = HoldStory(PLOT, (step(before_s, after_s, verdict=verdict),), None, None).say
    assert said == say(f"heatings.read.{did}", where="term.nose", value_c=80.0, after_s=600.0, by_min=by_min)


def test_it_is_told_how_long_it_would_have_been_without_readings() -> None:
    steps = (step(2000.0, 1400.0),)
    for released_s, without_s, ended, saved_min in (
        (None, 2000.0, "running", 0.0), (1400.0, 2000.0, "saved", 10.0), (1410.0, 2000.0, "saved", 9.0),
        (1970.0, 2000.0, "saved", 0.0),
        (1971.0, 2000.0, "same", 0.0), (2600.0, 2000.0, "same", 0.0),
    ):  # fmt: skip
        last = HoldStory(PLOT, steps, released_s, without_s).say[-1]
        assert last == say(f"heatings.without.{ended}", without_s=2000.0, saved_min=saved_min)
    assert len(HoldStory(PLOT, steps, 1400.0, None).say) == 1, "only a reading would have ended it"
    assert HoldStory(PLOT, (), 1400.0, 2000.0).say == ()


# put together


class Model:
    """In the place of the model: a hold is as long as 100 s a stay, less 10 s for each reading counted."""

    def __init__(self) -> None:
        self.solved_for: list[int] = []

    def found(self, facts: HoldFacts) -> Assessment:
        hold_s = 100.0 * len(facts.stays) - 10.0 * len(facts.readings)
        flat = (0.0,)
        return Assessment(23.0, 43.0, 0.0, hold_s, 0.0, None, flat, flat, flat, flat, flat, flat, (Zone.NOSE,))

    def assessment(self, facts: HoldFacts, rules: HoldRules, known: object) -> Assessment:
        assert known == "known"
        return self.found(facts)

    def solved(self, facts: HoldFacts, rules: HoldRules, known: object) -> tuple[Case, ...]:
        assert known == "known"
        self.solved_for.append(len(facts.stays))
        return (Case(60.0, len(facts.stays)),)  # type: ignore[arg-type]

    def weighed(self, cases: tuple[Case, ...], facts: HoldFacts, rules: HoldRules) -> Weighed:
        assert cases[0].bound == len(facts.stays)  # type: ignore[comparison-overlap]
        return Weighed(self.found(facts), cases[0])


@pytest.mark.parametrize("begun_s", BEGINS)
def test_each_reading_is_counted_with_those_before_it_where_it_stood_by_then(begun_s: float) -> None:
    model = Model()
    stays = tuple(Stay(f"place {at}", begun_s + at) for at in (0, 50, 400))
    readings = tuple(replace(READ, at_s=begun_s + at) for at in (-5, 49, 50, 90, 399, 400, 700))
    facts = HoldFacts(HOLDER, None, begun_s, 1.79e9, None, None, stays, readings)
    rules: Any = HoldRules(Room(), 330.0, 20.0)
    with (
        patch.object(hold_story, "assessment", model.assessment),
        patch.object(hold_story, "solved", model.solved),
        patch.object(hold_story, "weighed", model.weighed),
    ):
        told = story(facts, rules, "known", begun_s + 920.0, begun_s + 5000.0)  # type: ignore[arg-type]
        early = story(facts, rules, "known", begun_s + 3.0, begun_s + 5000.0)  # type: ignore[arg-type]
        running = story(facts, rules, "known", None, begun_s + 5000.0)  # type: ignore[arg-type]
    assert model.solved_for[:3] == [1, 2, 3], "nothing is solved twice between two readings at one place"
    assert [each.reading for each in told.steps] == list(readings)
    assert [each.at_s for each in told.steps] == [each.at_s - begun_s - 20.0 for each in readings]
    assert [(each.hold_before_s, each.hold_after_s) for each in told.steps] == [
        (100.0, 90.0), (90.0, 80.0), (180.0, 170.0), (170.0, 160.0), (160.0, 150.0), (250.0, 240.0), (240.0, 230.0),
    ]  # fmt: skip
    assert (told.released_s, told.without_s, running.released_s, early.released_s) == (900.0, 300.0, None, 0.0)
    assert told.expected.points[-1][0] == pytest.approx(1.05 * 900.0), "as far as its end"
    assert running.expected.points[-1][0] == pytest.approx(1.05 * 4980.0), "as far as now"
    assert told.expected.now_s == 900.0 and running.expected.now_s == 4980.0
    assert told.expected.readings[0] == (-25.0, 80.0)
