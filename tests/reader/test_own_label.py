"""A label of ours too worn for error correction symbol by symbol is read as a whole, and nothing else ever is."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import qrcode
from numpy.typing import NDArray

from kiosk.bench.hint_scenes import Trouble, troubled
from kiosk.bench.scene_frame import corners
from kiosk.bench.scenes import draw
from kiosk.reader.codewords import corrected
from kiosk.reader.own_label import Nearest, nearest, whole
from kiosk.reader.own_worn import worn_label
from kiosk.rules.codes import CodeKind, make

CODE = make(CodeKind.HOLDER, 123_456_789_012)


def seen(chance: int, noise: float, text: str = CODE.text) -> NDArray[np.float32]:
    """Every module of a symbol with noise on it; 1 is surely black."""
    drawn = qrcode.QRCode(version=1, error_correction=qrcode.ERROR_CORRECT_H, border=0)
    drawn.add_data(text)
    rng = np.random.default_rng(chance)
    return np.asarray(np.array(drawn.get_matrix()) * 2.0 - 1 + rng.normal(0, noise, (21, 21)), np.float32)


def test_a_module_in_seven_may_be_wrong_where_error_correction_gives_up() -> None:
    looks = [seen(chance, 0.95) for chance in range(12)]
    assert sum(corrected(look) is None for look in looks) >= 9
    found = [nearest(look) for look in looks]
    assert [one.text for one in found if one is not None and one.sure] == [CODE.text] * 12


def test_what_is_drawn_in_the_end_is_the_whole_symbol_of_that_text() -> None:
    bits = whole(seen(3, 0.9))
    assert bits is not None
    assert (bits == (seen(3, 0.0) > 0)).all()


@pytest.mark.parametrize(
    ("chance", "apart", "wrong"), [(6, 0.149, 0.303), (8, 0.134, 0.226), (20, 0.110, 0.226), (28, 0.134, 0.240)]
)
def test_the_true_text_is_not_taken_where_as_much_speaks_against_it_as_might_by_chance(
    chance: int, apart: float, wrong: float
) -> None:
    look = seen(chance, 1.3)
    found = nearest(look)
    assert found is not None
    assert (found.apart, found.wrong) == pytest.approx((apart, wrong), abs=0.001)
    assert whole(look) is None


def test_what_speaks_against_a_text_counts_by_bits_and_by_how_clear_they_are() -> None:
    assert Nearest(CODE.text, 0.13, 0.22).sure
    assert not Nearest(CODE.text, 0.131, 0.1).sure
    assert not Nearest(CODE.text, 0.05, 0.221).sure


def test_where_the_fixed_modules_are_not_a_labels_the_others_are_not_asked() -> None:
    look = seen(3, 0.3)
    look[:8, :8] *= -1
    look[13:, :8] *= -1
    assert nearest(look) is not None
    assert whole(look) is None


@pytest.mark.parametrize("noise", [1.3, 1.6, 2.0])
def test_a_text_that_is_sure_is_never_a_wrong_one_however_little_is_left(noise: float) -> None:
    for chance in range(20):
        found = nearest(seen(chance, noise))
        assert found is None or not found.sure or found.text == CODE.text


def test_noise_and_symbols_of_others_say_nothing() -> None:
    rng = np.random.default_rng(5)
    for _ in range(20):
        found = nearest(rng.normal(0, 1, (21, 21)).astype(np.float32))
        assert found is None or not found.sure
    for text in ("HTTP://A.B", "0123456789", CODE.text[:-1] + ("0" if CODE.text[-1] != "0" else "1"), "H7K2"):
        found = nearest(seen(1, 0.3, text))
        assert found is None or not found.sure


def test_a_label_of_which_half_is_gone_is_read_right_or_not_at_all() -> None:
    for chance in range(6):
        look = seen(chance, 0.3)
        look[:, 11:] = np.random.default_rng(chance).normal(0, 0.3, (21, 10))
        found = nearest(look)
        assert found is None or not found.sure or found.text == CODE.text


def worn(seed: int) -> tuple[NDArray[np.uint8], NDArray[np.float64], str]:
    scene = troubled(Trouble.WORN, seed, 1)[0]
    grey = np.asarray(cv2.cvtColor(draw(scene, seed), cv2.COLOR_BGR2GRAY), np.uint8)
    return grey, np.asarray(corners(scene), np.float64), scene.text


@pytest.mark.parametrize(("seed", "turn"), [(40003, 0), (40003, 3), (40007, 1), (40020, 2)])
def test_a_worn_label_is_laid_flat_from_about_where_it_lies_and_read(seed: int, turn: int) -> None:
    grey, quad, text = worn(seed)
    off = 0.03 * np.linalg.norm(quad[1] - quad[0]) * np.array([[1, -1], [-1, 1], [1, 1], [-1, -1]])
    about = np.roll(quad + off, turn, axis=0)
    found = worn_label(grey, tuple((float(x), float(y)) for x, y in about), lambda: False)
    assert found is not None
    assert found[0] == text
    assert np.abs(np.array(found[1]) - quad).max() < 0.1 * np.linalg.norm(quad[1] - quad[0])


def test_where_there_is_no_label_nothing_is_laid_flat() -> None:
    grey, quad, _ = worn(40003)
    aside = quad + (-1.3 * (quad[1] - quad[0]))
    assert worn_label(grey, tuple((float(x), float(y)) for x, y in aside), lambda: False) is None
