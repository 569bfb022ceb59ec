"""A still background is not searched again; what differs from it is, and a label in front of it is read as ever."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray

from kiosk.bench import scenes
from kiosk.reader import decode
from kiosk.reader.background import AGAIN_EVERY, Background
from kiosk.reader.decode import LiveReader
from kiosk.reader.symbols import inside

CALM = 6
NOISE = np.random.default_rng(2).normal(0, 3, (720, 1280)).astype(np.float32)
Grey = NDArray[np.uint8]


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def bench_top(rng: np.random.Generator) -> NDArray[np.float32]:
    rough = cv2.GaussianBlur(rng.normal(0, 60, (720, 1280)).astype(np.float32), (0, 0), 12)
    return np.asarray(rough * 6 + 120, np.float32)


def seen(top: NDArray[np.float32], rng: np.random.Generator) -> Grey:
    """A frame of it as a sensor gives it."""
    noise = np.roll(NOISE, rng.integers(0, 700, 2), (0, 1))
    return np.clip(top + noise, 0, 255).astype(np.uint8)


def known(background: Background, top: NDArray[np.float32], rng: np.random.Generator) -> Background:
    for _ in range(CALM):
        assert background.differs(seen(top, rng))
        background.searched(doubtful=False, label=False)
    return background


def test_a_still_picture_is_searched_through_and_then_in_one_frame_of_so_many(rng: np.random.Generator) -> None:
    top = bench_top(rng)
    background = known(Background(CALM), top, rng)
    searched = []
    for number in range(1, 4 * AGAIN_EVERY + 1):
        parts = background.differs(seen(top, rng))
        if parts:
            assert parts == ((0, 0, 1280, 720),)
            background.searched(doubtful=False, label=False)
            searched.append(number)
    assert searched == [AGAIN_EVERY * turn for turn in (1, 2, 3, 4)]


def test_a_lamp_that_makes_all_of_it_lighter_is_no_change(rng: np.random.Generator) -> None:
    top = bench_top(rng)
    background = known(Background(CALM), top, rng)
    assert background.differs(seen(top + 12, rng)) == ()


@pytest.mark.parametrize("side", [32, 60, 200])
@pytest.mark.parametrize("place", [(0, 0), (500, 300), (1080, 520)])
def test_whatever_differs_is_inside_of_the_part_that_is_searched(
    side: int, place: tuple[int, int], rng: np.random.Generator
) -> None:
    top = bench_top(rng)
    background = known(Background(CALM), top, rng)
    x, y = place
    top[y : y + side, x : x + side] += 25
    for _ in range(2 * CALM):  # however long it stays
        (part,) = background.differs(seen(top, rng))
        assert (part.left <= x, part.top <= y) == (True, True)
        assert (part.right >= min(x + side, 1280), part.bottom >= min(y + side, 720)) == (True, True)
        assert (part.right - part.left) * (part.bottom - part.top) < 1280 * 720 / 3
        background.searched(doubtful=True, label=True)


@pytest.mark.parametrize("squares", [2, 3, 4, 9])
def test_what_changes_in_several_places_is_searched_in_parts_that_do_not_meet(
    squares: int, rng: np.random.Generator
) -> None:
    top = bench_top(rng)
    background = known(Background(CALM), top, rng)
    places = [(40 + 400 * (n % 3), 20 + 230 * (n // 3)) for n in range(squares)]
    for x, y in places:
        top[y : y + 60, x : x + 60] += 25
    parts = background.differs(seen(top, rng))
    assert len(parts) == min(squares, 4)
    for x, y in places:
        assert sum(p.left <= x and p.top <= y and p.right >= x + 60 and p.bottom >= y + 60 for p in parts) == 1
    assert not any(one.meets(other) for n, one in enumerate(parts) for other in parts[n + 1 :])
    if squares < 4:
        assert sum((p.right - p.left) * (p.bottom - p.top) for p in parts) < 1280 * 720 / 3


def test_a_picture_in_which_somebody_holds_a_label_up_never_becomes_the_background(rng: np.random.Generator) -> None:
    top = bench_top(rng)
    background = Background(CALM)
    for _ in range(40):
        assert background.differs(seen(top, rng))
        background.searched(doubtful=True, label=True)


def test_what_may_be_a_label_is_searched_five_times_as_long(rng: np.random.Generator) -> None:
    top = bench_top(rng)
    background = Background(CALM)
    frames = 0
    while background.differs(seen(top, rng)):
        background.searched(doubtful=True, label=False)
        frames += 1
    assert frames == pytest.approx(5 * CALM, abs=1)


def test_what_moves_is_no_background_and_neither_is_another_size_of_picture(rng: np.random.Generator) -> None:
    background = Background(CALM)
    for step in range(3 * CALM):
        top = np.full((720, 1280), 120, np.float32)
        top[100:300, 40 * step : 40 * step + 160] = 200
        assert background.differs(seen(top, rng))
        background.searched(doubtful=False, label=False)
    background = known(Background(CALM), bench_top(rng), rng)
    assert background.differs(np.full((480, 640), 120, np.uint8)) == ((0, 0, 640, 480),)


@pytest.mark.parametrize("number", [3, 24])
def test_a_label_before_a_known_background_is_read_where_it_is(number: int, rng: np.random.Generator) -> None:
    held = scenes.live(number, 3)
    corners = np.array(scenes.corners(held.scene))
    margin = float((corners.max(0) - corners.min(0)).max()) * 0.7
    left, top = np.maximum(corners.min(0) - margin, 0).astype(int)
    right, bottom = (corners.max(0) + margin).astype(int)
    still = bench_top(rng)
    reader = LiveReader(2000)
    while not reader.next(seen(still, rng)).still:
        pass
    found = []
    for frame in held.frames:
        shown = seen(still, rng)
        grey = cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY) if frame.ndim == 3 else frame
        shown[top:bottom, left:right] = grey[top:bottom, left:right]
        reading = reader.next(shown)
        assert not reading.still
        found += reading.symbols
    assert {symbol.text for symbol in found} == {held.scene.text}
    assert all(inside(symbol.centre, tuple(map(tuple, corners))) for symbol in found[:1])


@pytest.mark.parametrize(("still", "looks"), [(True, 4), (False, 2)], ids=["still", "moves"])
def test_what_moves_gets_every_second_look_for_a_mark_in_steel(
    still: bool, looks: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked = []
    turns = tuple((lambda _: looked.append(1)) if turn is decode.etched_glance else turn for turn in decode._TURNS)
    monkeypatch.setattr(decode, "etched_glance", turns[-1])
    monkeypatch.setattr(decode, "_TURNS", turns)
    reader = LiveReader(2000)
    for number in range(4 * len(turns)):
        frame = np.full((240, 320), 90, np.uint8)
        frame[60:120, 60 + (0 if still else 40 * (number % 2)) :][:, :60] = 160
        reader.next(frame, keen=True)
    assert len(looked) == looks


def test_a_label_that_lies_in_view_is_read_in_every_frame(rng: np.random.Generator) -> None:
    lies = np.full((240, 320), 200, np.uint8)
    symbol = cv2.resize(write("H12345"), None, fx=4, fy=4, interpolation=cv2.INTER_NEAREST)
    lies[60 : 60 + len(symbol), 90 : 90 + len(symbol)] = symbol
    reader = LiveReader(2000)
    for _ in range(160):  # far longer than it takes to know a background, doubtful or not
        frame = np.clip(lies + rng.normal(0, 1.5, lies.shape), 0, 255).astype(np.uint8)
        assert [symbol.text for symbol in reader.next(frame).symbols] == ["H12345"]


def write(text: str) -> Grey:
    """A QR symbol of a pixel a module, quiet zone included."""
    made = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    return np.asarray(zxingcpp.write_barcode_to_image(made, scale=1, add_quiet_zones=True), np.uint8)
