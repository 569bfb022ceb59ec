"""One picture under work: what was read in it, what was seen but not read, and when to stop.

It takes places apart where a symbol must be and keeps what error correction confirmed; it never decides which remedy
comes next.  The decoder underneath is zxing-cpp; what a symbol is made of follows ISO/IEC 18004 (QR), 16022 (Data
Matrix), 15417 (Code 128) and 16388 (Code 39).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from itertools import chain
from threading import Lock
from typing import TypeVar

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kiosk.reader import remedies
from kiosk.reader.finders import Finder, find
from kiosk.reader.own_worn import worn_label
from kiosk.reader.pairs import completed
from kiosk.reader.rectify import read_triple
from kiosk.reader.remedies import Grey
from kiosk.reader.surface import Camera
from kiosk.reader.symbols import Corners, Outline, Part, Reading, Symbol, centre, inside, known, same_place
from kiosk.reader.triples import Spot, Triple, refined, spots, triples

Item = TypeVar("Item")
QR = zxingcpp.BarcodeFormat.QRCode
OTHERS = (
    zxingcpp.BarcodeFormat.DataMatrix,
    zxingcpp.BarcodeFormat.Code128,
    zxingcpp.BarcodeFormat.Code39,
)
# Asked for QR, zxing-cpp also gives its small and oblong kin, whose error correction lets chance texts through.
_KNOWN = (QR, *OTHERS)
# A linear code of fewer characters is as likely a rib, a ruler or a thread.
_LEAST_LENGTHS = dict.fromkeys(OTHERS[1:], 4)
SMALLEST_PX = 21  # no picture narrower than a pixel a module holds a symbol
LARGE_PX = 5_000_000  # pixels from which on a picture is worth two threads
SURE_FINDER = 0.8  # score of a finder around which it is worth to look
_FAINT_FINDER = 0.55  # score that may do where a sure one stands beside it
_CLOSE_LOOK_PX = 640  # edge of a crop in which a symbol is flattened


class Search:
    """One picture under work: what was read, what was seen, and when to stop.

    part: what of the picture is searched; places are pixels of that part until `reading` tells them of the whole.
    """

    def __init__(self, grey: Grey, budget_ms: float | None, part: Part | None = None) -> None:
        self.left, self.top = part[:2] if part else (0, 0)
        self.grey = np.ascontiguousarray(grey[part.top : part.bottom, part.left : part.right]) if part else grey
        self.began = time.perf_counter()
        # the last step begins in time to end in time
        self.ends = float("inf") if budget_ms is None else self.began + 0.85 * budget_ms / 1e3
        self.camera = Camera.guess(grey.shape[1], grey.shape[0]).within(self.left, self.top, 1)
        self.symbols: list[Symbol] = []
        self.unread: list[Outline] = []
        self._looked: list[Corners] = []
        self._shrunk: dict[int, tuple[Grey, float]] = {}
        self._tried: list[Triple] = []
        self._later: list[Triple] = []
        self._spots: list[Spot] = []
        self._around: list[Spot] = []
        self._lock = Lock()
        self.suspected = False  # finder patterns were seen, read or not

    def over(self) -> bool:
        return time.perf_counter() > self.ends

    def shrunk(self, longest_px: int) -> tuple[Grey, float]:
        """The picture with its longest edge at most so long, made once, and its scale."""
        scale = longest_px / max(self.grey.shape)
        if scale >= 1:
            return self.grey, 1.0
        if longest_px not in self._shrunk:
            small = cv2.resize(self.grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
            self._shrunk[longest_px] = np.asarray(small, np.uint8), scale
        return self._shrunk[longest_px]

    def reading(self) -> Reading:
        spent = (time.perf_counter() - self.began) * 1e3
        symbols, unread = tuple(self.symbols), tuple(self.unread)
        if self.left or self.top:
            symbols = tuple(replace(symbol, corners=self._in_whole(symbol.corners)) for symbol in symbols)
            unread = tuple(replace(outline, corners=self._in_whole(outline.corners)) for outline in unread)
        return Reading(symbols, unread, spent)

    def _in_whole(self, corners: Corners) -> Corners:
        return tuple((x + self.left, y + self.top) for x, y in corners)

    def keep(self, text: str, kind: str, corners: Corners) -> None:
        with self._lock:
            if not known(corners, self.symbols):
                self.symbols.append(Symbol(text, kind, corners))
                self.unread = [outline for outline in self.unread if not same_place(outline.corners, corners)]

    def saw(self, corners: Corners, module_px: float, rough: bool = False) -> None:
        if module_px * 25 < SMALLEST_PX:
            return
        if not known(corners, self.symbols) and not known(corners, self.unread):
            self.unread.append(Outline(corners, module_px, rough))

    def scan(
        self,
        grey: Grey,
        formats: object = QR,
        left: float = 0.0,
        top: float = 0.0,
        scale: float = 1.0,
        outlines: bool = True,
        binarizer: zxingcpp.Binarizer = zxingcpp.Binarizer.LocalAverage,
        alone: bool = False,
    ) -> None:
        """zxing-cpp over `grey`, which is this picture from (left, top) on, `scale` times as large.

        alone: the symbol is all there is in it.
        """
        for found in zxingcpp.read_barcodes(
            grey, formats=formats, binarizer=binarizer, return_errors=outlines, is_pure=alone
        ):
            corners = tuple((x / scale + left, y / scale + top) for x, y in _corners(found.position))
            if found.valid:
                if found.format in _KNOWN and len(found.text) >= _LEAST_LENGTHS.get(found.format, 1):
                    self.keep(found.text, found.format.name, corners)
            elif found.format == QR:
                self.saw(corners, _module_px(corners))

    def look_closely(self, corners: Corners) -> None:
        """Cut out the place where a symbol was seen and take it apart."""
        if any(_same_region(corners, other) for other in self._looked):
            return
        self._looked.append(corners)
        piece, left, top, scale = self._piece(corners, 3.5)
        if min(piece.shape) < SMALLEST_PX or self.over():
            return
        for treated in (piece, remedies.local_contrast(piece), remedies.halved(piece)):
            self.scan(treated, left=left, top=top, scale=scale * len(treated) / len(piece), outlines=False)
            if known(corners, self.symbols) or self.over():
                return
        camera = self.camera.within(left, top, scale)
        for light in (piece, remedies.shadows_lifted(piece), remedies.inverted(piece)):
            finders = find(light, 110)
            for triple in chain(triples(finders), completed(light, finders, camera, self.over)):
                place = tuple((x / scale + left, y / scale + top) for x, y in _extent(triple))
                if known(place, self.symbols):
                    continue
                self._keep_made(read_triple(light, triple, camera, self.over), left, top, scale)
                if known(corners, self.symbols) or self.over():
                    return
            if self.over():
                return

    def suspect(self, near: Sequence[Spot]) -> None:
        """Note places of which only some finders were seen, for `look_at_spots`."""
        self._spots += near
        self.suspected |= bool(near)

    def look_at_spots(self) -> None:
        """Look around the finders that belong to nothing read."""
        waiting, self._spots = self._spots, []
        self.share_out(self._look_at_spot, waiting)

    def _look_at_spot(self, spot: Spot) -> None:
        self.look_around(spot)

    def try_marked(self, marked: Triple) -> None:
        """Read the symbol between known finders at once, or note its place for a closer look."""
        corners = _quad(_extent(marked))
        if self.over() or known(corners, self.symbols) or self._meets_read(marked):
            return
        # other light shows the same finders, but they are read in the picture as it is
        if any(marked.same(other) for other in self._tried):
            return
        self._tried.append(marked)
        if not self._read_marked(corners, marked) and marked.guessed is None:
            self._later.append(marked)

    def taken(self, finder: Finder) -> bool:
        """Whether it is part of a symbol that is read already."""
        x, y = finder.centre
        return any(inside((float(x), float(y)), symbol.corners) for symbol in self.symbols)

    def _meets_read(self, marked: Triple) -> bool:
        return any(self.taken(finder) for place, finder in enumerate(marked.finders) if place != marked.guessed)

    def look_again(self) -> None:
        """Take apart what finders mark but could not be read at once."""
        waiting, self._later = self._later, []
        self.share_out(self._look_at_marked, waiting)

    def _look_at_marked(self, marked: Triple) -> None:
        if not self._meets_read(marked):
            self._look_at(_quad(_extent(marked)))

    def _read_marked(self, corners: Corners, marked: Triple) -> bool:
        piece, left, top, scale = self._piece(corners, max(6 / marked.narrowest_px, 0.3))
        if min(piece.shape) < SMALLEST_PX:
            return False
        camera = self.camera.within(left, top, scale)
        here = marked.moved(left, top, scale)
        if here.guessed is None and scale > 1.5:
            here = refined(piece, here)
        return self._keep_made(read_triple(piece, here, camera, self.over), left, top, scale)

    def _keep_made(self, made: tuple[str, NDArray[np.float64]] | None, left: int, top: int, scale: float) -> bool:
        if made is None:
            return False
        text, quad = made
        self.keep(text, QR.name, tuple((float(x) / scale + left, float(y) / scale + top) for x, y in quad))
        return True

    def _piece(self, corners: Corners, most: float, margin: float = 0.35) -> tuple[Grey, int, int, float]:
        """The picture around an outline at the size in which it is taken apart: pixels, left, top, scale.

        most: how much larger it may be made.  margin: what is added around, as a share of the outline.
        """
        points = np.array(corners)
        low, high = points.min(0), points.max(0)
        margin *= float((high - low).max())
        height, width = self.grey.shape
        left, top = (int(max(edge - margin, 0)) for edge in low)
        right, bottom = (int(edge + margin) + 1 for edge in high)
        piece = self.grey[top : min(bottom, height), left : min(right, width)]
        if min(piece.shape) < SMALLEST_PX:
            return piece, left, top, 1.0
        scale = min(_CLOSE_LOOK_PX / max(piece.shape), most)
        way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        return np.asarray(cv2.resize(piece, None, fx=scale, fy=scale, interpolation=way), np.uint8), left, top, scale

    def look_around(self, spot: Spot) -> Spot | None:
        """Look for the other finders around those that were seen, in a picture drawn larger.

        Returns the spot as it is seen now, None where nothing of it is seen or its symbol is read.
        """
        if self.over() or known(spot.symbol, self.symbols) or any(spot.same(other) for other in self._around):
            return None
        self._around.append(spot)
        piece, left, top, scale = self._piece(spot.corners, 6 / spot.module_px, 0.0)
        if min(piece.shape) < SMALLEST_PX:
            return None
        camera = self.camera.within(left, top, scale)
        window = round(9 * spot.module_px * scale)
        seen = None
        for light in (piece, remedies.shadows_lifted(piece)):
            finders = find(light, window, least=_FAINT_FINDER)
            sure = spots([finder for finder in finders if finder.score > SURE_FINDER], 1)
            seen = seen or (sure[0].moved(-left * scale, -top * scale, 1 / scale) if sure else None)
            for guess in (triples, partial(completed, light, camera=camera, over=self.over)):
                for triple in () if self.over() else guess(finders):
                    if self.over():
                        break
                    if self._keep_made(read_triple(light, triple, camera, self.over), left, top, scale):
                        return None
        for treated in (remedies.local_contrast(piece), remedies.halved(piece)):
            if not self.over():
                self.scan(treated, left=left, top=top, scale=scale * len(treated) / len(piece), outlines=False)
        if seen is None or known(seen.symbol, self.symbols):
            return None
        self.saw(seen.symbol, seen.module_px, rough=True)
        return seen

    def look_at_worn(self) -> None:
        """A label of ours that is glimpsed and too worn for its finder patterns to be found."""
        from kiosk.reader.glimpse import glimpse  # for one who holds up what stays unread

        outline = glimpse(self.grey)
        if outline is None or self.over() or known(outline.corners, self.symbols):
            return
        worn = worn_label(self.grey, outline.corners, self.over)
        if worn is not None:
            self.keep(worn[0], QR.name, worn[1])

    def look_at_unread(self) -> None:
        self.share_out(self._look_at, [outline.corners for outline in self.unread])

    def _look_at(self, corners: Corners) -> None:
        if not self.over() and not known(corners, self.symbols):
            self.look_closely(corners)

    def share_out(self, work: Callable[[Item], None], items: Sequence[Item]) -> None:
        """Do `work` on every item; in large pictures on two threads, as the libraries let go of Python's lock."""
        if self.grey.size < LARGE_PX or len(items) < 3:
            for item in items:
                work(item)
            return
        with ThreadPoolExecutor(2) as threads:
            for done in [threads.submit(work, item) for item in items]:
                done.result()


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
