"""Colours can be read and told apart, and a window's size becomes lengths a hand can use."""

import numpy as np
import pytest
from kivy.utils import get_color_from_hex

from kiosk.screens.theme import CAP_HEIGHT, SETS, Colours, Look, contrast

# Machado, Oliveira and Fernandes 2009: protanopia and deuteranopia at full strength, in linear light.
DEFICIENCIES = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
}


@pytest.mark.parametrize("colours", SETS.values(), ids=SETS.keys())
def test_every_text_stands_out_from_its_ground(colours: Colours) -> None:
    for layer in (colours.ground, colours.surface, colours.raised):
        assert contrast(colours.text, layer) >= 4.5
        assert contrast(colours.quiet, layer) >= 4.5
    assert contrast(colours.act_ink, colours.act) >= 4.5
    assert contrast(colours.done_ink, colours.done) >= 4.5
    assert contrast(colours.stop_ink, colours.stop) >= 4.5
    assert contrast(colours.heat_ink, colours.heat_ground) >= 4.5
    assert contrast(colours.heat_ink, colours.heat) >= 4.0  # large letters only
    assert contrast(colours.heat_deep, "#FFFFFF") >= 4.5


@pytest.mark.parametrize("deficiency", DEFICIENCIES.values(), ids=DEFICIENCIES.keys())
@pytest.mark.parametrize("colours", SETS.values(), ids=SETS.keys())
def test_heat_and_done_stay_apart_without_red_or_green(colours: Colours, deficiency: list[list[float]]) -> None:
    def seen(colour: str) -> np.ndarray:
        rgb = np.array(get_color_from_hex(colour)[:3])
        linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
        return np.clip(np.array(deficiency) @ linear, 0, 1)

    def brightness(colour: str) -> float:
        return float(seen(colour) @ [0.2126, 0.7152, 0.0722])

    for other in (colours.done, colours.stop, colours.act):
        light, dark = sorted((brightness(other), brightness(colours.heat)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 1.25 or abs(seen(other) - seen(colours.heat)).max() >= 0.25


@pytest.mark.parametrize("size", [(360, 640), (640, 360), (800, 480), (480, 800), (1024, 600), (1920, 1080)])
def test_a_window_of_any_size_is_taken_for_a_seven_inch_panel(size: tuple[int, int]) -> None:
    look = Look()
    look.fit(*size)
    assert look.wide == (size[0] > size[1])
    assert max(size) / look.mm >= 153 and min(size) / look.mm >= 92
    assert look.touch == pytest.approx(18 * look.mm)
    assert look.outcome * CAP_HEIGHT == pytest.approx(9 * look.letters * look.mm)
    assert look.small * CAP_HEIGHT == pytest.approx(3 * look.letters * look.mm)
    assert look.least * CAP_HEIGHT == pytest.approx(3 * look.mm)


def test_a_density_from_the_settings_is_kept_whatever_the_size() -> None:
    look = Look()
    look.fit(1920, 1080, px_per_mm=3.9)
    assert look.touch == pytest.approx(70.2)


def test_other_colours_can_be_put_on_and_taken_off_again() -> None:
    look = Look()
    look.wear("light")
    assert look.colours == "light"
    assert list(look.ground) == pytest.approx(get_color_from_hex(SETS["light"].ground))
    look.wear("dark")
    assert list(look.heat) == pytest.approx(get_color_from_hex(SETS["dark"].heat))


def test_a_panel_of_many_pixels_is_taken_for_a_large_one_with_room_for_more() -> None:
    look = Look()
    look.fit(1920, 1080)
    assert look.mm == 7.0 and look.touch == pytest.approx(126.0)
    look.fit(1920, 1080, px_per_mm=11.7)
    assert look.mm == 11.7


def test_a_panel_with_more_room_has_larger_letters_and_rows_and_keys_of_the_same_size() -> None:
    look = Look()
    look.fit(800, 480)
    assert look.letters == 1.0
    asked: list[float] = []
    look.fit(1280, 800)
    little, row = look.letters, look.row
    look.bind(mm=lambda *_: asked.append(look.type_px(5)))
    look.fit(1920, 1080)
    assert 1.0 < little < look.letters <= 1.6 and look.row > row
    assert look.touch == pytest.approx(18 * look.mm) and look.row > 12 * look.mm
    assert asked and asked[-1] == pytest.approx(look.type_px(5)), "told of it, though the pixels are as fine as before"
    look.fit(1920, 1080, px_per_mm=4.0)
    assert look.letters == 1.6
