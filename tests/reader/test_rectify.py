"""Geometry, fixed modules and doubtful codewords, each against a source of its own."""

from __future__ import annotations

import numpy as np
import pytest
import qrcode
from numpy.typing import NDArray

from kiosk.reader import codewords, finders, pairs, timing, triples
from kiosk.reader.layout import LARGEST, SMALLEST, layout
from kiosk.reader.rectify import read_triple, text_of
from kiosk.reader.surface import Camera, Surface, fit

CAMERA = Camera(640, 360, 1100)
SQUARE = np.array([[0, 0], [7, 0], [7, 7], [0, 7]], np.float64)


def modules(text: str, version: int | None = None, level: int = qrcode.ERROR_CORRECT_H) -> NDArray[np.int8]:
    code = qrcode.QRCode(version=version, error_correction=level, border=0)
    code.add_data(text)
    code.make()
    return np.array(code.get_matrix(), np.int8)


def darkness(bits: NDArray[np.int8]) -> NDArray[np.float32]:
    return (bits * 2.0 - 1.0).astype(np.float32)


@pytest.mark.parametrize("size", range(SMALLEST, LARGEST + 1, 4))
def test_fixed_modules_are_those_every_symbol_of_that_size_has(size: int) -> None:
    drawn = modules("A", (size - 17) // 4, qrcode.ERROR_CORRECT_L)
    known = layout(size)
    assert (drawn[known.fixed] == known.bits[known.fixed]).all()
    assert known.fixed.sum() > 200


def corners_of(size: int) -> NDArray[np.float64]:
    return np.concatenate([SQUARE, SQUARE + np.array([size - 7, 0]), SQUARE + np.array([0, size - 7])])


@pytest.mark.parametrize("bend", [0.0, 0.6, 1.4])
@pytest.mark.parametrize("axis", [0.0, 0.7, 2.0])
def test_three_finders_are_enough_to_place_the_fourth_corner_of_a_bent_label(bend: float, axis: float) -> None:
    size = 21
    truth = Surface(size, CAMERA, np.array([0.5, -0.3, 0.2, 0.1, 0.05, 5, bend, axis, 0.0]), 0.0)
    label = corners_of(size)
    noise = np.random.default_rng(1).normal(0, 0.15, (12, 2))
    found = fit(label, truth.project(label) + noise, size, CAMERA)
    assert found is not None
    fourth = np.array([[size, size]], np.float64)
    module_px = np.linalg.norm(truth.project(np.array([[10.0, 10], [11, 10]]))[1] - truth.project(fourth * 0 + 10)[0])
    assert np.linalg.norm(found.project(fourth) - truth.project(fourth)) < 1.2 * module_px
    assert found.misfit < 0.2


def rendered(bits: NDArray[np.int8], surface: Surface) -> NDArray[np.uint8]:
    """A symbol with its quiet zone as the surface shows it, drawn module by module."""
    import cv2

    picture = np.full((720, 1280), 90, np.uint8)
    size = len(bits)
    paper = surface.project(np.array([[x, y] for x, y in outline(-4, size + 4)]))
    cv2.fillPoly(picture, [np.round(paper * 16).astype(np.int32)], 225, cv2.LINE_AA, 4)
    for row, column in np.argwhere(bits):
        square = np.array([[column, row], [column + 1, row], [column + 1, row + 1], [column, row + 1]], float)
        cv2.fillPoly(picture, [np.round(surface.project(square) * 16).astype(np.int32)], 35, cv2.LINE_AA, 4)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.uint8)


def outline(low: float, high: float) -> list[tuple[float, float]]:
    steps = np.linspace(low, high, 20)
    return [
        *((float(x), low) for x in steps),
        *((high, float(y)) for y in steps),
        *((float(x), high) for x in steps[::-1]),
        *((low, float(y)) for y in steps[::-1]),
    ]


