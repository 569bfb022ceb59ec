"""Ten characters, twenty-six symbols, one check character."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules import codes
from kiosk.rules.codes import ALPHABET, Code, CodeFault, CodeKind, Fault, make, parse, slips

any_code = st.builds(make, st.sampled_from(CodeKind), st.integers(0, codes.NUMBERS - 1))


@given(any_code)
def test_a_made_code_is_read_back(code: Code) -> None:
    assert parse(code.text) == code
    assert parse(code.grouped.lower()) == code


@given(any_code, st.integers(0, 9), st.sampled_from(ALPHABET))
def test_every_single_wrong_symbol_is_caught(code: Code, at: int, symbol: str) -> None:
    wrong = code.text[:at] + symbol + code.text[at + 1 :]
    if wrong == code.text:
        return
    with pytest.raises(CodeFault):
        parse(wrong)


@given(any_code, st.integers(0, 9), st.sampled_from(ALPHABET))
def test_one_slip_leads_back_to_the_code_that_was_meant(code: Code, at: int, symbol: str) -> None:
    assert code in slips(code.text[:at] + symbol + code.text[at + 1 :]) | {code}


@given(any_code, st.integers(0, 8))
def test_a_swap_of_neighbours_leads_back_too(code: Code, at: int) -> None:
    text = code.text[:at] + code.text[at + 1] + code.text[at] + code.text[at + 2 :]
    assert text == code.text or code in slips(text)


def _step(state: int, symbol: int) -> int:
    """The hybrid system's running sum, as the standard writes it, from 1 to 26."""
    return ((state * 2) % 27 + symbol - 1) % 26 + 1


def _after(state: int, one: int, other: int) -> int:
    return _step(_step(state, one), other)


def test_the_share_of_swaps_that_is_not_caught_is_one_in_325_and_none_with_the_kind_letter() -> None:
    # sums may be told apart by their state alone, so this counts over every code there is
    size = len(ALPHABET)
    pairs = [(one, other) for one in range(size) for other in range(one)]
    for state in range(1, size + 1):
        alike = [one for one, other in pairs if _after(state, one, other) == _after(state, other, one)]
        assert len(alike) == 1
    assert len(pairs) == 325
    kinds = [ALPHABET.index(kind.value) for kind in CodeKind]
    for kind in kinds:
        for other in kinds:
            if kind != other:
                assert _after(26 // 2, kind, other) != _after(26 // 2, other, kind)


@given(any_code)
def test_the_sum_written_out_here_is_the_one_on_the_labels(code: Code) -> None:
    state = 26 // 2
    for symbol in code.text:
        state = _step(state, ALPHABET.index(symbol))
    assert state == 1


MISSED = make(CodeKind.HOLDER, next(n for n in range(10**6) if not codes.catches_swaps(make(CodeKind.HOLDER, n))))


def test_a_label_from_before_swaps_were_looked_at_is_still_valid_and_its_twin_leads_back_to_it() -> None:
    swaps = [MISSED.text[:at] + MISSED.text[at + 1] + MISSED.text[at] + MISSED.text[at + 2 :] for at in range(9)]
    twins = [swap for swap in swaps if swap != MISSED.text and Code(swap) in slips(MISSED.text)]
    assert parse(MISSED.text) == MISSED
    assert twins
    for twin in twins:
        assert MISSED in slips(parse(twin).text)
        assert not codes.catches_swaps(parse(twin))  # so that no new label can be the twin of an old one


@given(any_code, st.integers(0, 8))
def test_of_a_code_fit_for_a_new_label_every_swap_is_caught(code: Code, at: int) -> None:
    text = code.text[:at] + code.text[at + 1] + code.text[at] + code.text[at + 2 :]
    if codes.catches_swaps(code) and text != code.text:
        with pytest.raises(CodeFault):
            parse(text)


def test_one_code_in_43_is_passed_over() -> None:
    chance = Random(1)
    drawn = [make(CodeKind.PLACE, chance.randrange(codes.NUMBERS)) for _ in range(10_000)]
    assert sum(not codes.catches_swaps(code) for code in drawn) == pytest.approx(10_000 / 43, rel=0.2)


def test_two_numbers_never_share_a_code() -> None:
    seen = {make(CodeKind.HOLDER, number).text for number in range(5000)}
    assert len(seen) == 5000


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("H7K2", Fault.LENGTH),
        ("H7K2B4N9RXX", Fault.LENGTH),
        ("H7K2B4N9RQ", Fault.SYMBOL),
        ("X000000000", Fault.KIND),
        ("", Fault.LENGTH),
    ],
)
def test_a_text_that_is_no_code_says_why(text: str, fault: Fault) -> None:
    with pytest.raises(CodeFault) as caught:
        parse(text)
    assert caught.value.fault is fault


def test_a_number_outside_the_range_is_refused() -> None:
    with pytest.raises(ValueError, match="lies in"):
        make(CodeKind.PLACE, codes.NUMBERS)
    with pytest.raises(ValueError, match="lies in"):
        make(CodeKind.PLACE, -1)


def test_the_alphabet_has_no_letter_that_moves_between_keyboards_or_looks_like_a_figure() -> None:
    assert not set(ALPHABET) & set("AQWMYZILOU")
    assert len(ALPHABET) == len(set(ALPHABET)) == 26


def test_the_two_letters_i_of_turkish_make_no_other_code_of_a_text() -> None:
    """No code has an I, so whatever case a keyboard makes of it, a text stays a fault and never becomes a label."""
    whole = make(CodeKind.HOLDER, 123_456_789).text
    assert parse(whole.lower()) == parse(whole)
    for letter in "iıİI":
        with pytest.raises(CodeFault):
            parse(whole[:4] + letter + whole[5:])
