"""Pictures of labels that nobody could read or that were refused, kept on disk for a supervisor: a ring of fifty.

The oldest goes when another comes.  A picture shows the place where a label was and nothing else
(`unread.place_of`), its folder and file are their owner's alone, and nothing here is ever waited for: `Keeper` writes
on a thread of its own, lets a picture go where it is behind, and a disk that is full or gone is a line in the log and
no more.
"""

from __future__ import annotations

import logging
import os
import queue
import re
import stat
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk import filing
from kiosk.reader.symbols import Corners
from kiosk.reader.unread import place_of

FOLDER = "unread"
"""Of the data folder."""
MOST = 50
"""Pictures that are kept."""
EVERY_S = 10.0
"""Labels that stay unread are kept this far apart at least: a poster taken for a label does not push out the others."""
REMEMBERED_S = 10.0
"""A label that was read is remembered for so long, in case it is refused; of so many labels at most:"""
_REMEMBERED = 8
_WAITING = 4  # pictures that wait for the disk; more are let go
_FILE_MODE, _FOLDER_MODE = 0o600, 0o700
_QUALITY = 92  # of JPEG: what the reader sees in it is what it saw in the frame
_NAME = re.compile(r"(\d{6,12})-(\d{8}T\d{6})Z-(unread|refused)\.jpg", re.ASCII)

log = logging.getLogger("kiosk.reader.kept")


class Why(StrEnum):
    """Why a picture was kept: its label stayed unread, or was read and refused."""

    UNREAD = "unread"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Kept:
    """One picture.  number: counts up.  at_s: Unix time.  size_bytes: on disk."""

    number: int
    at_s: float
    why: Why
    path: Path
    size_bytes: int


class Ring:
    """The pictures in one folder, `most` of them at most."""

    def __init__(self, folder: Path, most: int = MOST) -> None:
        self.folder = folder
        self.most = most

    def pictures(self) -> list[Kept]:
        """What is kept, oldest first; files that are none of ours are left out.  Raises OSError."""
        found = []
        try:
            names = os.listdir(self.folder)
        except FileNotFoundError:
            return []
        for name in names:
            if (said := _NAME.fullmatch(name)) is None:
                continue
            with suppress(OSError, ValueError):  # gone meanwhile, or a day no calendar has
                there = (self.folder / name).lstat()
                if stat.S_ISREG(there.st_mode):
                    at_s = datetime.strptime(said[2], "%Y%m%dT%H%M%S").replace(tzinfo=UTC).timestamp()
                    found.append(Kept(int(said[1]), at_s, Why(said[3]), self.folder / name, there.st_size))
        return sorted(found, key=lambda kept: kept.number)

    def keep(self, picture: NDArray[np.uint8], why: Why, at_s: float) -> Path:
        """Writes a picture, (H, W) or (H, W, 3), and removes the oldest beyond `most`.  Raises OSError.

        at_s: Unix time.
        """
        self._make_folder()
        there = self.pictures()
        number = there[-1].number + 1 if there else 1
        said = datetime.fromtimestamp(at_s, UTC).strftime("%Y%m%dT%H%M%S")
        ok, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
        if not ok:
            raise OSError(f"{picture.shape} is no picture")
        path = filing.write(self.folder / f"{number:06d}-{said}Z-{why.value}.jpg", data.tobytes(), _FILE_MODE)
        for old in there[: max(len(there) + 1 - self.most, 0)]:
            with suppress(OSError):
                old.path.unlink()
        return path

    def clear(self) -> int:
        """Removes all of them; how many they were.  Raises OSError."""
        there = self.pictures()
        for kept in there:
            kept.path.unlink(missing_ok=True)
        return len(there)

    def _make_folder(self) -> None:
        if self.folder.is_symlink():
            raise OSError(f"{self.folder} leads elsewhere; pictures are kept in the data folder only")
        self.folder.mkdir(mode=_FOLDER_MODE, parents=True, exist_ok=True)
        if stat.S_IMODE(self.folder.stat().st_mode) != _FOLDER_MODE:
            self.folder.chmod(_FOLDER_MODE)


class Keeper:
    """Keeps pictures without ever being waited for.  `on`: off, it keeps nothing.

    clock: Unix time.  steady: seconds that only grow.
    """

    def __init__(
        self, ring: Ring, clock: Callable[[], float] = time.time, steady: Callable[[], float] = time.monotonic
    ) -> None:
        self.on = True
        self._ring = ring
        self._clock = clock
        self._steady = steady
        self._waiting: queue.Queue[tuple[NDArray[np.uint8], Why, float] | None] = queue.Queue(_WAITING)
        self._remembered: dict[str, tuple[NDArray[np.uint8], float]] = {}
        self._lock = threading.Lock()
        self._unread_s: float | None = None
        self._thread: threading.Thread | None = None

    def saw(self, text: str, image: NDArray[np.uint8], corners: Corners) -> None:
        """A label was read here: its place is remembered a little, in case it is refused."""
        if not self.on:
            return
        place = place_of(image, corners)
        now_s = self._steady()
        with self._lock:
            self._remembered.pop(text, None)
            if place is not None:
                self._remembered[text] = (place, now_s)
            while len(self._remembered) > _REMEMBERED:
                del self._remembered[next(iter(self._remembered))]

    def refused(self, text: str) -> None:
        """The label that said this was refused: what was seen of it is kept.  Once for each time it was seen."""
        with self._lock:
            place, seen_s = self._remembered.pop(text, (None, 0.0))
        if place is not None and self._steady() - seen_s < REMEMBERED_S:
            self._put(place, Why.REFUSED)

    def unread(self, place: NDArray[np.uint8]) -> None:
        """A label went out of view unread; `place` is what was last seen of it."""
        now_s = self._steady()
        if self._unread_s is None or now_s - self._unread_s >= EVERY_S:
            self._unread_s = now_s
            self._put(place, Why.UNREAD)

    def stop(self, limit_s: float = 2.0) -> bool:
        """Write what waits and end; waits at most `limit_s`.  Whether the thread is gone."""
        thread = self._thread
        if thread is None:
            return True
        with suppress(queue.Full):
            self._waiting.put(None, timeout=limit_s)
        thread.join(limit_s)
        return not thread.is_alive()

    def _put(self, place: NDArray[np.uint8], why: Why) -> None:
        if not self.on:
            return
        with self._lock:
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._run, name="keeping pictures", daemon=True)
                self._thread.start()
        with suppress(queue.Full):  # a disk that is this far behind gets no more
            self._waiting.put_nowait((place, why, self._clock()))

    def _run(self) -> None:
        while (item := self._waiting.get()) is not None:
            try:
                self._ring.keep(*item)
            except Exception as trouble:  # whatever the disk does, nobody at the kiosk is told
                log.info("a picture was not kept: %s", trouble)
