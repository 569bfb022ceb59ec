"""The ten characters of one of our own labels, from modules too worn for error correction symbol by symbol.

A label of ours says little: of its 72 data bits 17 are the same on all of them, the rest are ten characters of 26, the
last of which proves the nine before it.  So the whole symbol nearest to what is seen can be looked for, bit by bit and
the surest bits first (ordered statistics decoding), where codewords with one bad module in each are beyond
Reed-Solomon's reach.  A text is given only where all of the symbol agrees with the picture better than chance could
make it.  What a symbol is made of follows ISO/IEC 18004, version 1, level H.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import reedsolo
from numpy.typing import NDArray
from qrcode import util

from kiosk.reader.codewords import bits_seen, drawn, likeliest_masks
from kiosk.reader.layout import SMALLEST as SIZE
from kiosk.reader.layout import layout
from kiosk.rules.codes import ALPHABET, LENGTH, CodeFault, parse

_DATA, _CHECKS = 9, 17  # codewords
_HEAD = np.array([int(bit) for bit in f"{util.MODE_ALPHA_NUM:04b}{LENGTH:09b}"], np.uint8)
_PAIR_BITS = 11  # two characters
_FREE = _PAIR_BITS * LENGTH // 2
MOST_APART = 0.13
"""Share of what is seen, by its clearness, that may speak against a text."""
MOST_WRONG = 0.22
"""Share of its bits that may: a picture of anything else has more than 0.3 against the nearest text."""
_LEAST_FIXED = 0.78  # share of the fixed modules that must be as they must, for the rest to be worth the time
_LOOKED_AT = 40  # of the likeliest symbols; of those that are not a label's one in 8000 passes for one
_NEVER = -1e9

Bits = NDArray[np.uint8]
Soft = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Nearest:
    """The label's text nearest to what is seen; `apart`, `wrong`: what speaks against it, as shares."""

    text: str
    apart: float
    wrong: float

    @property
    def sure(self) -> bool:
        return self.apart <= MOST_APART and self.wrong <= MOST_WRONG


def nearest(darkness: Soft) -> Nearest | None:
    """The text of ours nearest to modules (21, 21), above 0 black, the further from 0 the surer; None: none near."""
    best: Nearest | None = None
    for mask in likeliest_masks(darkness):
        found = _nearest(bits_seen(darkness, mask))
        if found is not None and (best is None or found.apart < best.apart):
            best = found
        if best is not None and best.sure:
            break
    return best


def whole(darkness: Soft) -> NDArray[np.int8] | None:
    """The modules (21, 21), 1 black, of the label of ours that is seen beyond doubt; None: there is none."""
    fixed = layout(SIZE)
    if len(darkness) != SIZE or ((darkness > 0) == (fixed.bits > 0))[fixed.fixed].mean() < _LEAST_FIXED:
        return None
    found = nearest(darkness)
    return drawn(found.text, SIZE, darkness) if found is not None and found.sure else None


_ALPHANUMERIC = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
_VALUES = {symbol: value for value, symbol in enumerate(_ALPHANUMERIC)}


def _encoded(data: Bits) -> Bits:
    """All 208 bits of the symbol with these 72."""
    words = reedsolo.rs_encode_msg(bytearray(np.packbits(data).tobytes()), _CHECKS)
    return np.unpackbits(np.frombuffer(bytes(words), np.uint8))


@cache
def _code() -> tuple[Bits, Bits]:
    """(208,) the symbol whose free bits are all 0, and (55, 208) what each free bit turns."""
    data = np.zeros(8 * _DATA, np.uint8)
    data[: len(_HEAD)] = _HEAD
    rows = []
    for free in range(_FREE):
        one = np.zeros(8 * _DATA, np.uint8)
        one[len(_HEAD) + free] = 1
        rows.append(_encoded(one))
    return _encoded(data), np.array(rows)


