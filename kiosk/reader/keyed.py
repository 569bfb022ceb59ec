"""Scanners that type like a keyboard: bursts told from hands, and a scanner set to the wrong keyboard named.

A pure state machine fed with characters and their times; no window, no clock.  It must never hand on a text
that only a guess about keyboards made valid: such a burst is a fault that names both keyboards, so that a
person can put it right once.  Keyboards are described by their printed keys, row by row.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from kiosk.rules.codes import CodeFault, parse

BURST_GAP_S = 0.05
"""Longest pause inside a burst: scanners take 1 to 30 ms a character, hands rarely under 60."""
PREFIXED_GAP_S = 0.3
"""The same once the scanner's own prefix was seen: radio scanners may stutter."""
QUIET_S = 0.12
"""A burst without Enter or Tab is over after this silence."""
LEAST_CHARACTERS = 6
"""Fewer fast characters may be a hand, or keys that piled up while the computer was busy."""
LONGEST = 4296
"""Characters of the fullest QR symbol there is (ISO/IEC 18004): what is longer came from no label."""
LONGEST_OF_OURS = 64
"""A longer text is no code of ours through any keyboard, so nothing is translated."""
ENDINGS = frozenset("\r\n\t")
SYMBOLOGY = re.compile(r"^\][A-Za-z][0-9A-Za-z]")
"""The symbology identifier of ISO/IEC 15424 that many scanners put in front."""


@dataclass(frozen=True, slots=True)
class KeyedText:
    """A scanner typed `text`.  `typed`: characters that reached a focused field and must be taken out again."""

    text: str
    typed: int


@dataclass(frozen=True, slots=True)
class Mismatch:
    """A pair of keyboards that explains a burst: what the scanner types for, what the computer is set to."""

    scanner: str
    computer: str


@dataclass(frozen=True, slots=True)
class KeyedFault:
    """A burst that is one of our codes only through other keyboards.

    text: as it arrived.  meant: the code it would be.  causes: keyboard pairs that explain it, the likeliest
    first.  typed: as in KeyedText.
    """

    text: str
    meant: str
    causes: tuple[Mismatch, ...]
    typed: int


@dataclass(frozen=True, slots=True)
class KeyedTooLong:
    """A burst longer than any label's text; it was not kept.  characters: how many came.  typed: as in KeyedText."""

    characters: int
    typed: int


Keyed = KeyedText | KeyedFault | KeyedTooLong


class Scanner:
    """Tells a scanner's bursts from typing.

    prefix, suffix: what the scanner is set to put around a text; either may be empty.  Endings (Enter, Tab)
    need not be named.
    """

    def __init__(self, prefix: str = "", suffix: str = "") -> None:
        self._prefix = prefix
        self._suffix = suffix
        self._typed: list[str] = []
        self._count = 0  # of all that came, kept or not
        self._unlike = False  # not one and the same key all the time
        self._prefixed = False
        self._in_field = 0
        self._last_s = 0.0

    def feed(self, characters: str, at_s: float, field_focused: bool = False) -> tuple[Keyed, ...]:
        """One key's characters, `at_s` seconds by a clock that only grows; what they completed.

        field_focused: the character also goes into a text field, so a burst must be taken out of it again.
        """
        done: list[Keyed] = []
        for character in characters:
            gap_s = at_s - self._last_s
            if self._typed and gap_s > self._longest_gap_s():
                done += self._finish()
            self._last_s = at_s
            if character in ENDINGS:
                done += self._finish()
                continue
            self._take(character)
            self._in_field += field_focused
        return tuple(done)

    def tick(self, at_s: float) -> tuple[Keyed, ...]:
        """Time passed without a key: what a scanner without an ending completed."""
        if self._typed and at_s - self._last_s > max(QUIET_S, self._longest_gap_s()):
            return tuple(self._finish())
        return ()

    def _take(self, character: str) -> None:
        """One more character; the work is the same however many came before."""
        self._count += 1
        if self._count > LONGEST:
            return
        self._unlike |= bool(self._typed) and character != self._typed[0]
        self._typed.append(character)
        if self._count == len(self._prefix):
            self._prefixed = "".join(self._typed) == self._prefix

    def _longest_gap_s(self) -> float:
        return PREFIXED_GAP_S if self._prefixed else BURST_GAP_S

    def _fast(self) -> bool:
        # A held key repeats as fast as a scanner types, but only itself.
        return self._count >= LEAST_CHARACTERS and self._unlike

    def _finish(self) -> list[Keyed]:
        typed, count, in_field, fast = "".join(self._typed), self._count, self._in_field, self._fast()
        self._typed, self._count, self._in_field = [], 0, 0
        self._unlike = self._prefixed = False
        if not fast:
            return []
        if count > LONGEST:
            return [KeyedTooLong(count, in_field)]
        text = typed.removeprefix(self._prefix)
        if self._suffix:
            text = text.removesuffix(self._suffix)
        text = SYMBOLOGY.sub("", text)
        return [understand(text, in_field)]


