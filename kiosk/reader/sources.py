"""Where frames come from: a camera, a picture, a folder of pictures that plays like a camera, a video file.

A source opens, hands over one frame after the other and closes; it runs on the camera's thread and never on
the screen's.  It must never invent a frame: what cannot be opened or goes away is a SourceError that says
which way it failed.  Device names come from the kernel (video4linux) where there is one, else from probing.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import NamedTuple, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.files import PICTURES, PictureError, frames, load, pictures_in

VIDEOS = frozenset({".avi", ".mkv", ".mov", ".mp4", ".mpg", ".webm"})
STILL_RATE_S = 0.1
"""How often a picture is handed over again while it is shown, seconds."""


class Trouble(Enum):
    """How a source failed.  After SKIPPED alone it may be asked for the next frame without opening it anew."""

    MISSING = "missing"
    BUSY = "busy"
    LOST = "lost"
    ENDED = "ended"
    UNUSABLE = "unusable"
    SKIPPED = "skipped"


class SourceError(Exception):
    """A source that gives no frame.  `source` is its name, `trouble` the way it failed, `why` in plain words."""

    def __init__(self, source: str, trouble: Trouble, why: str) -> None:
        super().__init__(f"{source}: {why}")
        self.source = source
        self.trouble = trouble
        self.why = why


class Shot(NamedTuple):
    """One frame as it came.  image: (H, W, 3) blue-green-red.  take: counts up where a still follows another."""

    image: NDArray[np.uint8]
    take: int


class Source(Protocol):
    """What the camera thread needs.  `live`: a stream whose frames all differ, so equal frames mean frozen."""

    name: str
    live: bool

    def open(self) -> None:
        """Get ready.  Raises SourceError."""

    def grab(self) -> Shot:
        """The next frame; waits for it.  Raises SourceError."""

    def close(self) -> None:
        """Let go of everything; harmless when not open."""


@dataclass(frozen=True, slots=True)
class Controls:
    """What to do with a camera's automatics: left alone unless locked.

    A locked value of None keeps what the camera has at that moment; values are in the driver's own units.
    """

    lock_exposure: bool = False
    exposure: float | None = None
    lock_focus: bool = False
    focus: float | None = None


FRAME_SIZES = ((640, 480), (1280, 720), (1920, 1080), (2560, 1440), (3840, 2160))
"""What cameras commonly offer, width and height in pixels, smallest first."""
COMFORTABLE_MODULE_PX = 3.0
"""Pixels a module should get: two are the limit of sampling, a third pays for blur, tilt and noise."""
LABEL_MODULES = 29
"""A version 1 symbol with its quiet zone (ISO/IEC 18004)."""


def frame_size(label_mm: float, distance_mm: float, hfov_deg: float) -> tuple[int, int]:
    """The smallest common frame, (width, height) px, that shows a label's modules comfortably.

    label_mm: width with quiet zone.  distance_mm: farthest the label is held away.  hfov_deg: the camera's
    horizontal angle.  The largest common frame where even that is too small.  Raises ValueError for lengths
    not above 0 or an angle outside 0..180.
    """
    if label_mm <= 0 or distance_mm <= 0 or not 0 < hfov_deg < 180:
        raise ValueError(
            f"no frame size for a {label_mm} mm label at {distance_mm} mm and {hfov_deg} degrees"
        )
    seen_mm = 2 * distance_mm * math.tan(math.radians(hfov_deg) / 2)
    needed_px = COMFORTABLE_MODULE_PX * seen_mm / (label_mm / LABEL_MODULES)
    return next((size for size in FRAME_SIZES if size[0] >= needed_px), FRAME_SIZES[-1])


class CameraName(NamedTuple):
    """A camera to choose from; `number` is what `--camera` takes."""

    number: int
    name: str


def list_cameras(kernel: Path = Path("/sys/class/video4linux"), probed: int = 4) -> list[CameraName]:
    """The cameras of this computer by index.

    On Linux from the kernel's own list, which opens nothing; elsewhere the first `probed` indices are tried,
    which takes seconds and must not happen on the screen's thread.
    """
    if sys.platform.startswith("linux"):
        return sorted(_kernel_cameras(kernel))
    found = []
    for index in range(probed):
        device = cv2.VideoCapture(index)
        if device.isOpened():
            found.append(CameraName(index, f"Camera {index}"))
        device.release()
    return found


def _kernel_cameras(kernel: Path) -> Iterator[CameraName]:
    for node in kernel.glob("video*"):
        digits = node.name.removeprefix("video")
        try:
            # A camera's second node carries metadata only and gives no frames.
            if digits.isdigit() and (node / "index").read_text().strip() == "0":
                yield CameraName(int(digits), (node / "name").read_text().strip())
        except OSError:
            continue  # unplugged while we were looking


class Device:
    """A camera of this computer.

    which: its number, its name, or "" for the first one there is.  A name is looked up each time it is opened,
    because a camera that was unplugged may come back under another number.
    """

    live = True

    def __init__(
        self, which: int | str = "", size: tuple[int, int] = (1280, 720), controls: Controls | None = None
    ) -> None:
        self.name = f"camera {which}" if which != "" else "camera"
        self._which = which
        self._size = size
        self._controls = controls or Controls()
        self._video: cv2.VideoCapture | None = None

    def _number(self) -> int:
        """The camera's number now.  Raises SourceError."""
        if isinstance(self._which, int):
            if sys.platform.startswith("linux") and not Path(f"/dev/video{self._which}").exists():
                raise SourceError(self.name, Trouble.MISSING, "no such camera is plugged in")
            return self._which
        for camera in list_cameras():
            if self._which in ("", camera.name):
                return camera.number
        raise SourceError(self.name, Trouble.MISSING, "no such camera is plugged in")

    def open(self) -> None:
        number = self._number()
        video = cv2.VideoCapture(number)
        if not video.isOpened():
            video.release()
            if sys.platform.startswith("linux"):
                raise SourceError(
                    self.name, Trouble.BUSY, "another program holds the camera, or it may not be used"
                )
            raise SourceError(self.name, Trouble.MISSING, "no such camera is plugged in")
        # Without packing, USB cameras give this size at a few frames a second only.
        video.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
        video.set(cv2.CAP_PROP_FRAME_WIDTH, self._size[0])
        video.set(cv2.CAP_PROP_FRAME_HEIGHT, self._size[1])
        video.set(cv2.CAP_PROP_BUFFERSIZE, 1)
        self._lock(video)
        # Drivers let a second program open a camera and refuse only its first frame.
        if not video.read()[0]:
            video.release()
            raise SourceError(
                self.name, Trouble.BUSY, "the camera gives no picture; another program may hold it"
            )
        self._video = video

    def _lock(self, video: cv2.VideoCapture) -> None:
        wanted = self._controls
        if wanted.lock_exposure:
            value = video.get(cv2.CAP_PROP_EXPOSURE) if wanted.exposure is None else wanted.exposure
            # Manual is 1 for video4linux and a quarter for the other drivers.
            video.set(cv2.CAP_PROP_AUTO_EXPOSURE, 1 if sys.platform.startswith("linux") else 0.25)
            video.set(cv2.CAP_PROP_EXPOSURE, value)
        if wanted.lock_focus:
            value = video.get(cv2.CAP_PROP_FOCUS) if wanted.focus is None else wanted.focus
            video.set(cv2.CAP_PROP_AUTOFOCUS, 0)
            video.set(cv2.CAP_PROP_FOCUS, value)

    def grab(self) -> Shot:
        if self._video is None:
            raise SourceError(self.name, Trouble.LOST, "the camera is not open")
        ok, image = self._video.read()
        if not ok or image is None:
            raise SourceError(self.name, Trouble.LOST, "the camera stopped answering")
        return Shot(np.asarray(image, dtype=np.uint8), 0)

    def close(self) -> None:
        if self._video is not None:
            self._video.release()
            self._video = None


