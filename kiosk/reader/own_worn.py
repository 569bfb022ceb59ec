"""One of our own labels that is seen but too worn to be read as others are.

It is laid flat by its fixed modules alone and the whole text nearest to it is looked for; how near it must be says
`own_label`, and nothing else stands beside that.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from kiosk.reader.layout import SMALLEST
from kiosk.reader.own_flat import laid_flat
from kiosk.reader.own_label import whole
from kiosk.reader.rectify import FINE, opinions, straighten, text_of
from kiosk.reader.symbols import Corners
from kiosk.reader.wear import piece_around

LIKE_ONE = 0.55
"""How like a label's its fixed modules must be; labels that read have 0.6 and more, other places under 0.5."""
_LEAST_PX = SMALLEST  # edge of the smallest picture in which there is anything to see


def worn_label(grey: NDArray[np.uint8], corners: Corners, over: Callable[[], bool]) -> tuple[str, Corners] | None:
    """Text and corners of the label about within four corners of a picture (H, W), or None.

    over: says when time is up.
    """
    piece, points = piece_around(grey, corners)
    if min(piece.shape) < _LEAST_PX:
        return None
    laid = laid_flat(piece, tuple((float(x), float(y)) for x, y in points))
    if laid.like < LIKE_ONE:
        return None
    left, top = np.array(corners[0]) - points[0]
    straight = straighten(piece, laid.flat, FINE)
    place = tuple((float(x + left), float(y + top)) for x, y in straight.corners())
    for flat in (straight, laid.flat):
        if over():
            return None
        for darkness in opinions(flat):
            bits = whole(darkness)
            text = None if bits is None else text_of(bits)
            if text is not None:
                return text, place
    return None
