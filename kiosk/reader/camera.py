"""One thread that keeps a source's newest frame and says how the source is doing.

The screen and the reader ask for the newest frame and for what changed; neither ever waits for a camera, and a
camera that hangs inside its driver hangs only here.  It must never hand over a frame older than one it handed
over before, nor show a standing picture as a live one: the same frame for three seconds is said.
"""

from __future__ import annotations

import logging
import threading
import time
import zlib
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.sources import Source, SourceError, Trouble

FROZEN_AFTER_S = 3.0
"""The same frame, or none, for this long is a frozen stream."""
REOPEN_AFTER_S = 10.0
"""A stream frozen this long is closed and opened again."""
FIRST_RETRY_S, LAST_RETRY_S = 0.5, 5.0
"""Waits between attempts to open a source: doubled from the first up to the last."""

log = logging.getLogger("kiosk.reader.camera")


class CameraState(Enum):
    """How the source is doing; the value is the message the screen shows."""

    STARTING = "camera.starting"
    LIVE = "camera.live"
    FROZEN = "camera.frozen"
    LOST = "camera.lost"
    BUSY = "camera.busy"
    MISSING = "camera.missing"
    UNUSABLE = "camera.unusable"
    ENDED = "camera.ended"
    STOPPED = "camera.stopped"


_AFTER = {
    Trouble.MISSING: CameraState.MISSING,
    Trouble.BUSY: CameraState.BUSY,
    Trouble.LOST: CameraState.LOST,
    Trouble.ENDED: CameraState.ENDED,
    Trouble.UNUSABLE: CameraState.UNUSABLE,
    Trouble.SKIPPED: CameraState.UNUSABLE,
}


@dataclass(frozen=True, slots=True)
class Change:
    """The source's state became `state` at `at_s`; `detail` is for the log and the curious."""

    state: CameraState
    source: str
    at_s: float
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame the right way up.

    image: (H, W, 3) blue-green-red; nobody may write into it.  number: counts up from 1.  at_s: by the
    camera's clock.  take: another number means another picture, not the same one a moment later.
    """

    image: NDArray[np.uint8]
    number: int
    at_s: float
    take: int


class Turn(Enum):
    """How far the mounted camera's picture must be turned clockwise to stand upright, degrees."""

    NONE = 0
    RIGHT = 90
    OVER = 180
    LEFT = 270


_ROTATION = {
    Turn.RIGHT: cv2.ROTATE_90_CLOCKWISE,
    Turn.OVER: cv2.ROTATE_180,
    Turn.LEFT: cv2.ROTATE_90_COUNTERCLOCKWISE,
}


def upright(image: NDArray[np.uint8], turn: Turn, mirrored: bool) -> NDArray[np.uint8]:
    """The picture as eyes would see it: a mirrored front camera's flipped back, then turned by its mounting."""
    if mirrored:
        image = np.asarray(cv2.flip(image, 1), dtype=np.uint8)
    if turn is not Turn.NONE:
        image = np.asarray(cv2.rotate(image, _ROTATION[turn]), dtype=np.uint8)
    return image


