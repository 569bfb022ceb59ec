"""Hints against drawn labels whose trouble is known."""

from dataclasses import replace

import numpy as np
import pytest

from kiosk.bench.scenes import Ground, Scene, corners, draw, random_code
from kiosk.reader.hints import Hint, Measured, advise, measure
from kiosk.reader.symbols import Outline


def comfortable(rng):
    """A label any reader reads: near, bright, sharp, facing the camera."""
    label_mm = rng.uniform(15, 20)
    return Scene(
        random_code(rng),
        label_mm=label_mm,
        diameter_mm=rng.uniform(30, 63),
        distance_mm=label_mm * rng.uniform(7, 10),
        tilt_deg=rng.uniform(-20, 20),
        roll_deg=rng.uniform(0, 360),
        spin_deg=rng.uniform(-10, 10),
        aim=(rng.uniform(0.35, 0.65), rng.uniform(0.35, 0.65)),
        light=rng.uniform(0.7, 1.05),
        noise=rng.uniform(1, 4),
        defocus_px=rng.uniform(0.3, 0.9),
        look=int(rng.integers(1 << 30)),
    )


def outline(scene, module_px=0.0):
    return Outline(tuple((float(x), float(y)) for x, y in corners(scene)), module_px)


TROUBLES = {
    Hint.CLOSER: lambda s, rng: replace(s, distance_mm=3 * s.distance_mm),
    Hint.MORE_LIGHT: lambda s, rng: replace(s, light=0.16),
    Hint.TILT_IT: lambda s, rng: replace(s, glare=1.2, glare_mm=0.28 * s.label_mm, glare_at=(0.05, 0.05)),
    Hint.TURN_IT: lambda s, rng: replace(s, tilt_deg=70, distance_mm=0.8 * s.distance_mm),
    Hint.WIPE_IT: lambda s, rng: s,
    Hint.INTO_PICTURE: lambda s, rng: replace(s, aim=(0.02, s.aim[1])),
}


@pytest.mark.parametrize("hint", TROUBLES, ids=lambda hint: hint.name)
def test_each_trouble_gets_its_own_hint(hint):
    rng = np.random.default_rng(20)
    given = []
    for seed in range(8):
        scene = TROUBLES[hint](comfortable(rng), rng)
        given.append(advise(measure(draw(scene, seed), outline(scene))))
    assert given.count(hint) >= 7, given


@pytest.mark.parametrize("blur", [Hint.HOLD_STILL, Hint.REFOCUS], ids=["shake", "defocus"])
def test_shake_asks_to_hold_still_and_defocus_to_find_the_right_distance(blur):
    rng = np.random.default_rng(21)
    for seed in range(8):
        scene = comfortable(rng)
        if blur is Hint.HOLD_STILL:
            scene = replace(scene, motion_px=rng.uniform(11, 16), motion_deg=rng.uniform(0, 180))
        else:
            scene = replace(scene, defocus_px=rng.uniform(3.2, 4.5))
        assert advise(measure(draw(scene, seed), outline(scene))) is blur


def test_the_module_is_measured_within_a_tenth():
    rng = np.random.default_rng(22)
    for seed in range(4):
        label_mm, distance_mm = rng.uniform(20, 40), rng.uniform(200, 400)
        scene = Scene(random_code(rng), ground=Ground.SHEET, label_mm=label_mm, distance_mm=distance_mm)
        true_px = scene.lens.focal_px * label_mm / 29 / distance_mm
        assert measure(draw(scene, seed), outline(scene)).module_px == pytest.approx(true_px, rel=0.1)


def test_the_readers_own_measure_of_a_module_goes_before_the_outline():
    scene = comfortable(np.random.default_rng(23))
    assert measure(draw(scene, 0), outline(scene, module_px=1.1)).module_px == 1.1


def test_grey_pictures_measure_like_coloured_ones():
    scene = comfortable(np.random.default_rng(24))
    picture = draw(scene, 0)
    weights = np.array([0.114, 0.587, 0.299])
    grey = np.round(picture @ weights).astype(np.uint8)
    assert measure(grey, outline(scene)).paper == pytest.approx(measure(picture, outline(scene)).paper, abs=1.5)


@pytest.mark.parametrize(
    "corners",
    [
        ((-50.0, -50.0), (-10.0, -50.0), (-10.0, -10.0), (-50.0, -10.0)),
        ((5.0, 5.0), (5.0, 5.0), (5.0, 5.0), (5.0, 5.0)),
        ((700.0, 400.0), (1900.0, 410.0), (1900.0, 1500.0), (690.0, 1500.0)),
    ],
)
def test_outlines_out_of_the_picture_or_without_area_still_get_a_hint(corners):
    assert advise(measure(np.full((720, 1280, 3), 90, np.uint8), Outline(corners, 0.0))) in Hint


def test_by_one_finder_alone_blur_is_named_only_when_it_is_plain_and_slant_sooner():
    rng = np.random.default_rng(23)
    for seed in range(4):
        scene = comfortable(rng)
        plain = replace(scene, defocus_px=9.0)
        assert advise(measure(draw(plain, seed), replace(outline(plain), rough=True))) is Hint.REFOCUS
    aside = Measured(4.0, 200.0, 60.0, 0.0, 6.0, 6.0, 0.78, False)
    assert advise(replace(aside, rough=True)) is Hint.TURN_IT and advise(aside) is not Hint.TURN_IT
    soft = Measured(4.0, 200.0, 60.0, 0.0, 1.7 * 4.0, 1.6 * 4.0, 0.9, False)
    assert advise(soft) is Hint.REFOCUS and advise(replace(soft, rough=True)) is Hint.WIPE_IT