class Stills:
    """Pictures shown one after the other, each for `period_s`, as if they were held before a camera.

    paths: the pictures in order.  around: start again after the last; otherwise the source ends there.
    """

    live = False

    def __init__(
        self,
        name: str,
        paths: list[Path],
        period_s: float = 2.0,
        around: bool = False,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._paths = paths
        self._frames_each = max(1, round(period_s / STILL_RATE_S))
        self._around = around
        self._sleep = sleep
        self._shown = 0
        self._image: NDArray[np.uint8] | None = None

    def open(self) -> None:
        self._shown = 0
        self._image = None

    def grab(self) -> Shot:
        take, again = divmod(self._shown, self._frames_each)
        if take >= len(self._paths) and not self._around:
            raise SourceError(self.name, Trouble.ENDED, "that was the last picture")
        if self._shown:
            self._sleep(STILL_RATE_S)
        if again == 0 or self._image is None:
            try:
                self._image = load(self._paths[take % len(self._paths)], colour=True)
            except PictureError as broken:
                self._shown += self._frames_each - again
                raise SourceError(self.name, Trouble.SKIPPED, str(broken)) from broken
        self._shown += 1
        return Shot(self._image, take)

    def close(self) -> None:
        self._image = None


class Video:
    """A video file, played at its own pace or at `rate_hz`."""

    live = False

    def __init__(
        self, path: Path, rate_hz: float | None = None, sleep: Callable[[float], None] = time.sleep
    ) -> None:
        self.name = path.name
        self._path = path
        self._rate_hz = rate_hz
        self._sleep = sleep
        self._frames: Iterator[NDArray[np.uint8]] | None = None
        self._wait_s = 0.0

    def open(self) -> None:
        probe = cv2.VideoCapture(str(self._path))
        own_hz = float(probe.get(cv2.CAP_PROP_FPS))
        probe.release()
        self._wait_s = 1 / (self._rate_hz or (own_hz if 1 <= own_hz <= 240 else 25.0))
        self._frames = frames(self._path)

    def grab(self) -> Shot:
        if self._frames is None:
            raise SourceError(self.name, Trouble.LOST, "the video is not open")
        self._sleep(self._wait_s)
        try:
            image = next(self._frames, None)
        except PictureError as broken:
            raise SourceError(self.name, Trouble.UNUSABLE, str(broken)) from broken
        if image is None:
            raise SourceError(self.name, Trouble.ENDED, "the video is over")
        return Shot(image, 0)

    def close(self) -> None:
        self._frames = None


def source(
    what: str,
    size: tuple[int, int] = (1280, 720),
    controls: Controls | None = None,
    period_s: float = 2.0,
    around: bool = False,
) -> Source:
    """The source that `--camera` names: a number, a folder, a video, a picture, or a camera by its name.

    Empty: the first camera there is.  period_s and around are for pictures.  Raises PictureError where a path
    leads nowhere, the folder holds no picture or the file is neither picture nor video; whether a camera is
    there shows only when it is opened.
    """
    what = what.strip()
    if what.isdigit() or not what:
        return Device(int(what) if what else "", size, controls)
    path = Path(what)
    if path.is_dir():
        return Stills(path.name, pictures_in(path), period_s, around)
    if not path.is_file():
        if path.name == what and path.suffix.lower() not in VIDEOS | PICTURES:
            return Device(what, size, controls)  # a camera's name; it may be plugged in later
        raise PictureError(path, "no such picture, video or folder")
    if path.suffix.lower() in VIDEOS:
        return Video(path)
    if path.suffix.lower() not in PICTURES:
        raise PictureError(path, "neither a picture nor a video by its name")
    load(path)
    return Stills(path.name, [path], period_s, around=True)
