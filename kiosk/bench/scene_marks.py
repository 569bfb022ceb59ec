"""Data Matrix symbols marked straight into a holder's steel, as a shop's camera sees them close by.

Three ways of marking: a laser that darkens, a laser that frosts, and a needle that peens one crater a module.  A mark
has no paper of its own: bright steel beside it mirrors lamps and hall, so that the same mark is darker than the
steel here and lighter there.  Sizes come from the trade: 3 to 10 mm on 20 to 63 mm steel.  A seed gives the same
picture every time.  Nothing tells the reader where the mark is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kiosk.bench import scene_paint as paint
from kiosk.bench.scene import Scene
from kiosk.bench.scene_frame import Picture, bare_steel, sense
from kiosk.bench.scene_lay import Laid, lay, turned
from kiosk.bench.scene_space import Lens, Skin

MODULE_PX = 16  # of a mark's own drawing
LEAST_MODULE_PX = 2.6  # tightest module in the picture; finer ones a camera does not resolve
MOST_SLANT_DEG = 58.0
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ0123456789-"


class Way(Enum):
    """How a mark was made."""

    DARKENED = "darkened"
    FROSTED = "frosted"
    PEENED = "peened"


@dataclass(frozen=True, slots=True)
class Mark:
    """How a mark was made and what has become of it.

    strength: how much of the way to its full contrast it is, 0 to 1.  dot: width of a crater in modules.  lost: share
    of craters missing.  wander: how far a crater sits from its place, standard deviation in modules.  rust: 0 to 1.
    """

    way: Way
    strength: float = 1.0
    dot: float = 0.8
    lost: float = 0.0
    wander: float = 0.0
    rust: float = 0.0
    strokes: int = 0


class Marked(NamedTuple):
    """A frame (720, 1280, 3) with a mark in it: what it says, and its corners (4, 2) in pixels."""

    picture: Picture
    text: str
    corners: NDArray[np.float64]
    way: Way


def grid(text: str) -> NDArray[np.bool_]:
    """A text's Data Matrix modules without quiet zone, (rows, columns), True is marked."""
    made = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=len(text) % 4 > 0)
    drawn = np.array(made.to_image(scale=1, add_quiet_zones=False))
    return np.asarray(drawn < 128)


def random_mark(seed: int) -> Marked:
    """Mark number `seed`: text of 6 to 14 characters, 3 to 10 mm, any way, drawn evenly from a shop's ranges."""
    rng = np.random.default_rng([seed, 31])
    while True:
        scene, mark = _any_mark(rng)
        if _within_reach(scene):
            return draw_mark(scene, mark, seed)


def _any_mark(rng: np.random.Generator) -> tuple[Scene, Mark]:
    text = "".join(rng.choice(list(LETTERS), int(rng.integers(6, 15))))
    way = list(Way)[int(rng.integers(3))]
    lit, oily, rusty = rng.random(3) < (0.4, 0.4, 0.3)
    scene = Scene(
        text=text,
        label_mm=rng.uniform(3, 10),
        diameter_mm=rng.uniform(20, 63),
        distance_mm=rng.uniform(50, 160),
        tilt_deg=rng.uniform(-35, 35),
        roll_deg=rng.uniform(0, 360),
        spin_deg=rng.uniform(-20, 20),
        turned_deg=90 * int(rng.integers(4)) + rng.uniform(-4, 4),
        aim=(rng.uniform(0.3, 0.7), rng.uniform(0.3, 0.7)),
        hfov_deg=rng.uniform(60, 70),
        light=rng.uniform(0.6, 1.15),
        warmth=rng.uniform(-0.5, 1),
        glare=rng.uniform(0.2, 0.8) if lit else 0.0,
        glare_at=(rng.uniform(-0.6, 0.6), rng.uniform(-0.6, 0.6)),
        glare_mm=rng.uniform(0.3, 1.2),
        oil=rng.uniform(0.1, 0.5) if oily else 0.0,
        defocus_px=rng.uniform(0.4, 1.2),
        motion_px=rng.uniform(0, 2),
        motion_deg=rng.uniform(0, 180),
        noise=rng.uniform(1, 5),
        jpeg=int(rng.integers(75, 96)),
        look=int(rng.integers(1 << 30)),
    )
    mark = Mark(
        way,
        strength=rng.uniform(0.55, 1),
        dot=rng.uniform(0.55, 0.95),
        lost=rng.uniform(0, 0.03),
        wander=rng.uniform(0, 0.08),
        rust=rng.uniform(0.1, 0.6) if rusty else 0.0,
        strokes=int(rng.integers(0, 4)),
    )
    return scene, mark


