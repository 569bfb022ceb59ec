"""When a hint is said, which one, and how long it stays."""

from hypothesis import given
from hypothesis import strategies as st

from kiosk.reader.hints import Hint
from kiosk.reader.patience import FORGET_S, HINT_AFTER_S, QUIET_S, SHOWN_S, Patience, Sight

HERE = ((600.0, 300.0), (700.0, 300.0), (700.0, 400.0), (600.0, 400.0))
THERE = ((100.0, 100.0), (150.0, 100.0), (150.0, 150.0), (100.0, 150.0))
STEP_S = 0.125


def watched(patience, *hints, start_s=10.0, place=HERE):
    """The hint shown after each look; None in `hints` is a look that shows nothing."""
    shown = []
    for number, hint in enumerate(hints):
        at_s = start_s + number * STEP_S
        shown.append(patience.look(Sight(place, hint, at_s) if hint else None, at_s))
    return shown


def test_a_hint_comes_only_when_the_label_stayed_unread_for_a_while():
    shown = watched(Patience(), *[Hint.CLOSER] * 9)
    first = shown.index(Hint.CLOSER)
    assert HINT_AFTER_S <= first * STEP_S <= 1.0
    assert shown[first:] == [Hint.CLOSER] * (9 - first)


def test_a_label_seen_in_every_other_look_is_helped_too():
    assert watched(Patience(), *[Hint.CLOSER, None] * 5)[-1] is Hint.CLOSER


def test_single_sights_here_and_there_say_nothing():
    patience = Patience()
    for number in range(40):
        at_s = 10 + number * STEP_S
        far_off = tuple((x + 311 * (number % 3), y) for x, y in THERE)
        assert patience.look(Sight(far_off, Hint.CLOSER, at_s) if number % 2 else None, at_s) is None


def test_one_look_that_errs_does_not_begin_the_wait_anew():
    patience = Patience()
    watched(patience, *[Hint.CLOSER] * 4)
    watched(patience, Hint.WIPE_IT, start_s=10.5, place=THERE)
    assert watched(patience, Hint.CLOSER, start_s=10.625)[-1] is Hint.CLOSER


def test_the_hint_most_looks_agree_on_is_said():
    mixed = [Hint.WIPE_IT, Hint.CLOSER, Hint.CLOSER, Hint.WIPE_IT, Hint.CLOSER, Hint.CLOSER, Hint.WIPE_IT]
    assert watched(Patience(), *mixed)[-1] is Hint.CLOSER


def test_a_hint_stays_long_enough_to_be_read_after_the_label_left_and_then_goes():
    patience = Patience()
    shown = watched(patience, *[Hint.CLOSER] * 7, *[None] * 20)
    said = [number for number, hint in enumerate(shown) if hint is not None]
    assert said == list(range(said[0], said[-1] + 1))
    assert SHOWN_S <= (said[-1] + 1 - said[0]) * STEP_S <= SHOWN_S + FORGET_S
    assert shown[-1] is None


def test_another_trouble_changes_the_hint_only_after_the_first_was_readable():
    shown = watched(Patience(), *[Hint.CLOSER] * 6, *[Hint.HOLD_STILL] * 20)
    changed = shown.index(Hint.HOLD_STILL)
    assert (changed - shown.index(Hint.CLOSER)) * STEP_S >= SHOWN_S
    assert set(shown[changed:]) == {Hint.HOLD_STILL}


def test_a_reading_settles_the_hint_at_once_and_quiet_follows():
    patience = Patience()
    watched(patience, *[Hint.CLOSER] * 7)
    patience.read(11.0)
    assert patience.hint is None
    shown = watched(patience, *[Hint.CLOSER] * 16, start_s=11.1)
    first = shown.index(Hint.CLOSER)
    assert first * STEP_S + 0.1 >= QUIET_S


@given(st.lists(st.tuples(st.sampled_from([None, *Hint]), st.floats(0.03, 0.4)), max_size=60))
def test_no_hint_ever_shows_for_less_than_it_takes_to_read(looks):
    patience, at_s, since_s, last = Patience(), 5.0, 5.0, None
    for hint, gap_s in looks:
        at_s += gap_s
        now = patience.look(Sight(HERE, hint, at_s) if hint else None, at_s)
        if now is not last:
            assert last is None or at_s - since_s >= SHOWN_S - 1e-9
            last, since_s = now, at_s
