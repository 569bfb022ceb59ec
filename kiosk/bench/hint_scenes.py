"""Labels in front of the camera that cannot be read, each for one known reason, and views without any label.

The hints are measured on these: the reason is drawn, so the right advice is known.  It must never draw two
troubles at once, for then no single advice is right.  Sizes, steel and light are those of `scenes`; the ranges of
each trouble begin where `scene_frame` calls a label unreadable.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from enum import Enum

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.bench import scene_paint as paint
from kiosk.bench.scene import HEIGHT_PX, WIDTH_PX, Ground, Scene
from kiosk.bench.scene_frame import Picture, corners, draw, reach, sense
from kiosk.bench.scene_space import Lens
from kiosk.bench.scenes import drawer_photo, random_code
from kiosk.rules.codes import CodeKind, parse

FRAMES_A_SECOND = 8
"""About what the live reader manages while a label stays unread."""
Chance = np.random.Generator


class Trouble(Enum):
    """The one thing that keeps a label from being read."""

    NONE = "nothing"
    FAR = "too far"
    DARK = "too dark"
    DEFOCUS = "out of focus"
    SHAKE = "shaken"
    GLARE = "glare"
    STEEP = "steep"
    CUT_OFF = "cut off"
    WORN = "worn"


class Empty(Enum):
    """What is in view where no label is."""

    STEEL = "bare steel"
    SHEET = "drawer front"
    DRAWER = "holders in a drawer"
    HAND = "hand on steel"
    NIGHT = "dark"
    PRINT = "other print"


def troubled(trouble: Trouble, seed: int, count: int) -> list[Scene]:
    """`count` scenes an eighth of a second apart of a label that is hard to read for that reason alone."""
    rng = np.random.default_rng([seed, list(Trouble).index(trouble), 31])
    # A lamp burns out on round steel; flat paper throws its spot past the camera.
    ground = Ground.STEEL if trouble is Trouble.GLARE else None
    scene = _spoilt(_comfortable(rng, ground), trouble, rng)
    scenes = [_shaken(scene, trouble, rng)]
    while len(scenes) < count:
        scene = _moment_later(scene, rng)
        scenes.append(_shaken(scene, trouble, rng))
    return scenes


def empty(kind: Empty, seed: int, count: int) -> Iterator[Picture]:
    """`count` frames (720, 1280, 3) an eighth of a second apart of a view without any code."""
    rng = np.random.default_rng([seed, list(Empty).index(kind), 32])
    if kind is Empty.DRAWER:
        yield from _drawer(seed, count, rng)
        return
    scene = _comfortable(rng, Ground.SHEET if kind is Empty.SHEET else Ground.STEEL)
    if kind is Empty.NIGHT:
        scene = replace(scene, light=rng.uniform(0.02, 0.12), noise=rng.uniform(3, 7))
    art = paint.plate_art(rng) if kind is Empty.PRINT else NOTHING
    hand = _hand(rng) if kind is Empty.HAND else None
    for number in range(count):
        picture = draw(scene, seed + number, art)
        yield picture if hand is None else hand(picture, rng)
        scene = _moment_later(scene, rng)


NOTHING = paint.Art(np.full((40, 40), 255, np.uint8), np.zeros((40, 40), np.uint8))


def _comfortable(rng: Chance, ground: Ground | None = None) -> Scene:
    """A label any reader reads: 3 to 7 pixels a module, bright, sharp, facing the camera."""
    while True:
        on = ground or (Ground.STEEL, Ground.STEEL, Ground.STEEL, Ground.SHEET, Ground.CARD)[int(rng.integers(5))]
        text = random_code(
            rng, CodeKind.HOLDER if on is Ground.STEEL else CodeKind.PLACE if on is Ground.SHEET else CodeKind.BADGE
        )
        label_mm = rng.uniform(12, 25) if on is Ground.STEEL else rng.uniform(18, 35)
        scene = Scene(
            text,
            ground=on,
            label_mm=label_mm,
            diameter_mm=rng.uniform(max(20, 1.4 * label_mm), 63),
            tilt_deg=rng.uniform(-30, 30),
            roll_deg=rng.uniform(0, 360),
            spin_deg=rng.uniform(-15, 15),
            turned_deg=90 * int(rng.integers(4)) + rng.uniform(-4, 4),
            aim=(rng.uniform(0.3, 0.7), rng.uniform(0.3, 0.7)),
            hfov_deg=rng.uniform(60, 70),
            light=rng.uniform(0.55, 1.1),
            warmth=rng.uniform(-0.5, 1),
            oil=rng.uniform(0.05, 0.3) if rng.random() < 0.4 else 0.0,
            scratches=int(rng.integers(0, 3)),
            defocus_px=rng.uniform(0.3, 0.9),
            noise=rng.uniform(1, 5),
            jpeg=int(rng.integers(70, 96)),
            caption=parse(text).grouped if on is not Ground.CARD and rng.random() < 0.4 else "",
            title="Kim Doe" if on is Ground.CARD else "",
            look=int(rng.integers(1 << 30)),
        )
        scene = _at(scene, rng.uniform(3, 7))
        if reach(scene).readable:
            return scene


def _at(scene: Scene, module_px: float) -> Scene:
    """The label moved to where a module seen straight is so many pixels wide."""
    return replace(scene, distance_mm=scene.lens.focal_px * scene.module_mm / module_px)


def _spoilt(scene: Scene, trouble: Trouble, rng: Chance) -> Scene:
    match trouble:
        case Trouble.FAR:
            return _at(scene, rng.uniform(0.8, 1.5))
        case Trouble.DARK:
            return replace(scene, light=rng.uniform(0.025, 0.07), noise=rng.uniform(2, 5))
        case Trouble.DEFOCUS:
            return replace(scene, defocus_px=rng.uniform(0.75, 1.4) * reach(scene).module_px)
        case Trouble.GLARE:
            return replace(
                scene,
                glare=rng.uniform(1.0, 1.6),
                glare_at=(rng.uniform(-0.15, 0.15), rng.uniform(-0.15, 0.15)),
                glare_mm=rng.uniform(0.3, 0.5) * scene.label_mm,
            )
        case Trouble.STEEP:
            sign = -1 if rng.random() < 0.5 else 1
            if scene.ground is Ground.STEEL and rng.random() < 0.5:
                return replace(scene, spin_deg=sign * rng.uniform(54, 68))
            return replace(scene, tilt_deg=sign * rng.uniform(67, 77))
        case Trouble.CUT_OFF:
            return _pushed_out(scene, rng)
        case Trouble.WORN:
            return replace(scene, oil=rng.uniform(0.7, 1.0), scratches=int(rng.integers(50, 90)))
    return scene


def _pushed_out(scene: Scene, rng: Chance) -> Scene:
    """The label moved over the picture's border until a quarter to a half of its symbol's width is outside."""
    side, share = int(rng.integers(4)), rng.uniform(0.25, 0.55)
    axis, far = side % 2, side // 2
    aim = list(scene.aim)
    for step in np.linspace(0.3, -0.3, 121):
        aim[axis] = 1 - step if far else step
        moved = replace(scene, aim=(aim[0], aim[1]))
        if _outside(moved, axis, far) >= share:
            return moved
    raise AssertionError("a label leaves the picture within half its width")


def _outside(scene: Scene, axis: int, far: int) -> float:
    along = corners(scene)[:, axis]
    edge = (WIDTH_PX, HEIGHT_PX)[axis]
    wide = along.max() - along.min()
    return float(((along.max() - edge) if far else -along.min()) / wide)


def _shaken(scene: Scene, trouble: Trouble, rng: Chance) -> Scene:
    """Shake is drawn anew for each frame: 2.5 to 4.5 modules where it is the trouble, else under a quarter."""
    low, high = (2.5, 4.5) if trouble is Trouble.SHAKE else (0.0, 0.25)
    return replace(scene, motion_px=rng.uniform(low, high) * reach(scene).module_px, motion_deg=rng.uniform(0, 180))


def _moment_later(scene: Scene, rng: Chance) -> Scene:
    """The same hand a moment later: moved by about a millimetre and a degree, and the lamp's spot with it."""
    return replace(
        scene,
        distance_mm=scene.distance_mm * (1 + rng.normal(0, 0.008)),
        tilt_deg=scene.tilt_deg + rng.normal(0, 1.0),
        roll_deg=scene.roll_deg + rng.normal(0, 1.0),
        spin_deg=scene.spin_deg + rng.normal(0, 1.0),
        aim=(scene.aim[0] + rng.normal(0, 0.003), scene.aim[1] + rng.normal(0, 0.005)),
        glare_at=(scene.glare_at[0] + rng.normal(0, 0.03), scene.glare_at[1] + rng.normal(0, 0.03)),
    )


