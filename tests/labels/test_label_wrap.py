"""Labels round steel: the angle, the pixels at the edge, and pictures of it that are really read."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np
import pytest
import zxingcpp

from kiosk.labels import draw
from kiosk.labels.content import LabelContent
from kiosk.labels.faults import WrongUse
from kiosk.labels.layout import Layout, lay_out
from kiosk.labels.sizes import LabelSize, parse_size
from kiosk.labels.wrap import CameraView, Remedy, advise, angle_deg, edge_px

Labels = Callable[..., LabelContent]


def wrapped(layout: Layout, diameter_mm: float, view: CameraView) -> np.ndarray:
    """The label round a cylinder as the camera sees it: every pixel's ray is followed to the steel."""
    ink = cv2.resize(draw.pixels(layout), None, fx=4, fy=4, interpolation=cv2.INTER_AREA)
    dots_mm = 4 * layout.dpi / 25.4
    symbol = layout.symbol
    centre_x, centre_y = (4 * (start + 21 * symbol.module_dots / 2) for start in (symbol.left_dots, symbol.top_dots))
    radius, away, focal = diameter_mm / 2, view.distance_mm, view.focal_px
    reach = int(focal * layout.symbol_mm / away)
    fine = 3
    across, down = np.meshgrid(*(np.arange(-reach * fine, reach * fine + 1) / fine / focal,) * 2)
    # Ray (across, down, 1) * t meets x² + (z - away - radius)² = radius² first at the smaller root.
    a, b, c = across**2 + 1, -2 * (away + radius), (away + radius) ** 2 - radius**2
    under = b**2 - 4 * a * c
    depth = (-b - np.sqrt(np.maximum(under, 0))) / (2 * a)
    arc = radius * np.arctan2(across * depth, away + radius - depth)
    seen = cv2.remap(
        ink,
        (centre_x + arc * dots_mm).astype(np.float32),
        (centre_y + down * depth * dots_mm).astype(np.float32),
        cv2.INTER_LINEAR,
        borderValue=90,
    )
    seen[under < 0] = 60
    return np.asarray(cv2.resize(seen, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA))


def read(picture: np.ndarray) -> list[str]:
    return [found.text for found in zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)]


def test_the_angle_is_twice_the_width_over_the_diameter() -> None:
    assert angle_deg(10, 20) == pytest.approx(math.degrees(1))
    assert angle_deg(12, 63) == pytest.approx(21.827, abs=1e-3)
    for wrong in ((0, 20), (10, 0), (10, -3)):
        with pytest.raises(WrongUse):
            angle_deg(*wrong)


def test_pixels_at_the_edge_are_those_of_a_flat_label_when_the_steel_is_large() -> None:
    view = CameraView(60, 1280, 120)
    flat = edge_px(21, math.inf, view)
    assert flat == pytest.approx(1280 / 2 / math.tan(math.radians(30)) / 120)
    assert edge_px(21, 1e6, view) == pytest.approx(flat, rel=1e-3)
    assert edge_px(21, 40, view) < edge_px(21, 63, view) < flat
    assert edge_px(21, 12, view) == 0  # faces away


def test_pixels_at_the_edge_agree_with_rays_followed_to_the_steel() -> None:
    view = CameraView(50, 2000, 150)
    symbol_mm, diameter_mm = 14.0, 32.0
    radius = diameter_mm / 2
    pixels = []
    for arc in (symbol_mm / 2 - symbol_mm / 21, symbol_mm / 2):
        x, z = radius * math.sin(arc / radius), view.distance_mm + radius - radius * math.cos(arc / radius)
        pixels.append(view.focal_px * x / z)
    assert edge_px(symbol_mm, diameter_mm, view) == pytest.approx(pixels[1] - pixels[0])


@pytest.mark.parametrize("size", ["tape 12 mm", "25x25", "50x25"])
@pytest.mark.parametrize("diameter_mm", [20, 32, 50, 63])
def test_what_is_called_readable_is_read_round_the_steel(label: Labels, size: str, diameter_mm: float) -> None:
    view = CameraView(60, 1920, 110)
    content = label()

    def relaid(other: LabelSize, module_dots: int | None) -> Layout:
        return lay_out(content, other, 300, module_dots=module_dots)

    layout = lay_out(content, parse_size(size), 300)
    advice = advise(layout, diameter_mm, view, relaid)
    assert advice.angle_deg == pytest.approx(math.degrees(2 * layout.symbol_mm / diameter_mm))
    if not advice.ok:
        assert advice.remedy is Remedy.SMALLER_SYMBOL
        assert advice.size is not None
        assert advice.module_dots is not None
        layout = relaid(advice.size, advice.module_dots)
        assert advise(layout, diameter_mm, view, relaid).ok
    assert read(wrapped(layout, diameter_mm, view)) == [content.code.text]


def test_a_symbol_far_round_the_steel_is_not_read_and_is_warned_about(label: Labels) -> None:
    view = CameraView(60, 1920, 110)
    layout = lay_out(label(), parse_size("100x50"), 300)
    advice = advise(layout, 20, view, lambda size, dots: lay_out(label(), size, 300, module_dots=dots))
    assert not advice.ok
    assert advice.angle_deg > 180
    assert read(wrapped(layout, 20, view)) == []
    assert "smaller symbol" in str(advice)


def test_a_camera_too_far_for_any_wrapped_label_sends_it_to_a_flat_side_or_nearer(label: Labels) -> None:
    def advice(distance_mm: float, size: str, diameter_mm: float) -> object:
        layout = lay_out(label(), parse_size(size), 300)
        return advise(
            layout,
            diameter_mm,
            CameraView(60, 1280, distance_mm),
            lambda other, dots: lay_out(label(), other, 300, module_dots=dots),
        )

    flat = advice(260, "25x25", 12)
    assert flat.remedy is Remedy.FLAT  # type: ignore[attr-defined]
    nearer = advice(700, "19x19", 20)
    assert nearer.remedy in (Remedy.CLOSER, Remedy.OTHER_SIZE)  # type: ignore[attr-defined]
    far = advice(5000, "19x19", 20)
    assert far.remedy is Remedy.CLOSER  # type: ignore[attr-defined]
    assert far.closer_mm < 5000  # type: ignore[attr-defined]


@pytest.mark.parametrize("view", [(0, 1280, 120), (180, 1280, 120), (60, 0, 120), (60, 1280, 0)])
def test_a_camera_that_cannot_be_is_refused(view: tuple[float, int, float]) -> None:
    with pytest.raises(WrongUse):
        CameraView(*view)
