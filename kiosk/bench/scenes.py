"""Labels as a shop's camera sees them: on round steel, sheet metal and cards, with everything that hurts.

The benches, the tests and the demo's shift take their pictures from here; a seed gives the same picture every
time.  It must never flatter the reader: what light, lens, oil and shake do to a label is drawn before the
sensor's noise and JPEG, and nothing tells the reader where the label is.  Sizes and distances come from the
trade: 12 to 25 mm labels, 20 to 63 mm steel, 150 to 400 mm from a 1280 x 720 camera of 60 to 70 degrees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from enum import Enum
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from kiosk.bench import scene_paint as paint
from kiosk.bench.scene import HEIGHT_PX, WIDTH_PX, Ground, Scene
from kiosk.bench.scene_frame import (
    Picture,
    Reach,
    Turned,
    corners,
    draw,
    label,
    reach,
    sense,
    stand,
    stick,
)
from kiosk.bench.scene_space import Lens, Skin
from kiosk.rules.codes import NUMBERS, CodeKind, make, parse

__all__ = [
    "Drawer",
    "Ground",
    "Live",
    "Picture",
    "Reach",
    "Scene",
    "Style",
    "corners",
    "draw",
    "draw_empty",
    "draw_step",
    "drawer_photo",
    "live",
    "next_frame",
    "pack",
    "random_code",
    "random_flat",
    "random_scene",
    "reach",
]


def random_code(rng: np.random.Generator, kind: CodeKind = CodeKind.HOLDER) -> str:
    """Any code of a kind."""
    return make(kind, int(rng.integers(NUMBERS))).text


def random_scene(rng: np.random.Generator) -> Scene:
    """A label on round steel, drawn evenly from the ranges below, within a camera's reach.

    label 12..25 mm, steel 20..63 mm, distance 150..400 mm, tilt -50..50, any roll, spin -30..30, stuck on in
    any of four ways within 4 degrees, anywhere in the inner 60 % of the picture, hfov 60..70, light
    0.4..1.15, lamp spot on half of the labels (strength to 1.1, radius 1..2.5 mm), oil on half (to 0.6), up
    to 3 scratches, defocus 0.3..1.1 px, shake 0..3 px, noise 1..6 levels, JPEG 70..95.  Draws that `reach`
    finds unreadable are thrown back: three in four of these ranges, nearly all because 1280 x 720 pixels do
    not resolve a small label far away.  There the kiosk says "closer", or takes the larger frame that
    `reader.sources.frame_size` picks.
    """
    while True:
        scene = _any_scene(rng)
        if reach(scene).readable:
            return scene


def _any_scene(rng: np.random.Generator) -> Scene:
    lit, oily = rng.random(2) < 0.5
    text = random_code(rng)
    return Scene(
        text=text,
        label_mm=rng.uniform(12, 25),
        diameter_mm=rng.uniform(20, 63),
        distance_mm=rng.uniform(150, 400),
        tilt_deg=rng.uniform(-50, 50),
        roll_deg=rng.uniform(0, 360),
        spin_deg=rng.uniform(-30, 30),
        turned_deg=90 * int(rng.integers(4)) + rng.uniform(-4, 4),
        aim=(rng.uniform(0.2, 0.8), rng.uniform(0.2, 0.8)),
        hfov_deg=rng.uniform(60, 70),
        light=rng.uniform(0.4, 1.15),
        warmth=rng.uniform(-0.5, 1),
        glare=rng.uniform(0.3, 1.1) if lit else 0.0,
        glare_at=(rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5)),
        glare_mm=rng.uniform(1, 2.5),
        oil=rng.uniform(0.1, 0.6) if oily else 0.0,
        scratches=int(rng.integers(0, 4)),
        defocus_px=rng.uniform(0.3, 1.1),
        motion_px=rng.uniform(0, 3),
        motion_deg=rng.uniform(0, 180),
        noise=rng.uniform(1, 6),
        jpeg=int(rng.integers(70, 96)),
        caption=parse(text).grouped if rng.random() < 0.4 else "",
        look=int(rng.integers(1 << 30)),
    )


def next_frame(scene: Scene, rng: np.random.Generator) -> Scene:
    """The same label a moment later in the same hand: moved by about a millimetre and a degree.

    Shake is drawn anew between 0 and 3 px, the lamp's spot wanders; the label's own wear stays.
    """
    return replace(
        scene,
        distance_mm=scene.distance_mm + rng.normal(0, 2),
        tilt_deg=scene.tilt_deg + rng.normal(0, 1.2),
        roll_deg=scene.roll_deg + rng.normal(0, 1.2),
        spin_deg=scene.spin_deg + rng.normal(0, 1.2),
        aim=(scene.aim[0] + rng.normal(0, 0.004), scene.aim[1] + rng.normal(0, 0.007)),
        glare_at=(scene.glare_at[0] + rng.normal(0, 0.06), scene.glare_at[1] + rng.normal(0, 0.06)),
        motion_px=rng.uniform(0, 3),
        motion_deg=rng.uniform(0, 180),
    )


def random_flat(rng: np.random.Generator) -> Scene:
    """A place label on sheet metal: 20..40 mm wide, 200..600 mm away; otherwise as `random_scene`."""
    while True:
        scene = replace(
            _any_scene(rng),
            text=random_code(rng, CodeKind.PLACE),
            ground=Ground.SHEET,
            label_mm=rng.uniform(20, 40),
            distance_mm=rng.uniform(200, 600),
            caption="",
        )
        if reach(scene).readable:
            return scene


class Live(NamedTuple):
    """A label held before the camera: its first scene and the frames that follow each other."""

    scene: Scene
    frames: tuple[Picture, ...]


def live(seed: int, count: int = 3) -> Live:
    """`count` frames of the random scene number `seed`; the live figures use the seeds 0, 1, 2 and so on."""
    rng = np.random.default_rng([seed, 21])
    scenes = [random_scene(rng)]
    while len(scenes) < count:
        scenes.append(next_frame(scenes[-1], rng))
    return Live(scenes[0], tuple(draw(scene, number) for number, scene in enumerate(scenes)))


def draw_empty(seed: int) -> Picture:
    """A frame without any code: steel or sheet with a rating plate, ruler, check pattern or lettering on it."""
    rng = np.random.default_rng([seed, 3])
    scene = random_flat(rng) if rng.random() < 0.35 else random_scene(rng)
    return draw(scene, seed, paint.plate_art(rng))


DRAWER_LENS = Lens.with_angle(4000, 3000, 65)
"""A tablet's or telephone's 12-megapixel rear camera."""


class Drawer(NamedTuple):
    """A picture of an open drawer: the picture, and each code with its symbol's corners (4, 2) in pixels."""

    picture: Picture
    labels: tuple[tuple[str, NDArray[np.float64]], ...]


