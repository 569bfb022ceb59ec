"""How often the right hint comes in time, how often one comes for nothing, and what looking for it costs.

Streams of drawn labels, each with one known trouble, and of views without a label, through the live reader and what
follows it in the kiosk.  Streams whose label is read within the second are left out: they need no hint.  The peer is
zxing-cpp's own outlines of what it cannot decode, measured and advised in the same way; processor time on one thread.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from statistics import mean

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kiosk.bench.hint_scenes import FRAMES_A_SECOND, Empty, Trouble, empty, troubled
from kiosk.bench.ratio import Ratio
from kiosk.bench.scenes import draw
from kiosk.reader.decode import LiveReader
from kiosk.reader.hints import Hint, advise, measure
from kiosk.reader.patience import Patience, Sight
from kiosk.reader.stream import Help, Tracker
from kiosk.reader.symbols import Outline, Reading

BENCH, PEER = "hints", "zxing-cpp's outlines"
FRAMES = FRAMES_A_SECOND + 1  # the ninth frame comes a second after the first
FIRST_SEED = 20_000  # never looked at while the limits were sought
CAMERA_HZ = 15
MOST_MS = 3.0
RIGHT = {
    Trouble.FAR: Hint.CLOSER,
    Trouble.DARK: Hint.MORE_LIGHT,
    Trouble.DEFOCUS: Hint.REFOCUS,
    Trouble.SHAKE: Hint.HOLD_STILL,
    Trouble.GLARE: Hint.TILT_IT,
    Trouble.STEEP: Hint.TURN_IT,
    Trouble.CUT_OFF: Hint.INTO_PICTURE,
    Trouble.WORN: Hint.WIPE_IT,
}
NOTHING = Reading((), (), 0.0)
Grey = NDArray[np.uint8]


def run(quick: bool = False) -> Iterator[Ratio]:
    """Rows for `bench hints`: one for each trouble, views without a label, the cost; ten minutes, quick: one."""
    streams = 2 if quick else 24
    for trouble, hint in RIGHT.items():
        unread = ours = theirs = 0
        for seed in range(FIRST_SEED, FIRST_SEED + streams):
            scenes = troubled(trouble, seed, FRAMES)
            frames = [_grey(draw(scene, seed + number)) for number, scene in enumerate(scenes)]
            said = _streamed(frames)
            if said is None:
                continue
            unread += 1
            ours += said[:1] == [hint]
            theirs += _said_by_outlines(frames)[:1] == [hint]
        if unread:
            case = f"right hint within a second: {trouble.value}, {unread} unread of {streams}"
            shares = ours / unread, theirs / unread
            yield Ratio(BENCH, case, PEER, *shares, shares[0] / max(shares[1], 0.001), "share")
    yield from _for_nothing(streams)


def _for_nothing(streams: int) -> Iterator[Ratio]:
    ours = theirs = seconds = 0
    costs_ms = []
    for view in Empty:
        if view is Empty.PRINT:  # no code, but a label all the same
            continue
        for seed in range(FIRST_SEED, FIRST_SEED + streams):
            frames = [_grey(frame) for frame in empty(view, seed, FRAMES)]
            ours += bool(_said(frames))
            theirs += bool(_said_by_outlines(frames))
            seconds += 1
            costs_ms.append(_cost_ms(frames))
    case = f"seconds with a hint, of {seconds} without a label"
    yield Ratio(BENCH, case, PEER, float(ours), float(theirs), 1.0 if ours <= theirs else theirs / ours, "seconds")
    cost_ms = mean(costs_ms)
    yield Ratio(BENCH, "looking for a label, a frame without one", "3 ms", cost_ms, MOST_MS, MOST_MS / cost_ms, "ms")


def _streamed(frames: list[Grey]) -> list[Hint] | None:
    """The hints of a stream in their order as the kiosk reads it, None where its label is read."""
    reader, tracker = LiveReader(), Tracker()
    hints = []
    for at_s, frame in _timed(frames):
        reading = reader.next(frame, tracker.keen)
        if reading.symbols:
            return None
        hints += [event.hint for event in tracker.feed(reading, frame, at_s) if isinstance(event, Help)]
    return [hint for hint in hints if hint is not None]


def _said(frames: list[Grey]) -> list[Hint]:
    """The hints of a stream in which the reader sees nothing, in their order."""
    tracker = Tracker()
    events = [event for at_s, frame in _timed(frames) for event in tracker.feed(NOTHING, frame, at_s)]
    return [event.hint for event in events if isinstance(event, Help) and event.hint is not None]


def _said_by_outlines(frames: list[Grey]) -> list[Hint]:
    """The same with labels located by zxing-cpp alone."""
    patience = Patience()
    shown = [patience.look(_outlined(frame, at_s), at_s) for at_s, frame in _timed(frames)]
    return [hint for hint in shown if hint is not None]


def _timed(frames: list[Grey]) -> Iterator[tuple[float, Grey]]:
    for number, frame in enumerate(frames):
        yield number / FRAMES_A_SECOND, frame


def _outlined(frame: Grey, at_s: float) -> Sight | None:
    for found in zxingcpp.read_barcodes(frame, formats=zxingcpp.BarcodeFormat.QRCode, return_errors=True):
        place = found.position
        four = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
        outline = Outline(tuple((float(point.x), float(point.y)) for point in four), 0.0)
        return Sight(outline.corners, advise(measure(frame, outline)), at_s)
    return None


def _cost_ms(frames: list[Grey]) -> float:
    """Mean milliseconds a frame of everything after the reader, at the camera's pace."""
    tracker = Tracker()
    began = time.thread_time()
    for number, frame in enumerate(frames):
        tracker.feed(NOTHING, frame, number / CAMERA_HZ)
    return (time.thread_time() - began) / len(frames) * 1e3


def _grey(picture: Grey) -> Grey:
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