def _drawer(seed: int, count: int, rng: Chance) -> Iterator[Picture]:
    columns, rows = int(rng.integers(3, 7)), int(rng.integers(2, 4))
    lens = Lens.with_angle(WIDTH_PX, HEIGHT_PX, rng.uniform(60, 70))
    calm = drawer_photo([], seed, lens, 56.0 * columns, columns, rows).picture
    light = Scene(text="", light=rng.uniform(0.5, 1.1), defocus_px=rng.uniform(0.2, 0.8), noise=rng.uniform(1, 5))
    place = rng.normal(0, 3, 2)
    for _ in range(count):
        place = place + rng.normal(0, 3, 2)
        warp = np.array([[1.04, 0, -26 + place[0]], [0, 1.04, -15 + place[1]]])
        moved = cv2.warpAffine(calm, warp, (WIDTH_PX, HEIGHT_PX), borderMode=cv2.BORDER_REFLECT_101)
        yield sense(np.asarray(moved, np.uint8), light, rng)


def _hand(rng: Chance) -> Callable[[Picture, Chance], Picture]:
    """Three or four fingers reaching in from a side, with creases, nails and a soft shade."""
    skin = np.array(((118, 148, 196), (92, 120, 170), (60, 84, 128))[int(rng.integers(3))], np.float64)
    skin = skin * rng.uniform(0.6, 1.1)
    turn = rng.uniform(0, 2 * np.pi)
    ahead, aside = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    middle = np.array([WIDTH_PX, HEIGHT_PX]) * rng.uniform(0.35, 0.65, 2)
    thick = rng.uniform(55, 110)
    tips = [
        middle + aside * thick * 1.05 * (n - 1.5) + ahead * rng.normal(0, 0.4) * thick
        for n in range(int(rng.integers(3, 5)))
    ]

    def point(at: NDArray[np.float64]) -> tuple[int, int]:
        return round(float(at[0])), round(float(at[1]))

    def over(picture: Picture, rng: Chance) -> Picture:
        sway = rng.normal(0, 4, 2)
        cover = np.zeros(picture.shape[:2], np.uint8)
        layer = np.zeros_like(picture)
        for tip in tips:
            start, end = point(tip + sway), point(tip + sway - ahead * 1500)
            cv2.line(cover, start, end, 255, round(thick), cv2.LINE_AA)
            for part, tone in ((1.0, 0.62), (0.75, 0.85), (0.45, 1.0)):
                cv2.line(layer, start, end, (skin * tone).tolist(), round(thick * part), cv2.LINE_AA)
            for crease in (0.9, 2.1, 2.25):
                across = tip + sway - ahead * thick * crease
                ends = point(across - aside * thick * 0.3), point(across + aside * thick * 0.3)
                cv2.line(layer, *ends, (skin * 0.6).tolist(), 3, cv2.LINE_AA)
            nail = point(tip + sway + ahead * thick * 0.12)
            size = (round(thick * 0.3), round(thick * 0.24))
            cv2.ellipse(layer, nail, size, np.degrees(turn), 0, 360, (skin * 1.15 + 12).clip(0, 255).tolist(), -1)
        layer = cv2.GaussianBlur(layer, (0, 0), 3)
        soft = cv2.GaussianBlur(cover, (0, 0), 1.5).astype(np.float32)[:, :, None] / 255
        mixed = (picture * (1 - soft) + layer * soft).astype(np.uint8)
        return paint.add_grain(mixed, 2.0, rng)

    return over
