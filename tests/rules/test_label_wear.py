"""When a label counts as more worn than before, and when it asks to be printed anew."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.label_wear import READS, asks_for_new, changed, step_of

shares = st.sampled_from([eighth / 8 for eighth in range(9)])


def test_one_bad_read_says_nothing_and_three_that_agree_do() -> None:
    assert changed(0.0, [1.0, 1.0]) is None
    assert changed(0.0, [0.5, 0.0, 0.75]) is None, "a thumb lay on it twice"
    assert changed(0.0, [0.75, 0.5, 0.625]) == 0.5, "the best of them"
    assert changed(0.5, [0.0, 0.125, 0.125]) == 0.125, "printed anew, or wiped"
    assert changed(0.5, [0.0, 0.0, 0.75]) is None


def test_within_a_step_nothing_is_written() -> None:
    assert step_of(0.5) == step_of(0.625) == 2
    assert changed(0.5, [0.625, 0.625, 0.625]) is None
    assert changed(0.0, [0.125, 0.125, 0.125]) is None


def test_it_asks_from_half_of_the_error_correction_on() -> None:
    assert [asks_for_new(spent) for spent in (0.0, 0.25, 0.49, 0.5, 0.75, 1.0)] == [False] * 3 + [True] * 3


@given(shares, st.lists(shares, min_size=READS, max_size=9))
def test_what_is_said_was_read_lately_and_the_same_reads_never_say_it_twice(kept: float, latest: list[float]) -> None:
    said = changed(kept, latest)
    if said is not None:
        assert said in latest[-READS:] and step_of(said) != step_of(kept)
        assert changed(said, latest) is None
