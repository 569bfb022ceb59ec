"""A QR symbol's modules with their doubt turned into modules without: error correction that knows where to doubt.

zxing-cpp corrects errors but cannot be told which modules glare, oil or a scratch has made unknowable; a codeword
known to be doubtful costs half as much to correct as one that is silently wrong.  A result is kept only if it leaves
check symbols unspent and agrees with what was clearly seen.  Placement, masks and blocks follow ISO/IEC 18004;
Reed-Solomon arithmetic is reedsolo's, tables are those of the qrcode library.
"""

from __future__ import annotations

from functools import cache, lru_cache, partial

import numpy as np
import reedsolo
from numpy.typing import NDArray
from qrcode import base, util
from qrcode.exceptions import DataOverflowError

from kiosk.reader.layout import layout, version_of

_FORMATS = tuple((format_, util.BCH_type_info(format_)) for format_ in range(32))
_SHARES = (0.0, 0.3, 0.55, 0.75)  # of the check symbols, spent on the least certain codewords
_SPARE = 2  # check symbols that must remain unspent, so that chance finds no text
_LEVEL_H = 2  # of error correction, as the format says it
_CLEAR_DISAGREEMENT = 0.2  # share of clearly seen modules that may differ from the corrected symbol


def corrected(darkness: NDArray[np.float32]) -> NDArray[np.int8] | None:
    """The symbol's true modules (n, n), 1 black, or None where it cannot be corrected.

    darkness: (n, n), above 0 is black; the further from 0 the surer, 1 being quite sure.
    """
    size = len(darkness)
    for format_, code in _formats(darkness):
        mask = _mask(size, format_ & 7)
        soft = bits_seen(darkness, format_ & 7)
        whole = len(soft) // 8 * 8
        codewords = np.packbits(soft[:whole] > 0)
        certain = np.sort(np.abs(soft[:whole]).reshape(-1, 8), axis=1)[:, :2].mean(1)
        repaired = _repair(codewords, certain, version_of(size), format_ >> 3)
        if repaired is None:
            continue
        bits = _redrawn(repaired, len(soft), size, mask, code)
        clear = np.abs(darkness) > 0.5 * float(np.median(np.abs(darkness)))
        if float(((darkness > 0) != (bits > 0))[clear].mean()) < _CLEAR_DISAGREEMENT:
            return bits
    return None


def drawn(text: str, size: int, darkness: NDArray[np.float32]) -> NDArray[np.int8] | None:
    """The modules (size, size), 1 black, that a symbol saying `text` must have, of the level and mask that are seen.

    darkness: as in `corrected`.  None where the text does not fit.
    """
    best: tuple[float, NDArray[np.int8]] | None = None
    for format_, code in _formats(darkness):
        stream = _written(text, version_of(size), format_ >> 3)
        if stream is None:
            continue
        bits = _redrawn(stream, len(_order(size)), size, _mask(size, format_ & 7), code)
        alike = float(((darkness > 0) == (bits > 0))[_order(size)[:, 0], _order(size)[:, 1]].mean())
        if best is None or alike > best[0]:
            best = alike, bits
    return None if best is None else best[1]


def likeliest_masks(darkness: NDArray[np.float32]) -> list[int]:
    """The two likeliest masks of a symbol of level H, from both copies of its format."""
    seen = _format_seen(darkness)
    return [format_ & 7 for format_, _ in sorted(_FORMATS, key=partial(_against, seen)) if format_ >> 3 == _LEVEL_H][:2]


def bits_seen(darkness: NDArray[np.float32], mask: int) -> NDArray[np.float32]:
    """Every bit of a symbol's codewords in their order in the symbol, its mask taken off; above 0 is 1."""
    size = len(darkness)
    order, flips = _order(size), _mask(size, mask)
    turned = np.where(flips[order[:, 0], order[:, 1]], -1, 1)
    return np.asarray(darkness[order[:, 0], order[:, 1]] * turned, np.float32)


