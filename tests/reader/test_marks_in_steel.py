"""Data Matrix symbols marked into steel: what they are made of, how they are corrected, and that they are read."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray

from kiosk.bench import scenes
from kiosk.bench.scene_marks import grid, random_mark
from kiosk.reader.decode import read
from kiosk.reader.matrix_frame import Frame, from_corners, settle, shape
from kiosk.reader.matrix_search import marks
from kiosk.reader.matrix_symbol import SIZES, Size, data_places, fixed
from kiosk.reader.matrix_words import corrected

BY_SHAPE = {(size.rows, size.columns): size for size in SIZES}
DATA_MATRIX = zxingcpp.BarcodeFormat.DataMatrix


def grey_of(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size.rows}x{size.columns}")
def test_every_bit_has_a_module_of_its_own_that_carries_data(size: Size) -> None:
    places = data_places(size).reshape(-1, 2)
    assert len({tuple(place) for place in places}) == 8 * (size.data + size.checks)
    assert (fixed(size)[places[:, 0], places[:, 1]] < 0).all()


@pytest.mark.parametrize("length", [1, 4, 6, 9, 10, 20, 41, 61, 121, 201, 249])
def test_what_zxing_draws_is_corrected_with_modules_wrong_and_modules_unknown(length: int) -> None:
    rng = np.random.default_rng(length)
    truth = grid("".join(rng.choice(list("ABCDEFGHIJKL-0123456789"), length)))
    size = BY_SHAPE[truth.shape]
    seen = (truth * 2 - 1).astype(np.float32) * rng.uniform(0.6, 1, truth.shape).astype(np.float32)
    assert (corrected(seen, size) == truth).all()
    places = data_places(size)
    wrong = rng.choice(size.data, max(1, size.checks // size.blocks // 2 - 2), replace=False)[: size.checks // 4]
    for word in wrong:
        row, column = places[word, rng.integers(8)]
        seen[row, column] *= -0.2
    assert (corrected(seen, size) == truth).all()


def test_chance_says_nothing() -> None:
    rng = np.random.default_rng(5)
    for size in (size for size in SIZES if size.rows <= 26):
        for _ in range(30):
            noise = rng.normal(0, 0.6, (size.rows, size.columns)).astype(np.float32)
            assert corrected(noise, size) is None


def test_a_frame_meets_its_own_nodes_and_bends_between_them() -> None:
    nodes = from_corners(np.array([[0.0, 0], [100, 0], [100, 100], [0, 100]]))
    assert np.allclose(shape(np.array([[-1.0, -1], [0, 0], [1, 1]])) @ nodes, [[0, 0], [50, 50], [100, 100]])
    nodes[4, 1] -= 10  # the top bulges
    assert np.allclose(shape(np.array([[0.0, -1]])) @ nodes, [[50, -10]])


def test_a_frame_laid_two_thirds_of_a_module_off_settles_within_a_fifth() -> None:
    truth = grid("SK40-0815")
    size = BY_SHAPE[truth.shape]
    drawn = np.kron(truth.astype(np.float32), np.ones((12, 12), np.float32))
    picture = cv2.GaussianBlur(np.pad(drawn, 60), (0, 0), 2.5)
    high, wide = drawn.shape
    corners = np.array([[60.0, 60], [60 + wide, 60], [60 + wide, 60 + high], [60, 60 + high]]) - 0.5
    off = np.array([[8.0, -6], [-7, 5], [6, 8], [-8, -8]])
    settled = settle(picture, Frame(size, from_corners(corners + off), 0.0))
    assert np.linalg.norm(settled.nodes[:4] - corners, axis=1).max() < 0.2 * 12


def test_marks_in_steel_are_read_where_the_library_alone_reads_few_and_no_text_is_invented() -> None:
    ours = bare = 0
    for seed in range(300, 309):
        marked = random_mark(seed)
        grey = grey_of(marked.picture)
        texts = {found.text for found in marks(grey)}
        assert texts <= {marked.text}
        ours += marked.text in texts
        bare += marked.text in {each.text for each in zxingcpp.read_barcodes(grey, formats=DATA_MATRIX)}
    assert ours >= max(2 * bare, 4)


def test_frames_without_a_mark_give_no_text() -> None:
    for seed in range(40, 43):
        assert not list(marks(grey_of(scenes.draw_empty(seed))))


@pytest.mark.parametrize("pixels", [1, 2, 3])
@pytest.mark.parametrize("quiet", [0, 1, 3])
def test_a_clean_drawing_is_read_however_small_it_is(pixels: int, quiet: int) -> None:
    """Whatever zxing-cpp alone reads by its best options, of any size and way up."""
    for length in (1, 3, 6, 9, 12, 16, 24, 30, 44, 72, 98, 140):
        for square in (False, True):
            made = zxingcpp.create_barcode("7" * length + "A", DATA_MATRIX, force_square=square)
            drawn = np.array(made.to_image(scale=pixels, add_quiet_zones=False))
            drawn = np.ascontiguousarray(np.rot90(np.pad(drawn, quiet * pixels, constant_values=255), length % 2))
            for picture in (drawn, 255 - drawn):
                bare = any(
                    each.text == made.text
                    for alone in (True, False)
                    for each in zxingcpp.read_barcodes(picture, formats=DATA_MATRIX, is_pure=alone)
                )
                assert not bare or made.text in {symbol.text for symbol in read(picture, 400).symbols}
