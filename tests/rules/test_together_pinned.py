"""The figures that several kiosks go by, and what each fault of their rules would let through."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.rules import lines as L
from kiosk.rules.ages import COUNTED, FASTEST, TOO_FAST, Ages, Pace, StayName, Trip, pace
from kiosk.rules.apart import (
    Answer,
    Apart,
    about_cool,
    about_heating,
    about_pocket,
    about_time,
    about_undo,
    nothing_heard,
)
from kiosk.rules.hearing import WITHIN_S, Beat, Echo, Hearing
from kiosk.rules.link_state import SILENT_S, LinkFacts
from kiosk.rules.merge import OPEN, Claim, Matter, claims

STAY = StayName("a", 7)
DAY_S = 86400.0


def test_a_counted_second_is_worth_less_than_a_true_one_on_a_tablet_that_runs_three_per_cent_fast() -> None:
    assert FASTEST == 1.03
    assert pytest.approx(0.9698738, abs=1e-6) == COUNTED
    known = Ages()
    known.began(STAY, 40 * DAY_S)
    assert known.age_s(STAY, 40 * DAY_S + 1030.0) < 1000.0
    assert known.age_s(STAY, 40 * DAY_S + 1030.0) > 997.0
    assert known.age_s(STAY, 40 * DAY_S - 5.0) == 0.0, "a counter that seems to go back takes nothing away"


def test_a_kiosk_is_out_of_hearing_and_a_server_out_of_reach_after_the_times_the_book_tells() -> None:
    assert (WITHIN_S, SILENT_S, TOO_FAST) == (8.0, 5.0, 1.01)
    known = Hearing("a", "mine")
    known.sends(1, DAY_S)
    known.heard(Beat("b", "its", 1, 0, 5.0, echoes={"a": Echo(1, "mine")}), DAY_S + 1.0)
    assert known.in_hearing(["b"], DAY_S + 8.0) and not known.in_hearing(["b"], DAY_S + 8.1)
    facts = LinkFacts(True, True, None, 4.9, 7, 7, 0)
    assert facts.heard and not replace(facts, silent_s=5.0).heard


@pytest.mark.parametrize(("apart_s", "further"), [(10.0, None), (19.9, None), (20.0, 1.0), (45.0, 1.0)])
def test_two_round_trips_tell_how_counters_run_once_they_are_twenty_seconds_apart(
    apart_s: float, further: float | None
) -> None:
    known = Hearing("a", "mine")
    for beat, at_s in ((1, DAY_S), (2, DAY_S + apart_s)):
        known.sends(beat, at_s)
        told = Beat("b", "its", beat, 0, at_s, echoes={"a": Echo(beat, "mine")})
        known.heard(told, at_s)
    found = known.pace("b")
    assert (found.least if found else None) == further


def test_of_many_round_trips_the_narrowest_counts_on_either_side() -> None:
    known = Hearing("a", "mine")
    for beat, (at_s, late_s) in enumerate([(0.0, 0.0), (100.0, 9.0), (200.0, 0.1), (900.0, 5.0)], 1):
        known.sends(beat, at_s)
        known.heard(Beat("b", "its", beat, 0, at_s, echoes={"a": Echo(beat, "mine")}), at_s + late_s)
    found = known.pace("b")
    assert found is not None
    assert found.least == 200.0 / 200.1
    assert found.most == pytest.approx(900.0 / 900.0)


def test_a_counter_at_the_edge_of_what_is_believed_is_believed() -> None:
    assert not Pace(1.01, 1.01).other_runs_fast and Pace(1.0101, 1.02).other_runs_fast
    assert not Pace(1.0 / 1.01, 1.0 / 1.01).own_runs_fast and Pace(0.98, 0.99).own_runs_fast


def test_trips_that_overlap_say_nothing_and_a_stopped_counter_says_that_it_stopped() -> None:
    assert pace(Trip(0.0, 5.0, 10.0), Trip(10.0, 9.0, 12.0)) is None
    found = pace(Trip(0.0, 5.0, 1.0), Trip(1.5, 5.0, 2.0))
    assert found == Pace(0.0, 0.0)


def test_an_age_that_is_told_counts_only_where_it_is_more() -> None:
    known = Ages()
    known.began(STAY, DAY_S)
    known.heard({STAY: 50.0}, DAY_S + 10.0, believed=True)
    known.heard({STAY: 20.0}, DAY_S + 11.0, believed=True)
    assert known.age_s(STAY, DAY_S + 11.0) == 50.0 + COUNTED


def test_a_kiosk_that_heard_nothing_is_allowed_nothing() -> None:
    assert nothing_heard("a") == Apart("a", False, False, False, station=False, admitted=False)
    known = Apart("a", True, True, True)
    assert not known.station, "heatings are booked only where the others expect them"


def apart(**but: bool) -> Apart:
    """A kiosk that hears everybody, but for what is said."""
    heard = {"stations_heard": True, "all_heard": True, "caught_up": True, "station": True} | but
    return Apart("a", **heard, machine="M")  # type: ignore[arg-type]


def test_each_question_of_a_kiosk_that_is_cut_off_has_the_answer_of_the_table() -> None:
    alone: Apart | None
    for alone in (None, apart()):
        assert about_time(alone) is about_pocket(alone, "N") is about_undo(alone, True) is Answer.AS_EVER
        assert about_heating(alone) is about_cool(alone, True, "b") is Answer.AS_EVER
    assert about_time(apart(all_heard=False)) is Answer.READING_ONLY
    assert about_heating(apart(station=False)) is Answer.REFUSED
    cut_off = apart(caught_up=False)
    assert about_pocket(cut_off, "M") is Answer.TOLD_HOW_OLD
    assert about_pocket(cut_off, "N") is about_pocket(cut_off, None) is Answer.LOOK_FIRST
    assert about_pocket(Apart("a", False, False, False), None) is Answer.LOOK_FIRST, "at no machine is none its own"
    assert (about_undo(cut_off, True), about_undo(cut_off, False)) == (Answer.REFUSED, Answer.AS_EVER)
    unheard = apart(stations_heard=False)
    assert about_cool(unheard, True, "a") is Answer.NOT_VERIFIED
    assert about_cool(unheard, True, "b") is about_cool(unheard, True, None) is Answer.HEAT_UNKNOWN
    assert about_cool(unheard, False, "b") is Answer.AS_EVER, "nothing else can be heated"
    lost = Apart("a", False, False, False, own_whole=False)
    assert about_cool(lost, True, "a") is Answer.HEAT_UNKNOWN


def test_a_beat_that_says_nothing_of_what_it_applied_has_applied_nothing() -> None:
    assert Beat("b", "its", 1, 0, 0.0).applied == 0


def test_the_order_is_known_only_from_lines_that_are_here() -> None:
    known = Hearing("a", "mine")
    known.sends(1, DAY_S)
    known.answered(1, 1)
    assert not known.order_is_known(DAY_S)
    known.order_applied(1)
    assert known.order_is_known(DAY_S)
    empty = Hearing("a", "mine")
    empty.sends(1, DAY_S)
    empty.answered(1, 0)
    assert empty.order_is_known(DAY_S), "there is nothing to know yet"


def test_of_answers_that_wait_for_their_lines_the_older_ones_still_count() -> None:
    known = Hearing("a", "mine")
    for beat in (1, 2, 3):
        known.sends(beat, DAY_S + beat)
        known.answered(beat, 10 * beat)
    known.order_applied(20)
    assert known.order_is_known(DAY_S + 2 + WITHIN_S)
    assert not known.order_is_known(DAY_S + 2.1 + WITHIN_S)
    known.order_applied(30)
    assert known.order_is_known(DAY_S + 3 + WITHIN_S)


@pytest.mark.parametrize(
    "entry", [L.Seen("A1", "H1"), L.DifferenceSettled("A1", "H1", "moved", "cooled")], ids=lambda each: each.kind
)
def test_what_is_seen_or_settled_in_an_audit_keeps_it_open(entry: L.Entry) -> None:
    assert Claim(Matter.AUDIT, "A1", OPEN, settles=False) in claims(entry)
