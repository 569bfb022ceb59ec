"""What was read waits for the touches made before it, whatever the frames' pace."""

from __future__ import annotations

import itertools
import math
from functools import partial

from hypothesis import given
from hypothesis import strategies as st

from kiosk.screens.turns import Turns

PACES_S = st.lists(st.floats(0.001, 3.0), min_size=8, max_size=40)


def _answered(frames_s: list[float], touch_s: float, read_s: float) -> list[str]:
    """What a window answers, in order: it collects a touch at the end of a frame and answers it in the next one."""
    turns, answered, collected = Turns(), list[str](), False
    for began_s, ends_s in itertools.pairwise(frames_s):
        turns.framed(began_s)
        if read_s <= began_s:  # a thread hands it over, in the frame's calls
            turns.take(read_s, partial(answered.append, "read"))
            read_s = math.inf
        if collected and "touch" not in answered:
            answered.append("touch")
        collected = collected or touch_s < ends_s
    return answered


@given(PACES_S, st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 10_000_000.0))
def test_a_touch_made_before_a_label_was_read_is_answered_before_it(
    paces_s: list[float], touched: float, later: float, began_s: float
) -> None:
    frames_s = [began_s]
    for pace_s in paces_s:
        frames_s.append(frames_s[-1] + pace_s)
    end_s = frames_s[3]
    touch_s = began_s + touched * (end_s - began_s)
    read_s = touch_s + later * (end_s - touch_s)
    assert _answered(frames_s, touch_s, read_s) == ["touch", "read"]


def test_what_was_read_long_ago_is_answered_at_once_and_all_in_the_order_it_came() -> None:
    turns, answered = Turns(), list[str]()
    for began_s in (86_400.0, 86_400.02, 86_400.04):
        turns.framed(began_s)
    turns.take(86_399.9, lambda: answered.append("first"))
    assert answered == ["first"]
    turns.take(turns.now_s, lambda: answered.append("keys"))
    turns.take(86_399.9, lambda: answered.append("last"))
    assert answered == ["first"]
    turns.framed(86_400.06)
    assert answered == ["first"]
    turns.framed(86_400.08)
    assert answered == ["first", "keys", "last"]
