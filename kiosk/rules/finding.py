"""What somebody looks for, in the words of the shop, and in which order what was found is of use.

`parse` makes a query out of what was typed so far (`12 R0.5`, `free holder for a 12 mm shank with HSK63`,
`length 80-100`) and never turns a text down: what it does not understand it looks for as a word.  `matches` is
the meaning of a query; `ledger/find.py` answers the same for a hundred thousand holders at once.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import IntEnum

from kiosk.rules import finding_words as W
from kiosk.rules.assembly import Clamping, Condition, Coupling
from kiosk.rules.cards import Heat
from kiosk.rules.places import Kind

DIAMETER_MM = 0.05  # a diameter this near is the same
CORNER_MM = 0.005
LENGTH_MM = 0.5


class Usable(IntEnum):
    """How soon it is of use, best first.  Each has words `term.usable.<name in lower case>`."""

    READY = 0  # cool and in the cabinet
    NEAR = 1  # cool, at a bench, the presetter or a cooling place
    REMEASURE = 2  # cool, and measured while it was warm: its length is not true
    COOLING = 3  # under a hold that time will end
    UNPROVEN = 4  # only a reading tells
    IN_MACHINE = 5
    WORN = 6  # cool, and its cutter is said to be worn
    BROKEN = 7
    NOWHERE = 8
    OUT = 9


_SPENT = {Condition.WORN.value: Usable.WORN, Condition.BROKEN.value: Usable.BROKEN}


@dataclass(frozen=True, slots=True)
class Span:
    """From `low` to `high`, both included, mm."""

    low: float
    high: float

    def holds(self, value: float | None) -> bool:
        return value is not None and self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Query:
    """What is looked for; everything that is given must be true.

    words: parts of a name, a label, a place; a single letter is how a word begins.  numbers: a diameter, or how a
    word begins.  corners: a corner radius, or how a word begins (`r0`).  diameter_said: `1-12` may also be how a
    word begins.  shank_mm: a holder whose bore or collet takes that shank.  free: no cutter in it.
    """

    words: tuple[str, ...] = ()
    numbers: tuple[tuple[float, str], ...] = ()
    corners: tuple[tuple[float, str], ...] = ()
    diameter_mm: Span | None = None
    diameter_said: str | None = None
    length_mm: Span | None = None
    coupling: Coupling | None = None
    clamping: Clamping | None = None
    condition: Condition | None = None
    shank_mm: float | None = None
    free: bool = False
    hot: bool = False
    nowhere: bool = False


MARK_LETTERS = 3  # from so many letters on a word is also looked for within labels and keys


@dataclass(frozen=True, slots=True)
class SoughtHolder:
    """A holder as it is looked for.

    names: assembly, holder, cutter and coupling; marks: label and key.  Both in lower case, between spaces.
    """

    key: str
    code: str
    name: str
    holder_name: str
    names: str
    marks: str
    coupling: str
    clamping: str
    bore_mm: float
    bore_min_mm: float | None
    free: bool
    dc_mm: float | None
    re_mm: float | None
    length_mm: float | None
    condition: str | None
    place: str | None
    place_name: str | None
    place_kind: Kind | None
    heat: Heat
    measured_warm: bool = False
    last_kiosk: str | None = None  # which kiosk moved it last

    @property
    def usable(self) -> Usable:
        if self.heat is Heat.HELD:
            return Usable.COOLING
        if self.place_kind is None:
            return Usable.NOWHERE
        if self.place_kind is Kind.OUT:
            return Usable.OUT
        if self.heat is Heat.UNKNOWN:
            return Usable.UNPROVEN
        if self.condition in _SPENT:
            return _SPENT[self.condition]
        if self.place_kind.in_machine:
            return Usable.IN_MACHINE
        if self.measured_warm:
            return Usable.REMEASURE
        return Usable.READY if self.place_kind.stores else Usable.NEAR

    @property
    def rank(self) -> Usable:
        """Where it comes in the list: as soon as it is usable, but a spent cutter among the spent, be it hot."""
        spent = _SPENT.get(self.condition or "", Usable.READY)
        return max(self.usable, spent)


def searched_text(*parts: str | None) -> str:
    """What words are looked for in: as `folded` leaves them, between spaces."""
    return W.folded(f" {' '.join(part for part in parts if part)} ")


def takes_shank(row: SoughtHolder, shank_mm: float) -> bool:
    """Whether the bore, or the range of the collet, takes that shank."""
    low = row.bore_mm if row.bore_min_mm is None else row.bore_min_mm
    return low - DIAMETER_MM <= shank_mm <= row.bore_mm + DIAMETER_MM


def matches(query: Query, row: SoughtHolder) -> bool:
    """Whether a row is what the query looks for."""
    if query.free and not row.free:
        return False
    if query.coupling is not None and row.coupling != str(query.coupling):
        return False
    if query.clamping is not None and row.clamping != query.clamping.value:
        return False
    if query.condition is not None and row.condition != query.condition.value:
        return False
    if query.shank_mm is not None and not takes_shank(row, query.shank_mm):
        return False
    if query.hot and row.heat is Heat.COOL:
        return False
    if query.nowhere and row.place is not None:
        return False
    if query.diameter_mm is not None and not query.diameter_mm.holds(row.dc_mm):
        said = query.diameter_said
        if said is None or not _starts(said, row):
            return False
    if query.length_mm is not None and not query.length_mm.holds(row.length_mm):
        return False
    for value, said in query.numbers:
        size_mm = row.bore_mm if row.dc_mm is None else row.dc_mm
        if abs(size_mm - value) > DIAMETER_MM and not _starts(said, row):
            return False
    for value, said in query.corners:
        same = row.re_mm is not None and abs(row.re_mm - value) <= CORNER_MM
        if not same and not _starts(said, row):
            return False
    return all(
        looked_for(word) in row.names
        or looked_for(word) in searched_text(row.place_name)
        or (len(word) >= MARK_LETTERS and word in row.marks)
        for word in query.words
    )


def looked_for(word: str) -> str:
    """A word as it must stand in a text: anywhere, or for a single letter at the beginning of a word."""
    return word if len(word) > 1 else f" {word}"


def _starts(said: str, row: SoughtHolder) -> bool:
    """Whether a word of its names or its place begins so."""
    return f" {said}" in row.names or f" {said}" in searched_text(row.place_name)


_NUMBER = r"\d+(?:[.,]\d+)?"
_OF = r"\s*:?\s*(?:(?:de|di|da|od|do)\s+)?"
_LENGTH = re.compile(rf"\b(?:{W.LENGTH}){_OF}({_NUMBER})(?:(?:{W.TO})({_NUMBER}))?\s*(?:mm)?(?!\S)")
_DIAMETER = re.compile(rf"(?:(?:\b(?:{W.DIAMETER})|ø|⌀){_OF})({_NUMBER})(?:(?:{W.TO})({_NUMBER}))?\s*(?:mm)?(?!\S)")
_SPAN = re.compile(rf"(?<!\S)({_NUMBER})(?:{W.TO})((?!0\d){_NUMBER})\s*(?:mm)?(?!\S)")  # 1-05 is a slot
_SHANK = re.compile(
    rf"(?<!\S)({_NUMBER})\s*(?:mm)?[\s-]*(?:{W.SHANK})\b|\b(?:{W.SHANK}){_OF}({_NUMBER})\s*(?:mm)?(?!\S)"
)
# `hsk 63` may be written apart, `a 40` not: that is how a sentence goes on.
_COUPLING = re.compile(
    r"(?<!\S)(?:(hsk)(?:[\s-]*(?:size|gr(?:o|oe)sse))?[\s-]*(25|32|40|50|63|80|100|125|160)|([aj])-?(30|40|50))(?!\S)"
)
_CORNER = re.compile(rf"(?<!\S)r\s*({_NUMBER})(?!\S)")
_PLAIN = re.compile(rf"(?<!\S)({_NUMBER})\s*(?:mm)?(?!\S)")
_CLAMPINGS = (
    (W.SHRINK_FIT, Clamping.SHRINK_FIT),
    (W.COLLET, Clamping.COLLET),
    (W.SIDE_SCREW, Clamping.SIDE_SCREW),
    (W.PRESS_FIT, Clamping.PRESS_FIT),
    (W.MORSE_TAPER, Clamping.MORSE_TAPER),
)
_CONDITIONS = ((W.WORN, Condition.WORN), (W.BROKEN, Condition.BROKEN))


def _mm(text: str) -> float:
    return float(text.replace(",", "."))


def _span(first: str, last: str | None, slack_mm: float) -> Span:
    low, high = _mm(first), _mm(last or first)
    low, high = min(low, high), max(low, high)
    return Span(low, high) if last else Span(low - slack_mm, high + slack_mm)


class _Left:
    """What of a text was not understood yet."""

    def __init__(self, text: str) -> None:
        plain = " ".join(W.folded(text).split())
        self.text = re.sub(r"\b(?:(?:for|with) an?\b|(?<!\d )a(?= \d))", " ", plain)  # a 12 mm shank: no cabinet A

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        """The first find, taken out of the text."""
        found = pattern.search(self.text)
        if found:
            self.text = f"{self.text[: found.start()]}  {self.text[found.end() :]}".strip()
        return found


def parse(text: str) -> Query:
    """The query in what was typed, in any language the kiosk speaks; decimal point or comma, millimetres."""
    left = _Left(text)
    free = left.take(W.FREE) is not None
    found = left.take(_COUPLING)
    coupling = Coupling.parse(f"{found[1] or found[3]}{found[2] or found[4]}") if found else None
    shank = left.take(_SHANK)
    length = left.take(_LENGTH)
    diameter = left.take(_DIAMETER)
    span = None if diameter else left.take(_SPAN)
    corners = []
    while found := left.take(_CORNER):
        corners.append((_mm(found[1]), f"r{found[1]}".replace(",", ".")))
    clamping = next((kind for pattern, kind in _CLAMPINGS if left.take(pattern)), None)
    condition = next((kind for pattern, kind in _CONDITIONS if left.take(pattern)), None)
    hot, nowhere = left.take(W.HOT) is not None, left.take(W.NOWHERE) is not None
    numbers = []
    while found := left.take(_PLAIN):
        numbers.append((_mm(found[1]), found[1].replace(",", ".")))
    sized = shank or (numbers.pop(0) if free and len(numbers) == 1 else None)
    shank_mm = None
    if sized is not None:
        shank_mm = sized[0] if isinstance(sized, tuple) else _mm(sized[1] or sized[2])
    return Query(
        tuple(word for word in left.text.split() if word not in W.FILLERS),
        tuple(numbers),
        tuple(corners),
        _span(sizes[1], sizes[2], DIAMETER_MM) if (sizes := diameter or span) else None,
        f"{span[1]}-{span[2]}" if span else None,
        _span(length[1], length[2], LENGTH_MM) if length else None,
        coupling,
        clamping,
        condition,
        shank_mm,
        free,
        hot,
        nowhere,
    )
