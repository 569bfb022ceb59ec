"""What is kept of labels nobody could read: the label's place and nothing else, fifty at most, never waited for."""

import os
import stat
import threading
import time
from pathlib import Path

import cv2
import numpy as np
import pytest

from kiosk import filing
from kiosk.cli import main
from kiosk.reader.camera import Frame
from kiosk.reader.files import load
from kiosk.reader.kept import EVERY_S, FOLDER, MOST, REMEMBERED_S, Keeper, Ring, Why
from kiosk.reader.stream import Stream
from kiosk.reader.symbols import Outline, Reading, Symbol
from kiosk.reader.unread import GONE_S, MOST_OF_FRAME, Leaving, place_of

HERE = ((600.0, 300.0), (700.0, 300.0), (700.0, 400.0), (600.0, 400.0))
TURNED = ((650.0, 280.0), (720.0, 350.0), (650.0, 420.0), (580.0, 350.0))
NOV_2026_S = 1_795_788_000.0
FACE, PRINT = 200, 40


def frame_with(corners: tuple[tuple[float, float], ...]) -> np.ndarray:
    """A frame full of what is nobody's business, with a label in it."""
    image = np.full((720, 1280, 3), FACE, np.uint8)
    cv2.fillConvexPoly(image, np.array(corners, np.int32), (PRINT, PRINT, PRINT))
    return image


@pytest.mark.parametrize("corners", [HERE, TURNED])
def test_only_the_label_and_a_small_margin_are_kept(corners: tuple[tuple[float, float], ...]) -> None:
    place = place_of(frame_with(corners), corners)
    assert place is not None
    assert (place == PRINT).all(-1).sum() > 0.95 * 70 * 140
    label_px = abs(cv2.contourArea(np.array(corners, np.float32)))
    # the margin; what lies beside a turned label is painted over
    assert (place == FACE).all(-1).sum() < 0.75 * label_px


