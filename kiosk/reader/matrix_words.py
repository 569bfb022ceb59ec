"""A Data Matrix symbol's modules with their doubt turned into modules without: error correction told where to doubt.

The twin of `codewords` for ISO/IEC 16022.  A result is kept only if it leaves check symbols unspent and agrees with
what was clearly seen.  Reed-Solomon arithmetic is reedsolo's, whose tables are those of QR: both fields of 256 elements
are the same but for the names of the elements, so the words are renamed, corrected there, and named back.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import reedsolo
from numpy.typing import NDArray

from kiosk.reader import codewords  # noqa: F401  its import sets the tables of QR's field
from kiosk.reader.matrix_symbol import Size, data_places, fixed

_POLYNOMIAL = 0x12D  # x^8 + x^5 + x^3 + x^2 + 1
_SHARES = (0.0, 0.3, 0.55, 0.75)  # of the check symbols, spent on the least certain codewords
_SPARE = 2  # check symbols that must remain unspent, so that chance finds no text
_CLEAR_DISAGREEMENT = 0.15  # share of clearly seen modules that may differ from the corrected symbol


def corrected(marked: NDArray[np.float32], size: Size) -> NDArray[np.int8] | None:
    """The symbol's true modules (rows, columns), 1 marked, or None where it cannot be corrected.

    marked: (rows, columns), above 0 is marked; the further from 0 the surer, 1 being quite sure.
    """
    places = data_places(size)
    soft = marked[places[..., 0], places[..., 1]]
    words = np.packbits(soft > 0, axis=1)[:, 0]
    certain = np.sort(np.abs(soft), axis=1)[:, :2].mean(1)
    right = words.copy()
    for block in range(size.blocks):
        own = np.concatenate([
            np.arange(block, size.data, size.blocks), np.arange(size.data + block, len(words), size.blocks),
        ])  # fmt: skip
        repaired = _repaired(words[own], certain[own], size.checks // size.blocks)
        if repaired is None:
            return None
        right[own] = repaired
    bits = fixed(size).copy()
    bits[places[..., 0], places[..., 1]] = np.unpackbits(right[:, None], axis=1)
    bits[bits < 0] = _filling(bits)
    clear = np.abs(marked) >= 0.5 * float(np.median(np.abs(marked)))
    return bits if float(((marked > 0) != (bits > 0))[clear].mean()) < _CLEAR_DISAGREEMENT else None


def _filling(bits: NDArray[np.int8]) -> NDArray[np.int8]:
    """What stands in the four modules that some sizes have left over: a diagonal of two."""
    rows, columns = np.nonzero(bits < 0)
    return np.asarray((rows - rows.min()) == (columns - columns.min()), np.int8) if len(rows) else np.zeros(0, np.int8)


def _repaired(words: NDArray[np.uint8], trust: NDArray[np.float32], checks: int) -> NDArray[np.uint8] | None:
    there, back, root = _renaming()
    given = bytearray(there[words].tobytes())
    doubtful = np.argsort(trust)
    for share in _SHARES:
        erased = [int(place) for place in doubtful[: int(share * checks)]]
        try:
            data, check, wrong = reedsolo.rs_correct_msg(given, checks, fcr=1, generator=root, erase_pos=erased)
        except (reedsolo.ReedSolomonError, ZeroDivisionError):
            continue
        errors = len(set(wrong) - set(erased))
        if len(erased) + 2 * errors <= checks - min(_SPARE, checks // 5):
            return np.asarray(back[np.frombuffer(bytes(data) + bytes(check), np.uint8)], np.uint8)
    return None


@cache
def _renaming() -> tuple[NDArray[np.uint8], NDArray[np.uint8], int]:
    """Names of this field's elements in QR's field, the way back, and the name of this field's generator."""
    root = next(element for element in range(2, 256) if _value(_POLYNOMIAL, element) == 0)
    there = np.array([_value(element, root) for element in range(256)], np.uint8)
    return there, np.argsort(there).astype(np.uint8), root


def _value(polynomial: int, at: int) -> int:
    """A polynomial over two elements, its coefficients the bits of a number, at an element of QR's field."""
    value = 0
    for bit in range(polynomial.bit_length() - 1, -1, -1):
        value = reedsolo.gf_mul(value, at) ^ (polynomial >> bit & 1)
    return value