def drawer_photo(
    codes: Sequence[str],
    seed: int,
    lens: Lens = DRAWER_LENS,
    wide_mm: float = 790.0,
    columns: int = 10,
    rows: int = 6,
) -> Drawer:
    """Holders lying in a foam tray, photographed from above, one label on each round nose.

    12 megapixels unless another lens is given, from where the picture spans `wide_mm` of the drawer; labels
    16..20 mm on steel of 26..50 mm, turned up to 25 degrees about their axes as far as `reach` allows.
    `columns` x `rows` places; codes fill them in reading order and places without a code stay empty.
    """
    rng = np.random.default_rng([seed, 5])
    depth_mm = wide_mm * lens.focal_px / lens.width_px
    high_mm = wide_mm * lens.height_px / lens.width_px
    cell_x, cell_y = wide_mm * 0.96 / columns, high_mm * 0.96 / rows
    frame = _foam(lens, columns, rows, rng)
    ring = paint.shop_ring(rng)
    paper = paint.paper_ring(ring)
    lying = []
    for place, text in enumerate(codes):
        row, column = divmod(place, columns)
        middle = np.array([(column + 0.5) * cell_x - wide_mm * 0.48, (row + 0.5) * cell_y - high_mm * 0.48])
        scene, skin = _lying(text, middle, depth_mm, min(50, 0.62 * cell_x), rng)
        while not reach(scene, lens, skin).readable:
            scene, skin = _lying(text, middle, depth_mm, min(50, 0.62 * cell_x), rng)
        diameter = scene.diameter_mm
        half = cell_y / 2
        parts = (
            Turned(diameter / 2, -half * 0.34, half * 0.42, 1.0),
            Turned(diameter * 0.19, -half * 0.86, -half * 0.34, 0.7),
            Turned(diameter * 0.62, half * 0.42, half * 0.52, 0.95),
            Turned(diameter * 0.54, half * 0.52, half * 0.58, 0.7),
            Turned(diameter * 0.62, half * 0.58, half * 0.7, 0.95),
            Turned(diameter * 0.42, half * 0.7, half * 0.92, 0.85),
        )
        stand(frame, lens, skin, parts, ring, rng)
        lying.append((scene, skin))
    whole = cv2.resize(frame, (lens.width_px, lens.height_px), interpolation=cv2.INTER_LINEAR)
    whole = cv2.convertScaleAbs(whole, alpha=255.0)
    for scene, skin in lying:
        stick(whole, scene, label(scene, np.random.default_rng([scene.look, 13])), lens, skin, paper)
    picture = sense(whole, _DRAWER_LIGHT, rng)
    return Drawer(picture, tuple((scene.text, corners(scene, lens, skin)) for scene, skin in lying))


