"""What a hold is said to wait for, on every screen, sheet and telephone: a time only where there is one to count."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.handheld import said
from kiosk.rules.cards import HoldView, ProbeNext, Until
from kiosk.rules.checkin import may_go, warmth
from kiosk.rules.next_step import Ways, next_step
from tests.rules.test_checkin import NOW, RACK, SLOT, hot

HELD = HoldView(180.0, 150.0, 190.0, "nose", 3000.0, 3500.0)
holds = st.builds(
    lambda left_s, reads, unheard: replace(HELD, remaining_s=left_s, needs_reading=reads, unheard=unheard),
    st.one_of(st.none(), st.just(0.0), st.floats(0.01, 1e7)),
    st.booleans(),
    st.booleans(),
)


@given(holds)
def test_words_that_announce_a_time_have_one_to_count_and_the_others_have_none(hold: HoldView) -> None:
    counts = hold.until in (Until.PROBE_IN, Until.SAFE_IN)
    assert counts is (hold.counts_s is not None)
    assert hold.counts_s is None or hold.counts_s > 0
    assert not counts or hold.needs_reading is (hold.until is Until.PROBE_IN)


@given(holds)
def test_nothing_is_said_to_be_safe_at_a_time_that_does_not_make_it_so(hold: HoldView) -> None:
    if hold.needs_reading or (hold.unheard and not hold.counts_s):
        assert hold.safe_in_s is None
        assert hold.until is not Until.SAFE_IN
    else:
        assert hold.safe_in_s == hold.remaining_s


@given(st.floats(0.0, 5000.0), st.floats(0.0, 5000.0), st.floats(0.0, 5000.0), st.booleans())
def test_no_advice_speaks_of_no_minutes(in_s: float, free_s: float, more_s: float, again: bool) -> None:
    told = ProbeNext("nose", in_s, 61.0, free_s, free_s + more_s, again).say
    assert float(told["free_min"] or 0) >= 1


@pytest.mark.parametrize("reads", [True, False])
def test_where_time_is_up_and_a_reading_or_others_are_missing_no_time_is_said(reads: bool) -> None:
    """A probe is due, or kiosks that may have heated it again are not heard."""
    over = replace(HELD, remaining_s=0.0, needs_reading=reads, unheard=not reads)
    held = hot(hold=over, at=RACK)
    assert warmth(held).value == "held"
    told = next_step(held, Ways(None, None, None, None, None), NOW)
    assert told is not None and told.key == "next.read" and told["read_at"] is None
    row = said.board([held], [])["rows"][0]
    assert row["left_s"] is None
    refused = may_go(held, SLOT)
    assert refused is not None and dict(refused.why.values).get("remaining_s") is None