def _within_reach(scene: Scene) -> bool:
    rows, columns = grid(scene.text).shape
    side = scene.label_mm / columns
    skin, lens = scene.skin, scene.lens
    across = np.linspace(-columns / 2, columns / 2, 3) * side
    down = np.linspace(-rows / 2, rows / 2, 3) * side
    x, z = (part.ravel() for part in np.meshgrid(across, down))
    x, z = turned(x, z, scene.turned_deg)
    step = 0.05 * side
    here = lens.project(skin.spot(x, z))
    right, up = (lens.project(skin.spot(x + a, z + b)) - here for a, b in ((step, 0), (0, step)))
    tightest = 20 * float(np.linalg.svd(np.stack([right, up], axis=2), compute_uv=False)[:, 1].min())
    slant = max(math.degrees(math.acos(max(-1.0, skin.facing(a, b)))) for a, b in zip(x, z, strict=True))
    blur = math.hypot(scene.defocus_px, scene.motion_px / math.sqrt(12))
    return tightest >= LEAST_MODULE_PX and slant <= MOST_SLANT_DEG and blur / tightest < 0.32


def draw_mark(scene: Scene, mark: Mark, seed: int) -> Marked:
    """The camera's frame of a mark in the skin of `scene`, whose `text` it says and whose `label_mm` is its width."""
    frame, ring = bare_steel(scene, np.random.default_rng([scene.look, 7]))
    modules = grid(scene.text)
    wear = np.random.default_rng([scene.look, 13])
    cover, lean_x, lean_y = (_craters if mark.way is Way.PEENED else _burnt)(modules, mark, wear)
    _scratch(cover, mark.strokes, wear)
    lens, skin = scene.lens, scene.skin
    laid = lay(scene, modules.shape[0] / modules.shape[1], lens, skin)
    if laid is not None:
        _engrave(frame, scene, mark, laid, (cover, lean_x, lean_y), paint.paper_ring(ring), wear)
    picture = sense(frame, scene, np.random.default_rng([seed, 11]))
    return Marked(picture, scene.text, _corners(scene, modules.shape, lens, skin), mark.way)


def _corners(scene: Scene, shape: tuple[int, ...], lens: Lens, skin: Skin) -> NDArray[np.float64]:
    half = scene.label_mm / 2
    foot = half - scene.label_mm * shape[0] / shape[1]
    x, z = np.array([-half, half, half, -half]), np.array([half, half, foot, foot])
    return lens.project(skin.spot(*turned(x, z, scene.turned_deg)))


Relief = tuple[paint.Field, paint.Field, paint.Field]


def _burnt(modules: NDArray[np.bool_], mark: Mark, rng: np.random.Generator) -> Relief:
    """A laser's mark: how much of each spot it covers, (H, W) 0 to 1; it has no relief."""
    cell = np.kron(modules.astype(np.float32), np.ones((MODULE_PX, MODULE_PX), np.float32))
    lines = 0.88 + 0.12 * np.sin(np.arange(cell.shape[0]) * 2 * np.pi / 4)[:, None]  # the laser fills line by line
    cell = cv2.GaussianBlur(cell * lines.astype(np.float32), (0, 0), 0.08 * MODULE_PX)
    flat = np.zeros_like(cell)
    return cell * np.float32(mark.strength), flat, flat


def _craters(modules: NDArray[np.bool_], mark: Mark, rng: np.random.Generator) -> Relief:
    """A needle's mark: how much of each spot is crater, and how its wall leans to the right and down, -1 to 1."""
    high, wide = (side * MODULE_PX for side in modules.shape)
    cover, lean_x, lean_y = (np.zeros((high, wide), np.float32) for _ in range(3))
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    for row, column in np.argwhere(modules):
        if rng.random() < mark.lost:
            continue
        middle = (np.array([column, row]) + 0.5 + rng.normal(0, mark.wander, 2)) * MODULE_PX
        radius = 0.5 * mark.dot * MODULE_PX * rng.uniform(0.9, 1.08)
        left, top = (max(int(edge - radius - 2), 0) for edge in middle)
        right, low = (int(edge + radius + 3) for edge in middle)
        box = slice(top, low), slice(left, right)
        off_x, off_y = x[box] - np.float32(middle[0]), y[box] - np.float32(middle[1])
        out = np.sqrt(off_x**2 + off_y**2)
        inside = np.clip(np.float32(radius) - out + 0.5, 0, 1)
        cover[box] = np.maximum(cover[box], inside)
        lean_x[box] = np.where(inside > 0.5, -off_x / np.float32(radius), lean_x[box])
        lean_y[box] = np.where(inside > 0.5, -off_y / np.float32(radius), lean_y[box])
    return cover * np.float32(mark.strength), lean_x, lean_y


