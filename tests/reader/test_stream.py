"""What of a stream is news, and the thread that reads it."""

import threading

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.bench.hint_scenes import Trouble, troubled
from kiosk.bench.scenes import Style, corners, draw, draw_step, pack
from kiosk.reader.camera import Camera, Frame
from kiosk.reader.decode import LiveReader
from kiosk.reader.files import pictures_in
from kiosk.reader.hints import Hint
from kiosk.reader.patience import HINT_AFTER_S, SHOWN_S
from kiosk.reader.sources import Stills
from kiosk.reader.stream import CHANGED_S, REARM_S, Aim, Help, Seen, Stream, Tracker
from kiosk.reader.symbols import Outline, Reading, Symbol

IMAGE = np.full((720, 1280, 3), 20, np.uint8)
HERE = ((600.0, 300.0), (700.0, 300.0), (700.0, 400.0), (600.0, 400.0))
THERE = ((100.0, 100.0), (150.0, 100.0), (150.0, 150.0), (100.0, 150.0))
NOTHING = Reading((), (), 1.0)
UNREAD = Reading((), (Outline(HERE, 4.0),), 1.0)


def shows(*texts):
    return Reading(tuple(Symbol(text, "QRCode", HERE) for text in texts), (), 1.0)


def seen(tracker, *frames):
    """The texts counted over frames of (reading, time)."""
    return [
        event.text
        for reading, at_s in frames
        for event in tracker.feed(reading, IMAGE, at_s)
        if isinstance(event, Seen)
    ]


@given(st.lists(st.floats(0.01, REARM_S * 0.95), min_size=1, max_size=40))
def test_a_code_that_stays_in_view_counts_once(gaps):
    at_s, frames = 5.0, []
    for gap in gaps:
        at_s += gap
        frames.append((shows("H1"), at_s))
    assert seen(Tracker(), *frames) == ["H1"]


def test_a_code_counts_again_after_two_seconds_out_of_view():
    tracker = Tracker()
    frames = [(shows("H1"), 1.0), (NOTHING, 2.0), (shows("H1"), 2.9), (NOTHING, 4.8), (shows("H1"), 4.95)]
    assert seen(tracker, *frames) == ["H1", "H1"]


def test_going_back_to_the_first_holder_at_once_counts_when_another_came_between():
    frames = [(shows("H1"), 1.0), (shows("H2"), 1.05 + CHANGED_S), (shows("H1"), 1.9)]
    assert seen(Tracker(), *frames) == ["H1", "H2", "H1"]


def test_two_labels_in_view_that_flicker_count_once_each():
    flicker = [shows("H1", "P1"), shows("P1"), shows("H1"), shows("P1"), shows("H1", "P1")]
    assert seen(Tracker(), *((reading, 1 + 0.1 * n) for n, reading in enumerate(flicker))) == ["H1", "P1"]


def test_another_picture_counts_the_same_code_again():
    tracker = Tracker()
    counted = [
        event
        for take, at_s in ((0, 1.0), (0, 1.1), (1, 1.2))
        for event in tracker.feed(shows("H1"), IMAGE, at_s, take)
        if isinstance(event, Seen)
    ]
    assert [event.at_s for event in counted] == [1.0, 1.2]


def test_a_code_twice_in_one_frame_counts_once():
    twice = Reading((Symbol("H1", "QRCode", HERE), Symbol("H1", "QRCode", THERE)), (), 1.0)
    assert seen(Tracker(), (twice, 1.0)) == ["H1"]


def test_what_was_seen_comes_with_its_place_and_format():
    news = Tracker().feed(shows("H1"), IMAGE, 3.5)
    assert Seen("H1", "QRCode", HERE, (1280, 720), 3.5) in news


def test_the_aim_closes_in_on_the_middlemost_label_and_lets_go_late():
    tracker = Tracker()
    both = Reading((), (Outline(THERE, 3.0), Outline(HERE, 3.0)), 1.0)
    assert Aim(HERE, False, (1280, 720)) in tracker.feed(both, IMAGE, 1.0)
    assert tracker.feed(NOTHING, IMAGE, 1.1) == ()
    assert tracker.feed(NOTHING, IMAGE, 1.6) == (Aim(None, False, (1280, 720)),)
    assert tracker.feed(NOTHING, IMAGE, 1.65) == ()
    assert Aim(HERE, True, (1280, 720)) in tracker.feed(shows("H1"), IMAGE, 1.7)


def test_help_comes_when_a_label_stays_unread_and_goes_when_it_is_read():
    tracker = Tracker()

    def helped(reading, at_s):
        return [event for event in tracker.feed(reading, IMAGE, at_s) if isinstance(event, Help)]

    assert helped(UNREAD, 1.0) == []
    assert helped(UNREAD, 1.2) == []
    assert helped(NOTHING, 1.4) == []
    assert helped(UNREAD, 1.0 + HINT_AFTER_S) == [Help(Hint.MORE_LIGHT)]
    assert helped(UNREAD, 1.7) == []
    assert helped(shows("H1"), 1.8) == [Help(None)]