def test_an_outline_that_takes_the_frame_along_is_not_kept() -> None:
    image = np.full((720, 1280, 3), FACE, np.uint8)
    whole = ((0.0, 0.0), (1280.0, 0.0), (1280.0, 720.0), (0.0, 720.0))
    beyond = ((-900.0, -900.0), (3000.0, -900.0), (3000.0, 3000.0), (-900.0, 3000.0))
    strip = ((0.0, 0.0), (1280.0, 0.0), (1280.0, 400.0), (0.0, 400.0))
    nowhere = ((float("nan"), 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
    outside = tuple((x + 5000, y) for x, y in HERE)
    assert [place_of(image, corners) for corners in (whole, beyond, strip, nowhere, outside, ())] == [None] * 6
    for edge in range(40, 720, 40):
        kept = place_of(image, ((0.0, 0.0), (edge * 16 / 9, 0.0), (edge * 16 / 9, edge), (0.0, edge)))
        assert kept is None or kept.shape[0] * kept.shape[1] <= MOST_OF_FRAME * 720 * 1280


def test_the_ring_holds_fifty_and_the_oldest_goes(tmp_path: Path) -> None:
    ring = Ring(tmp_path / FOLDER)
    (tmp_path / FOLDER).mkdir()
    stranger = tmp_path / FOLDER / "000000-a supervisor's own.jpg"
    stranger.write_bytes(b"x")
    picture = np.full((60, 60), PRINT, np.uint8)
    for number in range(MOST + 3):
        # a clock that goes back does not change which is the oldest
        ring.keep(picture, Why.UNREAD, NOV_2026_S - 3600.0 * number)
    kept = ring.pictures()
    assert [each.number for each in kept] == list(range(4, MOST + 4))
    assert kept[-1].at_s == NOV_2026_S - 3600.0 * (MOST + 2)
    assert ring.clear() == MOST
    assert os.listdir(ring.folder) == [stranger.name]


@pytest.mark.skipif(os.name == "nt", reason="modes")
def test_folder_and_pictures_are_their_owners_alone(tmp_path: Path) -> None:
    (tmp_path / FOLDER).mkdir(mode=0o755)
    path = Ring(tmp_path / FOLDER).keep(np.full((60, 60, 3), PRINT, np.uint8), Why.REFUSED, NOV_2026_S)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert load(path).shape == (60, 60)


@pytest.mark.skipif(os.name == "nt", reason="links")
def test_a_folder_that_leads_elsewhere_gets_nothing(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / FOLDER).symlink_to(tmp_path / "elsewhere")
    keeper = Keeper(Ring(tmp_path / FOLDER))
    keeper.unread(np.full((60, 60), PRINT, np.uint8))
    assert keeper.stop()
    assert not list((tmp_path / "elsewhere").iterdir())


def test_a_label_is_kept_when_it_left_unread_and_not_when_it_was_read_in_the_end() -> None:
    leaving, at_s = Leaving(), 86_400.0 * 40
    image = frame_with(HERE)
    assert leaving.feed(False, HERE, image, at_s) is None
    assert leaving.feed(False, None, image, at_s + GONE_S / 2) is None
    assert leaving.feed(True, None, image, at_s + 0.6) is None
    assert leaving.feed(False, None, image, at_s + 5) is None
    assert leaving.feed(False, HERE, image, at_s + 6) is None
    kept = leaving.feed(False, None, image, at_s + 6 + GONE_S)
    assert kept is not None
    assert kept.shape[0] < 140
    assert leaving.feed(False, None, image, at_s + 9) is None


def test_a_refused_label_is_kept_once_for_each_time_it_was_seen_and_only_while_it_is_fresh(tmp_path: Path) -> None:
    now_s = [86_400.0 * 40]
    ring = Ring(tmp_path / FOLDER)
    keeper = Keeper(ring, clock=lambda: NOV_2026_S, steady=lambda: now_s[0])
    keeper.saw("H1", frame_with(HERE), HERE)
    keeper.refused("H2")  # typed: no camera saw it
    keeper.refused("H1")
    keeper.refused("H1")
    keeper.saw("H1", frame_with(HERE), HERE)
    now_s[0] += REMEMBERED_S
    keeper.refused("H1")
    assert keeper.stop()
    assert [each.why for each in ring.pictures()] == [Why.REFUSED]


def test_a_poster_taken_for_a_label_does_not_push_out_the_others(tmp_path: Path) -> None:
    now_s = [0.0]
    ring = Ring(tmp_path / FOLDER)
    keeper = Keeper(ring, steady=lambda: now_s[0])
    for _ in range(100):
        keeper.unread(np.full((60, 60), PRINT, np.uint8))
        now_s[0] += EVERY_S / 50
    assert keeper.stop()
    assert len(ring.pictures()) == 2


def test_switched_off_it_keeps_nothing(tmp_path: Path) -> None:
    keeper = Keeper(Ring(tmp_path / FOLDER))
    keeper.on = False
    keeper.saw("H1", frame_with(HERE), HERE)
    keeper.unread(np.full((60, 60), PRINT, np.uint8))
    keeper.on = True
    keeper.refused("H1")
    keeper.on = False
    keeper.refused("H1")
    assert keeper.stop()
    assert not (tmp_path / FOLDER).exists()


def test_a_disk_that_hangs_or_is_full_is_never_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    go_on, tried = threading.Event(), []

    def full(path: Path, *_: object) -> Path:
        tried.append(path)
        go_on.wait(5)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(filing, "write", full)
    keeper = Keeper(Ring(tmp_path / FOLDER))
    began = time.monotonic()
    for number in range(40):
        keeper.saw(f"H{number}", frame_with(HERE), HERE)
        keeper.refused(f"H{number}")
    assert time.monotonic() - began < 2  # and the disk has hung all the while
    go_on.set()
    assert keeper.stop()
    assert 2 <= len(tried) < 10  # the next one is tried all the same


class _Frames:
    """Hands over frames a tenth of a second apart, then nothing."""

    def __init__(self, images: list[np.ndarray]) -> None:
        self._frames = [Frame(image, n + 1, 86_400.0 + 0.1 * n, 0) for n, image in enumerate(images)]
        self.over = threading.Event()

    def wait(self, after: int, limit_s: float) -> Frame | None:
        if after < len(self._frames):
            return self._frames[after]
        self.over.set()
        return None


class _Reads:
    def __init__(self, readings: list[Reading]) -> None:
        self._readings = iter(readings)

    def next(self, frame: np.ndarray, keen: bool) -> Reading:
        return next(self._readings)


def test_the_reading_thread_hands_over_what_left_unread_and_what_was_read(tmp_path: Path) -> None:
    blank, nothing = np.full((720, 1280, 3), FACE, np.uint8), Reading((), (), 1.0)
    unread = Reading((), (Outline(HERE, 4.0),), 1.0)
    read = Reading((Symbol("H1", "QRCode", HERE),), (), 1.0)
    images = [frame_with(HERE)] * 15 + [blank] * 15 + [frame_with(HERE)] * 2
    ring = Ring(tmp_path / FOLDER)
    keeper = Keeper(ring)
    frames = _Frames(images)
    stream = Stream(frames, _Reads([unread] * 15 + [nothing] * 15 + [read] * 2), lambda _: None, keeper)
    stream.start()
    assert frames.over.wait(20)
    assert stream.stop()
    keeper.refused("H1")
    assert keeper.stop()
    assert [each.why for each in ring.pictures()] == [Why.UNREAD, Why.REFUSED]
    assert all(max(load(each.path).shape) < 140 for each in ring.pictures())


def test_the_command_lists_and_clears(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["unread", "--data", str(tmp_path)]) == 0
    assert capsys.readouterr().out.startswith("0 of at most 50")
    path = Ring(tmp_path / FOLDER).keep(np.full((60, 60), PRINT, np.uint8), Why.UNREAD, NOV_2026_S)
    assert main(["unread", "--data", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert str(path) in said
    assert "kB" in said
    assert main(["unread", "--data", str(tmp_path), "--json"]) == 0
    assert '"why": "unread"' in capsys.readouterr().out
    assert main(["unread", "--data", str(tmp_path), "--clear"]) == 0
    assert not path.exists()
    (tmp_path / "file").write_text("no folder")
    assert main(["unread", "--data", str(tmp_path / "file")]) == 2
