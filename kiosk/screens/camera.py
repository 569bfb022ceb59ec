"""Camera and reader for the screen: starts both threads, shows the newest frame, hands on what is read.

The screen only ever takes the newest frame that is there; it never waits for one.  What a code means is not
known here.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from kivy.clock import Clock

from kiosk.reader.camera import Camera, State, Turn
from kiosk.reader.decode import LiveReader
from kiosk.reader.files import PictureError
from kiosk.reader.sources import Controls, Source, frame_size, list_cameras, source
from kiosk.reader.stream import Aim, Event, Help, Seen, Stream
from kiosk.screens.scan import ScanScreen
from kiosk.settings import CameraSettings
from kiosk.words import t

FRAMES_A_SECOND = 15
_FINE = (State.LIVE, State.STARTING, State.STOPPED)


class Eye:
    """The kiosk's eye.  `post(call)` runs a call on Kivy's thread; `scanned(text)` takes each code."""

    def __init__(
        self,
        screen: ScanScreen,
        post: Callable[[Callable[[], Any]], None],
        scanned: Callable[[str], None],
    ) -> None:
        self._screen = screen
        self._post = post
        self._scanned = scanned
        self._camera: Camera | None = None
        self._stream: Stream | None = None
        self._number = 0
        self._drawing: Any = None
        self._wish = 0  # counts what was asked to be looked through; an answer to an older wish is dropped

    def open(self, what: str, settings: CameraSettings) -> None:
        """Begin to look through what `--camera` names: a number, a picture, a folder or a video; "": the first camera.

        Finding it may take seconds on some systems, so it is done on a thread of its own.
        """
        self._wish += 1
        asked = (what, settings, self._wish)
        threading.Thread(target=self._find, args=asked, name="finding a camera", daemon=True).start()

    def _find(self, what: str, settings: CameraSettings, wish: int) -> None:
        try:
            if not what:
                cameras = list_cameras()
                if not cameras:
                    self._post(lambda: self._miss(t("camera.none"), wish))
                    return
                what = str(cameras[0].number)
            size = frame_size(settings.label_mm, settings.distance_mm, settings.field_deg)
            locked = Controls(lock_exposure=settings.exposure_locked, lock_focus=settings.focus_locked)
            found = source(what, size, locked)
        except PictureError as error:
            why = str(error)
            self._post(lambda: self._miss(why, wish))
            return
        self._post(lambda: self._look(found, settings, wish))

    def _miss(self, why: str, wish: int) -> None:
        if wish == self._wish:
            self.close()
            self._screen.absent = why

    def _look(self, found: Source, settings: CameraSettings, wish: int) -> None:
        if wish == self._wish:
            self.look(found, settings)

    def look(self, found: Source, settings: CameraSettings) -> None:
        """Begin to look through a source."""
        self._wish += 1
        self.close()
        quarters = round(settings.rotation_deg / 90) % 4
        self._camera = Camera(found, Turn(90 * quarters), settings.mirrored)
        self._stream = Stream(self._camera, LiveReader(settings.budget_ms), self._news)
        self._camera.start()
        self._stream.start()
        self._number = 0
        self._drawing = Clock.schedule_interval(self._draw, 1 / FRAMES_A_SECOND)

    def move(self, screen: ScanScreen) -> None:
        """Show the picture on another screen from now on."""
        self._screen = screen

    def close(self, limit_s: float = 0.0) -> None:
        """Stop looking; wait at most so long for each thread, which ends by itself in any case."""
        if self._drawing is not None:
            self._drawing.cancel()
            self._drawing = None
        if self._stream is not None:
            self._stream.stop(limit_s)
        if self._camera is not None:
            self._camera.stop(limit_s)
        self._stream = self._camera = None

    def _news(self, event: Event) -> None:
        """On the reader's thread."""
        self._post(lambda: self._tell(event))

    def _tell(self, event: Event) -> None:
        match event:
            case Seen(text=text, corners=corners):
                self._screen.live.close_in(corners)
                self._scanned(text)
            case Aim():
                self._screen.aimed(event)
            case Help(hint=hint):
                self._screen.hint = t(hint.value) if hint else ""

    def _draw(self, _: float) -> None:
        camera = self._camera
        if camera is None:
            return
        state = camera.state
        self._screen.absent = "" if state in _FINE else t(state.value)
        if self._screen.parent is None:
            return
        frame = camera.newest(self._number)
        if frame is not None and state in _FINE:
            self._number = frame.number
            self._screen.live.show(frame.image)
