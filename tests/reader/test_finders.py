"""Finder patterns in drawn pictures, where the truth is known to the pixel."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.reader import finders, quads, runs, search, triples
from kiosk.reader.hints import measure
from kiosk.reader.runs import Level
from kiosk.reader.symbols import Outline

MODULE_PX = 8


def pattern(module_px: int = MODULE_PX) -> np.ndarray:
    """A finder pattern with two modules of white around it."""
    drawn = np.full((11, 11), 255, np.uint8)
    drawn[2:9, 2:9] = 0
    drawn[3:8, 3:8] = 255
    drawn[4:7, 4:7] = 0
    return np.kron(drawn, np.ones((module_px, module_px), np.uint8))


def on_paper(*centres: tuple[int, int], size: int = 400, module_px: int = MODULE_PX) -> np.ndarray:
    """White paper with a pattern around each centre (x, y)."""
    paper = np.full((size, size), 255, np.uint8)
    drawn = pattern(module_px)
    half = drawn.shape[0] // 2
    for x, y in centres:
        paper[y - half : y - half + drawn.shape[0], x - half : x - half + drawn.shape[1]] = drawn
    return cv2.GaussianBlur(paper, (3, 3), 0)


@settings(max_examples=25, deadline=None)
@given(st.integers(120, 280), st.integers(120, 280), st.floats(-45, 45), st.sampled_from([4, 6, 9]))
def test_a_pattern_is_found_where_it_is_however_it_is_turned(x: int, y: int, turn_deg: float, module_px: int) -> None:
    paper = on_paper((x, y), module_px=module_px)
    turn = cv2.getRotationMatrix2D((x, y), turn_deg, 1.0)
    turned = cv2.warpAffine(paper, turn, (400, 400), borderValue=255)
    best = finders.find(turned, 48)[0]
    assert np.hypot(*(best.centre - (x, y))) < module_px
    assert best.module_px == pytest.approx(module_px, rel=0.1)


def test_patterns_inside_what_was_read_already_are_not_looked_for_again() -> None:
    paper = on_paper((100, 100), (300, 300))
    read = np.array([[40, 40], [160, 40], [160, 160], [40, 160]], np.float64)
    (left,) = finders.find(paper, 48, done=[read])
    assert np.hypot(*(left.centre - (300, 300))) < MODULE_PX


def test_plain_paper_and_a_chess_board_have_no_pattern() -> None:
    board = np.kron(np.indices((25, 25)).sum(0) % 2 * 255, np.ones((16, 16))).astype(np.uint8)
    assert finders.find(np.full((400, 400), 200, np.uint8), 48) == []
    assert finders.find(board, 48) == []


@pytest.mark.parametrize("level", list(Level))
def test_either_way_to_tell_black_from_white_crosses_the_pattern(level: Level) -> None:
    seeds = runs.seeds(on_paper((200, 150)), 48, 2, (), (level,))
    nearest = np.hypot(seeds[:, 0] - 200, seeds[:, 1] - 150).min()
    assert nearest < MODULE_PX


def test_an_outer_edge_with_a_dent_still_has_its_four_corners() -> None:
    side = np.arange(0.0, 100.0)
    ring = np.concatenate([
        np.stack([side, 0 * side], 1), np.stack([0 * side + 100, side], 1),
        np.stack([100 - side, 0 * side + 100], 1), np.stack([0 * side, 100 - side], 1),
    ])  # fmt: skip
    ring[30:36, 1] += 9.0  # a scratch
    quad = quads.quad_around(ring)
    assert quad is not None
    truth = np.array([[0, 0], [100, 0], [100, 100], [0, 100]])
    gaps = np.linalg.norm(quad[:, None] - truth[None], axis=2).min(0)
    assert gaps.max() < 2.5
    assert np.hypot(*(quads.diagonals(quad) - 50)) < 2.5


def test_three_patterns_of_a_version_1_symbol_make_one_symbol_of_21_modules() -> None:
    leg = 14 * MODULE_PX
    found = finders.find(on_paper((100, 100), (100 + leg, 100), (100, 100 + leg)), 48)
    (best, *_) = triples.triples(found)
    assert best.modules == pytest.approx(21, abs=1.5)
    top_left, top_right, bottom_left = (finder.centre for finder in best.finders)
    assert np.hypot(*(top_left - 100)) < MODULE_PX
    assert top_right[0] - top_left[0] == pytest.approx(leg, abs=MODULE_PX)
    assert bottom_left[1] - top_left[1] == pytest.approx(leg, abs=MODULE_PX)


def test_three_patterns_in_a_row_are_no_symbol() -> None:
    leg = 14 * MODULE_PX
    row = finders.find(on_paper((60, 200), (60 + leg, 200), (60 + 2 * leg, 200)), 48)
    assert len(row) == 3
    assert triples.triples(row) == []


@pytest.mark.parametrize(("centres", "seen"), [([(200, 200)], 1), ([(120, 120), (232, 120)], 1)])
def test_what_was_seen_in_part_says_where_the_rest_must_be(centres: list[tuple[int, int]], seen: int) -> None:
    spots = triples.spots(finders.find(on_paper(*centres), 48))
    assert len(spots) == seen
    (x0, y0), _, (x1, y1), _ = spots[0].corners
    for x, y in centres:  # wherever the other finders are: up to 14 modules further, whichever way
        assert x0 <= x - 14 * MODULE_PX or len(centres) == 2
        assert x0 < x < x1 and y0 < y < y1


def test_a_finder_in_a_crop_is_the_same_finder() -> None:
    (found,) = finders.find(on_paper((200, 200)), 48)
    moved = found.moved(100, 50, 2.0)
    assert np.allclose(moved.centre, (found.centre - (100, 50)) * 2)
    assert moved.module_px == pytest.approx(2 * found.module_px)


def test_of_a_finder_seen_from_aside_the_symbol_is_looked_for_as_oblong():
    aside = finders.Finder(
        np.array([400.0, 300.0]), np.array([[379.0, 291.0], [421.0, 293.0], [421.0, 309.0], [379.0, 307.0]]), 4.1, 0.9
    )
    (spot,) = triples.spots([aside])
    for here in (spot, spot.moved(100, 50, 2.0).moved(-200, -100, 0.5)):
        assert measure(np.zeros((720, 1280), np.uint8), Outline(here.symbol, here.module_px)).slant == pytest.approx(
            16 / 42, abs=0.02
        )
        assert np.allclose(np.mean(here.symbol, axis=0), aside.centre)


def three_of(*centres: tuple[int, int]) -> triples.Triple:
    (best, *_) = triples.triples(finders.find(on_paper(*centres), 48))
    return best


def test_the_same_finders_in_other_light_are_known_again_and_others_are_not() -> None:
    seen = three_of((100, 100), (260, 100), (100, 260))
    assert seen.same(seen.moved(-1.0, 1.0, 1.0))  # an eighth of a module off
    assert not seen.same(seen.moved(-4.0, 0.0, 1.0))  # half a module off, which may read where the first did not
    assert not seen.same(three_of((100, 100), (300, 100), (100, 300)))


def test_a_guessed_finder_may_lie_further_off_than_a_seen_one() -> None:
    seen = three_of((100, 100), (260, 100), (100, 260))
    off = seen.finders[1].moved(-8.0, 0.0, 1.0)  # a module
    one, other = (
        triples.Triple((seen.finders[0], second, seen.finders[2]), seen.modules, seen.misfit, 1)
        for second in (seen.finders[1], off)
    )
    assert one.same(other)
    assert not one.same(triples.Triple(seen.finders, seen.modules, seen.misfit))
    assert not seen.same(triples.Triple((seen.finders[0], off, seen.finders[2]), seen.modules, seen.misfit))


def test_what_cannot_be_read_is_taken_apart_once_in_however_many_lights_it_is_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    taken_apart = []
    monkeypatch.setattr(search, "read_triple", lambda *_: taken_apart.append(1))
    blank = search.Search(on_paper((100, 100), (260, 100), (100, 260)), None)
    seen = three_of((100, 100), (260, 100), (100, 260))
    for off_px in (0.0, 0.5, -0.5):
        blank.try_marked(seen.moved(off_px, 0.0, 1.0))
    assert len(taken_apart) == 1
    blank.try_marked(seen.moved(-4.0, 0.0, 1.0))
    assert len(taken_apart) == 2


def test_a_picture_is_made_smaller_once_and_a_small_one_never() -> None:
    large = search.Search(np.zeros((400, 800), np.uint8), None)
    small, scale = large.shrunk(400)
    assert (small.shape, scale) == ((200, 400), 0.5)
    assert large.shrunk(400)[0] is small
    assert large.shrunk(900) == (large.grey, 1.0)
