"""What a kiosk does while others are not heard: the table row by row, at a kiosk that has watched for months."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.rules import lines as L
from kiosk.rules.acts import apart_answer
from kiosk.rules.apart import TABLE, Answer, Apart, Question
from kiosk.rules.audit import Scope
from kiosk.rules.cards import Command, CommandCard, Heat, HolderCard, LastStep, OperatorCard, Pending, PlaceCard
from kiosk.rules.checkin import arrival, may_go, warmth
from kiosk.rules.decision import decide
from kiosk.rules.lines import Heated, HoldEnded, Moved
from kiosk.rules.outcomes import ABOUT_HEAT, Done, Outcome, Reason, Refused
from kiosk.rules.places import Kind
from kiosk.rules.view import AuditView, View
from tests.rules.test_checkin import (
    BENCH,
    BUILT,
    CHAIN,
    COLLET,
    GOALS,
    NOW,
    OVER,
    POCKET,
    RACK,
    RUNS,
    SLOT,
    STATION,
    card,
    hot,
    place,
    why,
)  # fmt: skip

TOGETHER = Apart("here", stations_heard=True, all_heard=True, caught_up=True, station=True, machine="M1")
ALONE = replace(TOGETHER, stations_heard=False, all_heard=False, caught_up=False, since_utc_s=1.8e9, as_of_utc_s=1.8e9)
MINE = place("Pocket 3", Kind.POCKET, number=3, magazine=CHAIN, parent="M1")
THEIRS = place("Pocket 4", Kind.POCKET, number=4, magazine=CHAIN, parent="M2")


def here(**more: object) -> HolderCard:
    """Cool, and brought here by this kiosk."""
    return card(**{"last_kiosk": "here", "apart": ALONE, **more})


def there(**more: object) -> HolderCard:
    """Cool, and brought here by another kiosk."""
    return card(**{"last_kiosk": "there", "apart": ALONE, **more})


def scan(first: HolderCard, goal: PlaceCard, look_at: str | None = None) -> Outcome:
    view = View("here", Pending(first, NOW.watched_s - 3.0, look_at))
    return decide(view, goal, NOW)


def test_every_question_has_its_answer_in_the_table() -> None:
    assert set(TABLE) == set(Question)


def test_what_is_known_to_be_hot_is_refused_as_ever() -> None:
    assert why(may_go(hot(apart=ALONE), SLOT)) is Reason.HOT
    assert why(may_go(hot(hold=replace(RUNS, unheard=True), apart=ALONE), SLOT)) is Reason.HOT


def test_time_that_is_up_ends_no_hold_while_a_kiosk_is_not_heard() -> None:
    held = hot(hold=replace(OVER, unheard=True), apart=ALONE)
    assert warmth(held) is Heat.HELD
    assert why(may_go(held, SLOT)) is Reason.UNHEARD
    assert why(may_go(held, RACK)) is None
    assert not any(isinstance(line, HoldEnded) for line in arrival(held, RACK))


def test_time_that_is_up_ends_the_hold_once_all_are_heard() -> None:
    assert may_go(hot(hold=OVER, apart=TOGETHER), SLOT) is None


def test_what_this_kiosk_brought_here_cool_goes_on_and_its_line_says_not_verified() -> None:
    outcome = scan(here(), SLOT)
    assert isinstance(outcome, Done)
    assert outcome.lines == (Moved("H1", "Bench", "Slot", reason=L.NOT_VERIFIED),)
    assert outcome.note is not None and outcome.note.key == "note.not_verified"


def test_what_another_kiosk_brought_here_counts_as_hot_until_the_station_is_heard() -> None:
    assert warmth(there()) is Heat.UNKNOWN
    for goal in GOALS:
        refused = may_go(there(), goal)
        free = goal.place.kind in (Kind.COOLING, Kind.SHRINK)
        assert (refused is None) is free, goal.name
        if refused is not None and goal.place.kind is not Kind.MACHINE:
            assert refused.reason in ABOUT_HEAT


def test_it_goes_to_a_cooling_place_and_is_held_there_until_it_is_read() -> None:
    moved, held = arrival(there(), RACK)
    assert isinstance(moved, Moved)
    assert held == Heated("H1", "Rack", heats=0, reading_only=True, body_unknown=True)


def test_what_cannot_be_heated_is_cool_whoever_is_heard() -> None:
    assert may_go(replace(there(), holder=COLLET), SLOT) is None


def test_with_the_stations_heard_cool_is_cool_though_another_kiosk_is_silent() -> None:
    heard = replace(ALONE, stations_heard=True)
    assert may_go(there(apart=heard), SLOT) is None
    outcome = scan(there(apart=heard), SLOT)
    assert isinstance(outcome, Done) and outcome.note is None


@pytest.mark.parametrize("apart", [TOGETHER, ALONE])
def test_a_kiosk_that_is_none_of_the_station_books_no_heating(apart: Apart) -> None:
    assert may_go(card(apart=apart), STATION) is None
    assert why(may_go(card(apart=replace(apart, station=False)), STATION)) is Reason.NOT_THE_STATION


def test_a_pocket_of_this_kiosks_machine_is_filled_and_how_old_the_facts_are_is_told() -> None:
    outcome = scan(here(assembly=BUILT), MINE)
    assert isinstance(outcome, Done)
    heard = scan(here(assembly=BUILT, apart=replace(ALONE, stations_heard=True)), MINE)
    assert isinstance(heard, Done)
    assert heard.note is not None and heard.note.key == "note.as_of"


def test_into_a_pocket_of_another_machine_goes_nothing_before_a_hand_has_looked() -> None:
    first = scan(here(assembly=BUILT), THEIRS)
    assert isinstance(first, Refused) and first.reason is Reason.LOOK_FIRST
    assert first.pending is not None and first.pending.look_at == "Pocket 4"
    again = scan(here(assembly=BUILT, apart=replace(ALONE, stations_heard=True)), THEIRS, first.pending.look_at)
    assert isinstance(again, Done)
    assert again.lines[-1] == Moved("H1", "Bench", "Pocket 4", reason=L.LOOKED)


def test_having_looked_at_one_pocket_says_nothing_of_another() -> None:
    assert why(scan(here(assembly=BUILT), THEIRS, "Pocket 3")) is Reason.LOOK_FIRST


@pytest.mark.parametrize(("shared", "apart", "reason"), [
    (False, ALONE, None), (True, ALONE, Reason.UNDO_SHARED), (True, TOGETHER, None),
])  # fmt: skip
def test_own_steps_are_taken_back_until_they_are_shared(shared: bool, apart: Apart, reason: Reason | None) -> None:
    step = LastStep(7, NOW.watched_s - 5.0, here(at=SLOT, apart=apart), BENCH, "Slot", shared=shared)
    assert why(decide(View("here", last_step=step), CommandCard(Command.UNDO), NOW)) is reason


@pytest.mark.parametrize(("line", "answer"), [
    (L.Seen("A1", "text"), Answer.AS_EVER),
    (L.AuditClosed("A1", 1, 1, 0, 0, 0, 0, 0), Answer.REFUSED),
    (L.HolderRetired("H1"), Answer.REFUSED),
    (L.SettingChanged("heat.temp_c", "300", "new coil"), Answer.REFUSED),
    (L.SettingChanged("heat.temp_c", "300", L.OUTSIDE), Answer.AS_EVER),
    (L.OperatorAdded("o", "Jo", "setter", "hash"), Answer.REFUSED),
    (L.Imported("file", 3), Answer.REFUSED),
    (L.SignedIn("o"), Answer.AS_EVER),
    (L.Moved("H1", None, "R"), Answer.AS_EVER),
])  # fmt: skip
def test_what_the_whole_shop_goes_by_waits_until_the_others_are_heard(line: L.Entry, answer: Answer) -> None:
    assert apart_answer(ALONE, line) is answer
    assert apart_answer(TOGETHER, line) is Answer.AS_EVER
    assert apart_answer(None, line) is Answer.AS_EVER


def test_a_badge_still_signs_in_while_others_are_not_heard_and_an_answer_for_all_waits() -> None:
    badge = OperatorCard("o", "Jo", "setter")
    assert isinstance(decide(View("here", apart=ALONE), badge, NOW), Done)
    audit = AuditView("A1", Scope("R", "Rack", (), {}, {}))
    close = CommandCard(Command.CLOSE_AUDIT)
    assert isinstance(decide(View("here", audit=audit, apart=TOGETHER), close, NOW), Done)
    assert why(decide(View("here", audit=audit, apart=ALONE), close, NOW)) is Reason.CATCH_UP_FIRST


def test_a_kiosk_of_which_not_all_others_know_writes_no_work() -> None:
    fresh = replace(TOGETHER, admitted=False)
    assert apart_answer(fresh, L.Moved("H1", None, "R")) is Answer.REFUSED
    assert apart_answer(fresh, L.KioskStarted("2")) is Answer.AS_EVER


def test_a_kiosk_with_no_others_is_as_it_ever_was() -> None:
    for goal in (SLOT, RACK, STATION, POCKET):
        assert may_go(card(assembly=BUILT, last_kiosk="there"), goal) is None


DOUBT = Heated("H1", "Bench", heats=0, reading_only=True, body_unknown=True)


@pytest.mark.parametrize("apart", [TOGETHER, ALONE])
def test_a_heating_that_is_refused_leaves_the_steel_hot_all_the_same(apart: Apart) -> None:
    refused = scan(there(apart=replace(apart, station=False)), STATION)
    assert isinstance(refused, Refused) and refused.reason is Reason.NOT_THE_STATION
    assert refused.lines == (DOUBT,)
    assert apart_answer(replace(apart, admitted=False, awake=False), DOUBT) is Answer.AS_EVER


def test_a_badge_that_is_missing_does_not_take_that_doubt_away() -> None:
    held = Pending(there(apart=replace(TOGETHER, station=False)), NOW.watched_s - 3.0)
    limits = replace(View("here").limits, badge_required=True)
    refused = decide(View("here", held, limits=limits), STATION, NOW)
    assert isinstance(refused, Refused) and refused.reason is Reason.BADGE_FIRST
    assert refused.lines == (DOUBT,)


def test_one_whom_the_others_take_to_be_switched_off_touches_nothing_that_may_be_hot() -> None:
    asleep = replace(ALONE, awake=False, station=False)
    for held in (hot(hold=replace(RUNS, unheard=True), apart=asleep), there(apart=asleep)):
        assert why(may_go(held, RACK)) is Reason.TAKEN_AS_OFF
    assert why(may_go(hot(hold=replace(RUNS, unheard=True), apart=asleep), SLOT)) is Reason.HOT
    assert why(may_go(here(apart=asleep), STATION)) is Reason.NOT_THE_STATION
    assert may_go(here(apart=asleep), SLOT) is None, "what it brought here cool goes on, not verified"
    for line in (L.Heated("H1", "S"), L.Built("H1", "A", "Mill", "C"), L.TornDown("H1", "A")):
        assert apart_answer(asleep, line) is Answer.REFUSED
        assert apart_answer(ALONE, line) is Answer.AS_EVER


def test_a_kiosk_whose_own_lines_are_not_whole_knows_of_nothing_that_it_is_cool() -> None:
    put_back = replace(ALONE, own_whole=False)
    assert warmth(here(apart=put_back)) is Heat.UNKNOWN
    assert why(may_go(here(apart=put_back), SLOT)) in ABOUT_HEAT
    assert may_go(here(apart=put_back), RACK) is None
