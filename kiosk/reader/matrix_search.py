"""Data Matrix symbols marked into steel: from a picture to texts, for what zxing-cpp alone does not find.

Where detail runs in two directions a frame is laid over what darkens, over what lightens and over what merely differs
from the steel around it, as craters do; the best frames are read.  Nothing is returned that error correction did
not confirm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.matrix_frame import Floats, Picture, lay, settle
from kiosk.reader.matrix_places import MOST_PLACES, Blob, corner_map, places
from kiosk.reader.matrix_read import text_of
from kiosk.reader.remedies import Grey

_EDGE_PX = 400  # of the piece that is worked on
_SIDE_PX = 190  # of a symbol in it
_SPILL_PX = 2.5  # by which the corner map reaches over a symbol's border
_LEAST_MODULE_PX = 1.6  # finer ones melt; those that were read came to 2.1 by their rough outline
_SHARES = (0.45, 0.75)  # the higher one parts a symbol from an edge beside it
_LEAST_SCORE = 2.6  # of four sides; chance comes to about 2


class Found(NamedTuple):
    """A symbol that was read: its text, and its corners (4, 2) in the picture, its own top left first."""

    text: str
    corners: Floats


def marks(grey: Grey, over: Callable[[], bool] = lambda: False, most: int = MOST_PLACES) -> Iterator[Found]:
    """Symbols in a picture (H, W), the likeliest `most` places first, until `over` says that time is up."""
    corners = corner_map(grey)
    done: list[Floats] = []
    for place in places(corners)[:most]:
        for share in _SHARES:
            quad = _outline(corners, place, share)
            if quad is None or any(_same(quad, other) for other in done):
                continue
            if over():
                return
            done.append(quad)
            if found := _read_at(grey, quad, over):
                yield found
                break


def _same(one: Floats, other: Floats) -> bool:
    size = max(_sides(other)) / 2
    return bool(np.linalg.norm(one.mean(0) - other.mean(0)) < 0.12 * size and 0.85 < max(_sides(one)) / 2 / size < 1.18)


def _read_at(grey: Grey, quad: Floats, over: Callable[[], bool]) -> Found | None:
    side = float(np.linalg.norm(quad - np.roll(quad, -1, axis=0), axis=1).mean())
    scale = _SIDE_PX / side
    middle = quad.mean(0)
    to_piece = np.array([[scale, 0, _EDGE_PX / 2 - scale * middle[0]], [0, scale, _EDGE_PX / 2 - scale * middle[1]]])
    piece = cv2.warpAffine(
        grey if scale > 0.7 else cv2.blur(grey, (round(0.7 / scale) | 1,) * 2), to_piece, (_EDGE_PX, _EDGE_PX),
        flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    rough = quad @ to_piece[:, :2].T + to_piece[:, 2]
    oblong = max(_sides(rough)) > 1.7 * min(_sides(rough))
    plain, active = _told(piece)
    melted = cv2.GaussianBlur(plain, (0, 0), 2.5)
    laid = [
        (frame, marked)
        for marked in (melted, -melted, active)
        for frame in lay(marked, rough, oblong, side / _LEAST_MODULE_PX)[:2]
    ]
    laid.sort(key=lambda one: -one[0].score)
    for frame, marked in laid[:3]:
        if frame.score < _LEAST_SCORE or over():
            break
        shown = active if marked is active else plain
        closer = settle(marked, frame, _clear(shown))
        if text := text_of([shown], closer):
            return Found(text, (closer.nodes[:4] - to_piece[:, 2]) / scale)
    return None


def _clear(shown: Picture) -> Picture:
    """How far every spot is from halfway between marked and bare, 1 being usual."""
    smooth = cv2.GaussianBlur(shown, (0, 0), 2.0)
    away = np.abs(smooth - cv2.blur(smooth, (45, 45)))
    return np.asarray(away / (cv2.blur(away, (91, 91)) + 1e-3), np.float32)


def _sides(quad: Floats) -> tuple[float, float]:
    across, down = quad[1] - quad[0] + quad[2] - quad[3], quad[3] - quad[0] + quad[2] - quad[1]
    return float(np.linalg.norm(across)), float(np.linalg.norm(down))


def _told(piece: NDArray[np.uint8]) -> tuple[Picture, Picture]:
    """Brightness against the steel around, in spreads of its neighbourhood; and how much anything differs from it."""
    light = piece.astype(np.float32)
    plain = light - cv2.blur(light, (81, 81))
    plain = plain / (np.sqrt(np.maximum(cv2.blur(plain * plain, (81, 81)), 0)) + 2)
    active = cv2.GaussianBlur(np.abs(plain - cv2.GaussianBlur(plain, (0, 0), 6)), (0, 0), 3.5)
    return plain.astype(np.float32), active.astype(np.float32)


def _outline(corners: Picture, place: Blob, share: float) -> Floats | None:
    """The quad (4, 2), clockwise in the picture, that the corners around a place fill to a share of its middle."""
    x, y = place.middle
    smooth = max(place.side_px / 12, 2.0)
    reach = int(2.2 * place.side_px + 30)
    left, top = max(int(x) - reach, 0), max(int(y) - reach, 0)
    near = cv2.GaussianBlur(corners[top : int(y) + reach, left : int(x) + reach], (0, 0), smooth)
    third = max(int(place.side_px / 4), 3)
    down, across = (slice(max(at - third, 0), at + third) for at in (int(y) - top, int(x) - left))
    core = near[down, across]
    if not core.size:
        return None
    filled = (near > share * float(np.median(core))).astype(np.uint8)
    _, labels = cv2.connectedComponents(filled)
    own = labels[int(y) - top, int(x) - left]
    if own == 0:
        return None
    points = cv2.findNonZero((labels == own).astype(np.uint8))
    middle, (wide, high), turned = cv2.minAreaRect(points)
    wide, high = wide - 2 * _SPILL_PX, high - 2 * _SPILL_PX
    if min(wide, high) < 16:
        return None
    box = np.array(cv2.boxPoints((middle, (wide, high), turned)), np.float64)
    return np.asarray(box + np.array([left, top]))