def _nearest(seen: Soft) -> Nearest | None:
    """seen: (208,), above 0 is 1.  The surest bits that decide all others are taken as they are, but for three."""
    zero, turns = _code()
    weight = np.abs(seen)
    total = float(weight.sum())
    if total <= 0:
        return None
    hard = (seen > 0).astype(np.uint8) ^ zero
    rows, decided = _solved(turns, np.argsort(-weight, kind="stable"))
    start = np.bitwise_xor.reduce(rows[hard[decided] > 0], axis=0, initial=0).astype(np.uint8)
    agrees = np.asarray(weight * np.where(start ^ hard, -1, 1), np.float32)
    signs = np.where(rows, np.float32(-1), np.float32(1))
    best: Nearest | None = None
    for likeliest in (_up_to_two, _three):
        symbols = [np.bitwise_xor.reduce(rows[list(turned)], axis=0, initial=0) for turned in likeliest(agrees, signs)]
        for bits, text in _texts(np.array(symbols, np.uint8) ^ start ^ zero):
            off = bits != (seen > 0)
            found = Nearest(text, float(weight[off].sum()) / total, float(off.mean()))
            best = found if best is None or found.apart < best.apart else best
            break
        if best is not None and best.sure:
            break
    return best


def _solved(turns: Bits, order: NDArray[np.intp]) -> tuple[Bits, NDArray[np.intp]]:
    """The same turns mixed so that each moves one of the surest bits and no other of them; and which those are."""
    rows = turns.copy()
    decided: list[int] = []
    for place in order:
        done = len(decided)
        holders = np.flatnonzero(rows[done:, place])
        if not len(holders):
            continue
        first = done + int(holders[0])
        if first != done:
            rows[[done, first]] = rows[[first, done]]
        others = np.flatnonzero(rows[:, place])
        others = others[others != done]
        rows[others] ^= rows[done]
        decided.append(int(place))
        if len(decided) == len(rows):
            break
    return rows, np.array(decided)


Turned = tuple[int, ...]


def _up_to_two(agrees: Soft, signs: Soft) -> list[Turned]:
    """Which of the surest bits to turn, none to two of them, the likeliest symbols first."""
    one = np.asarray(signs * agrees, np.float32)
    found: list[tuple[float, Turned]] = [(float(agrees.sum()), ())]
    found += [(float(score), (k,)) for k, score in enumerate(one.sum(axis=1))]
    return _first([*found, *_pairs_among(np.asarray(one @ signs.T, np.float32), _LOOKED_AT, ())])


def _three(agrees: Soft, signs: Soft) -> list[Turned]:
    """The same of three bits."""
    found: list[tuple[float, Turned]] = []
    for first in range(len(signs) - 2):
        rest = signs[first + 1 :]
        scores = np.asarray((rest * (agrees * signs[first])) @ rest.T, np.float32)
        found += _pairs_among(scores, 6, (first,))
    return _first(found)


def _pairs_among(scores: Soft, most: int, before: Turned) -> list[tuple[float, Turned]]:
    """The best pairs of a table of scores, with what was turned before them; its rows begin after that."""
    begin = before[-1] + 1 if before else 0
    scores[_below(len(scores))] = _NEVER
    best = np.argpartition(-scores, min(most, scores.size - 1), axis=None)[:most]
    places = [divmod(int(k), len(scores)) for k in best]
    return [(float(scores[one, two]), (*before, begin + one, begin + two)) for one, two in places]


@cache
def _below(count: int) -> NDArray[np.bool_]:
    return np.tril(np.ones((count, count), bool))


def _first(found: list[tuple[float, Turned]]) -> list[Turned]:
    found.sort(key=lambda each: -each[0])
    return [turned for _, turned in found[:_LOOKED_AT]]


def _texts(symbols: Bits) -> Iterator[tuple[Bits, str]]:
    """Of symbols (n, 208), those that say a text of ours, with it, in their order."""
    numbers = symbols[:, len(_HEAD) : len(_HEAD) + _FREE].reshape(len(symbols), -1, _PAIR_BITS) @ _POWERS
    for which in np.flatnonzero(_SAID[numbers].all(axis=1)):
        text = "".join(_ALPHANUMERIC[number // 45] + _ALPHANUMERIC[number % 45] for number in numbers[which])
        try:
            yield symbols[which], parse(text).text
        except CodeFault:
            continue


_POWERS = 1 << np.arange(_PAIR_BITS)[::-1]
_SAID = np.zeros(1 << _PAIR_BITS, bool)
"""Which numbers of eleven bits are two characters of ours."""
_SAID[[_VALUES[one] * 45 + _VALUES[two] for one in ALPHABET for two in ALPHABET]] = True
