"""What is kept between two looks at a hold, what is worked out anew, and what readings teach; the model left out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from unittest.mock import patch

import msgspec
import pytest

from kiosk.desk import holds as seam
from kiosk.desk.holds import Holds, rules_set
from kiosk.ledger.derive import TableRow
from kiosk.ledger.state import SHARED_CLOCK
from kiosk.rules import hold
from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.belief import FilmSlope, Instrument, Lesson, Prediction, Standing
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import Moment
from kiosk.rules.cooling.assessment import Advice, Assessment, CoolingError, Room, Way, Zone
from kiosk.rules.hearing import WITHIN_S
from kiosk.rules.hold_cases import Case, Weighed
from kiosk.rules.hold_facts import HeatValues, HoldFacts, HoldRules, Reading, Stay, pair
from kiosk.rules.lessons import Known
from kiosk.rules.skin_slices import SkinNow, unknown_skin
from kiosk.settings import HeatSettings

BEGUN_S = 200 * 86400.0
HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
FACTS = HoldFacts(
    HOLDER,
    None,
    BEGUN_S,
    1.79e9,
    None,
    None,
    (Stay("station", BEGUN_S), Stay("rack", BEGUN_S + 30.0, "free_air")),
    heating=20,
)
READING = Reading(BEGUN_S + 600.0, "nose", 80.0, "probe", "agrees", 25)
RACK = pair(HOLDER, "rack")
CURVE = (0.0, 4000.0)


def moment(after_s: float) -> Moment:
    return Moment(1.79e9, BEGUN_S + after_s)


def answer(hold_s: float | None = 3000.0) -> Assessment:
    flat = (0.0, 0.0)
    return Assessment(
        23.0, 43.0, 50.0, hold_s, 60.0, None, CURVE, (200.0, 30.0), flat, flat, flat, (30.0, 0.0), (Zone.NOSE,) * 2
    )


class Model:
    """In the place of the model: what it was asked, and how often."""

    def __init__(self) -> None:
        self.asked: list[tuple[HoldFacts, Known]] = []
        self.weighed: list[tuple[tuple[Any, ...], HoldFacts]] = []
        self.found = answer()
        self.fails: Exception | None = None

    def solved(self, facts: HoldFacts, rules: HoldRules, known: Known) -> tuple[Case, ...]:
        if self.fails:
            raise self.fails
        self.asked.append((facts, known))
        return (Case(60.0, f"case {len(self.asked)}"),)  # type: ignore[arg-type]

    def weigh(self, cases: tuple[Case, ...], facts: HoldFacts, rules: HoldRules) -> Weighed:
        self.weighed.append((tuple(case.bound for case in cases), facts))
        return Weighed(self.found, cases[0])


@pytest.fixture
def model(monkeypatch: pytest.MonkeyPatch) -> Model:
    made = Model()
    monkeypatch.setattr(seam, "solved", made.solved)
    monkeypatch.setattr(seam, "weighed", made.weigh)
    return made


class Lessons:
    """In the place of the book: rows of what readings taught."""

    def __init__(self, *rows: TableRow) -> None:
        self.rows = list(rows)

    def __call__(self, after: int) -> list[TableRow]:
        return sorted((row for row in self.rows if row["line"] > after), key=lambda row: row["line"])


def row(line: int, off_k: float = 0.0, withdrawn: int | None = None, heating: int = 2) -> TableRow:
    """A reading of a rack that was off by so much; expected within a few kelvin."""
    return {
        "line": line, "pair": RACK, "watched_s": BEGUN_S - 9e5 + 60.0 * line, "where": "nose", "instrument": "probe",
        "value_c": 120.0 + off_k, "ambient_c": 22.0, "expected_c": 120.0, "by_heat_k": 90.0, "by_film_k": -30.0,
        "other_sd_k": 2.0, "spread_k": 4.0, "usual_c": 121.0, "about_heat": 0.1, "films": "[]", "way": "free_air",
        "heating": heating, "kiosk": "mill", "withdrawn": withdrawn,
    }  # fmt: skip


def three(*more: TableRow) -> Lessons:
    """Enough for a pair to be trusted, and more."""
    return Lessons(row(5), row(6), row(7), *more)


def holds_of(lessons: Lessons | None = None, **set_to: float) -> Holds:
    return Holds(HeatSettings(**set_to), lessons or three())


# kept, and worked out anew


def test_a_hold_is_worked_out_once_however_often_it_is_looked_at(model: Model) -> None:
    holds = holds_of()
    for after_s in (60.0, 61.0, 500.0, 1e6):
        view = holds.view(FACTS, moment(after_s))
        assert view.remaining_s == max(0.0, 3030.0 - after_s) and view.ended is (after_s >= 3030.0)
        assert holds.length_error_um(FACTS, moment(after_s)) is not None
    assert len(model.asked) == len(model.weighed) == 1


def test_a_reading_is_weighed_and_nothing_is_solved_again_and_a_step_is_solved_again(model: Model) -> None:
    holds = holds_of()
    holds.view(FACTS, moment(60.0))
    misread = replace(READING, verdict="withdrawn")
    for told in (
        replace(FACTS, readings=(READING,)), replace(FACTS, readings=(READING,), gaps=2),
        replace(FACTS, withdrawn=(misread,)), FACTS,
    ):  # fmt: skip
        holds.view(told, moment(700.0))
        assert model.weighed[-1] == (("case 1",), told)
    assert (len(model.asked), len(model.weighed)) == (1, 5)
    moved = replace(FACTS, stays=(*FACTS.stays, Stay("sleeve", BEGUN_S + 700.0, "sleeve")))
    for told in (moved, replace(moved, temp_c=390.0), replace(moved, began=(rules_set(HeatSettings()).values,))):
        holds.view(told, moment(700.0))
        assert model.asked[-1][0] == told and model.weighed[-1] == ((f"case {len(model.asked)}",), told)
    assert len(model.asked) == 4


def test_two_holders_are_two_holds(model: Model) -> None:
    holds, other = holds_of(), replace(FACTS, holder=replace(HOLDER, key="k2"))
    for _ in range(3):
        holds.view(FACTS, moment(60.0))
        holds.view(other, moment(60.0))
    assert [facts for facts, _ in model.asked] == [FACTS, other]


def test_a_withdrawn_reading_makes_everything_be_worked_out_anew(model: Model) -> None:
    holds = holds_of()
    with patch.object(seam.hold, "advice", return_value=None) as advised, patch.object(seam, "solved_skin") as skins:
        for count in (1, 2):
            holds.view(FACTS, moment(60.0))
            holds.advice(FACTS, moment(60.0))
            holds.skin(FACTS, moment(60.0))
            assert len(model.asked) == advised.call_count == skins.call_count == count
            holds.unlearnt()


def test_a_plot_is_of_what_was_worked_out(model: Model) -> None:
    holds = holds_of()
    plot = holds.curve(FACTS, moment(500.0))
    assert plot == hold.curve(FACTS, holds.rules, model.found, BEGUN_S + 500.0) and plot is not None
    assert plot.now_s == 470.0


@pytest.mark.parametrize(("age_s", "counted_s"), [(2000.0, 2000.0), (WITHIN_S / 2, 0.0), (None, 0.0)])
def test_a_hold_that_several_kiosks_count_is_as_old_as_its_last_stay_surely_is(
    model: Model, age_s: float | None, counted_s: float
) -> None:
    holds = Holds(HeatSettings(), three(), {25: age_s}.get)
    facts = replace(FACTS, clock=SHARED_CLOCK, stay=25)
    since_s = FACTS.stays[-1].since_s
    assert holds.moment(facts, moment(9e9)).watched_s == since_s + (age_s or 0.0), "whatever this kiosk watched"
    sure_s = max(counted_s - WITHIN_S, 0.0)
    assert holds.view(facts, moment(9e9)).remaining_s == 3000.0 - sure_s
    assert holds.view(FACTS, moment(500.0)).remaining_s == 2530.0, "and one of its own as it watched"


# what cannot be worked out


@pytest.mark.parametrize(
    "error", [CoolingError("temp_c", "is none"), ValueError("x"), ZeroDivisionError(), OverflowError(), KeyError("x")]
)
def test_a_hold_that_cannot_be_worked_out_is_hot_until_read_and_stops_no_other(model: Model, error: Exception) -> None:
    holds, other = holds_of(), replace(FACTS, holder=replace(HOLDER, key="k2"))
    model.fails = error
    assert holds.view(FACTS, moment(1e7)) == hold.not_computable(FACTS, holds.rules)
    assert holds.view(FACTS, moment(1e7)).needs_reading
    assert holds.curve(FACTS, moment(60.0)) is None and holds.advice(FACTS, moment(60.0)) is None
    assert holds.judge(FACTS, READING) is None and holds.length_error_um(FACTS, moment(60.0)) is None
    assert holds.skin(FACTS, moment(60.0)) == unknown_skin(43.0, "nose")
    model.fails = None
    assert holds.view(other, moment(60.0)).remaining_s == 2970.0
    for told in (replace(FACTS, readings=(READING,)), replace(FACTS, temp_c=300.0)):
        assert holds.view(told, moment(60.0)).remaining_s == 2970.0, "it is tried again when something is new"


def test_a_fault_that_is_no_arithmetic_is_not_hidden(model: Model) -> None:
    model.fails = RuntimeError("out of order")
    with pytest.raises(RuntimeError):
        holds_of().view(FACTS, moment(60.0))


@pytest.mark.parametrize("reason", ["another clock", "no number"])
def test_times_of_another_clock_and_what_is_no_number_end_nothing(model: Model, reason: str) -> None:
    facts = replace(FACTS, watched=False) if reason == "another clock" else FACTS
    if reason == "no number":
        model.found = answer(float("nan"))
    holds = holds_of()
    assert holds.view(facts, moment(1e7)) == hold.not_computable(facts, holds.rules)
    assert holds.curve(facts, moment(60.0)) is None and holds.advice(facts, moment(60.0)) is None
    assert holds.judge(facts, READING) is None and holds.length_error_um(facts, moment(60.0)) is None
    with patch.object(seam, "solved_skin"):
        assert holds.skin(facts, moment(60.0)) == unknown_skin(43.0, "nose")


def test_a_reading_that_cannot_be_judged_is_said_to_be_so(model: Model) -> None:
    holds = holds_of()
    with patch.object(seam.hold, "verdict", side_effect=CoolingError("at_s", "is no time")):
        assert holds.judge(FACTS, READING) is None
    with patch.object(seam.hold, "verdict", return_value="judged") as judged:
        assert holds.judge(FACTS, READING) == "judged"
    facts, rules, cases, found, standing, reading = judged.call_args[0]
    assert (facts, rules, found, reading) == (FACTS, holds.rules, model.found, READING)
    assert [case.bound for case in cases] == ["case 1"] and standing == Standing(3)


def test_a_skin_is_solved_once_and_where_it_cannot_be_all_of_it_counts_as_hot(model: Model) -> None:
    holds, seen = holds_of(limit_c=41.0), SkinNow((), 41.0, "flange")
    with patch.object(seam, "solved_skin") as solved_skin:
        solved_skin.return_value.now.return_value = seen
        assert holds.skin(FACTS, moment(60.0)) == holds.skin(FACTS, moment(90.0)) == seen
        facts, rules, view, now_s = solved_skin.return_value.now.call_args[0]
        assert (facts, rules, now_s) == (FACTS, holds.rules, BEGUN_S + 90.0) and view.remaining_s == 2940.0
        assert solved_skin.call_count == 1
        holds.skin(replace(FACTS, readings=(READING,)), moment(90.0))
        assert solved_skin.call_count == 2
        solved_skin.side_effect = CoolingError("at_s", "is no time")
        assert holds.skin(replace(FACTS, gaps=1), moment(60.0)) == unknown_skin(41.0, "nose")


# advice


def test_an_advice_stands_until_two_minutes_after_its_moment_or_new_facts(model: Model) -> None:
    holds = holds_of()
    for in_s, good_s in ((500.0, 620.0), (0.0, 120.0), (-30.0, 120.0), (None, 120.0)):
        told = None if in_s is None else Advice(Zone.NOSE, BEGUN_S + 60.0 + in_s, 60.0, 0.0, 0.0, 0.0)
        holds.unlearnt()
        with patch.object(seam.hold, "advice", return_value=told) as advised:
            for after_s, count in ((0.0, 1), (1.0, 1), (good_s, 1), (good_s + 0.5, 2)):
                assert holds.advice(FACTS, moment(60.0 + after_s)) == told
                assert advised.call_count == count, (in_s, after_s)
            assert advised.call_args[0][2] == BEGUN_S + 60.0 + good_s + 0.5
            holds.advice(replace(FACTS, readings=(READING,)), moment(60.0 + good_s + 1.0))
            assert advised.call_count == 3


# what readings taught


def test_after_three_readings_time_alone_ends_a_hold_and_each_counts_once(model: Model) -> None:
    lessons = Lessons(row(1), row(6))
    holds = holds_of(lessons)
    for _ in range(4):
        holds.learnt()
        assert holds.view(FACTS, moment(1e5)).needs_reading
    lessons.rows.append(row(8))
    assert holds.view(FACTS, moment(1e5)).needs_reading, "nobody was told of it yet"
    holds.learnt()
    assert not holds.view(FACTS, moment(1e5)).needs_reading
    assert Holds(HeatSettings(), lessons).view(FACTS, moment(1e5)).ended
    elsewhere = replace(FACTS, stays=(Stay("station", BEGUN_S), Stay("bench rack", BEGUN_S + 30.0, "free_air")))
    assert holds.view(elsewhere, moment(1e5)).needs_reading
    moved = replace(FACTS, stays=(*FACTS.stays, Stay("other rack", BEGUN_S + 90.0, "free_air")))
    assert holds.view(moved, moment(1e5)).needs_reading, "what counts is where it stands last"


def test_what_was_written_is_learnt_before_a_hold_is_worked_out(model: Model) -> None:
    lessons = three()
    holds = holds_of(lessons)
    holds.view(FACTS, moment(60.0))
    lessons.rows.append(row(12, off_k=40.0))
    assert holds.view(FACTS, moment(1e5)).ended, "nobody was told of it yet"
    holds.view(replace(FACTS, temp_c=300.0), moment(60.0))
    assert holds.view(FACTS, moment(1e5)).needs_reading, "it is doubted, so that only a reading ends holds there"


def test_only_what_was_read_before_a_heating_teaches_it(model: Model) -> None:
    holds = holds_of(Lessons(row(5, 8.0), row(6, 8.0), row(27, -9.0, heating=20)))
    holds.view(FACTS, moment(60.0))
    holds.view(replace(FACTS, heating=30), moment(60.0))
    before, after = (known.mean[0] for _, known in model.asked)
    assert before > 0.01 and after < before - 0.01
    untouched = holds_of(Lessons(row(5, 8.0), row(6, 8.0)))
    untouched.view(FACTS, moment(60.0))
    assert model.asked[-1][1].mean == pytest.approx(model.asked[0][1].mean)


def test_what_was_doubted_when_a_heating_began_and_confirmed_later_teaches_it_in_no_start_anew(model: Model) -> None:
    doubted = row(12, 16.0)
    holds_of(three(doubted)).view(FACTS, moment(60.0))
    again = holds_of(three(doubted, row(27, 16.0)))
    again.view(FACTS, moment(60.0))
    again.view(replace(FACTS, heating=30), moment(60.0))
    before, restarted, later = (known.mean[0] for _, known in model.asked)
    assert restarted == before and later > before + 1e-3


@pytest.mark.parametrize(("heating", "times"), [(None, 1), (5, 1), (12, 1), (14, 2), (20, 2), (29, 2), (31, 1)])
def test_a_hold_that_began_with_what_was_a_slip_is_worked_out_with_and_without_it(
    model: Model, heating: int | None, times: int
) -> None:
    holds = holds_of(three(row(13, 9.0, withdrawn=30)))
    facts = replace(FACTS, heating=heating)
    holds.view(facts, moment(60.0))
    assert len(model.asked) == times
    assert model.weighed[-1][0] == tuple(f"case {count + 1}" for count in range(times))
    if times == 2:
        now, earlier = (known.mean[0] for _, known in model.asked)
        assert earlier > now + 1e-3, "what the slip taught is not known now"


def test_of_several_slips_each_state_of_what_was_known_counts(model: Model) -> None:
    slips = [row(13, 9.0, withdrawn=40), row(14, 9.0, withdrawn=30), row(35, 9.0, withdrawn=36)]
    holds = holds_of(three(*slips))
    holds.view(FACTS, moment(60.0))
    heats = [round(float(known.mean[0]), 9) for _, known in model.asked]
    assert len(heats) == 3 and len(set(heats)) == 3 and heats[0] == min(heats)
    assert max(heats) == heats[1], "both were believed when it began, and one of them until the other was withdrawn"


@pytest.mark.parametrize(("heating", "needs"), [(None, True), (5, True), (20, True), (29, True), (31, False)])
def test_a_doubt_that_was_a_slip_ends_no_hold_that_ran_when_it_was_withdrawn(
    model: Model, heating: int | None, needs: bool
) -> None:
    holds = holds_of(three(row(13, off_k=40.0, withdrawn=30)))
    view = holds.view(replace(FACTS, heating=heating), moment(1e5))
    assert view.needs_reading is needs and view.ended is not needs


def test_an_agreement_that_was_a_slip_counts_no_more(model: Model) -> None:
    holds = holds_of(Lessons(row(5), row(6), row(7, withdrawn=30)))
    for heating in (5, 20, 31):
        assert holds.view(replace(FACTS, heating=heating), moment(1e5)).needs_reading


def test_after_a_slip_new_readings_count_for_what_is_known_now_and_for_what_was_known(model: Model) -> None:
    lessons = Lessons(row(5), row(13, off_k=40.0, withdrawn=30))
    holds = holds_of(lessons)
    holds.view(FACTS, moment(60.0))
    lessons.rows += [row(31), row(32)]
    holds.learnt()
    assert not holds.view(FACTS, moment(1e5)).needs_reading, "three agree, and the doubt is resolved in both"
    lessons.rows.append(row(33, off_k=40.0))
    holds.unlearnt()
    assert holds.view(FACTS, moment(1e5)).needs_reading


def test_a_row_of_the_book_is_the_lesson_it_was() -> None:
    films = (FilmSlope(Way.MIST, "rack 2", -31.0, 0.2), FilmSlope(Way.FREE_AIR, None, -8.0, -0.1))
    told = row(9) | {
        "where": "flange", "instrument": "infrared", "way": "mist", "value_c": 87.0, "ambient_c": 24.0,
        "expected_c": 91.0, "by_heat_k": 61.0, "by_film_k": -31.0, "other_sd_k": 2.5, "spread_k": 7.0, "usual_c": 93.0,
        "about_heat": 0.07, "films": msgspec.json.encode(films).decode(), "heating": 4, "kiosk": "lathe",
    }  # fmt: skip
    with patch.object(seam, "take", return_value=(Standing(), Word.AGREES, ())) as take:
        holds_of(Lessons(told))
    (standing, lesson) = take.call_args[0]
    seen = Prediction(24.0, 91.0, 61.0, -31.0, 2.5, 7.0, 93.0, 0.07, films)
    of_type = RACK.split(" at ")[0]
    assert standing == Standing() and lesson == Lesson(
        told["watched_s"], Zone.FLANGE, Instrument.INFRARED, 87.0, seen, Way.MIST, of_type, 4, 9, "lathe"
    )


# the shop's values


def test_the_shops_values_are_those_of_its_settings_and_a_running_hold_keeps_the_stricter() -> None:
    set_to = HeatSettings(limit_c=41.0, ambient_c=27.0, temp_c=350.0, heating_s=90.0, length_tolerance_um=5.0)
    holds = Holds(set_to, Lessons())
    assert holds.rules == rules_set(set_to) == HoldRules(Room(27.0, 41.0, 5.0), 350.0, 90.0)
    began = replace(FACTS, began=(HeatValues(380.0, 20.0, 43.0, 60.0, 2.0),))
    assert holds.rules_of(began) == HoldRules(Room(27.0, 41.0, 2.0), 380.0, 90.0)
    assert holds.rules_of(FACTS) == holds.rules


def test_a_story_is_told_by_what_was_known_when_it_began(model: Model) -> None:
    holds = holds_of(Lessons(row(5, 8.0), row(6, 8.0), row(27, -9.0)))
    with patch.object(seam, "story", return_value="told") as story:
        assert holds.story(FACTS, BEGUN_S + 900.0, moment(1000.0)) == "told"
    facts, rules, known, ended_s, now_s = story.call_args[0]
    assert (facts, rules, ended_s, now_s) == (FACTS, holds.rules, BEGUN_S + 900.0, BEGUN_S + 1000.0)
    holds.view(FACTS, moment(60.0))
    assert known.mean == pytest.approx(model.asked[0][1].mean)