def understand(text: str, typed: int = 0) -> Keyed:
    """What a scanner's text is: itself, or one of our codes typed through the wrong keyboard.

    A text that is neither passes as it is: it may be a mark that was adopted, or a damaged code.
    """
    if len(text) > LONGEST_OF_OURS or _is_code(text):
        return KeyedText(text, typed)
    explained: dict[str, list[Mismatch]] = {}
    for cause, translated in _translations(text):
        if _is_code(translated):
            explained.setdefault(parse(translated).text, []).append(cause)
    if len(explained) != 1:
        return KeyedText(text, typed)
    ((meant, causes),) = explained.items()
    return KeyedFault(text, meant, tuple(causes), typed)


def _is_code(text: str) -> bool:
    try:
        parse(text)
    except CodeFault:
        return False
    return True


# The keys that differ between keyboards, as printed on them: the row of digits from the key left of 1 to the two
# right of 0, then the three rows of letters with the keys right of them, each without and with shift.  "\0" is a
# key that types nothing by itself (a dead accent).
_LAYOUTS: dict[str, tuple[tuple[str, str], ...]] = {
    "US": (
        ("`1234567890-=", "~!@#$%^&*()_+"),
        ("qwertyuiop[]", "QWERTYUIOP{}"),
        ("asdfghjkl;'", 'ASDFGHJKL:"'),
        ("zxcvbnm,./", "ZXCVBNM<>?"),
    ),
    "German": (
        ("\0001234567890ß\0", '°!"§$%&/()=?\0'),
        ("qwertzuiopü+", "QWERTZUIOPÜ*"),
        ("asdfghjklöä", "ASDFGHJKLÖÄ"),
        ("yxcvbnm,.-", "YXCVBNM;:_"),
    ),
    "Swiss": (
        ("§1234567890'\0", '°+"*ç%&/()=?\0'),
        ("qwertzuiopü\0", "QWERTZUIOPè!"),
        ("asdfghjklöä", "ASDFGHJKLéà"),
        ("yxcvbnm,.-", "YXCVBNM;:_"),
    ),
    "French": (
        ("²&é\"'(-è_çà)=", "\0001234567890°+"),
        ("azertyuiop\0$", "AZERTYUIOP\0£"),
        ("qsdfghjklmù", "QSDFGHJKLM%"),
        ("wxcvbn,;:!", "WXCVBN?./§"),
    ),
    "Belgian": (
        ("²&é\"'(§è!çà)-", "³1234567890°_"),
        ("azertyuiop\0$", "AZERTYUIOP\0*"),
        ("qsdfghjklmù", "QSDFGHJKLM%"),
        ("wxcvbn,;:=", "WXCVBN?./+"),
    ),
    "Czech": (
        (";+ěščřžýáíé=\0", "\0001234567890%\0"),
        ("qwertzuiopú)", "QWERTZUIOP/("),
        ("asdfghjklů§", 'ASDFGHJKL"!'),
        ("yxcvbnm,.-", "YXCVBNM?:_"),
    ),
    "Slovak": (
        (";+ľščťžýáíé=\0", "\0001234567890%\0"),
        ("qwertzuiopúä", "QWERTZUIOP/("),
        ("asdfghjklô§", 'ASDFGHJKL"!'),
        ("yxcvbnm,.-", "YXCVBNM?:_"),
    ),
    "Hungarian": (
        ("0123456789öüó", "§'\"+!%/=()ÖÜÓ"),
        ("qwertzuiopőú", "QWERTZUIOPŐÚ"),
        ("asdfghjkléá", "ASDFGHJKLÉÁ"),
        ("yxcvbnm,.-", "YXCVBNM?:_"),
    ),
    "Italian": (
        ("\\1234567890'ì", '|!"£$%&/()=?^'),
        ("qwertyuiopè+", "QWERTYUIOPé*"),
        ("asdfghjklòà", "ASDFGHJKLç°"),
        ("zxcvbnm,.-", "ZXCVBNM;:_"),
    ),
    "Spanish": (
        ("º1234567890'¡", 'ª!"·$%&/()=?¿'),
        ("qwertyuiop\0+", "QWERTYUIOP\0*"),
        ("asdfghjklñ\0", "ASDFGHJKLÑ\0"),
        ("zxcvbnm,.-", "ZXCVBNM;:_"),
    ),
    "Portuguese": (
        ("\\1234567890'«", '|!"#$%&/()=?»'),
        ("qwertyuiop+\0", "QWERTYUIOP*\0"),
        ("asdfghjklçº", "ASDFGHJKLÇª"),
        ("zxcvbnm,.-", "ZXCVBNM;:_"),
    ),
    "Polish": (  # of a typist, QWERTZ; the programmer's one has the keys of the US
        ("\0001234567890+'", '\0!"#¤%&/()=?*'),
        ("qwertzuiopżś", "QWERTZUIOPńć"),
        ("asdfghjklłą", "ASDFGHJKLŁę"),
        ("yxcvbnm,.-", "YXCVBNM;:_"),
    ),
    "Turkish": (
        ('"1234567890*-', "é!'^+%&/()=?_"),
        ("qwertyuıopğü", "QWERTYUIOPĞÜ"),
        ("asdfghjklşi", "ASDFGHJKLŞİ"),
        ("zxcvbnmöç.", "ZXCVBNMÖÇ:"),
    ),
    "Dvorak": (
        ("`1234567890[]", "~!@#$%^&*(){}"),
        ("',.pyfgcrl/=", '"<>PYFGCRL?+'),
        ("aoeuidhtns-", "AOEUIDHTNS_"),
        (";qjkxbmwvz", ":QJKXBMWVZ"),
    ),
}
Key = tuple[int, int, bool]


def _keys(layout: str) -> dict[Key, str]:
    """Row, place and shift of each key, and what it types."""
    return {
        (row, place, shifted): character
        for row, levels in enumerate(_LAYOUTS[layout])
        for shifted, level in zip((False, True), levels, strict=True)
        for place, character in enumerate(level)
        if character != "\0"
    }


def _table(scanner: str, computer: str) -> dict[str, str]:
    """What arrived -> what the scanner meant, for a scanner and a computer set to two keyboards."""
    meant = _keys(scanner)
    table: dict[str, str] = {}
    for key, arrived in _keys(computer).items():
        if key in meant:
            table.setdefault(arrived, meant[key])
    return table


_MISMATCHES = tuple(
    (Mismatch(scanner, computer), _table(scanner, computer))
    # Scanners leave the factory set to US, so that is the first thing to suspect.
    for scanner in _LAYOUTS
    for computer in _LAYOUTS
    if scanner != computer
)


def _translations(text: str) -> list[tuple[Mismatch, str]]:
    """The text as each pair of keyboards would have it; pairs that cannot have typed it are left out."""
    return [
        (cause, "".join(table[character] for character in text))
        for cause, table in _MISMATCHES
        if all(character in table for character in text)
    ]