def spent(seen: NDArray[np.bool_], true: NDArray[np.int8]) -> float:
    """Share of its error correction that the worst block of a symbol needs: wrong codewords over correctable ones.

    seen: (n, n), True black.  true: (n, n), 1 black.  1 and more: error correction alone would not read it.
    """
    size = len(true)
    order = _order(size)
    level = next(format_ >> 3 for format_, _ in _formats(true * np.float32(2) - 1))
    stream, blocks = _blocks(version_of(size), level)
    wrong = (seen != (true > 0))[order[:, 0], order[:, 1]][: 8 * len(stream)].reshape(-1, 8).any(1)
    sorted_wrong = np.zeros(len(stream), bool)
    sorted_wrong[stream] = wrong
    return max(
        int(sorted_wrong[start : start + total].sum()) / ((total - data) // 2) for start, data, total in blocks
    )


@lru_cache(maxsize=256)
def _written(text: str, version: int, level: int) -> NDArray[np.uint8] | None:
    """The stream of codewords of a text in one segment."""
    try:
        words = util.create_data(version, level, [util.QRData(text.encode("utf-8"))])
    except (DataOverflowError, ValueError):
        return None
    return np.array(words, np.uint8)


def _formats(darkness: NDArray[np.float32]) -> list[tuple[int, int]]:
    """The two most likely formats (level and mask, with their 15 bits) from both copies together."""
    return sorted(_FORMATS, key=partial(_against, _format_seen(darkness)))[:2]


def _format_seen(darkness: NDArray[np.float32]) -> NDArray[np.float64]:
    """(15,) the format's bits from both copies together, least significant first; above 0 is 1."""
    seen = np.zeros(15)
    for copy in _format_places(len(darkness)):
        seen += np.clip(darkness[copy[:, 0], copy[:, 1]], -1, 1)
    return seen


def _against(seen: NDArray[np.float64], entry: tuple[int, int]) -> float:
    """How little speaks for a format."""
    return -float(sum(seen[k] * (1 if entry[1] >> k & 1 else -1) for k in range(15)))


@cache
def _format_places(size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Row and column of each of the 15 format bits, least significant first, in both copies."""
    upright = [*range(6), 7, 8, *range(size - 7, size)]
    level = [*range(size - 1, size - 9, -1), 7, *range(5, -1, -1)]
    first = [(row, 8) for row in upright[:8]] + [(8, column) for column in level[8:]]
    second = [(8, column) for column in level[:8]] + [(row, 8) for row in upright[8:]]
    return np.array(first), np.array(second)


@cache
def _order(size: int) -> NDArray[np.intp]:
    """Row and column of every data module, in the order in which they are filled."""
    data = layout(size).bits < 0
    data[:9, 8] = data[8, :9] = data[8, size - 8 :] = data[size - 8 :, 8] = False
    if version_of(size) >= 7:
        data[:6, size - 11 : size - 8] = data[size - 11 : size - 8, :6] = False
    places = []
    upward = True
    right = size - 1
    while right > 0:
        if right == 6:
            right -= 1
        rows = range(size - 1, -1, -1) if upward else range(size)
        places += [(row, column) for row in rows for column in (right, right - 1) if data[row, column]]
        upward = not upward
        right -= 2
    return np.array(places)


@cache
def _mask(size: int, pattern: int) -> NDArray[np.bool_]:
    flips = util.mask_func(pattern)
    return np.array([[flips(row, column) for column in range(size)] for row in range(size)], bool)


@cache
def _blocks(version: int, level: int) -> tuple[NDArray[np.intp], list[tuple[int, int, int]]]:
    """Where each codeword of the stream belongs, and start, data and total length of each block."""
    blocks = [(block.data_count, block.total_count) for block in base.rs_blocks(version, level)]
    starts = np.cumsum([0] + [total for _, total in blocks])
    stream = [
        int(starts[which]) + place
        for place in range(max(data for data, _ in blocks))
        for which, (data, _) in enumerate(blocks)
        if place < data
    ]
    checks = blocks[0][1] - blocks[0][0]
    stream += [
        int(starts[which]) + data + place for place in range(checks) for which, (data, _) in enumerate(blocks)
    ]
    return np.array(stream), [
        (int(start), data, total) for start, (data, total) in zip(starts, blocks, strict=False)
    ]


def _repair(
    codewords: NDArray[np.uint8], certain: NDArray[np.float32], version: int, level: int
) -> NDArray[np.uint8] | None:
    """The stream with every block corrected, or None where one of them cannot be."""
    stream, blocks = _blocks(version, level)
    if len(stream) > len(codewords):
        return None
    sorted_words = np.zeros(len(stream), np.uint8)
    sorted_words[stream] = codewords[: len(stream)]
    trust = np.zeros(len(stream))
    trust[stream] = certain[: len(stream)]
    for start, data, total in blocks:
        block = _repaired_block(sorted_words[start : start + total], trust[start : start + total], total - data)
        if block is None:
            return None
        sorted_words[start : start + total] = block
    return sorted_words[stream]


def _repaired_block(words: NDArray[np.uint8], trust: NDArray[np.float64], checks: int) -> NDArray[np.uint8] | None:
    doubtful = np.argsort(trust)
    for share in _SHARES:
        erased = [int(place) for place in doubtful[: int(share * checks)]]
        try:
            data, check, wrong = reedsolo.rs_correct_msg(bytearray(words.tobytes()), checks, erase_pos=erased)
        except (reedsolo.ReedSolomonError, ZeroDivisionError):
            continue
        errors = len(set(wrong) - set(erased))
        if len(erased) + 2 * errors <= checks - _SPARE:
            return np.frombuffer(bytes(data) + bytes(check), np.uint8)
    return None


def _redrawn(
    stream: NDArray[np.uint8], count: int, size: int, mask: NDArray[np.bool_], code: int
) -> NDArray[np.int8]:
    """The whole symbol drawn from its corrected codewords and its format bits."""
    bits = layout(size).bits.copy()
    values = np.zeros(count, np.uint8)
    unpacked = np.unpackbits(stream)
    values[: len(unpacked)] = unpacked
    order = _order(size)
    bits[order[:, 0], order[:, 1]] = values ^ mask[order[:, 0], order[:, 1]]
    for copy in _format_places(size):
        bits[copy[:, 0], copy[:, 1]] = [code >> k & 1 for k in range(15)]
    bits[size - 8, 8] = 1
    if version_of(size) >= 7:
        version = util.BCH_type_number(version_of(size))
        for k in range(18):
            row, column = k // 3, size - 11 + k % 3
            bits[row, column] = bits[column, row] = version >> k & 1
    return bits


reedsolo.init_tables(prim=0x11D)