class Camera:
    """Keeps the newest frame of a source on a thread of its own.

    clock: seconds that only grow.  All methods return at once, except `wait` and `stop`, which are bounded by
    their own time limit.
    """

    def __init__(
        self,
        source: Source,
        turn: Turn = Turn.NONE,
        mirrored: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._source = source
        self._turn = turn
        self._mirrored = mirrored
        self._clock = clock
        self._stopping = threading.Event()
        self._fresh = threading.Condition()
        self._frame: Frame | None = None
        self._state = CameraState.STARTING
        self._moved_s = clock()
        self._mark: int | None = None
        self._retry_s = FIRST_RETRY_S
        self._changes: deque[Change] = deque(maxlen=64)
        self._thread = threading.Thread(target=self._run, name=f"camera {source.name}", daemon=True)

    def start(self) -> None:
        """Begin; once."""
        self._thread.start()

    def stop(self, limit_s: float = 2.0) -> bool:
        """End and say whether the thread is gone.  One stuck in a driver is left behind; it cannot hold exit."""
        self._stopping.set()
        with self._fresh:
            self._fresh.notify_all()
        if self._thread.is_alive():
            self._thread.join(limit_s)
        return not self._thread.is_alive()

    @property
    def state(self) -> CameraState:
        """How the source is doing now; notices by itself that frames stopped coming."""
        with self._fresh:
            self._notice_standstill()
            return self._state

    def changes(self) -> list[Change]:
        """What changed since the last call, oldest first."""
        with self._fresh:
            self._notice_standstill()
            told = list(self._changes)
            self._changes.clear()
        return told

    def newest(self, after: int = 0) -> Frame | None:
        """The newest frame, if its number is above `after`."""
        with self._fresh:
            frame = self._frame
        return frame if frame is not None and frame.number > after else None

    def wait(self, after: int, limit_s: float) -> Frame | None:
        """The newest frame with a number above `after`, waiting up to `limit_s` for it."""
        with self._fresh:
            self._fresh.wait_for(lambda: self._stopping.is_set() or self._number() > after, limit_s)
        return self.newest(after)

    def _number(self) -> int:
        return 0 if self._frame is None else self._frame.number

    def _say(self, state: CameraState, detail: str = "") -> None:
        """Note a change; the lock is held."""
        if state is not self._state:
            self._state = state
            self._changes.append(Change(state, self._source.name, self._clock(), detail))
            log.info("%s: %s %s", self._source.name, state.value, detail)

    def _notice_standstill(self) -> None:
        if self._state is CameraState.LIVE and self._source.live and self._still_s() >= FROZEN_AFTER_S:
            self._say(CameraState.FROZEN, "the same frame for 3 s")

    def _still_s(self) -> float:
        return self._clock() - self._moved_s

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._source.open()
                with self._fresh:
                    self._moved_s = self._clock()
                self._play()
            except SourceError as trouble:
                with self._fresh:
                    self._say(_AFTER[trouble.trouble], trouble.why)
                if trouble.trouble is Trouble.ENDED:
                    break
            except Exception as trouble:
                log.exception("%s", self._source.name)
                with self._fresh:
                    self._say(CameraState.LOST, str(trouble))
            finally:
                self._let_go()
            self._stopping.wait(self._retry_s)
            self._retry_s = min(2 * self._retry_s, LAST_RETRY_S)
        if self._stopping.is_set():
            with self._fresh:
                self._say(CameraState.STOPPED)

    def _play(self) -> None:
        """Keep frames until told to stop.  Raises SourceError."""
        while not self._stopping.is_set():
            try:
                self._take()
            except SourceError as trouble:
                if trouble.trouble is not Trouble.SKIPPED:
                    raise
                with self._fresh:
                    self._say(CameraState.UNUSABLE, trouble.why)

    def _let_go(self) -> None:
        try:
            self._source.close()
        except Exception:
            log.exception("closing %s", self._source.name)

    def _take(self) -> None:
        """Get one frame and keep it.  Raises SourceError."""
        shot = self._source.grab()
        # Every eighth row is enough: a sensor's noise changes all of them from frame to frame.
        mark = zlib.crc32(shot.image[::8].tobytes())
        image = upright(shot.image, self._turn, self._mirrored)
        image.flags.writeable = False
        with self._fresh:
            if mark != self._mark or not self._source.live:
                self._moved_s = self._clock()
                self._retry_s = FIRST_RETRY_S
                self._say(CameraState.LIVE)
            self._mark = mark
            self._notice_standstill()
            self._frame = Frame(image, self._number() + 1, self._clock(), shot.take)
            self._fresh.notify_all()
        if self._still_s() >= REOPEN_AFTER_S:
            raise SourceError(self._source.name, Trouble.LOST, "frozen for 10 s, opening it again")
