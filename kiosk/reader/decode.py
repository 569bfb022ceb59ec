"""From pixels to text: the cheapest pass first, stronger remedies while something is unread and time is left.

Nothing here guesses: a text is returned only when the symbol's own error correction confirmed it, and a budget
is kept even where a symbol stays unread.  Which remedies there are, and in which order, comes from the figures of
`python -m kiosk bench reader`.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.background import Background
from kiosk.reader.remedies import Grey
from kiosk.reader.runs import Level
from kiosk.reader.search import LARGE_PX, OTHERS, SMALLEST_PX, Search
from kiosk.reader.sweeps import (
    STRETCHED,
    VARIANTS,
    Glance,
    Remedy,
    contrast_glance,
    dots_glance,
    etched,
    etched_glance,
    every_way,
    glance,
    lifted_sweep,
    other_formats,
    plain_marks,
    sweep,
    tiled_sweep,
)
from kiosk.reader.symbols import Reading
from kiosk.reader.triples import Spot


def read(image: NDArray[np.uint8], budget_ms: float | None = 400) -> Reading:
    """Every symbol in a picture, (H, W) grey or (H, W, 3) blue-green-red.

    budget_ms: time that may be spent, None for as long as it takes.
    """
    search = Search(_grey(image), budget_ms)
    if min(search.grey.shape) < SMALLEST_PX:  # a drawing of a pixel a module at most
        if search.grey.size:
            every_way(search)
        return search.reading()
    search.scan(search.grey)
    always, in_need = _plan(search.grey)
    for remedy in always:
        if not search.over():
            remedy(search)
    for remedy in in_need:
        if not search.over() and (search.unread or not search.symbols):
            remedy(search)
    return search.reading()


def _plan(grey: Grey) -> tuple[Sequence[Remedy], Sequence[Remedy]]:
    """Remedies that every picture gets, and those for pictures in which something or everything is unread.

    Large pictures are searched piece by piece: what is small there would vanish in a smaller picture.
    """
    close, again, spots = Search.look_at_unread, Search.look_again, Search.look_at_spots
    if grey.size >= LARGE_PX:
        # what a look around left unread in a picture full of labels is spoilt; the rest is for pictures of one mark
        last = [_if_nothing_is_read(remedy) for remedy in (*STRETCHED, *VARIANTS, close)]
        return (close, other_formats, tiled_sweep, spots, again), (sweep, lifted_sweep, again, spots, *last)
    always = (other_formats, sweep, lifted_sweep, close, again, spots)
    worn = _if_nothing_is_read(Search.look_at_worn)
    return always, (*STRETCHED, _if_nothing_is_seen(etched), *VARIANTS, close, again, spots, every_way, etched, worn)


def _if_nothing_is_read(remedy: Remedy) -> Remedy:
    def in_need(search: Search) -> None:
        if not search.symbols:
            remedy(search)

    return in_need


def _if_nothing_is_seen(remedy: Remedy) -> Remedy:
    def in_need(search: Search) -> None:
        if not search.symbols and not search.unread and not search.suspected:
            remedy(search)

    return in_need


class LiveReader:
    """Reads a stream: every frame gets the base pass and one remedy, the next frame the next remedy.

    A label seen but not read is taken apart while the frame's budget lasts, and looked for in the next frame where
    it was in this one.  Only what differs from a still background is searched (`background`).
    """

    def __init__(self, budget_ms: float = 150) -> None:
        self.budget_ms = budget_ms
        self._turn = 0
        self._seen: list[Spot] = []
        self._keen_frames = 0
        self._background = Background(2 * len(_TURNS))

    def next(self, frame: NDArray[np.uint8], keen: bool = False) -> Reading:
        """What this frame shows, (H, W) grey or (H, W, 3) blue-green-red.

        keen: somebody holds a label up that stays unread: all of the frame is searched, however still it is.
        """
        grey = _grey(frame)
        if min(grey.shape) < SMALLEST_PX:
            return Search(grey, self.budget_ms).reading()
        part = self._background.differs(grey)
        if part is None and not keen:
            self._seen = []
            return Reading((), (), 0.0, still=True)
        whole = part is None or keen or bool(self._seen)
        reading = self._search(Search(grey, self.budget_ms, None if whole else part), keen)
        self._background.searched(bool(reading.unread or self._seen), keen or bool(reading.symbols))
        return reading

    def _search(self, search: Search, keen: bool) -> Reading:
        search.scan(search.grey)
        self._keen_frames = self._keen_frames + 1 if keen else 0
        if self._keen_frames % _WORN_EVERY == 1 and not search.symbols:
            search.look_at_worn()  # first: it takes half of a frame's time
        if not search.symbols:
            search.look_at_unread()
        if not search.symbols:
            self._seen = [now for spot in self._seen if (now := search.look_around(spot)) is not None]
        if not search.symbols and not search.over():
            near = _TURNS[self._turn % len(_TURNS)](search) or ()
            self._seen += [spot.moved(-search.left, -search.top, 1) for spot in near]
            self._turn += 1
        if search.symbols:
            self._seen = []
        return search.reading()


_WORN_EVERY = 3  # frames that somebody holds up what stays unread
_TURNS: tuple[Remedy | Glance, ...] = (
    glance(Level.MEAN),
    glance(Level.MIDDLE),
    plain_marks(OTHERS[:1]),
    glance(Level.MEAN),
    contrast_glance,
    plain_marks(OTHERS[1:]),
    glance(Level.MIDDLE),
    dots_glance(0.75),
    glance(Level.MEAN),
    dots_glance(0.375),
    etched_glance,
)


def _grey(image: NDArray[np.uint8]) -> Grey:
    if image.ndim == 2 or not image.size:
        return np.ascontiguousarray(image)
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)
