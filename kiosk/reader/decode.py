"""From pixels to text: the cheapest pass first, stronger remedies while something is unread and time is left.

Nothing here guesses: a text is returned only when the symbol's own error correction confirmed it, and a budget
is kept even where a symbol stays unread.  The decoder underneath is zxing-cpp; what a symbol is made of follows
ISO/IEC 18004 (QR), 16022 (Data Matrix), 15417 (Code 128) and 16388 (Code 39).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import chain

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kiosk.reader import remedies
from kiosk.reader.finders import Finder, Level, Triple, find, triples
from kiosk.reader.pairs import completed
from kiosk.reader.rectify import read_triple
from kiosk.reader.remedies import Grey
from kiosk.reader.surface import Camera
from kiosk.reader.symbols import Corners, Outline, Reading, Symbol, centre, known, same_place

QR = zxingcpp.BarcodeFormat.QRCode
OTHERS = (
    zxingcpp.BarcodeFormat.DataMatrix,
    zxingcpp.BarcodeFormat.Code128,
    zxingcpp.BarcodeFormat.Code39,
)
_CLOSE_LOOK_PX = 640  # edge of a crop in which a symbol is flattened
_SWEEP_PX = 1300  # longest edge of the picture that is searched for finder patterns


class Search:
    """One picture under work: what was read, what was seen, and when to stop."""

    def __init__(self, grey: Grey, budget_ms: float | None) -> None:
        self.grey = grey
        self.began = time.perf_counter()
        # the last step begins in time to end in time
        self.ends = float("inf") if budget_ms is None else self.began + 0.85 * budget_ms / 1e3
        self.camera = Camera.guess(grey.shape[1], grey.shape[0])
        self.symbols: list[Symbol] = []
        self.unread: list[Outline] = []
        self._looked: list[Corners] = []

    def over(self) -> bool:
        return time.perf_counter() > self.ends

    def reading(self) -> Reading:
        spent = (time.perf_counter() - self.began) * 1e3
        return Reading(tuple(self.symbols), tuple(self.unread), spent)

    def keep(self, text: str, kind: str, corners: Corners) -> None:
        if not known(corners, self.symbols):
            self.symbols.append(Symbol(text, kind, corners))
            self.unread = [outline for outline in self.unread if not same_place(outline.corners, corners)]

    def saw(self, corners: Corners, module_px: float) -> None:
        if not known(corners, self.symbols) and not known(corners, self.unread):
            self.unread.append(Outline(corners, module_px))

    def scan(
        self,
        grey: Grey,
        formats: object = QR,
        left: float = 0.0,
        top: float = 0.0,
        scale: float = 1.0,
        outlines: bool = True,
        binarizer: zxingcpp.Binarizer = zxingcpp.Binarizer.LocalAverage,
    ) -> None:
        """zxing-cpp over `grey`, which is this picture from (left, top) on, `scale` times as large."""
        for found in zxingcpp.read_barcodes(
            grey, formats=formats, binarizer=binarizer, return_errors=outlines
        ):
            corners = tuple((x / scale + left, y / scale + top) for x, y in _corners(found.position))
            if found.valid:
                if found.text:
                    self.keep(found.text, found.format.name, corners)
            elif found.format == QR:
                self.saw(corners, _module_px(corners))

    def look_closely(self, corners: Corners, marked: Triple | None = None) -> None:
        """Cut out the place where a symbol was seen and take it apart.

        marked: its finders in pixels of this picture, where they are known already.
        """
        if any(_same_region(corners, other) for other in self._looked):
            return
        self._looked.append(corners)
        piece, left, top, scale = self._piece(corners)
        if min(piece.shape) < 16:
            return
        for treated in (piece, remedies.local_contrast(piece), remedies.halved(piece)):
            self.scan(treated, left=left, top=top, scale=scale * len(treated) / len(piece), outlines=False)
            if known(corners, self.symbols) or self.over():
                return
        camera = self.camera.within(left, top, scale)
        for light in (piece, remedies.shadows_lifted(piece), remedies.inverted(piece)):
            candidates: Iterable[Triple] = _candidates(light, find(light, 110), camera)
            if marked is not None and light is piece:
                candidates = chain(candidates, [marked.moved(left, top, scale)])
            for triple in candidates:
                place = tuple((x / scale + left, y / scale + top) for x, y in _extent(triple))
                if known(place, self.symbols):
                    continue
                if self.over():
                    return
                made = read_triple(light, triple, camera, self.over)
                if made is not None:
                    text, quad = made
                    at = tuple((float(x) / scale + left, float(y) / scale + top) for x, y in quad)
                    self.keep(text, QR.name, at)
            if known(corners, self.symbols) or self.over():
                return

    def _piece(self, corners: Corners) -> tuple[Grey, int, int, float]:
        """The picture around an outline at the size in which it is taken apart: pixels, left, top, scale."""
        points = np.array(corners)
        low, high = points.min(0), points.max(0)
        margin = 0.35 * float((high - low).max())
        height, width = self.grey.shape
        left, top = (int(max(edge - margin, 0)) for edge in low)
        right, bottom = (int(edge + margin) + 1 for edge in high)
        piece = self.grey[top : min(bottom, height), left : min(right, width)]
        if min(piece.shape) < 16:
            return piece, left, top, 1.0
        scale = min(_CLOSE_LOOK_PX / max(piece.shape), 8.0)
        way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        return np.asarray(cv2.resize(piece, None, fx=scale, fy=scale, interpolation=way), np.uint8), left, top, scale

    def look_at_unread(self) -> None:
        for outline in list(self.unread):
            if self.over():
                return
            if not known(outline.corners, self.symbols):
                self.look_closely(outline.corners)


def read(image: NDArray[np.uint8], budget_ms: float | None = 400) -> Reading:
    """Every symbol in a picture, (H, W) grey or (H, W, 3) blue-green-red.

    budget_ms: time that may be spent, None for as long as it takes.
    """
    search = Search(_grey(image), budget_ms)
    search.scan(search.grey)
    for remedy in (_other_formats, Search.look_at_unread, _sweep, _lifted_sweep):
        if search.over():
            break
        remedy(search)
    if not search.symbols or search.unread:
        for remedy in _VARIANTS:
            if search.over():
                break
            remedy(search)
    return search.reading()


def _other_formats(search: Search) -> None:
    grey, scale = _shrunk(search.grey, 1600)
    search.scan(grey, OTHERS, scale=scale, outlines=False)


def _sweep(search: Search, levels: Sequence[Level] = tuple(Level)) -> None:
    """Finder patterns anywhere, for symbols the base pass did not even see."""
    grey, scale = _shrunk(search.grey, _SWEEP_PX)
    if max(grey.shape) < _SWEEP_PX / 2:
        grey, scale = remedies.doubled(grey), 2.0
    _try_finders(search, grey, scale, 48, levels)


def _lifted_sweep(search: Search) -> None:
    """Finder patterns in the dark beside something bright, and small ones between lines."""
    grey, scale = _shrunk(search.grey, _SWEEP_PX)
    _try_finders(search, remedies.shadows_lifted(grey), scale, 24, tuple(Level))


def _try_finders(search: Search, grey: Grey, scale: float, window_px: int, levels: Sequence[Level]) -> None:
    done = [np.array(symbol.corners) * scale for symbol in search.symbols]
    camera = search.camera.within(0, 0, scale)
    finders = find(grey, window_px, done=done, levels=levels)
    if len(levels) < len(Level) and any(finder.score > 0.8 for finder in finders):
        finders = find(grey, window_px, done=done)  # there is something: look with both eyes
    for triple in _candidates(grey, finders, camera):
        place = _quad(_extent(triple) / scale)
        if search.over():
            return
        if not known(place, search.symbols):
            search.look_closely(place, triple.moved(0, 0, 1 / scale))


def _candidates(grey: Grey, finders: list[Finder], camera: Camera) -> Iterator[Triple]:
    """Symbols to try, those with all three finders first."""
    yield from triples(finders)[:4]
    yield from completed(grey, finders, camera)


def _variant(treat: Callable[[Grey], Grey], scale: float = 1.0) -> Callable[[Search], None]:
    def remedy(search: Search) -> None:
        if search.grey.size * scale * scale > 4.5e6:
            return
        search.scan(treat(search.grey), scale=scale)
        search.look_at_unread()

    return remedy


_VARIANTS = (
    _variant(remedies.local_contrast),
    _variant(remedies.shadows_lifted),
    _variant(remedies.doubled, 2.0),
    _variant(remedies.smoothed),
    _variant(remedies.halved, 0.5),
    _variant(remedies.sharpened),
)


class LiveReader:
    """Reads a stream: every frame gets the base pass and one remedy, the next frame the next remedy.

    A label seen but not read is taken apart while the frame's budget lasts, whatever remedy is next; without one,
    a frame costs the base pass and one cheap look.
    """

    def __init__(self, budget_ms: float = 150) -> None:
        self.budget_ms = budget_ms
        self._turn = 0

    def next(self, frame: NDArray[np.uint8]) -> Reading:
        """What this frame shows, (H, W) grey or (H, W, 3) blue-green-red."""
        search = Search(_grey(frame), self.budget_ms)
        search.scan(search.grey)
        if not search.symbols:
            search.look_at_unread()
        if not search.symbols and not search.over():
            _TURNS[self._turn % len(_TURNS)](search)
            self._turn += 1
        return search.reading()


def _glance(*levels: Level) -> Callable[[Search], None]:
    """A quick look for finders with some ways of telling black from white."""

    def remedy(search: Search) -> None:
        _sweep(search, levels)

    return remedy


def _plain_marks(formats: object) -> Callable[[Search], None]:
    def remedy(search: Search) -> None:
        search.scan(search.grey, formats, outlines=False)

    return remedy


def _contrast_glance(search: Search) -> None:
    grey, scale = _shrunk(search.grey, 960)
    search.scan(remedies.local_contrast(grey), scale=scale)
    search.look_at_unread()


_TURNS: tuple[Callable[[Search], None], ...] = (
    _glance(Level.MEAN),
    _glance(Level.MIDDLE),
    _plain_marks(OTHERS[:1]),
    _glance(Level.MEAN),
    _contrast_glance,
    _plain_marks(OTHERS[1:]),
    _glance(Level.MIDDLE),
)


def _grey(image: NDArray[np.uint8]) -> Grey:
    if image.ndim == 2:
        return np.ascontiguousarray(image)
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)


def _shrunk(grey: Grey, longest: int) -> tuple[Grey, float]:
    """The picture with its longest edge at most `longest`, and its scale."""
    scale = longest / max(grey.shape)
    if scale >= 1:
        return grey, 1.0
    return np.asarray(cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8), scale


def _extent(triple: Triple) -> NDArray[np.float64]:
    """(4, 2): rough outline of the whole symbol, the fourth corner as if it were a parallelogram."""
    corner, right, below = (finder.corners for finder in triple.finders)
    return np.array([corner[0], right[1], right[1] + below[3] - corner[0], below[3]])


def _quad(points: NDArray[np.float64]) -> Corners:
    return tuple((float(x), float(y)) for x, y in points)


def _same_region(one: Corners, other: Corners) -> bool:
    if not same_place(one, other):
        return False
    (ax, ay), (bx, by) = centre(one), centre(other)
    size = max(max(x for x, _ in other) - min(x for x, _ in other), 1.0)
    own = max(max(x for x, _ in one) - min(x for x, _ in one), 1.0)
    return abs(ax - bx) + abs(ay - by) < 0.3 * size and 0.6 < own / size < 1.6


def _module_px(corners: Corners) -> float:
    """Module size of an outline nobody measured further: as if it were the smallest symbol."""
    points = np.array(corners)
    return float(np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1).mean()) / 25


def _corners(position: zxingcpp.Position) -> Iterator[tuple[float, float]]:
    for point in (position.top_left, position.top_right, position.bottom_right, position.bottom_left):
        yield float(point.x), float(point.y)
