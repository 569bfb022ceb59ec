"""The camera's thread, driven by sources that unplug, hang, freeze and come back on command."""

import threading
import time
from pathlib import Path

import cv2
import numpy as np
import pytest

from kiosk.reader import camera as camera_room
from kiosk.reader.camera import Camera, CameraState, Turn, upright
from kiosk.reader.files import PictureError
from kiosk.reader.sources import (
    FRAME_SIZES,
    CameraName,
    Device,
    Shot,
    SourceError,
    Stills,
    Trouble,
    Video,
    frame_size,
    list_cameras,
    source,
)


class Clock:
    """A clock that stands still until told."""

    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


class Script:
    """A source that does what the test says next: frames, troubles, waits."""

    name = "scripted camera"

    def __init__(self, live=True):
        self.live = live
        self.steps = []
        self.more = threading.Condition()
        self.opened = 0
        self.closed = 0
        self.refuse = []

    def then(self, *steps):
        with self.more:
            self.steps += steps
            self.more.notify_all()

    def open(self):
        self.opened += 1
        if self.refuse:
            raise SourceError(self.name, self.refuse.pop(0), "as the test says")

    def grab(self):
        with self.more:
            assert self.more.wait_for(lambda: self.steps, 20)
            step = self.steps.pop(0)
        if isinstance(step, Exception):
            raise step
        return step if isinstance(step, Shot) else Shot(step, 0)

    def close(self):
        self.closed += 1


def picture(level):
    return np.full((48, 64, 3), level, np.uint8)


def until(what, limit_s=20):
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        if what():
            return
        time.sleep(0.002)
    raise AssertionError("it did not happen")


@pytest.fixture(autouse=True)
def quick_retries(monkeypatch):
    monkeypatch.setattr(camera_room, "FIRST_RETRY_S", 0.005)
    monkeypatch.setattr(camera_room, "LAST_RETRY_S", 0.01)


@pytest.fixture
def rig():
    made = []

    def make(script, **more):
        camera = Camera(script, **more)
        made.append((camera, script))
        camera.start()
        return camera

    yield make
    for camera, script in made:
        camera._stopping.set()
        script.then(SourceError("", Trouble.ENDED, "the test is over"))
        assert camera.stop(20)


def test_only_the_newest_frame_is_kept(rig):
    script = Script()
    camera = rig(script)
    script.then(*(picture(level) for level in range(1, 9)))
    until(lambda: (camera.newest() is not None) and camera.newest().number == 8)
    assert camera.newest().image[0, 0, 0] == 8
    assert camera.newest(after=8) is None


def test_a_frame_handed_out_cannot_be_written_into(rig):
    script = Script()
    camera = rig(script)
    script.then(picture(1))
    with pytest.raises(ValueError):
        camera.wait(0, 20).image[0, 0, 0] = 9


def test_unplugging_and_plugging_in_again_is_said_and_frames_go_on(rig):
    script = Script()
    camera = rig(script)
    script.then(picture(1))
    first = camera.wait(0, 20)
    script.refuse = [Trouble.MISSING, Trouble.MISSING]
    script.then(SourceError("", Trouble.LOST, "cable out"))
    until(lambda: script.opened == 4)
    script.then(picture(2))
    assert camera.wait(first.number, 20).number == first.number + 1
    told = [change.state for change in camera.changes()]
    assert told == [CameraState.LIVE, CameraState.LOST, CameraState.MISSING, CameraState.LIVE]
    assert script.closed == 3


def test_a_busy_camera_is_said_and_taken_when_it_is_free(rig):
    script = Script()
    script.refuse = [Trouble.BUSY, Trouble.BUSY]
    camera = rig(script)
    script.then(picture(1))
    assert camera.wait(0, 20) is not None
    changes = camera.changes()
    assert [change.state for change in changes] == [CameraState.BUSY, CameraState.LIVE]
    assert changes[0].detail == "as the test says"


def test_the_same_frame_for_three_seconds_is_a_frozen_stream_until_it_moves(rig):
    script, clock = Script(), Clock()
    camera = rig(script, clock=clock)
    script.then(picture(1))
    camera.wait(0, 20)
    clock.now += 2.9
    script.then(picture(1))
    camera.wait(1, 20)
    assert camera.state is CameraState.LIVE
    clock.now += 0.2
    script.then(picture(1))
    camera.wait(2, 20)
    assert camera.state is CameraState.FROZEN
    script.then(picture(2))
    camera.wait(3, 20)
    assert camera.state is CameraState.LIVE


def test_a_driver_that_hangs_is_noticed_by_whoever_asks(rig):
    script, clock = Script(), Clock()
    camera = rig(script, clock=clock)
    script.then(picture(1))
    camera.wait(0, 20)
    clock.now += 3.1
    assert camera.state is CameraState.FROZEN
    assert [change.state for change in camera.changes()] == [CameraState.LIVE, CameraState.FROZEN]


