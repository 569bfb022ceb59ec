"""Ten characters, twenty-six symbols, one check character."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules import codes
from kiosk.rules.codes import ALPHABET, Code, CodeFault, Fault, Kind, make, parse, slips

any_code = st.builds(make, st.sampled_from(Kind), st.integers(0, codes.NUMBERS - 1))


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


def test_two_numbers_never_share_a_code() -> None:
    seen = {make(Kind.HOLDER, number).text for number in range(5000)}
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
        make(Kind.PLACE, codes.NUMBERS)
    with pytest.raises(ValueError, match="lies in"):
        make(Kind.PLACE, -1)


def test_the_alphabet_has_no_letter_that_moves_between_keyboards_or_looks_like_a_figure() -> None:
    assert not set(ALPHABET) & set("AQWMYZILOU")
    assert len(ALPHABET) == len(set(ALPHABET)) == 26
