"""From the newest frame to what the desk should know: a code was seen, where it is, what would help.

One thread reads; a code that stays in view counts once and counts again after it left.  It must never queue
frames: while one is read all but the newest are dropped, so that what is reported is what the camera sees now.
Whether a code means anything is not its business.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.camera import Frame
from kiosk.reader.damage import Damage, Looks
from kiosk.reader.hints import Hint, advise, measure
from kiosk.reader.patience import Patience, Sight
from kiosk.reader.symbols import Corners, Reading
from kiosk.reader.unread import Leaving

REARM_S = 2.0
"""Out of view for this long, the same code counts again."""
CHANGED_S = 0.4
"""Out of view for this long when another code comes, the first counts again at once."""
LOOK_EVERY_S, LOOK_AGAIN_S = 0.2, 0.1
"""As often, in frames in which nothing was read, a label is looked for that the reader could not even locate; and
again so soon after one was seen."""
TELL_AGAIN_S = 0.3
"""An aim that stands still is told again after so long: the screen lets go of what it hears nothing of."""
FORGET_S = 0.5
"""An aim outlives the last sight of its label by this long, so that it does not flicker."""

log = logging.getLogger("kiosk.reader.stream")


@dataclass(frozen=True, slots=True)
class Seen:
    """A code came into view.  corners in pixels of a frame of `frame_size` (width, height)."""

    text: str
    format: str
    corners: Corners
    frame_size: tuple[int, int]
    at_s: float


@dataclass(frozen=True, slots=True)
class Aim:
    """Where the aiming frame should close in, None where nothing is seen; `read`: the label there was read."""

    corners: Corners | None
    read: bool
    frame_size: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Help:
    """What would help with the label in view; None when nothing needs help any more."""

    hint: Hint | None


Event = Seen | Aim | Help | Damage


class Tracker:
    """Decides what of each frame's reading is news.  Pure: time comes with the frames."""

    def __init__(self, rearm_s: float = REARM_S) -> None:
        self._rearm_s = rearm_s
        self._last_s: dict[str, float] = {}
        self._take = 0
        self._aim: Aim | None = None
        self._aimed_s = self._told_s = 0.0
        self._patience = Patience()
        self._looked_s: float | None = None

    def feed(self, reading: Reading, image: NDArray[np.uint8], at_s: float, take: int = 0) -> tuple[Event, ...]:
        """The news of one frame.  at_s grows from call to call; another `take` is another picture."""
        size = (int(image.shape[1]), int(image.shape[0]))
        events: list[Event] = list(self._codes(reading, size, at_s, take))
        hint = self._patience.hint
        if reading.symbols:
            self._patience.read(at_s)
        elif reading.still:
            self._patience.look(None, at_s)
        elif self._looked_s is None or at_s - self._looked_s >= self._pause_s(reading):
            self._looked_s = at_s
            self._patience.look(_sight(reading, image, at_s, self._patience.latest), at_s)
        events += self._aiming(reading, size, at_s)
        if self._patience.hint is not hint:
            events.append(Help(self._patience.hint))
        return tuple(events)

    @property
    def keen(self) -> bool:
        """Whether a label is in view that stays unread, or may be."""
        return self._patience.hint is not None or self._patience.curious

    def unread(self, at_s: float) -> Corners | None:
        """Where the frame of that time, the last one, shows a label that has stayed unread long enough for a hint."""
        sight = self._patience.confirmed
        return sight.corners if sight is not None and self._patience.hint and self._looked_s == at_s else None

    def _pause_s(self, reading: Reading) -> float:
        return LOOK_AGAIN_S if reading.unread or self._patience.curious else LOOK_EVERY_S

    def _codes(self, reading: Reading, size: tuple[int, int], at_s: float, take: int) -> list[Seen]:
        if take != self._take:
            self._take = take
            self._last_s.clear()
        self._last_s = {text: last for text, last in self._last_s.items() if at_s - last < self._rearm_s}
        here = {symbol.text for symbol in reading.symbols}
        news = [symbol for symbol in reading.symbols if symbol.text not in self._last_s]
        if news:
            self._last_s = {
                text: last for text, last in self._last_s.items() if text in here or at_s - last < CHANGED_S
            }
        seen = {symbol.text: Seen(symbol.text, symbol.format, symbol.corners, size, at_s) for symbol in reversed(news)}
        self._last_s.update((text, at_s) for text in here)
        return list(reversed(seen.values()))

    def _aiming(self, reading: Reading, size: tuple[int, int], at_s: float) -> list[Aim]:
        if reading.symbols:
            aim = Aim(_middlemost([s.corners for s in reading.symbols], size), True, size)
        elif reading.unread:
            aim = Aim(_middlemost([o.corners for o in reading.unread], size), False, size)
        elif self._patience.confirmed is not None:
            aim = Aim(self._patience.confirmed.corners, False, size)
        elif self._aim is not None and self._aim.corners is not None and at_s - self._aimed_s < FORGET_S:
            return []
        else:
            aim = Aim(None, False, size)
        if aim.corners is not None:
            self._aimed_s = at_s
        if aim == self._aim and (aim.corners is None or at_s - self._told_s < TELL_AGAIN_S):
            return []
        self._aim, self._told_s = aim, at_s
        return [aim]