def test_a_symbol_bent_around_a_slanting_axis_is_read_from_its_finders() -> None:
    bits = modules("H7K2B4N9RX")
    surface = Surface(len(bits), CAMERA, np.array([0.35, 0.2, 0.1, 0.0, 0.0, 4.5, 1.7, 0.5, 0.0]), 0.0)
    picture = rendered(bits, surface)
    marked = triples.triples(finders.find(picture, 48))
    assert marked
    assert abs(marked[0].modules - len(bits)) < 4
    made = read_triple(picture, marked[0], CAMERA)
    assert made is not None
    text, corners = made
    assert text == "H7K2B4N9RX"
    truth = surface.project(np.array([[0, 0], [21, 0], [21, 21], [0, 21]], np.float64))
    assert np.abs(corners - truth).max() < 8


def test_two_finders_and_the_timing_patterns_place_the_third() -> None:
    bits = modules("H7K2B4N9RX")
    surface = Surface(len(bits), CAMERA, np.array([0.2, -0.2, 0.3, 0.0, 0.0, 4.5, 0.0, 0.0, 0.0]), 0.0)
    bits_seen = bits.copy()
    bits_seen[:8, -8:] = 0  # the top right one is gone
    picture = rendered(bits_seen, surface)
    found = finders.find(picture, 48)
    assert triples.triples(found) == []
    guesses = list(pairs.completed(picture, found, CAMERA))
    assert guesses
    assert guesses[0].guessed == 1
    truth = surface.project(np.array([[17.5, 3.5]]))
    assert np.linalg.norm(guesses[0].finders[1].corners.mean(0) - truth) < 2 * guesses[0].finders[0].module_px


def test_the_beat_of_the_timing_patterns_tells_the_size() -> None:
    bits = modules("H7K2B4N9RX")
    surface = Surface(21, CAMERA, np.array([0.3, 0.2, 0.1, 0.0, 0.0, 4.5, 0.4, 0.3, 0.0]), 0.0)
    picture = rendered(bits, surface)
    beats = {}
    for size in (21, 25, 29):
        guess = fit(corners_of(size), surface.project(corners_of(21)), size, CAMERA)
        assert guess is not None
        beats[size] = timing.beat(picture, guess.project, size)
    assert beats[21] > 0.9
    assert max(beats[25], beats[29]) < beats[21] - 0.3


@pytest.mark.parametrize(
    ("version", "level"),
    [
        (1, qrcode.ERROR_CORRECT_H),
        (2, qrcode.ERROR_CORRECT_L),
        (5, qrcode.ERROR_CORRECT_M),
        (7, qrcode.ERROR_CORRECT_Q),
        (14, qrcode.ERROR_CORRECT_H),
        (27, qrcode.ERROR_CORRECT_Q),
    ],
)
def test_codewords_known_to_be_doubtful_are_corrected(version: int, level: int) -> None:
    bits = modules("HELLO WORL", version, level)
    seen = darkness(bits)
    assert (codewords.corrected(seen) == bits).all()
    row, column = np.argwhere(~layout(len(bits)).fixed)[-30]
    patch = slice(max(row - 4, 9), row), slice(max(column - 4, 9), column)
    seen[patch] = np.random.default_rng(3).normal(0, 0.05, seen[patch].shape)
    whole = codewords.corrected(seen)
    assert whole is not None
    assert text_of(whole) == "HELLO WORL"


def test_doubt_saves_a_symbol_that_silent_errors_would_not() -> None:
    bits = modules("H7K2B4N9RX")
    rng = np.random.default_rng(8)
    seen = darkness(bits)
    seen[9:21, 9:17] = rng.normal(0, 0.05, seen[9:21, 9:17].shape)
    assert text_of((seen > 0).astype(np.int8)) is None
    whole = codewords.corrected(seen)
    assert whole is not None
    assert text_of(whole) == "H7K2B4N9RX"


def test_chance_modules_are_never_corrected_into_a_text() -> None:
    rng = np.random.default_rng(21)
    for size in (21, 25, 33):
        for _ in range(80):
            assert codewords.corrected(rng.normal(0, 1, (size, size)).astype(np.float32)) is None


def test_random_modules_hold_no_text() -> None:
    rng = np.random.default_rng(22)
    for _ in range(200):
        bits = np.where(layout(21).fixed, layout(21).bits, rng.integers(0, 2, (21, 21))).astype(np.int8)
        assert text_of(bits) is None
