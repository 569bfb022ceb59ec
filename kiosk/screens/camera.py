"""Camera and reader for the screen: starts both threads, shows the newest frame, hands on what is read.

The screen only ever takes the newest frame that is there; it never waits for one.  For a photograph the picture
goes to a finder and nothing is read until one is taken, as large as the camera gives it, and read at leisure on a
thread of its own.  What a code means is not known here.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from kivy.clock import Clock
from numpy.typing import NDArray

from kiosk.reader.camera import Camera, CameraState, Frame, Turn, upright
from kiosk.reader.damage import Damage
from kiosk.reader.files import PictureError
from kiosk.reader.sources import FRAME_SIZES, Controls, Device, Source, SourceError, frame_size, list_cameras, source
from kiosk.reader.stream import Aim as Aim
from kiosk.reader.stream import Event, Help, Seen, Stream
from kiosk.reader.symbols import Outline as Outline
from kiosk.reader.symbols import Reading, spent_in
from kiosk.screens.late_reader import LateReader
from kiosk.screens.looking import Finder, Looking, Photograph
from kiosk.settings import CameraSettings
from kiosk.telling import fault_words
from kiosk.words import t

if TYPE_CHECKING:
    from kiosk.reader.kept import Keeper

FRAMES_A_SECOND = 15
PHOTOGRAPH_MS = 8000.0  # a drawer of sixty labels on 12 megapixels takes a fast tablet 1.5 s, a slow one five
SETTLE_FRAMES = 6  # a camera that was opened anew finds its exposure within so many
HUSH_S = 3.0  # after a photograph, what is still in view of it is no scan
SHOWN_PX = 2048  # longest edge of a photograph as it is shown
_FINE = (CameraState.LIVE, CameraState.STARTING, CameraState.STOPPED)

log = logging.getLogger("kiosk.screens.camera")


class Eye:
    """The kiosk's eye.  `post(call)` runs a call on Kivy's thread; `scanned(text)` takes each code.

    What reads is loaded once `desk_spoke` is set: what is hot is told first.
    keeper: keeps what could not be read or was refused.  in_turn: does what came of a frame of that time once what
    hands did before it has been answered (`turns.Turns.take`); at once where nobody touches.  damaged: takes what share
    of their error correction the damage of labels takes, by text.
    """

    def __init__(
        self,
        screen: Looking,
        post: Callable[[Callable[[], Any]], None],
        scanned: Callable[[str], None],
        desk_spoke: threading.Event | None = None,
        keeper: Keeper | None = None,
        in_turn: Callable[[float, Callable[[], Any]], None] = lambda _, call: call(),
        damaged: Callable[[Mapping[str, float]], Any] | None = None,
    ) -> None:
        self._screen = screen
        self._post = post
        self._scanned = scanned
        self._in_turn = in_turn
        self._keeper = keeper
        self._damaged = damaged
        self._camera: Camera | None = None
        self._stream: Stream | None = None
        self._number = 0
        self._drawing: Any = None
        self._wish = 0  # counts what was asked to be looked through; an answer to an older wish is dropped
        self._found: Source | None = None
        self._large: Source | None = None  # the same camera with its largest frame
        self._settings = CameraSettings()
        self._why = ""  # there is no camera, in words
        self._asked_for = ("", self._settings)  # what was to be looked through last
        self._finder: Finder | None = None
        self._ended: Camera | None = None  # pictures that were shown to their end, and are shown again to aim at
        self._taking = 0  # counts photographs; what comes of one that nobody waits for any more is dropped
        self._photographed: frozenset[str] = frozenset()
        self._hushed_until_s = 0.0
        self._drawn = threading.Event()  # a frame was ever shown
        self._desk_spoke = desk_spoke

    def open(self, what: str, settings: CameraSettings) -> None:
        """Begin to look through what `--camera` names: a number, a picture, a folder or a video; "": the first camera.

        Finding it may take seconds on some systems, so it is done on a thread of its own.
        """
        self._wish += 1
        self._asked_for = (what, settings)
        asked = (what, settings, self._wish, self._camera is None)
        threading.Thread(target=self._find, args=asked, name="finding a camera", daemon=True).start()

    def again(self) -> None:
        """Look for the camera once more, at once: somebody has plugged it in."""
        self.close()
        self._screen.lost, self._screen.absent = False, t(CameraState.STARTING.value)
        self.open(*self._asked_for)

    def _find(self, what: str, settings: CameraSettings, wish: int, at_once: bool) -> None:
        """On a thread of its own.  `at_once`: no camera is open that would have to be let go first."""
        try:
            if not what and (cameras := list_cameras()):
                what = str(cameras[0].number)
            size = frame_size(settings.label_mm, settings.distance_mm, settings.field_deg)
            locked = Controls(lock_exposure=settings.exposure_locked, lock_focus=settings.focus_locked)
            found = source(what, size, locked)
            larger = isinstance(found, Device) and size != FRAME_SIZES[-1]
            large = source(what, FRAME_SIZES[-1], locked) if larger else None
        except PictureError as error:
            why = fault_words(error)
            self._post(lambda: self._miss(why, wish))
            return
        started = _started(found, settings) if at_once else None
        self._post(lambda: self._look(found, settings, wish, large, started))

    def _miss(self, why: str, wish: int) -> None:
        if wish == self._wish:
            self.close()
            self._why = self._screen.absent = why
            self._screen.lost = True

    def _look(
        self, found: Source, settings: CameraSettings, wish: int, large: Source | None, started: Camera | None
    ) -> None:
        if wish == self._wish:
            self.look(found, settings, large, started)
        elif started is not None:
            started.stop(0.0)

    def look(
        self, found: Source, settings: CameraSettings, large: Source | None = None, started: Camera | None = None
    ) -> None:
        """Begin to look through a source.

        large: the same camera, to be opened in its place for a photograph.  started: the source's thread, where it
        runs already.
        """
        self._wish += 1
        self.close()
        self._found, self._large, self._settings, self._why = found, large, settings, ""
        self._camera, self._number = started or _started(found, settings), 0
        self._drawing = Clock.schedule_interval(self._draw, 1 / FRAMES_A_SECOND)
        if self._finder is None:
            self._listen(self._camera)
        if self._begin(0.0):
            Clock.schedule_interval(self._begin, 0)

    def _begin(self, _: float) -> bool:
        """The first frame is drawn as soon as it is there.  True: it is yet to come."""
        if self._camera is None:
            return False
        if self._number == 0:
            self._draw(0.0)
        return self._number == 0 and self._finder is None and self._camera.state in _FINE

    def _listen(self, camera: Camera) -> None:
        reader = LateReader(self._settings.budget_ms, self._drawn, self._desk_spoke)
        self._stream = Stream(camera, reader, self._news, self._keeper)
        self._stream.start()

    @property
    def why(self) -> str:
        """Why there is no picture, in words; empty: there is one, or it is on its way."""
        state = None if self._camera is None else self._camera.state
        return self._why if state is None else "" if state in _FINE else self._words(state)

    @property
    def settled(self) -> bool:
        """Whether a frame was shown, or there is no camera to show one."""
        return self._drawn.is_set() or bool(self._why)

    # Photographs --------------------------------------------------------------------------------------------

    def aim(self, finder: Finder) -> None:
        """Show the picture on a finder, and read nothing until `rest`: what lies in a drawer is no scan.

        Pictures from a folder that were shown to their end are shown again.
        """
        self._finder, self._number = finder, 0
        self._taking += 1
        if self._stream is not None:
            self._stream.stop(0.0)
            self._stream = None
        camera = self._camera
        if camera is None:
            finder.absent = self._why or t(CameraState.STARTING.value)
        elif camera.state is CameraState.ENDED and self._found is not None:
            self._ended = self._ended or camera
            self._camera, self._number = _started(self._found, self._settings), 0

    def rest(self) -> None:
        """No photograph any more: what comes before the camera is a scan again."""
        if self._finder is None:
            return
        self._finder, self._number = None, 0
        self._taking += 1
        self._hushed_until_s = time.monotonic() + HUSH_S
        camera = self._camera
        if self._ended is not None:
            if camera is not None:
                camera.stop(0.0)
            self._camera, self._ended = self._ended, None
        elif camera is not None and camera.state is not CameraState.ENDED:
            self._listen(camera)

    def take(
        self,
        shown: Callable[[NDArray[np.uint8]], Any],
        told: Callable[[Photograph], Any],
        failed: Callable[[str], Any],
    ) -> None:
        """Take a photograph: `shown(picture)` at once, `told` when it was read, `failed` with words.

        A standing or lost picture is not taken for the drawer that is open now.
        """
        camera = self._camera
        state = camera.state if camera is not None else CameraState.STARTING
        frame = camera.newest() if camera is not None else None
        if camera is None or frame is None or state not in (CameraState.LIVE, CameraState.ENDED):
            failed(self._why or t(CameraState.STARTING.value if state is CameraState.LIVE else state.value))
            return
        self._taking += 1
        if self._large is not None:
            self._camera = None  # only one may have the device
        asked = (camera, frame, self._taking, self._wish, shown, told, failed)
        threading.Thread(target=self._photograph, args=asked, name="photograph", daemon=True).start()

    def _photograph(
        self,
        camera: Camera,
        frame: Frame,
        taking: int,
        wish: int,
        shown: Callable[[NDArray[np.uint8]], Any],
        told: Callable[[Photograph], Any],
        failed: Callable[[str], Any],
    ) -> None:
        """On a thread of its own."""
        image = frame.image
        try:
            if self._large is not None:
                image = self._larger(camera, self._large, image)
                self._post(lambda: self._look_on(wish))
            seen = _for_eyes(image)
            self._post(lambda: self._if_awaited(taking, lambda: shown(seen)))
            from kiosk.reader.decode import read

            reading = read(image, PHOTOGRAPH_MS)
        except Exception:
            log.exception("a photograph could not be read")
            self._post(lambda: self._look_on(wish))
            self._post(lambda: self._if_awaited(taking, lambda: failed(t("fault.unknown"))))
            return
        photograph = Photograph(reading, (int(image.shape[1]), int(image.shape[0])))
        self._post(lambda: self._if_awaited(taking, lambda: self._taken(photograph, told)))
        if self._damaged is not None:
            self._look_closer(image, reading, self._damaged)

    def _look_closer(
        self, image: NDArray[np.uint8], reading: Reading, damaged: Callable[[Mapping[str, float]], Any]
    ) -> None:
        """How damaged the labels of a photograph are, once it was told what they say; dozens take a while."""
        from kiosk.reader.wear import worn

        try:
            found = spent_in(worn(image, reading).symbols)
        except Exception:
            log.exception("how damaged labels are could not be seen in a photograph")
            return
        self._post(lambda: damaged(found))

    def _larger(self, camera: Camera, large: Source, otherwise: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The largest frame of the device; the one that was there already, where the device gives no other."""
        camera.stop(2.0)
        try:
            large.open()
            for _ in range(SETTLE_FRAMES):
                image = large.grab().image
        except SourceError as trouble:
            log.warning("no larger frame: %s", trouble)
            return otherwise
        finally:
            large.close()
        return upright(image, _turn(self._settings), self._settings.mirrored)

    def _look_on(self, wish: int) -> None:
        if wish == self._wish and self._camera is None and self._found is not None:
            self._camera, self._number = _started(self._found, self._settings), 0
            if self._finder is None:
                self._listen(self._camera)

    def _if_awaited(self, taking: int, call: Callable[[], Any]) -> None:
        if taking == self._taking:
            call()

    def _taken(self, photograph: Photograph, told: Callable[[Photograph], Any]) -> None:
        self._photographed = frozenset(symbol.text for symbol in photograph.reading.symbols)
        told(photograph)

    # --------------------------------------------------------------------------------------------------------

    def move(self, screen: Looking) -> None:
        """Show the picture on another screen from now on."""
        self._screen = screen
        if self._why:
            screen.absent, screen.lost = self._why, True

    def refused(self, text: str) -> None:
        """The label that says this was refused."""
        if self._keeper is not None:
            self._keeper.refused(text)

    def close(self, limit_s: float = 0.0) -> None:
        """Stop looking; wait at most so long for each thread, which ends by itself in any case."""
        if self._drawing is not None:
            self._drawing.cancel()
            self._drawing = None
        if self._stream is not None:
            self._stream.stop(limit_s)
        if self._camera is not None:
            self._camera.stop(limit_s)
        self._stream = self._camera = self._ended = None

    def _news(self, event: Event) -> None:
        """On the reader's thread."""
        if isinstance(event, Seen):
            self._post(lambda: self._in_turn(event.at_s, lambda: self._tell(event)))
        else:
            self._post(lambda: self._tell(event))

    def _tell(self, event: Event) -> None:
        match event:
            case Seen() if self._finder is not None:
                return  # read before the finder took the picture over
            case Seen(text=text) if text in self._photographed and time.monotonic() < self._hushed_until_s:
                return
            case Seen(text=text, corners=corners):
                self._screen.live.close_in(corners)
                self._scanned(text)
            case Aim():
                self._screen.aimed(event)
            case Damage(text=text, spent=spent) if self._damaged is not None:
                self._damaged({text: spent})
            case Help(hint=hint):
                self._screen.hint = t(hint.value) if hint else ""

    def _words(self, state: CameraState) -> str:
        """Why there is no picture.  One that gave pictures and is not there any more is gone: it was pulled out."""
        if state is CameraState.MISSING and self._camera is not None and self._camera.newest() is not None:
            state = CameraState.LOST
        nameless = state is CameraState.MISSING and not self._asked_for[0]
        return t("camera.none" if nameless else state.value)

    def _draw(self, _: float) -> None:
        camera, finder = self._camera, self._finder
        if camera is None:
            return
        state = camera.state
        fine = state in _FINE
        self._screen.absent = "" if fine else self._words(state)
        self._screen.lost = not fine and state is not CameraState.ENDED
        if finder is not None:
            fine = fine or state is CameraState.ENDED  # the last picture is still there to be taken
            finder.absent = "" if fine else t(state.value)
        elif self._screen.parent is None:
            return
        frame = camera.newest(self._number)
        if frame is not None and fine:
            self._number = frame.number
            (finder or self._screen).live.show(frame.image)
            self._drawn.set()


def _for_eyes(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The picture at most `SHOWN_PX` wide and high."""
    scale = SHOWN_PX / max(image.shape[:2])
    if scale >= 1:
        return image
    return np.asarray(cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)


def _started(found: Source, settings: CameraSettings) -> Camera:
    """The source's thread, running."""
    camera = Camera(found, _turn(settings), settings.mirrored)
    camera.start()
    return camera


def _turn(settings: CameraSettings) -> Turn:
    return Turn(90 * (round(settings.rotation_deg / 90) % 4))
