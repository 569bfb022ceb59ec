"""Pictures from telephones: refused by size before anything is unpacked, read on two threads and never in a queue.

Of a telephone's live frames only the newest is read; those of all telephones take turns on one thread, so that ten of
them cost no more of the processor than one reader can.  Single pictures, which take longer, have a thread beside it.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.damage import Looks
from kiosk.reader.decode import LiveReader, read
from kiosk.reader.files import photograph
from kiosk.reader.stream import Aim, Help, Seen, Tracker
from kiosk.reader.symbols import Corners, Reading, Symbol
from kiosk.reader.wear import worn

MOST_FRAME_BYTES = 2_000_000
MOST_FRAME_PIXELS = 2_100_000  # 1920 x 1080
MOST_PICTURE_BYTES = 16_000_000
MOST_PICTURE_PIXELS = 26_000_000
FRAME_MS = 150.0
SINGLE_MS = 700.0
DRAWER_MS = 2500.0
MOST_WAITING = 4  # single pictures, of all telephones


class Busy(Exception):
    """Too many pictures wait already."""


class Overtaken(Exception):
    """A newer frame of the same telephone has come."""


@dataclass(frozen=True, slots=True)
class Glance:
    """What one live frame told.  corners: of the label in view, in pixels of a frame of `size`; texts: that are new.

    spent: share of its error correction that damage takes, of labels of which that is known now.
    """

    size: tuple[int, int]
    corners: Corners | None
    read: bool
    hint: str
    texts: tuple[str, ...]
    spent: dict[str, float] = field(default_factory=dict)


class _Live:
    """One telephone's stream."""

    def __init__(self) -> None:
        self.reader, self.tracker, self.looks = LiveReader(FRAME_MS), Tracker(), Looks()
        self.aim: Aim | None = None
        self.hint = ""

    def look(self, data: bytes) -> Glance:
        image = photograph(data, MOST_FRAME_PIXELS)
        reading, texts, at_s = self.reader.next(image), [], time.monotonic()
        spent = {each.text: each.spent for each in self.looks.feed(reading, image, at_s)}
        for event in self.tracker.feed(reading, image, at_s):
            match event:
                case Seen(text=text):
                    texts.append(text)
                case Aim():
                    self.aim = event
                case Help(hint=hint):
                    self.hint = hint.value if hint else ""
        size = (int(image.shape[1]), int(image.shape[0]))
        corners = self.aim.corners if self.aim else None
        return Glance(size, corners, bool(self.aim and self.aim.read), self.hint, tuple(texts), spent)


Waits = asyncio.Future[Any]
Frame = tuple[bytes, Waits]
Work = tuple[Callable[[], object], Waits]


class Pictures:
    """Readers of pictures for one event loop."""

    def __init__(self) -> None:
        cv2.setNumThreads(1)
        self._live: dict[str, _Live] = {}
        self._frames: dict[str, Frame] = {}  # the newest of each telephone, in the order they came
        self._work: list[Work] = []
        self._loop = asyncio.get_running_loop()
        self._there = threading.Condition()
        for name, run in (("frames", self._read_frames), ("pictures", self._read_pictures)):
            threading.Thread(target=run, name=name, daemon=True).start()

    async def glance(self, phone: str, data: bytes) -> Glance:
        """What a live frame shows.  Raises PictureError, Overtaken."""
        future: Waits = self._loop.create_future()
        with self._there:
            before = self._frames.get(phone)
            self._frames[phone] = (data, future)
            self._there.notify_all()
        if before is not None:
            _settle(before[1], Overtaken())
        found: Glance = await future
        return found

    async def labels(self, data: bytes) -> tuple[tuple[Symbol, ...], tuple[int, int]]:
        """The labels in a single picture, the middlemost first, and its size.  Raises PictureError, Busy."""
        reading, size = await self._picture(data, SINGLE_MS)
        middle = size[0] / 2, size[1] / 2

        def away(symbol: Symbol) -> float:
            x, y = symbol.centre
            return (x - middle[0]) ** 2 + (y - middle[1]) ** 2

        return tuple(sorted(reading.symbols, key=away)), size

    async def drawer(self, data: bytes) -> tuple[Reading, tuple[int, int]]:
        """Everything in a drawer's photograph, and its size.  Raises PictureError, Busy."""
        return await self._picture(data, DRAWER_MS)

    async def _picture(self, data: bytes, budget_ms: float) -> tuple[Reading, tuple[int, int]]:
        def work() -> tuple[Reading, tuple[int, int]]:
            image: NDArray[np.uint8] = photograph(data, MOST_PICTURE_PIXELS)
            return worn(image, read(image, budget_ms)), (int(image.shape[1]), int(image.shape[0]))

        future: Waits = self._loop.create_future()
        with self._there:
            if len(self._work) >= MOST_WAITING:
                raise Busy
            self._work.append((work, future))
            self._there.notify_all()
        found: tuple[Reading, tuple[int, int]] = await future
        return found

    def forget(self, phones: set[str]) -> None:
        """Only these telephones are left."""
        with self._there:
            self._live = {phone: live for phone, live in self._live.items() if phone in phones}

    def _read_frames(self) -> None:
        while True:
            with self._there:
                while not self._frames:
                    self._there.wait()
                phone = next(iter(self._frames))
                data, future = self._frames.pop(phone)
                live = self._live.setdefault(phone, _Live())
            self._answer(future, partial(live.look, data))

    def _read_pictures(self) -> None:
        while True:
            with self._there:
                while not self._work:
                    self._there.wait()
                work, future = self._work.pop(0)
            self._answer(future, work)

    def _answer(self, future: Waits, work: Callable[[], object]) -> None:
        try:
            answer = work()
        except Exception as error:
            self._loop.call_soon_threadsafe(_settle, future, error)
        else:
            self._loop.call_soon_threadsafe(_settle, future, answer)


def _settle(future: Waits, answer: object) -> None:
    if future.done():  # whoever asked is gone
        return
    if isinstance(answer, Exception):
        future.set_exception(answer)
    else:
        future.set_result(answer)
