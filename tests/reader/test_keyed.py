"""Bursts from scanners, told from hands, whatever keyboard either side is set to."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.reader.keyed import (
    _LAYOUTS,
    BURST_GAP_S,
    LONGEST,
    QUIET_S,
    KeyedFault,
    KeyedText,
    KeyedTooLong,
    Mismatch,
    Scanner,
    _keys,
    understand,
)
from kiosk.rules.codes import NUMBERS, CodeKind, make

CODE = make(CodeKind.HOLDER, 123_456_789).text
codes = st.builds(make, st.sampled_from(CodeKind), st.integers(0, NUMBERS - 1)).map(lambda code: code.text)


def type_in(scanner, text, gap_s=0.008, start_s=10.0, focused=False):
    """What the scanner's keys completed, and when the last came."""
    done, at_s = [], start_s
    for character in text:
        done += scanner.feed(character, at_s, focused)
        at_s += gap_s
    return done, at_s - gap_s


def through(text, scanner, computer):
    """What a computer set to one keyboard receives from a scanner that types for another."""
    pressed = {character: key for key, character in _keys(scanner).items()}
    received = _keys(computer)
    return "".join(received.get(pressed[character], "") for character in text)


@given(codes, st.floats(0, BURST_GAP_S * 0.99), st.sampled_from("\r\n\t"))
def test_a_burst_with_an_ending_is_the_text_without_it(text, gap_s, ending):
    done, _ = type_in(Scanner(), text + ending, gap_s)
    assert done == [KeyedText(text, 0)]


@given(codes)
def test_a_scanner_without_an_ending_is_complete_once_it_is_quiet(text):
    scanner = Scanner()
    done, last_s = type_in(scanner, text)
    assert done == []
    assert scanner.tick(last_s + QUIET_S * 0.9) == ()
    assert scanner.tick(last_s + QUIET_S * 1.1) == (KeyedText(text, 0),)
    assert scanner.tick(last_s + 9) == ()


@given(st.text(string.ascii_letters + string.digits, min_size=1, max_size=20), st.floats(0.06, 3))
def test_a_hand_is_no_scanner(text, gap_s):
    scanner = Scanner()
    done, last_s = type_in(scanner, text + "\r", gap_s, focused=True)
    assert done == []
    assert scanner.tick(last_s + 1) == ()


def test_a_held_key_is_no_scanner():
    done, _last_s = type_in(Scanner(), "0" * 40 + "\r", 0.033)
    assert done == []


def test_a_few_keys_that_piled_up_are_no_scanner():
    assert type_in(Scanner(), "abc12\r", 0.0)[0] == []


def test_a_burst_into_a_field_says_how_much_to_take_out_again():
    assert type_in(Scanner(), CODE + "\r", focused=True)[0] == [KeyedText(CODE, 10)]


def test_typing_before_a_burst_stays_in_the_field():
    scanner = Scanner()
    _, last_s = type_in(scanner, "ab", 0.2, focused=True)
    done, _ = type_in(scanner, CODE + "\r", start_s=last_s + 0.2, focused=True)
    assert done == [KeyedText(CODE, 10)]


def test_two_bursts_in_a_row_are_two_texts():
    scanner = Scanner()
    other = make(CodeKind.PLACE, 7).text
    first, last_s = type_in(scanner, CODE)
    second, _ = type_in(scanner, other + "\r", start_s=last_s + 0.5)
    assert first + second == [KeyedText(CODE, 0), KeyedText(other, 0)]


def test_prefix_and_suffix_come_off_and_may_be_missing():
    for sent in ("~" + CODE + "##\r", "~" + CODE + "\r", CODE + "##\r", CODE + "\r"):
        assert type_in(Scanner(prefix="~", suffix="##"), sent)[0] == [KeyedText(CODE, 0)]


def test_a_prefixed_scanner_may_stutter_as_radio_does():
    assert type_in(Scanner(prefix="~"), "~" + CODE + "\r", 0.2)[0] == [KeyedText(CODE, 0)]
    assert type_in(Scanner(prefix="~"), CODE + "\r", 0.2)[0] == []


def test_a_symbology_identifier_is_no_part_of_the_text():
    assert type_in(Scanner(), "]Q1" + CODE + "\r")[0] == [KeyedText(CODE, 0)]
    assert type_in(Scanner(), "]d2SN-0042-77\r")[0] == [KeyedText("SN-0042-77", 0)]


@given(codes, st.sampled_from(sorted(_LAYOUTS)), st.sampled_from(sorted(_LAYOUTS)))
def test_other_keyboards_never_make_another_code_of_it(text, scanner, computer):
    arrived = through(text, scanner, computer)
    understood = understand(arrived)
    if isinstance(understood, KeyedFault):
        assert understood.meant == text
    else:
        assert understood.text == arrived


@pytest.mark.parametrize("computer", ["French", "Belgian", "Czech", "Slovak", "Dvorak"])
def test_a_scanner_fresh_from_the_factory_at_a_foreign_computer_is_named(computer):
    said = [understand(through(make(CodeKind.HOLDER, n * 7919).text, "US", computer)) for n in range(1, 200)]
    faults = [fault for fault in said if isinstance(fault, KeyedFault)]
    assert len(faults) > 190
    named = sum(Mismatch("US", computer) in fault.causes for fault in faults)
    assert named > 0.98 * len(faults)


@given(codes, st.sampled_from(["German", "Swiss"]))
def test_our_alphabet_passes_unharmed_between_the_keyboards_it_was_made_for(text, computer):
    assert through(text, "US", computer) == text
    assert through(text, computer, "US") == text


def test_a_fault_never_passes_as_a_text():
    fault = understand(through(CODE, "US", "French"))
    assert isinstance(fault, KeyedFault)
    assert (fault.meant, fault.causes[0]) == (CODE, Mismatch("US", "French"))
    assert fault.text != CODE


@pytest.mark.parametrize("mark", ["SN-0042-77", "(01)04012345678901", "Halter 12 öä", "{JSON}", "0123456789012"])
def test_foreign_marks_pass_as_they_are(mark):
    assert understand(mark) == KeyedText(mark, 0)


def test_every_keyboard_has_the_same_keys():
    shapes = {tuple((len(low), len(high)) for low, high in rows) for rows in _LAYOUTS.values()}
    assert shapes == {((13, 13), (12, 12), (11, 11), (10, 10))}


def test_more_than_any_label_holds_is_said_and_not_kept():
    scanner = Scanner()
    (done,) = scanner.feed("0123456789" * 100_000 + "\r", 7_000_000.0)
    assert done == KeyedTooLong(1_000_000, 0)
    assert type_in(scanner, f"{CODE}\r", start_s=7_000_001.0)[0] == [KeyedText(CODE, 0)]


def test_the_longest_text_of_a_label_passes_whole():
    text = "0123456789" * 429 + "012345"
    assert Scanner().feed(f"{text}\r", 90_000.0) == (KeyedText(text, 0),)
    assert Scanner().feed(f"{text}6\r", 90_000.0) == (KeyedTooLong(LONGEST + 1, 0),)


def test_what_a_long_burst_left_in_a_field_is_counted_to_its_end():
    (done,) = Scanner().feed("ab" * LONGEST + "\r", 90_000.0, field_focused=True)
    assert done == KeyedTooLong(2 * LONGEST, 2 * LONGEST)
