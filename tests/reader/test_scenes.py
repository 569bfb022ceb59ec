"""The drawn pictures are true: what they say about themselves holds in their pixels."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
import zxingcpp

from kiosk.bench.scene_paint import modules
from kiosk.bench.scenes import (
    Ground,
    Scene,
    Style,
    corners,
    draw,
    draw_empty,
    draw_step,
    drawer_photo,
    next_frame,
    pack,
    random_code,
    random_flat,
    random_scene,
    reach,
)
from kiosk.rules.codes import CodeFault, CodeKind, parse

CODE = "H4JSN21G3B"


def easy(**more):
    scene = Scene(CODE, label_mm=20, diameter_mm=60, distance_mm=120, noise=1.0, jpeg=95, look=4)
    return replace(scene, **more)


def found(picture):
    return {symbol.text: symbol for symbol in zxingcpp.read_barcodes(picture)}


def test_our_codes_fill_a_version_1_symbol():
    assert parse(CODE).text == CODE
    assert modules(CODE).shape == (21, 21)


def test_the_same_scene_and_seed_are_the_same_picture_and_another_seed_is_not():
    scene = random_scene(np.random.default_rng(1))
    assert np.array_equal(draw(scene, 5), draw(scene, 5))
    assert not np.array_equal(draw(scene, 5), draw(scene, 6))
    assert draw(scene, 5).shape == (720, 1280, 3)


@pytest.mark.parametrize("ground", Ground)
@pytest.mark.parametrize("turned", [0, 90, 200])
def test_the_true_corners_are_where_a_reader_finds_them(ground, turned):
    code = CODE if ground is not Ground.CARD else "BTVHT7X6TC"
    scene = easy(text=code, ground=ground, turned_deg=turned, roll_deg=25, tilt_deg=15)
    symbol = found(draw(scene, 1))[code]
    place = symbol.position
    ordered = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
    read = np.array([(point.x, point.y) for point in ordered])
    assert np.abs(read - corners(scene)).max() < 5


def test_a_label_is_as_large_in_the_picture_as_geometry_says():
    flat = easy(ground=Ground.SHEET)
    side_px = np.linalg.norm(corners(flat)[1] - corners(flat)[0])
    assert side_px == pytest.approx(flat.lens.focal_px * 20 * 21 / 29 / 120, rel=0.01)
    assert reach(flat).module_px == pytest.approx(side_px / 21, rel=0.02)


def test_round_steel_narrows_a_label_at_its_sides():
    narrow = easy(diameter_mm=20, label_mm=18)
    shape = corners(narrow)
    across, along = np.linalg.norm(shape[1] - shape[0]), np.linalg.norm(shape[2] - shape[1])
    half_angle = 18 * 21 / 29 / 20
    # A little more than the chord, because the front of the curve is nearer than its sides.
    assert across / along == pytest.approx(np.sin(half_angle) / half_angle, abs=0.03)
    assert reach(narrow).slant_deg > np.degrees(half_angle)


def test_random_scenes_keep_to_their_ranges_and_within_reach():
    rng = np.random.default_rng(2)
    for _ in range(60):
        scene = random_scene(rng)
        assert 12 <= scene.label_mm <= 25 and 20 <= scene.diameter_mm <= 63
        assert 150 <= scene.distance_mm <= 400 and -50 <= scene.tilt_deg <= 50
        assert reach(scene).readable
        assert ((corners(scene) > 0) & (corners(scene) < (1280, 720))).all()


def test_a_moment_later_it_is_nearly_the_same_place():
    rng = np.random.default_rng(3)
    for _ in range(20):
        scene = random_scene(rng)
        later = next_frame(scene, rng)
        assert later.text == scene.text and later.scratches == scene.scratches
        assert np.abs(corners(later) - corners(scene)).max() < 60


def test_what_hurts_hurts():
    side = easy()
    box = np.array([corners(side).min(axis=0), corners(side).max(axis=0)]).round().astype(int)

    def spread(scene):
        patch = draw(scene, 1)[box[0, 1] : box[1, 1], box[0, 0] : box[1, 0]]
        return patch.std(), patch.mean()

    clean, bright = spread(side)
    assert spread(easy(oil=1.0))[1] < 0.9 * bright
    assert spread(easy(defocus_px=6))[0] < 0.6 * clean
    assert spread(easy(motion_px=20))[0] < 0.75 * clean
    assert spread(easy(light=0.3))[1] < 0.4 * bright
    assert spread(easy(glare=1.2, glare_mm=5))[1] > 1.2 * bright


def test_frames_without_a_label_hold_no_code():
    for seed in range(12):
        assert not found(draw_empty(seed))


def test_place_labels_say_places():
    scene = random_flat(np.random.default_rng(6))
    assert parse(scene.text).kind is CodeKind.PLACE
    assert scene.ground is Ground.SHEET


def test_a_drawer_shows_every_code_where_it_says():
    rng = np.random.default_rng(7)
    codes = [random_code(rng) for _ in range(60)]
    drawer = drawer_photo(codes, 1)
    assert drawer.picture.shape == (3000, 4000, 3)
    assert [text for text, _ in drawer.labels] == codes
    read = found(drawer.picture)
    assert len(read) >= 20 and set(read) <= set(codes)
    for text, place in drawer.labels:
        if text in read:
            centre = read[text].position
            x = (centre.top_left.x + centre.bottom_right.x) / 2
            y = (centre.top_left.y + centre.bottom_right.y) / 2
            assert np.hypot(*(place.mean(axis=0) - (x, y))) < 8


@pytest.mark.parametrize(
    ("style", "kind", "size_mm"),
    [(Style.STEEL, CodeKind.HOLDER, 18), (Style.FLAT, CodeKind.PLACE, 30), (Style.CARD, CodeKind.BADGE, 25)],
)
def test_a_careful_setters_pictures_are_read_and_small_on_disk(style, kind, size_mm):
    rng = np.random.default_rng(8)
    for seed in range(3):
        code = random_code(rng, kind)
        packed = pack(draw_step(code, style, seed, size_mm, title="A. Setter"))
        assert len(packed) <= 120_000
        picture = cv2.imdecode(np.frombuffer(packed, np.uint8), cv2.IMREAD_COLOR)
        assert set(found(picture)) == {code}


def test_an_unreadable_label_is_read_by_no_one():
    for seed in range(3):
        picture = draw_step(CODE, Style.UNREADABLE, seed)
        assert not found(picture)


def test_a_drawer_in_the_shift_takes_several_codes():
    codes = [random_code(np.random.default_rng(n)) for n in range(5)]
    read = found(draw_step("+".join(codes), Style.DRAWER, 1))
    assert read and set(read) <= set(codes)


def test_a_step_needs_a_code_of_ours():
    with pytest.raises(CodeFault):
        draw_step("H4JSN21G3C", Style.STEEL, 1)