def test_a_stream_frozen_for_ten_seconds_is_opened_again(rig):
    script, clock = Script(), Clock()
    camera = rig(script, clock=clock)
    script.then(picture(1))
    camera.wait(0, 20)
    clock.now += 10.5
    script.then(picture(1))
    until(lambda: script.opened == 2)
    script.then(picture(7))
    camera.wait(2, 20)
    assert [change.state for change in camera.changes()] == [
        CameraState.LIVE,
        CameraState.FROZEN,
        CameraState.LOST,
        CameraState.LIVE,
    ]


def test_a_standing_picture_is_never_called_frozen(rig):
    script, clock = Script(live=False), Clock()
    camera = rig(script, clock=clock)
    script.then(picture(1))
    camera.wait(0, 20)
    clock.now += 60
    assert camera.state is CameraState.LIVE


def test_stopping_does_not_wait_for_a_driver_that_hangs():
    script = Script()
    camera = Camera(script)
    camera.start()
    until(lambda: script.opened == 1)
    assert camera.stop(0.05) is False
    script.then(SourceError("", Trouble.LOST, "let go"))
    assert camera.stop(20) is True
    assert camera.state is CameraState.STOPPED
    assert camera.wait(0, 20) is None


def test_an_unexpected_error_in_a_driver_is_a_lost_camera_and_not_the_end(rig):
    script = Script()
    camera = rig(script)
    script.then(RuntimeError("driver bug"), picture(3))
    assert camera.wait(0, 20) is not None
    assert [change.state for change in camera.changes()] == [CameraState.LOST, CameraState.LIVE]


def test_frames_are_turned_upright_for_the_way_the_camera_is_mounted(rig):
    image = np.zeros((4, 6, 3), np.uint8)
    image[0, 0] = 255  # top left of the sensor
    script = Script()
    camera = rig(script, turn=Turn.RIGHT)
    script.then(image)
    shown = camera.wait(0, 20).image
    assert shown.shape == (6, 4, 3)
    assert shown[0, 3, 0] == 255


