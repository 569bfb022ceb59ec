"""What a framed Data Matrix symbol says: its modules told apart by what steel and mark look like beside each of them.

Bright steel mirrors its surroundings, so that a mark may be darker than the steel at one side and lighter at the other:
how both look is followed across the symbol, from the border, whose modules are known, inwards.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kiosk.reader.matrix_frame import Frame, Picture
from kiosk.reader.matrix_symbol import Size, fixed
from kiosk.reader.matrix_words import corrected

_RING = 1  # modules of quiet steel that are sampled around the symbol
_ACROSS = (-0.24, 0.0, 0.24)  # where a module is looked at, modules from its middle


def text_of(pictures: list[Picture], frame: Frame) -> str | None:
    """What the symbol in a frame says by any of these pictures, or None where error correction confirms nothing."""
    for picture in pictures:
        for marked in opinions(sampled(picture, frame), frame.size):
            bits = corrected(marked, frame.size)
            if bits is not None and (text := _decoded(bits)):
                return text
    return None


def sampled(picture: Picture, frame: Frame) -> Picture:
    """(rows + 2, columns + 2): what stands in every module, with a ring of quiet ones around."""
    size = frame.size
    rows, columns = np.arange(-_RING, size.rows + _RING) + 0.5, np.arange(-_RING, size.columns + _RING) + 0.5
    middle = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 1, 2)
    around = np.stack(np.meshgrid(_ACROSS, _ACROSS), axis=-1).reshape(1, -1, 2)
    at = frame.places((middle + around).reshape(-1, 2)).astype(np.float32)
    seen = cv2.remap(picture, at[:, :1], at[:, 1:], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen.reshape(len(rows), len(columns), -1).mean(-1), np.float32)


def opinions(seen: Picture, size: Size) -> Iterator[NDArray[np.float32]]:
    """How surely every module (rows, columns) is marked, above 0, or not, below, in several ways of looking."""
    known = np.pad(fixed(size), _RING, constant_values=0)
    for reach in (2.2, 4.0, 1.4):
        yield _told_apart(seen, known, reach)[_RING:-_RING, _RING:-_RING]


def _told_apart(seen: Picture, known: NDArray[np.int8], reach: float, rounds: int = 4) -> NDArray[np.float32]:
    sure = np.where(known < 0, 0.0, 2.0 * known - 1).astype(np.float32)
    belief = sure.copy()
    wide = 2.5 * reach
    for _ in range(rounds):
        marked, bare = _level(seen, np.maximum(belief, 0), wide), _level(seen, np.maximum(-belief, 0), wide)
        contrast = marked - bare
        middle = (marked + bare) / 2
        usual = float(np.median(np.abs(contrast))) / 2 + 1e-6
        told = (seen - middle) * np.sign(contrast) / usual
        belief = np.where(known < 0, np.clip(told, -1, 1) ** 3, sure).astype(np.float32)
        wide = reach
    return np.asarray(told, np.float32)


def _level(seen: Picture, weight: Picture, reach: float) -> Picture:
    """What stands in modules of one kind around each module, by their weights."""
    weight = weight + np.float32(1e-4)
    return np.asarray(
        cv2.GaussianBlur(seen * weight, (0, 0), reach, borderType=cv2.BORDER_CONSTANT)
        / cv2.GaussianBlur(weight, (0, 0), reach, borderType=cv2.BORDER_CONSTANT),
        np.float32,
    )


def _decoded(bits: NDArray[np.int8]) -> str | None:
    """zxing-cpp's reading of a clean drawing of the modules."""
    drawn = np.pad(1 - bits.astype(np.uint8), 2, constant_values=1) * 255
    large = np.kron(drawn, np.ones((3, 3), np.uint8))
    found = zxingcpp.read_barcodes(large, formats=zxingcpp.BarcodeFormat.DataMatrix, is_pure=True)
    return next((str(each.text) for each in found if each.valid and each.text), None)