def _sight(reading: Reading, image: NDArray[np.uint8], at_s: float, before: Sight | None) -> Sight | None:
    """The unread label of a frame, if one is seen: afresh, else where the reader located it or it was `before`."""
    from kiosk.reader.glimpse import glimpse, still_there  # on the reader's thread, once there is a frame to look at

    grey = np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8) if image.ndim == 3 else image
    glimpsed = [seen for part in reading.parts or (None,) if (seen := glimpse(grey, part)) is not None]
    found = max(glimpsed, key=lambda outline: _area(outline.corners), default=None)
    located = max(reading.unread, key=lambda outline: _area(outline.corners), default=None)
    outline = found or located or (still_there(grey, before.corners) if before is not None else None)
    if outline is None:
        return None
    if located is not None and not located.rough and _area(located.corners) > 2 * _area(outline.corners):
        outline = located  # what was glimpsed is a part of it
    return Sight(outline.corners, advise(measure(grey, outline)), at_s)


def _middlemost(places: list[Corners], size: tuple[int, int]) -> Corners:
    def away(corners: Corners) -> float:
        x = sum(p[0] for p in corners) / len(corners) - size[0] / 2
        y = sum(p[1] for p in corners) / len(corners) - size[1] / 2
        return x * x + y * y

    return min(places, key=away)


def _area(corners: Corners) -> float:
    turned = corners[1:] + corners[:1]
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(corners, turned, strict=True))) / 2


class Frames(Protocol):
    """What the reader thread needs of a camera."""

    def wait(self, after: int, limit_s: float) -> Frame | None:
        """The newest frame with a number above `after`, waiting up to `limit_s` for it."""


class Reads(Protocol):
    """What the reader thread needs of a reader."""

    def next(self, frame: NDArray[np.uint8], keen: bool) -> Reading:
        """What this frame shows.  keen: a label is held up that stays unread."""


class Keeps(Protocol):
    """What the reader thread needs of whoever keeps pictures of labels; neither may block."""

    def saw(self, text: str, image: NDArray[np.uint8], corners: Corners) -> None:
        """A label came into view and was read."""

    def unread(self, place: NDArray[np.uint8]) -> None:
        """A label went out of view unread; what was last seen of it."""


class Stream:
    """Reads a camera's newest frames on a thread of its own and posts what is new.

    post: called on this thread with each event; it must not block and must not raise.  keeper: gets the places of
    labels that were not read, or may yet be refused.
    """

    def __init__(
        self, camera: Frames, reader: Reads, post: Callable[[Event], None], keeper: Keeps | None = None
    ) -> None:
        self._camera = camera
        self._reader = reader
        self._post = post
        self._tracker = Tracker()
        self._keeper = keeper
        self._leaving = Leaving()
        self._looks = Looks()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="reader", daemon=True)

    def start(self) -> None:
        """Begin; once."""
        self._thread.start()

    def stop(self, limit_s: float = 2.0) -> bool:
        """End and say whether the thread is gone; waits for the frame in work, at most `limit_s`."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(limit_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        number = 0
        while not self._stopping.is_set():
            frame = self._camera.wait(number, 0.2)
            if frame is None:
                # A stopped camera answers at once; do not spin on it.
                time.sleep(0.02)
                continue
            number = frame.number
            try:
                reading = self._reader.next(frame.image, self._tracker.keen)
                events = self._tracker.feed(reading, frame.image, frame.at_s, frame.take)
                if self._keeper is not None:
                    self._keep(self._keeper, frame, reading, events)
            except Exception:
                # One frame that upsets the reader must not end the day's scanning.
                log.exception("frame %d could not be read", number)
                continue
            for event in events:
                self._post(event)
            self._look(reading, frame)

    def _look(self, reading: Reading, frame: Frame) -> None:
        """How damaged a label is can wait until what it says was told."""
        try:
            found = self._looks.feed(reading, frame.image, frame.at_s)
        except Exception:
            log.exception("how damaged a label is could not be seen in frame %d", frame.number)
            return
        for each in found:
            self._post(each)

    def _keep(self, keeper: Keeps, frame: Frame, reading: Reading, events: tuple[Event, ...]) -> None:
        for event in events:
            if isinstance(event, Seen):
                keeper.saw(event.text, frame.image, event.corners)
        unread = self._tracker.unread(frame.at_s)
        left = self._leaving.feed(bool(reading.symbols), unread, frame.image, frame.at_s)
        if left is not None:
            keeper.unread(left)
