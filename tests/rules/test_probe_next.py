"""What is said about the next reading counts from the moment it is said, wherever the watched clock stands."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.cards import HoldView
from kiosk.rules.cooling.assessment import Advice, Zone
from kiosk.rules.hold import probe_next

BEGINS = (0.0, 7 * 3600.0, 5 * 86400.0, 250 * 86400.0)
HELD = HoldView(180.0, 150.0, 190.0, "nose", 3000.0, 3500.0)

quarters = st.integers(-4000, 40_000).map(lambda count: count / 4)


def advice(now_s: float, in_s: float, free_s: float, else_s: float) -> Advice:
    return Advice(Zone.FLANGE, now_s + in_s, 61.0, now_s + free_s, now_s + else_s, 400.0)


@given(st.sampled_from(BEGINS), quarters, quarters, quarters, st.one_of(st.none(), quarters), st.booleans())
def test_every_time_is_from_now_none_is_past_and_what_is_over_is_not_said(
    now_s: float, in_s: float, free_s: float, else_s: float, left_s: float | None, again: bool
) -> None:
    hold = replace(HELD, remaining_s=left_s, needs_reading=again)
    told = probe_next(advice(now_s, in_s, free_s, else_s), hold, now_s)
    assert (told is None) is (else_s <= 0 or (left_s is not None and left_s <= 0))
    if told is not None:
        assert (told.where, told.under_c, told.again) == ("flange", 61.0, again)
        assert told.in_s == (0.0 if in_s <= 20.0 else in_s)
        assert (told.free_s, told.else_s) == (max(free_s, in_s, 0.0), max(else_s, in_s, 0.0))


@pytest.mark.parametrize("now_s", BEGINS)
def test_within_twenty_seconds_is_now(now_s: float) -> None:
    for in_s, said_s in ((-300.0, 0.0), (0.0, 0.0), (20.0, 0.0), (20.25, 20.25), (39.75, 39.75)):
        told = probe_next(advice(now_s, in_s, in_s + 5.0, in_s + 900.0), HELD, now_s)
        assert told is not None and told.in_s == said_s
        assert (told.free_s, told.else_s) == (max(in_s + 5.0, 0.0), in_s + 900.0)


@pytest.mark.parametrize("now_s", BEGINS)
def test_what_is_over_or_let_go_is_not_advised(now_s: float) -> None:
    for else_s, left_s, is_said in (
        (0.25, 0.25, True), (0.25, None, True), (0.0, 0.25, False), (0.0, None, False), (-5.0, None, False),
        (0.25, 0.0, False), (900.0, -1.0, False),
    ):  # fmt: skip
        hold = replace(HELD, remaining_s=left_s)
        assert (probe_next(advice(now_s, -30.0, -10.0, else_s), hold, now_s) is not None) is is_said


@pytest.mark.parametrize("now_s", BEGINS)
def test_nobody_is_free_before_the_reading_that_frees(now_s: float) -> None:
    told = probe_next(advice(now_s, 500.0, 100.0, 200.0), HELD, now_s)
    assert told is not None and (told.in_s, told.free_s, told.else_s) == (500.0, 500.0, 500.0)
    past = probe_next(advice(now_s, -500.0, -100.0, 0.25), HELD, now_s)
    assert past is not None and (past.in_s, past.free_s, past.else_s) == (0.0, 0.0, 0.25)