_DRAWER_LIGHT = Scene(text="", light=0.95, warmth=0.3, defocus_px=0.6, noise=3.0, jpeg=88)


def _lying(
    text: str, middle: NDArray[np.float64], depth_mm: float, widest_mm: float, rng: np.random.Generator
) -> tuple[Scene, Skin]:
    """A label on a holder that lies about `middle` in the drawer, and the skin it sticks on."""
    diameter = rng.uniform(26, widest_mm)
    scene = replace(
        _DRAWER_LIGHT,
        text=text,
        label_mm=rng.uniform(16, 20),
        diameter_mm=diameter,
        distance_mm=depth_mm,
        spin_deg=rng.uniform(-25, 25),
        turned_deg=90 * int(rng.integers(4)) + rng.uniform(-3, 3),
        glare=rng.uniform(0.2, 0.8) if rng.random() < 0.25 else 0.0,
        glare_at=(rng.uniform(-0.4, 0.4), rng.uniform(-0.4, 0.4)),
        glare_mm=rng.uniform(1, 2),
        oil=rng.uniform(0.05, 0.4) if rng.random() < 0.4 else 0.0,
        scratches=int(rng.integers(0, 4)),
        look=int(rng.integers(1 << 30)),
    )
    lean = np.radians(rng.normal(0, 3))
    skin = Skin(
        point=np.array([*(middle + rng.normal(0, 1.0, 2)), depth_mm - diameter / 2]),
        across=np.array([np.cos(lean), np.sin(lean), 0]),
        along=np.array([np.sin(lean), -np.cos(lean), 0]),
        normal=np.array([0.0, 0.0, -1.0]),
        radius_mm=diameter / 2,
        spin_deg=scene.spin_deg,
    )
    return scene, skin


def _foam(lens: Lens, columns: int, rows: int, rng: np.random.Generator) -> paint.Field:
    """The drawer's foam tray at half the lens's size: a hollow and a written number for each place."""
    high, wide = lens.height_px // 2, lens.width_px // 2
    shade = 0.135 * (
        1 + 0.05 * paint.cloud(high, wide, 1.0, rng) + 0.2 * paint.cloud(high, wide, 8.0, rng) / 2
    )
    cell_x, cell_y = wide * 0.96 / columns, high * 0.96 / rows
    hollow = np.ones((high, wide), np.float32)
    board = Image.new("L", (wide, high), 0)
    pen = ImageDraw.Draw(board)
    for place in range(columns * rows):
        row, column = divmod(place, columns)
        x, y = wide * 0.02 + column * cell_x, high * 0.02 + row * cell_y
        start = round(x + 0.16 * cell_x), round(y + 0.05 * cell_y)
        end = round(x + 0.84 * cell_x), round(y + 0.96 * cell_y)
        cv2.rectangle(hollow, start, end, 0.45, -1)
        pen.text(
            (x + 0.02 * cell_x, y + 0.04 * cell_y),
            f"{place + 1}",
            fill=150,
            font=paint.writing(0.09 * cell_y),
        )
    shade *= cv2.GaussianBlur(hollow, (0, 0), max(0.012 * cell_y, 0.5))
    shade += np.asarray(board, dtype=np.float32) / 255 * 0.6
    return np.repeat(shade[:, :, None], 3, axis=2).astype(np.float32) * np.array(
        [1.06, 1.0, 0.96], np.float32
    )