def _scratch(cover: paint.Field, count: int, rng: np.random.Generator) -> None:
    """Strokes that wear the mark down to bare steel.  In place."""
    for _ in range(count):
        middle = rng.uniform(0.1, 0.9, 2) * cover.shape[::-1]
        angle, length = rng.uniform(0, np.pi), rng.uniform(3, 10) * MODULE_PX
        half = np.array([np.cos(angle), np.sin(angle)]) * length / 2
        ends = [(middle + side * half).astype(int).tolist() for side in (-1, 1)]
        thick = max(1, round(rng.uniform(0.1, 0.4) * MODULE_PX))
        cv2.line(cover, ends[0], ends[1], float(rng.uniform(0, 0.4)), thick, cv2.LINE_AA)


_TONES = {Way.DARKENED: (0.05, 0.18), Way.FROSTED: (0.5, 0.8), Way.PEENED: (0.2, 0.5)}  # of white paper in that light


def _engrave(
    frame: paint.Field, scene: Scene, mark: Mark, laid: Laid, relief: Relief, paper: paint.Field,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """Lay the mark into the drawn steel.  In place."""
    left, top, columns, rows, struck, on_x, on_y = laid
    per_mm = relief[0].shape[1] / scene.label_mm
    half = scene.label_mm / 2
    map_x = np.where(struck.hit, (on_x + np.float32(half)) * np.float32(per_mm) - 0.5, -99).astype(np.float32)
    map_y = np.where(struck.hit, (on_y + np.float32(half)) * np.float32(per_mm) - 0.5, -99).astype(np.float32)
    reach = max(per_mm * scene.skin.point[2] / scene.lens.focal_px / 2, 1.0)  # drawing's pixels a sample
    smooth = [cv2.GaussianBlur(part, (0, 0), 0.45 * reach) for part in relief]
    cover, lean_x, lean_y = (
        cv2.remap(part, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT) for part in smooth
    )
    light = np.clip(paint.look_up(paper, struck.angle_rad), 0.12, 1.5)
    tone = np.float32(rng.uniform(*_TONES[mark.way])) * light
    lamp = rng.uniform(0, 2 * np.pi)
    tone = tone + np.float32(0.45) * (lean_x * np.float32(np.cos(lamp)) + lean_y * np.float32(np.sin(lamp))) * light
    area = frame[top : top + rows, left : left + columns]
    steel = cv2.resize(area, (2 * columns, 2 * rows), interpolation=cv2.INTER_LINEAR)
    colour = steel * (1 - cover[:, :, None]) + (np.clip(tone, 0.02, 1.4) * cover)[:, :, None]
    if mark.rust > 0:
        spots = paint.cloud(2 * rows, 2 * columns, max(columns / 40, 1.0), rng)
        film = (np.clip(0.9 * spots - 0.3, 0, 1) * np.float32(mark.rust))[:, :, None]
        colour = colour * (1 - film) + film * np.array([0.09, 0.16, 0.30], np.float32)
    if scene.oil > 0:
        film = paint.cloud(2 * rows, 2 * columns, max(columns / 60, 1.0), rng)
        film = (np.clip(0.55 + 0.6 * film, 0, 1) * np.float32(0.7 * scene.oil))[:, :, None]
        colour = colour * (1 - film * np.array([0.75, 0.5, 0.42], np.float32)) + film * np.array([0.05, 0.09, 0.11])
    if scene.glare > 0:
        off_x = on_x - np.float32(scene.glare_at[0] * scene.label_mm)
        off_y = on_y - np.float32(scene.glare_at[1] * scene.label_mm)
        spot = np.exp(-(off_x**2 + off_y**2) / np.float32(scene.glare_mm**2))
        colour = colour + (np.float32(scene.glare) * spot)[:, :, None]
    edge = np.minimum.reduce([map_x + 9, map_y + 9, cover.shape[1] * 99 - map_x, cover.shape[0] * 99 - map_y])
    blend = cv2.resize((edge > -60).astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA)[:, :, None]
    fine = cv2.resize(colour.astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA)
    area[:] = area * (1 - blend) + fine * blend
