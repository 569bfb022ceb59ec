"""The ten-character code on every label: alphabet, kinds and check character.

A code is one kind letter, eight symbols of number and one check character, which is exactly what a QR
symbol of version 1 at level H holds (ISO/IEC 18004).  This module never says what a code stands for: that
is the ledger's business.  Check character: ISO/IEC 7064 hybrid system over the 26-symbol alphabet, which
leaves out letters that move between keyboard layouts (A Q W M Y Z) and look-alikes (I L O U).

It catches every single wrong symbol.  Of two neighbours swapped it misses one pair in 325 after the kind letter and
none with it: in every state of its sum exactly one of the 325 pairs of symbols leads on alike either way round, and
no order of the alphabet changes that.  So new labels get only codes of which it catches every swap (`catches_swaps`);
one code in 43 is passed over for it.  Labels printed before that rule stay valid, with the 1 in 325.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum

ALPHABET = "0123456789BCDEFGHJKNPRSTVX"
LENGTH = 10
BODY = LENGTH - 2
NUMBERS = len(ALPHABET) ** BODY


class CodeKind(Enum):
    """What a label of ours is stuck on; the value is the code's first letter."""

    HOLDER = "H"
    PLACE = "P"
    BADGE = "B"
    COMMAND = "C"


class Fault(Enum):
    """Why a text is not one of our codes."""

    LENGTH = "length"
    SYMBOL = "symbol"
    KIND = "kind"
    CHECK = "check"


class CodeFault(ValueError):
    """A text that is not a code.  `text` is what was given, `fault` why it was turned down."""

    def __init__(self, text: str, fault: Fault) -> None:
        super().__init__(f"{text!r} is not a code: {fault.value}")
        self.text = text
        self.fault = fault


@dataclass(frozen=True, slots=True, order=True)
class Code:
    """A code whose check character is right.  Make one with `parse` or `make`."""

    text: str

    @property
    def kind(self) -> CodeKind:
        return CodeKind(self.text[0])

    @property
    def grouped(self) -> str:
        """The code as people read it: `H7K2 B4N9 RX`."""
        return f"{self.text[:4]} {self.text[4:8]} {self.text[8:]}"

    def __str__(self) -> str:
        return self.text


def check_character(stem: str) -> str:
    """The check character for the first nine symbols."""
    # The hybrid system's arithmetic, for an alphabet of any size; loaded when the first code is checked.
    from stdnum.iso7064 import mod_37_36 as hybrid

    return str(hybrid.calc_check_digit(stem, ALPHABET))


def parse(text: str) -> Code:
    """The code in `text`; spaces and lower case are forgiven.  Raises CodeFault."""
    plain = "".join(text.split()).upper()
    if len(plain) != LENGTH:
        raise CodeFault(text, Fault.LENGTH)
    if any(symbol not in ALPHABET for symbol in plain):
        raise CodeFault(text, Fault.SYMBOL)
    if plain[0] not in (kind.value for kind in CodeKind):
        raise CodeFault(text, Fault.KIND)
    if check_character(plain[:-1]) != plain[-1]:
        raise CodeFault(text, Fault.CHECK)
    return Code(plain)


def make(kind: CodeKind, number: int) -> Code:
    """The code of a kind with a number in 0..26**8-1.  Raises ValueError outside that range."""
    if not 0 <= number < NUMBERS:
        raise ValueError(f"a code's number lies in 0..{NUMBERS - 1}, not {number}")
    body = ""
    for _ in range(BODY):
        number, digit = divmod(number, len(ALPHABET))
        body = ALPHABET[digit] + body
    stem = kind.value + body
    return Code(stem + check_character(stem))


def slips(text: str) -> frozenset[Code]:
    """Every valid code one wrong symbol or one swap of neighbours away from `text`.

    What a hand or a scratched label may have meant, also where the slip made a valid code; the caller keeps those
    that exist.  Empty unless `text` has ten symbols.
    """
    plain = "".join(text.split()).upper()
    if len(plain) != LENGTH:
        return frozenset()
    tries = [
        plain[:at] + symbol + plain[at + 1 :]
        for at in range(LENGTH)
        for symbol in ALPHABET
        if symbol != plain[at]
    ]
    return frozenset(_codes_among([*tries, *_swapped(plain)]))


def catches_swaps(code: Code) -> bool:
    """Whether no swap of two unlike neighbours makes another valid code of this one."""
    return not any(_codes_among(_swapped(code.text)))


def _swapped(plain: str) -> list[str]:
    """Every text that one swap of unlike neighbours makes of `plain`."""
    swaps = [plain[:at] + plain[at + 1] + plain[at] + plain[at + 2 :] for at in range(LENGTH - 1)]
    return [swap for swap in swaps if swap != plain]


def _codes_among(texts: Iterable[str]) -> Iterator[Code]:
    for text in texts:
        try:
            yield parse(text)
        except CodeFault:
            continue
