"""Labels the reader cannot read are seen all the same, and where none is nothing is seen."""

import cv2
import numpy as np
import pytest

from kiosk.bench.hint_scenes import Empty, Trouble, empty, troubled
from kiosk.bench.scenes import corners, draw
from kiosk.reader.glimpse import glimpse, still_there
from kiosk.reader.hints import Hint, advise, measure
from kiosk.reader.symbols import Part


def grey(picture):
    return cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)


def seen(trouble, seed):
    """Scene, its grey picture, and the glimpse of it."""
    scene = troubled(trouble, seed, 1)[0]
    picture = grey(draw(scene, seed))
    return scene, picture, glimpse(picture)


@pytest.mark.parametrize(
    ("trouble", "hint"),
    [
        (Trouble.FAR, Hint.CLOSER),
        (Trouble.DEFOCUS, Hint.REFOCUS),
        (Trouble.SHAKE, Hint.HOLD_STILL),
        (Trouble.CUT_OFF, Hint.INTO_PICTURE),
    ],
    ids=lambda value: value.name.lower(),
)
def test_a_label_in_trouble_is_seen_and_the_trouble_named(trouble, hint):
    named = []
    for seed in range(300, 305):
        _, picture, found = seen(trouble, seed)
        if found is not None:
            named.append(advise(measure(picture, found)))
    assert named.count(hint) >= 4, named


@pytest.mark.parametrize("trouble", [Trouble.FAR, Trouble.DEFOCUS, Trouble.SHAKE], ids=lambda one: one.name.lower())
def test_place_and_module_of_a_whole_label_are_true_within_a_tenth(trouble):
    for seed in range(310, 314):
        scene, _, found = seen(trouble, seed)
        true = corners(scene)
        side = np.linalg.norm(np.roll(true, -1, axis=0) - true, axis=1).reshape(2, 2).mean(axis=0).max()
        assert found is not None
        assert found.module_px == pytest.approx(side / 21, rel=0.1)
        assert np.hypot(*(np.mean(found.corners, axis=0) - true.mean(axis=0))) < 0.15 * side


@pytest.mark.parametrize("seed", [31006, 31007, 31009], ids=["finders smeared", "much larger", "half faded"])
def test_a_worn_label_is_seen_where_it_lies_and_wiping_it_is_asked_for(seed):
    scene, picture, found = seen(Trouble.WORN, seed)
    true = corners(scene)
    assert found is not None and advise(measure(picture, found)) is Hint.WIPE_IT
    assert np.hypot(*(np.mean(found.corners, axis=0) - true.mean(axis=0))) < 0.1 * np.hypot(*(true[0] - true[2]))


@pytest.mark.parametrize("seed", [73018, 73025, 73034], ids=["finders crossed", "pale", "caption beside it"])
def test_a_label_whose_margin_is_scratched_through_is_seen_where_it_lies(seed):
    scene, picture, found = seen(Trouble.WORN, seed)
    true = corners(scene)
    assert found is not None and advise(measure(picture, found)) is Hint.WIPE_IT
    assert np.hypot(*(np.mean(found.corners, axis=0) - true.mean(axis=0))) < 0.05 * np.hypot(*(true[0] - true[2]))
    assert found.module_px == pytest.approx(np.linalg.norm(true[1] - true[0]) / 21, rel=0.12)


def test_a_worn_label_seen_a_moment_ago_is_still_seen_where_the_next_frame_alone_shows_none():
    scenes = troubled(Trouble.WORN, 74023, 6)
    before, after = (grey(draw(scenes[number], 74023 + number)) for number in (4, 5))
    seen_before = glimpse(before)
    assert seen_before is not None and glimpse(after) is None
    found = still_there(after, seen_before.corners)
    true = corners(scenes[5])
    assert found is not None
    assert np.hypot(*(np.mean(found.corners, axis=0) - true.mean(axis=0))) < 0.05 * np.hypot(*(true[0] - true[2]))


def test_where_the_label_was_taken_away_none_is_still_there():
    scene = troubled(Trouble.WORN, 73034, 1)[0]
    corners_before = tuple((float(x), float(y)) for x, y in corners(scene))
    for view in (Empty.STEEL, Empty.HAND, Empty.SHEET):
        for seed in range(330, 334):
            assert still_there(grey(next(empty(view, seed, 1))), corners_before) is None


def test_a_shank_beside_a_worn_label_is_not_taken_for_it():
    scene, _, found = seen(Trouble.WORN, 73023)
    true = corners(scene)
    assert found is not None
    assert np.hypot(*(np.mean(found.corners, axis=0) - true.mean(axis=0))) < 0.1 * np.hypot(*(true[0] - true[2]))


def test_a_lamps_spot_over_half_a_label_leaves_enough_to_see_it():
    hints = []
    for seed in range(320, 326):
        _, picture, found = seen(Trouble.GLARE, seed)
        if found is not None:
            hints.append(advise(measure(picture, found)))
    assert hints.count(Hint.TILT_IT) >= 3, hints
    assert set(hints) <= {Hint.TILT_IT}


@pytest.mark.parametrize(
    "view", [Empty.STEEL, Empty.SHEET, Empty.DRAWER, Empty.HAND, Empty.NIGHT], ids=lambda view: view.name.lower()
)
def test_without_a_label_nothing_is_seen(view):
    found = [glimpse(grey(picture)) for seed in range(330, 334) for picture in empty(view, seed, 1)]
    assert found == [None] * 4


def test_light_that_runs_along_steel_is_no_lamps_spot_on_a_label():
    assert glimpse(grey(next(empty(Empty.STEEL, 34000, 1)))) is None


@pytest.mark.parametrize("shape", [(720, 1280), (21, 21), (64, 2000), (1, 1)])
@pytest.mark.parametrize("level", [0, 128, 255])
def test_plain_pictures_of_any_shape_show_nothing(shape, level):
    assert glimpse(np.full(shape, level, np.uint8)) is None


def test_a_turned_picture_shows_the_same_label_in_its_turned_place():
    _, picture, found = seen(Trouble.DEFOCUS, 340)
    turned = glimpse(np.ascontiguousarray(np.rot90(picture)))
    assert found is not None
    assert turned is not None
    x, y = np.mean(found.corners, axis=0)
    assert np.mean(turned.corners, axis=0) == pytest.approx((y, picture.shape[1] - x), abs=4)


@pytest.mark.parametrize("trouble", [Trouble.FAR, Trouble.DEFOCUS], ids=lambda one: one.name.lower())
def test_a_label_is_seen_in_a_part_of_the_picture_where_it_is_seen_in_all_of_it(trouble):
    for seed in range(310, 313):
        scene, picture, found = seen(trouble, seed)
        low, high = np.array(corners(scene)).min(0) - 40, np.array(corners(scene)).max(0) + 40
        part = Part(*np.maximum(low, 0).astype(int), *np.minimum(high, (1280, 720)).astype(int))
        there = glimpse(picture, part)
        assert found is not None and there is not None
        assert np.allclose(np.mean(there.corners, axis=0), np.mean(found.corners, axis=0), atol=4)


def test_a_part_that_ends_inside_of_the_picture_cuts_no_label_off():
    scene, picture, _ = seen(Trouble.FAR, 311)
    true = np.array(corners(scene))
    (left, top), (right, bottom) = (true.min(0) - 60).astype(int), true.mean(0).astype(int)
    half = glimpse(picture, Part(max(left, 0), max(top, 0), right, bottom + 60))
    assert half is None or advise(measure(picture, half)) is not Hint.INTO_PICTURE
