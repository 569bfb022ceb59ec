"""The kiosk's eye: what it shows, what counts as a scan, and how a photograph is taken."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from kiosk.reader.sources import Shot, SourceError, Stills, Trouble
from kiosk.rules.codes import CodeKind, make
from kiosk.screens import camera
from kiosk.screens.camera import Eye
from kiosk.screens.looking import Photograph
from kiosk.settings import CameraSettings
from kiosk.words import t
from tests.journeys.window import draw_label

ONE, TWO = (make(CodeKind.HOLDER, number).text for number in (1, 2))
PATIENCE_S = 20.0


def until(there: Callable[[], Any], what: str) -> None:
    end = time.monotonic() + PATIENCE_S
    while not there():
        assert time.monotonic() < end, f"waited for {what}"
        time.sleep(0.01)


class Held:
    """A source in front of which a picture is held."""

    def __init__(self, image: Any, live: bool = False) -> None:
        self.name, self.live = "held", live
        self.image, self.take = image, 0
        self.trouble: Trouble | None = None
        self.opened = 0
        self.open_now = False

    def hold(self, image: Any) -> None:
        self.image, self.take = image, self.take + 1

    def open(self) -> None:
        self.opened += 1
        if self.trouble:
            raise SourceError(self.name, self.trouble, "unplugged")
        self.open_now = True

    def grab(self) -> Shot:
        time.sleep(0.01)
        if self.trouble:
            raise SourceError(self.name, self.trouble, "unplugged")
        return Shot(self.image.copy(), self.take)

    def close(self) -> None:
        self.open_now = False


class Screen:
    """What the eye needs of the scan screen and of a finder."""

    def __init__(self) -> None:
        self.live = self
        self.absent = ""
        self.hint = ""
        self.parent = self
        self.seen: list[Any] = []

    def show(self, image: Any) -> None:
        self.seen.append(image.shape)

    def close_in(self, *_: object) -> None:
        pass

    def aimed(self, *_: object) -> None:
        pass


class Watched:
    """An eye whose calls come at once, on whatever thread they come."""

    def __init__(self) -> None:
        self.screen, self.finder = Screen(), Screen()
        self.scanned: list[str] = []
        self.pictures: list[tuple[int, ...]] = []
        self.read: list[Photograph] = []
        self.failed: list[str] = []
        lock = threading.RLock()

        def post(call: Callable[[], Any]) -> None:
            with lock:
                call()

        self.eye = Eye(self.screen, post, self.scanned.append)  # type: ignore[arg-type]

    def take(self) -> None:
        self.eye.take(lambda image: self.pictures.append(image.shape), self.read.append, self.failed.append)


@pytest.fixture
def watched(monkeypatch: pytest.MonkeyPatch) -> Iterator[Watched]:
    monkeypatch.setattr(camera, "HUSH_S", 600.0)  # this machine may be slow
    watched = Watched()
    yield watched
    watched.eye.close(2.0)


def label(code: str, folder: Path, times: int = 1) -> Any:
    path = folder / f"{code}.png"
    draw_label(code, path)
    return cv2.resize(cv2.imread(str(path)), None, fx=times, fy=times, interpolation=cv2.INTER_NEAREST)


def texts(photograph: Photograph) -> list[str]:
    return [symbol.text for symbol in photograph.reading.symbols]


def test_what_a_photograph_is_aimed_at_is_no_scan_and_afterwards_everything_else_is(
    watched: Watched, tmp_path: Path
) -> None:
    held = Held(np.full((480, 640, 3), 96, np.uint8))
    watched.eye.look(held, CameraSettings())
    watched.eye.aim(watched.finder)
    held.hold(label(ONE, tmp_path))
    until(lambda: (watched.eye._draw(0), watched.finder.seen)[1], "the finder's picture")
    time.sleep(0.2)
    watched.take()
    until(lambda: watched.read, "the photograph")
    assert texts(watched.read[0]) == [ONE] and watched.pictures == [(480, 640, 3)]
    watched.eye.rest()
    time.sleep(0.3)
    held.hold(label(TWO, tmp_path))
    until(lambda: watched.scanned, "the next scan")
    assert watched.scanned == [TWO], "the label that was photographed lay there still"


def test_a_photograph_is_the_largest_frame_the_device_gives_and_the_small_one_goes_on(
    watched: Watched, tmp_path: Path
) -> None:
    small, large = Held(label(ONE, tmp_path), live=True), Held(label(ONE, tmp_path, 4), live=True)
    watched.eye.look(small, CameraSettings(), large)
    watched.eye.aim(watched.finder)
    until(lambda: (watched.eye._draw(0), watched.finder.seen)[1], "the finder's picture")
    watched.take()
    until(lambda: watched.read, "the photograph")
    assert (watched.read[0].size, texts(watched.read[0])) == ((2560, 1920), [ONE])
    assert watched.pictures == [(1536, 2048, 3)], "shown no larger than a screen needs"
    assert large.opened == 1 and not large.open_now
    until(lambda: small.opened == 2 and small.open_now, "the small frames again")


def test_a_device_that_gives_no_larger_frame_is_photographed_as_it_is(watched: Watched, tmp_path: Path) -> None:
    small, large = Held(label(ONE, tmp_path), live=True), Held(label(ONE, tmp_path, 4), live=True)
    large.trouble = Trouble.BUSY
    watched.eye.look(small, CameraSettings(), large)
    watched.eye.aim(watched.finder)
    until(lambda: (watched.eye._draw(0), watched.finder.seen)[1], "the finder's picture")
    watched.take()
    until(lambda: watched.read, "the photograph")
    assert (watched.read[0].size, texts(watched.read[0])) == ((640, 480), [ONE])


def test_a_lost_camera_gives_no_photograph_of_what_it_saw_last(watched: Watched, tmp_path: Path) -> None:
    held = Held(label(ONE, tmp_path))
    watched.eye.look(held, CameraSettings())
    watched.eye.aim(watched.finder)
    until(lambda: (watched.eye._draw(0), watched.finder.seen)[1], "the finder's picture")
    held.trouble = Trouble.LOST
    until(lambda: (watched.eye._draw(0), watched.finder.absent)[1], "the finder to say so")
    watched.take()
    assert watched.failed == [t("camera.lost")] and watched.read == []


def test_a_photograph_nobody_waits_for_any_more_is_dropped(watched: Watched, tmp_path: Path) -> None:
    watched.eye.look(Held(label(ONE, tmp_path)), CameraSettings())
    watched.eye.aim(watched.finder)
    until(lambda: (watched.eye._draw(0), watched.finder.seen)[1], "the finder's picture")
    watched.take()
    watched.eye.aim(watched.finder)  # cancelled
    until(lambda: not any(thread.name == "photograph" for thread in threading.enumerate()), "the reader")
    assert watched.read == []


def test_pictures_from_a_folder_are_shown_again_to_aim_at_and_are_no_scans(watched: Watched, tmp_path: Path) -> None:
    label(ONE, tmp_path)
    stills = Stills("folder", [tmp_path / f"{ONE}.png"], period_s=0.1)
    watched.eye.look(stills, CameraSettings())
    until(lambda: watched.scanned == [ONE], "the scan")
    until(lambda: (watched.eye._draw(0), watched.screen.absent)[1] == t("camera.ended"), "the end")
    watched.eye.aim(watched.finder)
    until(lambda: (watched.eye._draw(0), watched.finder.seen)[1], "the picture again")
    watched.take()
    until(lambda: watched.read, "the photograph")
    assert texts(watched.read[0]) == [ONE]
    watched.eye.rest()
    watched.eye._draw(0)
    assert watched.screen.absent == t("camera.ended")
    assert watched.scanned == [ONE], "shown again is not scanned again"