def test_help_goes_when_the_label_left_but_not_before_it_could_be_read():
    tracker = Tracker()
    for at_s in (1.0, 1.3, 1.6):
        events = tracker.feed(UNREAD, IMAGE, at_s)
    assert Help(Hint.MORE_LIGHT) in events
    assert Help(None) not in tracker.feed(NOTHING, IMAGE, 1.5 + SHOWN_S)
    assert Help(None) in tracker.feed(NOTHING, IMAGE, 1.8 + SHOWN_S)


def test_a_label_nobody_located_gets_its_hint_within_a_second_and_the_aim_closes_in_on_it():
    tracker = Tracker()
    scenes = troubled(Trouble.FAR, 300, 9)
    said, aims = [], []
    for number, scene in enumerate(scenes):
        for event in tracker.feed(NOTHING, draw(scene, number), 10 + number / 8):
            said += [event.hint] if isinstance(event, Help) else []
            aims += [event] if isinstance(event, Aim) else []
    assert said == [Hint.CLOSER]
    middle = corners(scenes[-1]).mean(axis=0)
    assert np.hypot(*(np.mean(aims[-1].corners, axis=0) - middle)) < 30


class Feed:
    """Frames handed out when the test says; everything else waits."""

    def __init__(self):
        self.more = threading.Condition()
        self.frame = None

    def show(self, number, level=20):
        with self.more:
            self.frame = Frame(np.full((72, 128, 3), level, np.uint8), number, float(number), 0)
            self.more.notify_all()

    def wait(self, after, limit_s):
        with self.more:
            self.more.wait_for(lambda: self.frame is not None and self.frame.number > after, limit_s)
            return self.frame if self.frame is not None and self.frame.number > after else None


class Slow:
    """A reader that takes as long as the test wants."""

    def __init__(self):
        self.read = []
        self.go = threading.Semaphore(0)
        self.began = threading.Semaphore(0)

    def next(self, frame, keen):
        level = int(frame[0, 0, 0])
        self.read.append(level)
        self.began.release()
        assert self.go.acquire(timeout=20)
        if level == 99:
            raise RuntimeError("this frame upsets the reader")
        return shows(f"H{level}")


@pytest.fixture
def rig():
    feed, reader, posted = Feed(), Slow(), []
    arrived = threading.Semaphore(0)

    def post(event):
        if isinstance(event, Seen):
            posted.append(event.text)
            arrived.release()

    stream = Stream(feed, reader, post)
    stream.start()
    yield feed, reader, posted, arrived, stream
    for _ in range(50):
        reader.go.release()
    assert stream.stop(20)


def test_while_one_frame_is_read_all_but_the_newest_are_dropped(rig):
    feed, reader, posted, arrived, _ = rig
    feed.show(1, 1)
    assert reader.began.acquire(timeout=20)
    for number in range(2, 9):
        feed.show(number, number)
    reader.go.release()
    assert reader.began.acquire(timeout=20)
    reader.go.release()
    for _ in range(2):
        assert arrived.acquire(timeout=20)
    assert reader.read == [1, 8]
    assert posted == ["H1", "H8"]


def test_a_frame_that_upsets_the_reader_does_not_end_the_reading(rig):
    feed, reader, posted, arrived, _ = rig
    feed.show(1, 99)
    assert reader.began.acquire(timeout=20)
    reader.go.release()
    feed.show(2, 2)
    assert reader.began.acquire(timeout=20)
    reader.go.release()
    assert arrived.acquire(timeout=20)
    assert posted == ["H2"]


def test_stopping_waits_no_longer_than_it_is_told(rig):
    feed, reader, _, _, stream = rig
    feed.show(1)
    assert reader.began.acquire(timeout=20)
    assert stream.stop(0.05) is False


def test_a_folder_of_pictures_is_scanned_like_a_camera_and_a_repeated_label_counts_again(tmp_path):
    shown = ["H4JSN21G3B", "H4JSN21G3B", "PE7J2BTNXH"]
    for number, code in enumerate(shown):
        style = Style.STEEL if code[0] == "H" else Style.FLAT
        (tmp_path / f"{number}.jpg").write_bytes(pack(draw_step(code, style, number)))
    arrived = threading.Condition()
    posted = []

    def post(event):
        if isinstance(event, Seen):
            with arrived:
                posted.append(event.text)
                arrived.notify_all()

    def until_scanned(_):
        # In place of a clock: the next picture comes when this one was scanned.
        with arrived:
            due = number_shown.pop(0)
            assert arrived.wait_for(lambda: len(posted) >= due, 60)

    number_shown = [1, 2, 3]
    stills = Stills("shift", pictures_in(tmp_path), 0.1, sleep=until_scanned)
    camera = Camera(stills)
    stream = Stream(camera, LiveReader(), post)
    stream.start()
    camera.start()
    with arrived:
        assert arrived.wait_for(lambda: len(posted) == 3, 60)
    assert stream.stop(20) and camera.stop(20)
    assert posted == shown
