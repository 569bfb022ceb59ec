"""From pixels to text: the cheapest pass first, stronger remedies while something is unread and time is left.

Nothing here guesses: a text is returned only when the symbol's own error correction confirmed it, and a budget
is kept even where a symbol stays unread.  Which remedies there are, and in which order, comes from the figures of
`python -m kiosk bench reader`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.background import Background, with_part
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
from kiosk.reader.symbols import Part, Reading
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
    # a close look at what all three finders mark reads more, in the same time, than other light does
    always = (other_formats, sweep, close, again, lifted_sweep, close, again, spots)
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

        keen: somebody holds a label up that stays unread: where nothing changed all of the frame is searched.
        """
        grey = _grey(frame)
        if min(grey.shape) < SMALLEST_PX:
            return Search(grey, self.budget_ms).reading()
        whole = Part(0, 0, grey.shape[1], grey.shape[0])
        parts = self._background.differs(grey)
        if not parts and not keen:
            self._seen = []
            return Reading((), (), 0.0, parts=())
        parts = self._with_seen(parts, whole) if parts else (whole,)
        readings = self._searched(grey, parts, keen)
        symbols = tuple(chain.from_iterable(reading.symbols for reading in readings))
        unread = tuple(chain.from_iterable(reading.unread for reading in readings))
        if symbols:
            self._seen = []
        self._background.searched(bool(unread or self._seen), keen or bool(symbols))
        spent = sum(reading.ms for reading in readings)
        return Reading(symbols, unread, spent, None if parts == (whole,) else parts)

    def _with_seen(self, parts: Sequence[Part], whole: Part) -> tuple[Part, ...]:
        """The parts, and the places where some of a label was seen in the frame before."""
        for spot in self._seen:
            (left, top), _, (right, bottom), _ = spot.corners
            low, high = (max(int(left), 0), max(int(top), 0)), (int(right) + 1, int(bottom) + 1)
            around = Part(*low, min(high[0], whole.right), min(high[1], whole.bottom))
            if around.left < around.right and around.top < around.bottom:
                parts = with_part(parts, around)
        return tuple(parts)

    def _searched(self, grey: Grey, parts: Sequence[Part], keen: bool) -> list[Reading]:
        """A reading of each part, with what the parts before left of the budget; once a label is read, no remedies."""
        self._keen_frames = self._keen_frames + 1 if keen else 0
        seen, self._seen = self._seen, []
        readings: list[Reading] = []
        turned = False
        for part in parts:
            search = Search(grey, self.budget_ms - sum(reading.ms for reading in readings), part)
            search.scan(search.grey)
            if not any(reading.symbols for reading in readings):
                turned |= self._remedied(search, [spot for spot in seen if _within(spot, part)])
            readings.append(search.reading())
        self._turn += turned
        return readings

    def _remedied(self, search: Search, seen: Sequence[Spot]) -> bool:
        """Everything that may be tried while nothing is read.  Returns whether the turn's remedy was.

        seen: what of labels was seen here in the frame before, pixels of the frame.
        """
        if self._keen_frames % _WORN_EVERY == 1 and not search.symbols:
            search.look_at_worn()  # first: it takes half of a frame's time
        if not search.symbols:
            search.look_at_unread()
        near: list[Spot] = []
        if not search.symbols:
            here = [spot.moved(search.left, search.top, 1) for spot in seen]
            near += [now for spot in here if (now := search.look_around(spot)) is not None]
        turn = not search.symbols and not search.over()
        if turn:
            near += self._remedy()(search) or ()
        self._seen += [spot.moved(-search.left, -search.top, 1) for spot in near]
        return turn

    def _remedy(self) -> Remedy | Glance:
        """The turn's; what moves has no more than every second look for a mark in steel, which costs most by far."""
        cycle, place = divmod(self._turn, len(_TURNS))
        remedy = _TURNS[place]
        return _TURNS[0] if remedy is etched_glance and self._background.moves and cycle % 2 else remedy


def _within(spot: Spot, part: Part) -> bool:
    x, y = spot.middle
    return bool(part.left <= x < part.right and part.top <= y < part.bottom)


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
