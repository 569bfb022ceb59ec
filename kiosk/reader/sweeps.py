"""Ways to search a whole picture: for finder patterns, piece by piece or drawn larger, and for the other formats.

Each takes a `Search` and adds what it finds; none asks whether it is needed, and each stops when the search's time is
over.  Which of them pay, and in which order, is for `decode` to say.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from zxingcpp import Binarizer

from kiosk.reader import remedies
from kiosk.reader.finders import find
from kiosk.reader.matrix_search import marks
from kiosk.reader.pairs import completed
from kiosk.reader.remedies import Grey
from kiosk.reader.runs import Level
from kiosk.reader.search import OTHERS, QR, SURE_FINDER, Search
from kiosk.reader.triples import MANY, Spot, spots, triples

Remedy = Callable[[Search], None]
Glance = Callable[[Search], list[Spot]]
_FINE_PX = 4_000_000  # size to which a picture is drawn larger for a fine search
_TILE_PX, _OVERLAP_PX = 1100, 200  # pieces of a large picture, and what they share
_SWEEP_PX = 1300  # longest edge of the picture that is searched for finder patterns


def other_formats(search: Search) -> None:
    grey, scale = search.shrunk(1600)
    search.scan(grey, OTHERS, scale=scale, outlines=False)


def every_way(search: Search) -> None:
    """All formats at full size by every threshold, alone in the picture and not: no less than the library does bare."""
    for alone in (True, False):
        for binarizer in (Binarizer.LocalAverage, Binarizer.GlobalHistogram, Binarizer.FixedThreshold):
            if search.symbols or search.over():
                return
            search.scan(search.grey, (QR, *OTHERS), outlines=False, binarizer=binarizer, alone=alone)


def etched(search: Search, most: int = 6) -> None:
    """Data Matrix symbols marked into steel, in so many places."""
    grey, scale = search.shrunk(_SWEEP_PX)
    for found in marks(grey, search.over, most):
        corners = tuple((float(x) / scale, float(y) / scale) for x, y in found.corners)
        search.keep(found.text, OTHERS[0].name, corners)


def etched_glance(search: Search) -> None:
    """The likeliest place of a mark in steel; the next turn sees another frame."""
    etched(search, 1)


def _dotted(search: Search) -> None:
    """Data Matrix marks of separate dots, small ones and large ones."""
    grey, scale = search.shrunk(1600)
    _near_dots(grey, scale, search)
    if not search.symbols and not search.over():
        _near_dots(remedies.halved(grey), scale / 2, search)


def _near_dots(grey: Grey, scale: float, search: Search) -> None:
    search.scan(remedies.melted(grey), OTHERS[0], scale=scale, outlines=False)


def sweep(search: Search) -> None:
    """Finder patterns anywhere, for symbols the base pass did not even see."""
    grey, scale = search.shrunk(_SWEEP_PX)
    if max(grey.shape) < _SWEEP_PX / 2:  # a small picture of small symbols
        scale = min(_SWEEP_PX * 1.4 / max(grey.shape), 4.0)
        grey = _grown(grey, scale)
    _try_finders(search, grey, scale, 48)


def _fine_sweep(search: Search) -> None:
    """Finder patterns of under three pixels a module, in a picture drawn larger."""
    scale = min(float(np.sqrt(_FINE_PX / search.grey.size)), 2.5)
    if scale > 1.2:
        _try_finders(search, _grown(search.grey, scale), scale, 48)


def _grown(grey: Grey, scale: float) -> Grey:
    return np.asarray(cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC), np.uint8)


def tiled_sweep(search: Search) -> None:
    """Finder patterns in large pictures, piece by piece at full size: drawers with dozens of small labels."""
    height, width = search.grey.shape
    across, down = -(-width // _TILE_PX), -(-height // _TILE_PX)
    tiles = [
        (round(column * width / across), round(row * height / down))
        for row in range(down)
        for column in range(across)
    ]
    wide, high = width // across + _OVERLAP_PX, height // down + _OVERLAP_PX

    def sweep(tile: tuple[int, int]) -> None:
        if not search.over():
            left, top = tile
            grey = np.ascontiguousarray(search.grey[top : top + high, left : left + wide])
            _try_finders(search, grey, 1.0, 48, left, top, most=16)

    search.share_out(sweep, tiles)


def lifted_sweep(search: Search) -> None:
    """Finder patterns in the dark beside something bright, and small ones between lines."""
    grey, scale = search.shrunk(_SWEEP_PX)
    _try_finders(search, remedies.shadows_lifted(grey), scale, 24)


def _try_finders(
    search: Search,
    grey: Grey,
    scale: float,
    window_px: int,
    left: float = 0.0,
    top: float = 0.0,
    most: int = 4,
) -> None:
    """Look for finders in `grey`, the picture from (left, top) on and `scale` times as large; read what they mark."""
    done = [(np.array(symbol.corners) - (left, top)) * scale for symbol in list(search.symbols)]
    # one look is enough where every lone finder is looked around anyway
    finders = find(grey, window_px, done=done, levels=(Level.MEAN,) if most >= MANY else tuple(Level))
    for triple in triples(finders, most):
        search.try_marked(triple.moved(-left * scale, -top * scale, 1 / scale))
    rest = [finder for finder in finders if not search.taken(finder.moved(-left * scale, -top * scale, 1 / scale))]
    if most < MANY:  # else the look around each of them is cheaper than all pairs
        for triple in completed(grey, rest, search.camera.within(left, top, scale), search.over):
            search.try_marked(triple.moved(-left * scale, -top * scale, 1 / scale))
    sure = [finder for finder in rest if finder.score > SURE_FINDER]
    search.suspect([spot.moved(-left * scale, -top * scale, 1 / scale) for spot in spots(sure, most)])


def _stretched_sweep(across: float, down: float) -> Remedy:
    """Finders seen from so far aside that they are too narrow, in a picture drawn wider or higher."""

    def remedy(search: Search) -> None:
        grey, scale = search.shrunk(1100)
        grey = np.asarray(cv2.resize(grey, None, fx=across, fy=down, interpolation=cv2.INTER_CUBIC), np.uint8)
        for triple in triples(find(grey, 48)):
            search.try_marked(triple.moved(0, 0, np.array([1 / (scale * across), 1 / (scale * down)])))

    return remedy


def _variant(treat: Callable[[Grey], Grey], scale: float = 1.0) -> Remedy:
    def remedy(search: Search) -> None:
        if search.grey.size * scale * scale > 4.5e6:
            return
        search.scan(treat(search.grey), scale=scale)
        search.look_at_unread()

    return remedy


STRETCHED = (_stretched_sweep(2.5, 1), _stretched_sweep(1, 2.5))
VARIANTS = (
    _fine_sweep,
    _dotted,
    _variant(remedies.local_contrast),
    _variant(remedies.shadows_lifted),
    _variant(remedies.doubled, 2.0),
    _variant(remedies.smoothed),
    _variant(remedies.halved, 0.5),
    _variant(remedies.sharpened),
)


def glance(level: Level) -> Glance:
    """A quick look for finders; where there is one, a closer look around it.  Returns what was seen but not read."""

    def look(search: Search) -> list[Spot]:
        grey, scale = search.shrunk(_SWEEP_PX)
        finders = [finder.moved(0, 0, 1 / scale) for finder in find(grey, 48, levels=(level,))]
        for triple in triples(finders):
            search.try_marked(triple)
        near = spots([finder for finder in finders if finder.score > SURE_FINDER])
        seen = [now for spot in near if (now := search.look_around(spot)) is not None]
        search.look_again()
        return seen

    return look


def plain_marks(formats: object) -> Remedy:
    def remedy(search: Search) -> None:
        search.scan(search.grey, formats, outlines=False)

    return remedy


def contrast_glance(search: Search) -> None:
    grey, scale = search.shrunk(960)
    search.scan(remedies.local_contrast(grey), scale=scale)
    search.look_at_unread()


def dots_glance(scale: float) -> Remedy:
    def remedy(search: Search) -> None:
        grey = cv2.resize(search.grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        _near_dots(np.asarray(grey, np.uint8), scale, search)

    return remedy
