"""The scenes that judge the hints hold the trouble they are named after, and no other."""

import numpy as np
import pytest

from kiosk.bench.hint_scenes import Empty, Trouble, empty, troubled
from kiosk.bench.scene_frame import LEAST_MODULE_PX, MOST_SPREAD_MODULES
from kiosk.bench.scenes import corners, reach

SEEDS = range(400, 420)


@pytest.mark.parametrize("trouble", [Trouble.NONE, Trouble.DARK, Trouble.GLARE, Trouble.CUT_OFF, Trouble.WORN])
def test_what_is_not_a_matter_of_pixels_leaves_the_label_within_reach(trouble):
    assert all(reach(scene).readable for seed in SEEDS for scene in troubled(trouble, seed, 1))


def test_far_labels_have_too_few_pixels_a_module():
    assert all(reach(troubled(Trouble.FAR, seed, 1)[0]).module_px < LEAST_MODULE_PX for seed in SEEDS)


@pytest.mark.parametrize("trouble", [Trouble.SHAKE, Trouble.DEFOCUS])
def test_blurred_labels_stay_blurred_from_frame_to_frame(trouble):
    for seed in SEEDS:
        for scene in troubled(trouble, seed, 4):
            reached = reach(scene)
            assert reached.spread > MOST_SPREAD_MODULES
            assert reached.module_px > LEAST_MODULE_PX


def test_a_label_cut_off_shows_a_part_and_hides_a_part():
    for seed in SEEDS:
        true = corners(troubled(Trouble.CUT_OFF, seed, 1)[0])
        seen = np.clip(true, 0, (1280, 720))
        assert (np.ptp(seen, axis=0) > 0.3 * np.ptp(true, axis=0)).all()
        assert np.abs(seen - true).max() > 0.2 * np.ptp(true, axis=0).min()


@pytest.mark.parametrize("view", Empty, ids=lambda view: view.name.lower())
def test_views_without_a_label_are_the_same_each_time_and_move(view):
    first, second = empty(view, 401, 2)
    assert first.shape == (720, 1280, 3)
    assert np.array_equal(first, next(empty(view, 401, 1)))
    assert not np.array_equal(first, second)