class Style(Enum):
    """How a step of the rehearsed shift is photographed."""

    STEEL = "steel"
    FLAT = "flat"
    CARD = "card"
    DRAWER = "drawer"
    UNREADABLE = "unreadable"


def draw_step(
    code_text: str,
    style: Style,
    seed: int,
    size_mm: float = 18.0,
    diameter_mm: float = 40.0,
    title: str = "",
) -> Picture:
    """One picture (720, 1280, 3) for a rehearsed shift, as a careful setter holds a label to the kiosk.

    code_text: one code, or for Style.DRAWER several with `+` between them.  size_mm: label with its quiet
    zone; diameter_mm: of the steel under it.  title: words on a card.  Style.UNREADABLE is worn past reading.
    Raises CodeFault for a text that is no code of ours.
    """
    rng = np.random.default_rng([seed, 9])
    codes = [parse(text).text for text in code_text.split("+")]
    if style is Style.DRAWER:
        columns = min(5, max(3, len(codes)))
        rows = max(2, -(-len(codes) // columns))
        lens = Lens.with_angle(WIDTH_PX, HEIGHT_PX, 65)
        return drawer_photo(codes, seed, lens, 56.0 * columns, columns, rows).picture
    ground = {Style.FLAT: Ground.SHEET, Style.CARD: Ground.CARD}.get(style, Ground.STEEL)
    steel = ground is Ground.STEEL
    text = codes[0]
    worn = style is Style.UNREADABLE
    scene = Scene(
        text=text,
        ground=ground,
        label_mm=size_mm,
        diameter_mm=diameter_mm,
        distance_mm=size_mm * rng.uniform(6.6, 8.2),
        tilt_deg=rng.uniform(-26, 26),
        roll_deg=rng.uniform(-40, 40) if steel else rng.uniform(-9, 9),
        spin_deg=rng.uniform(-16, 16),
        turned_deg=rng.uniform(-3, 3) + (90 * int(rng.integers(4)) if steel else 0),
        aim=(rng.uniform(0.4, 0.56), rng.uniform(0.42, 0.56)),
        light=rng.uniform(0.98, 1.1),
        warmth=rng.uniform(0, 0.7),
        glare=rng.uniform(0.2, 0.6) if rng.random() < 0.4 else 0.0,
        glare_at=(rng.uniform(-0.4, 0.4), rng.uniform(-0.4, 0.4)),
        glare_mm=0.09 * size_mm,
        oil=0.97 if worn else rng.uniform(0, 0.3) if steel else rng.uniform(0, 0.08),
        scratches=150 if worn else int(rng.integers(0, 4)) if steel else 0,
        defocus_px=rng.uniform(0.4, 0.8),
        motion_px=rng.uniform(0, 1.5),
        motion_deg=rng.uniform(0, 180),
        noise=rng.uniform(1.5, 3),
        jpeg=95,
        caption=parse(text).grouped if ground is not Ground.CARD else "",
        title=title,
        look=int(rng.integers(1 << 30)),
    )
    return draw(scene, seed)


def pack(picture: Picture, most_bytes: int = 120_000) -> bytes:
    """The picture as a JPEG file of at most `most_bytes`, at the best quality that fits."""
    for quality in range(90, 20, -5):
        _, packed = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
        if len(packed) <= most_bytes:
            return packed.tobytes()
    raise ValueError(f"no JPEG of this picture fits {most_bytes} bytes")