@pytest.mark.parametrize("turn", Turn)
def test_mirroring_and_turning_undo_what_the_mounting_did(turn):
    scene = np.arange(4 * 6 * 3, dtype=np.uint8).reshape(4, 6, 3)
    # The camera is turned the other way, and its driver hands over a mirror image.
    seen = np.ascontiguousarray(np.rot90(scene, turn.value // 90)[:, ::-1])
    assert np.array_equal(upright(seen, turn, mirrored=True), scene)


def save(folder, name, level):
    path = folder / name
    cv2.imwrite(str(path), picture(level))
    return path


def test_a_folder_plays_in_name_order_and_each_picture_is_a_take_of_its_own(tmp_path):
    for name, level in (("b.png", 20), ("a.png", 10), ("c.png", 30)):
        save(tmp_path, name, level)
    pauses = []
    stills = source(str(tmp_path), period_s=0.2)
    stills._sleep = pauses.append
    stills.open()
    shots = [stills.grab() for _ in range(6)]
    assert [(shot.image[0, 0, 0], shot.take) for shot in shots] == [
        (10, 0),
        (10, 0),
        (20, 1),
        (20, 1),
        (30, 2),
        (30, 2),
    ]
    with pytest.raises(SourceError) as end:
        stills.grab()
    assert end.value.trouble is Trouble.ENDED
    assert pauses == [0.1] * 5


def test_a_broken_picture_in_a_folder_is_named_and_the_next_one_shown(tmp_path, rig):
    save(tmp_path, "1.png", 10)
    (tmp_path / "2.jpg").write_bytes(b"not a picture")
    save(tmp_path, "3.png", 30)
    camera = Camera(Stills("folder", sorted(tmp_path.iterdir()), 0.1, sleep=lambda s: None))
    camera.start()
    until(lambda: camera.state is CameraState.ENDED)
    changes = camera.changes()
    assert [change.state for change in changes] == [
        CameraState.LIVE,
        CameraState.UNUSABLE,
        CameraState.LIVE,
        CameraState.ENDED,
    ]
    assert "2.jpg" in changes[1].detail
    assert camera.newest().image[0, 0, 0] == 30
    assert camera.stop(20)


def test_one_picture_stays_in_view(tmp_path):
    still = source(str(save(tmp_path, "only.png", 50)), period_s=0.1)
    still._sleep = lambda s: None
    still.open()
    assert [still.grab().image[0, 0, 0] for _ in range(4)] == [50] * 4


def test_a_video_plays_to_its_end_at_its_own_pace(tmp_path):
    path = tmp_path / "shift.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 20, (64, 48))
    for level in (40, 120, 200):
        writer.write(picture(level))
    writer.release()
    pauses = []
    video = Video(path, sleep=pauses.append)
    video.open()
    levels = [int(video.grab().image.mean()) for _ in range(3)]
    assert levels == pytest.approx([40, 120, 200], abs=4)
    with pytest.raises(SourceError) as end:
        video.grab()
    assert end.value.trouble is Trouble.ENDED
    assert pauses[0] == pytest.approx(0.05)


def test_a_damaged_video_is_unusable(tmp_path):
    path = tmp_path / "broken.mp4"
    path.write_bytes(b"no video")
    video = source(str(path))
    video._sleep = lambda s: None
    video.open()
    with pytest.raises(SourceError) as broken:
        video.grab()
    assert broken.value.trouble is Trouble.UNUSABLE
    assert "broken.mp4" in broken.value.why


@pytest.mark.parametrize("name", ["nowhere", "notes.txt", "empty"])
def test_what_cannot_be_a_source_is_refused_by_name(tmp_path, name):
    (tmp_path / "notes.txt").write_text("no picture")
    (tmp_path / "empty").mkdir()
    with pytest.raises(PictureError, match=name):
        source(str(tmp_path / name))


def test_a_number_is_a_camera_and_one_that_is_not_there_is_missing():
    device = source("63")
    assert isinstance(device, Device)
    with pytest.raises(SourceError) as missing:
        device.open()
    assert missing.value.trouble is Trouble.MISSING
    assert "63" in str(missing.value)
    device.close()


def test_a_camera_named_keeps_its_name_when_its_number_changes(monkeypatch):
    there = [CameraName(0, "Built in"), CameraName(2, "On the arm")]
    opened = []

    def capture(number):
        opened.append(number)
        return Board()

    monkeypatch.setattr("kiosk.reader.sources.list_cameras", lambda: there)
    monkeypatch.setattr(cv2, "VideoCapture", capture)
    named, first = source("On the arm"), source("")
    named.open()
    first.open()
    named.close()
    there[1] = CameraName(4, "On the arm")
    named.open()
    assert opened == [2, 0, 4]
    there.clear()
    for device in (named, first):
        with pytest.raises(SourceError) as missing:
            device.open()
        assert missing.value.trouble is Trouble.MISSING


def test_cameras_are_listed_by_number_without_their_metadata_nodes(tmp_path: Path, monkeypatch):
    monkeypatch.setattr("sys.platform", "linux")
    for node, name, index in (("video10", "Rear", "0"), ("video2", "Front", "0"), ("video3", "Front", "1")):
        (tmp_path / node).mkdir()
        (tmp_path / node / "name").write_text(name + "\n")
        (tmp_path / node / "index").write_text(index + "\n")
    (tmp_path / "video4").mkdir()  # half gone
    assert list_cameras(tmp_path) == [CameraName(2, "Front"), CameraName(10, "Rear")]


def test_the_frame_is_large_enough_for_three_pixels_a_module():
    for label_mm, distance_mm, hfov_deg in ((25, 150, 60), (18, 200, 65), (12, 250, 70)):
        width, _ = frame_size(label_mm, distance_mm, hfov_deg)
        per_mm = width / (2 * distance_mm * np.tan(np.radians(hfov_deg / 2)))
        assert per_mm * label_mm / 29 >= 3
        smaller = [size for size in FRAME_SIZES if size[0] < width]
        if smaller:
            assert per_mm * smaller[-1][0] / width * label_mm / 29 < 3


def test_what_no_frame_shows_well_gets_the_largest_and_nonsense_is_refused():
    assert frame_size(7, 900, 90) == FRAME_SIZES[-1]
    for nonsense in ((0, 100, 60), (12, 0, 60), (12, 100, 180)):
        with pytest.raises(ValueError):
            frame_size(*nonsense)


class Board:
    """A stand-in for OpenCV's capture that remembers what it was told."""

    def __init__(self, first_frame=True):
        self.told = {}
        self.first_frame = first_frame
        self.released = False

    def isOpened(self):
        return True

    def set(self, what, value):
        self.told[what] = value

    def get(self, what):
        return {cv2.CAP_PROP_EXPOSURE: 123.0, cv2.CAP_PROP_FOCUS: 40.0}[what]

    def read(self):
        return (True, picture(5)) if self.first_frame else (False, None)

    def release(self):
        self.released = True


@pytest.fixture
def board(monkeypatch):
    made = Board()
    monkeypatch.setattr("sys.platform", "win32")
    monkeypatch.setattr(cv2, "VideoCapture", lambda index: made)
    return made


def test_exposure_and_focus_are_left_alone_unless_locked(board):
    from kiosk.reader.sources import Controls

    Device(0).open()
    automatics = (
        cv2.CAP_PROP_AUTO_EXPOSURE,
        cv2.CAP_PROP_EXPOSURE,
        cv2.CAP_PROP_AUTOFOCUS,
        cv2.CAP_PROP_FOCUS,
    )
    assert not set(board.told) & set(automatics)
    Device(0, controls=Controls(lock_exposure=True, lock_focus=True, focus=55.0)).open()
    assert board.told[cv2.CAP_PROP_AUTO_EXPOSURE] == 0.25
    assert board.told[cv2.CAP_PROP_EXPOSURE] == 123.0
    assert board.told[cv2.CAP_PROP_AUTOFOCUS] == 0
    assert board.told[cv2.CAP_PROP_FOCUS] == 55.0


def test_a_camera_that_opens_and_gives_no_picture_is_busy_and_let_go(board):
    board.first_frame = False
    with pytest.raises(SourceError) as busy:
        Device(0).open()
    assert busy.value.trouble is Trouble.BUSY
    assert board.released
