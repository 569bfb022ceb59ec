"""The states of the link to a shop's server, and every way between them."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.link_state import LEVEL, SILENT_S, LinkFacts, LinkState, next_state

S = LinkState
STOPS = frozenset({S.BEHIND, S.FORKED, S.WENT_BACK, S.LOCKED_OUT})
WELL = LinkFacts(has_server=True, joined=True, stop=None, silent_s=0.0, applied=7, head=7, waiting=0)
ANY_FACTS = st.builds(
    LinkFacts,
    has_server=st.booleans(),
    joined=st.booleans(),
    stop=st.none() | st.sampled_from(sorted(STOPS, key=lambda stop: stop.value)),
    silent_s=st.none() | st.floats(0, 1e7),
    applied=st.integers(0, 10**9),
    head=st.none() | st.integers(0, 10**9),
    waiting=st.integers(0, 10**6),
)
ANY_STATE = st.sampled_from(S)


@pytest.mark.parametrize(
    ("before", "facts", "after"),
    [
        (S.ALONE, replace(WELL, has_server=False), S.ALONE),
        (S.ALONE, replace(WELL, joined=False), S.JOINING),
        (S.JOINING, WELL, S.CATCHING_UP),
        (S.CATCHING_UP, replace(WELL, head=9), S.CATCHING_UP),
        (S.CATCHING_UP, WELL, S.CAUGHT_UP),
        (S.CAUGHT_UP, replace(WELL, waiting=3), S.SHARING),
        (S.SHARING, WELL, S.CAUGHT_UP),
        (S.SHARING, replace(WELL, silent_s=SILENT_S), S.CUT_OFF),
        (S.CAUGHT_UP, replace(WELL, silent_s=SILENT_S - 0.01), S.CAUGHT_UP),
        (S.CUT_OFF, WELL, S.CATCHING_UP),
        (S.CUT_OFF, replace(WELL, silent_s=None), S.CUT_OFF),
        (S.CAUGHT_UP, replace(WELL, stop=S.FORKED), S.FORKED),
        (S.FORKED, WELL, S.CATCHING_UP),
    ],
)
def test_the_ways_from_state_to_state(before: S, facts: LinkFacts, after: S) -> None:
    assert next_state(before, facts) is after


@given(ANY_STATE, ANY_FACTS)
def test_a_kiosk_without_a_server_is_alone_and_no_other_is(before: S, facts: LinkFacts) -> None:
    assert (next_state(before, facts) is S.ALONE) == (not facts.has_server)


@given(ANY_STATE, ANY_FACTS)
def test_a_full_stop_is_said_whatever_else_is_so(before: S, facts: LinkFacts) -> None:
    after = next_state(before, facts)
    assert (after in STOPS) == (facts.has_server and facts.stop is not None)


@given(ANY_STATE, ANY_FACTS)
def test_level_is_said_only_by_who_hears_the_server_and_has_all_it_has(before: S, facts: LinkFacts) -> None:
    after = next_state(before, facts)
    if after in LEVEL:
        assert facts.heard and facts.head is not None and facts.applied >= facts.head and facts.joined
        assert (after is S.SHARING) == (facts.waiting > 0)
    if facts.has_server and facts.stop is None and facts.joined and not facts.heard:
        assert after is S.CUT_OFF


@given(st.lists(ANY_FACTS, min_size=2, max_size=20))
def test_nobody_is_level_without_having_caught_up_first(facts: list[LinkFacts]) -> None:
    states = [S.ALONE]
    for each in facts:
        states.append(next_state(states[-1], each))
    for before, after in pairwise(states):
        assert after not in LEVEL or before in LEVEL | {S.CATCHING_UP}


@given(ANY_STATE, ANY_FACTS, st.floats(0, 1e7))
def test_more_silence_never_brings_a_kiosk_nearer_to_level(before: S, facts: LinkFacts, more_s: float) -> None:
    later = replace(facts, silent_s=None if facts.silent_s is None else facts.silent_s + more_s)
    assert next_state(before, later) not in LEVEL or next_state(before, facts) in LEVEL
