"""One scene through one camera: the steel or sheet, the label on it, then lens, shake, sensor and packing.

Puts `scene_space` and `scene_paint` together; chance enters only through the scene's `look` and the frame's
seed, so that a scene and a seed give the same picture every time.  It must never flatter the reader: whatever
light, oil and lens do to a label is drawn before the sensor's noise and the camera's JPEG.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from kiosk.bench import scene_paint as paint
from kiosk.bench.scene import HEIGHT_PX, WIDTH_PX, Ground, Scene
from kiosk.bench.scene_lay import lay, turned
from kiosk.bench.scene_space import Lens, Plane, Skin, strike_round
from kiosk.rules.codes import CodeKind, parse

Picture = NDArray[np.uint8]
"""(height, width, 3), blue green red as OpenCV keeps pictures."""

LEAST_MODULE_PX = 2.0
"""Below two pixels a module, at the symbol's tightest corner, print is lost between pixels: "closer"."""
MOST_SLANT_DEG = 62.0
"""Steeper than this at any corner of the symbol, round steel hides it: "turn it"."""
MOST_SPREAD_MODULES = 0.5
"""Blur (standard deviation, in tightest modules) past which neighbours run together: "hold still".

Where these limits come from: a sampler that is told the true place of every module and redraws the fixed ones
reads all of 200 random scenes within them; of scenes beyond, half at 1.4 px a module and a third at a spread of
0.8.  A reader has to find those places by itself.
"""

STEEL_COLOUR = np.array([1.02, 1.0, 0.975], np.float32)


class Reach(NamedTuple):
    """How much of a label a camera can get at all.

    module_px: width of the tightest module seen, pixels.  slant_deg: steepest view onto the symbol's edge.
    spread: blur's standard deviation in tightest modules.
    """

    module_px: float
    slant_deg: float
    spread: float

    @property
    def readable(self) -> bool:
        return (
            self.module_px >= LEAST_MODULE_PX
            and self.slant_deg <= MOST_SLANT_DEG
            and self.spread <= MOST_SPREAD_MODULES
        )


def corners(scene: Scene, lens: Lens | None = None, skin: Skin | None = None) -> NDArray[np.float64]:
    """The symbol's four corners in the picture, pixels (4, 2): its own top left first, then clockwise.

    Another lens or skin than the scene's own may be given.
    """
    lens, skin = lens or scene.lens, skin or scene.skin
    half = scene.module_mm * len(paint.modules(scene.text)) / 2
    x, z = turned(np.array([-half, half, half, -half]), np.array([half, half, -half, -half]), scene.turned_deg)
    return lens.project(skin.spot(x, z))


def reach(scene: Scene, lens: Lens | None = None, skin: Skin | None = None) -> Reach:
    """What the camera can get of the scene's label; another lens or skin than the scene's own may be given."""
    lens, skin = lens or scene.lens, skin or scene.skin
    half = scene.module_mm * len(paint.modules(scene.text)) / 2
    grid = np.linspace(-half, half, 3)
    x, z = (c.ravel() for c in np.meshgrid(grid, grid))
    x, z = turned(x, z, scene.turned_deg)
    step = 0.02 * scene.module_mm
    here = lens.project(skin.spot(x, z))
    right = (lens.project(skin.spot(x + step, z)) - here) * 50
    up = (lens.project(skin.spot(x, z + step)) - here) * 50
    tightest = np.linalg.svd(np.stack([right, up], axis=2), compute_uv=False)[:, 1].min()
    slant = max(math.degrees(math.acos(max(-1.0, skin.facing(a, b)))) for a, b in zip(x, z, strict=True))
    blur = math.hypot(scene.defocus_px, scene.motion_px / math.sqrt(12))
    return Reach(float(tightest), slant, blur / max(float(tightest), 1e-6))


def draw(scene: Scene, seed: int, art: paint.Art | None = None) -> Picture:
    """The camera's frame (720, 1280, 3) of a scene; `seed` is chance within the frame: its noise.

    The same scene and seed give the same picture.  `art` sticks on something else than the scene's label.
    """
    look = np.random.default_rng([scene.look, 7])
    art = label(scene, np.random.default_rng([scene.look, 13])) if art is None else art
    frame: paint.Field | Picture
    if scene.ground is Ground.STEEL:
        frame, ring = bare_steel(scene, look)
    else:
        frame, ring = _flat(scene, look), np.ones(paint.LIGHT_STEPS, np.float32)
    stick(frame, scene, art, scene.lens, scene.skin, paint.paper_ring(ring))
    return sense(frame, scene, np.random.default_rng([seed, 11]))


def sense(frame: paint.Field | Picture, scene: Scene, rng: np.random.Generator) -> Picture:
    """Exposure, colour of the light, lens, shake, sensor, packing."""
    tint = scene.light * np.array([1 - 0.12 * scene.warmth, 1.0, 1 + 0.07 * scene.warmth])
    picture = cv2.transform(frame, np.diag(tint * (1.0 if frame.dtype == np.uint8 else 255.0)))
    picture = picture if picture.dtype == np.uint8 else cv2.convertScaleAbs(cv2.max(picture, 0.0))
    if scene.defocus_px > 0.15:
        picture = cv2.GaussianBlur(picture, (0, 0), scene.defocus_px)
    picture = paint.shake(picture, scene.motion_px, scene.motion_deg)
    picture = paint.add_grain(picture, scene.noise, rng)
    return paint.through_jpeg(picture, scene.jpeg)


class Turned(NamedTuple):
    """One length of a holder's outline: a cylinder about the axis of the labelled skin, mm."""

    radius: float
    low: float
    high: float
    tone: float


def _outline(scene: Scene, rng: np.random.Generator) -> tuple[Turned, ...]:
    """A holder about its label: cutter, nose, body with the label, flange with its gripper groove."""
    body = scene.diameter_mm / 2
    room = scene.label_mm * 0.75
    nose_end = -room - rng.uniform(2, 18)
    flange = body * rng.uniform(1.25, 1.7)
    # A flange that leans over the label would hide it, so a real label is stuck that much farther away.
    shade = 1.2 * (flange - body) * max(0.0, math.tan(math.radians(scene.tilt_deg)))
    collar = room + shade + rng.uniform(2, 25)
    cutter = body * rng.uniform(0.25, 0.5)
    return (
        Turned(body, nose_end, collar, 1.0),
        Turned(cutter, nose_end - rng.uniform(20, 45), nose_end, 0.75),
        Turned(flange, collar, collar + 7, 0.95),
        Turned(flange * 0.86, collar + 7, collar + 13, 0.7),
        Turned(flange, collar + 13, collar + 22, 0.95),
        Turned(flange * 0.7, collar + 22, collar + 60, 0.85),
    )


def bare_steel(scene: Scene, rng: np.random.Generator) -> tuple[paint.Field, paint.Field]:
    """The steel and what is behind it without label, drawn at half size; and its ring of light."""
    rows, columns = HEIGHT_PX // 2, WIDTH_PX // 2
    frame = paint.bench_blur(rows, columns, rng)
    ring = paint.shop_ring(rng)
    stand(frame, scene.lens, scene.skin, _outline(scene, rng), ring, rng)
    return cv2.resize(frame, (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_LINEAR), ring


def stand(
    frame: paint.Field,
    lens: Lens,
    skin: Skin,
    parts: Sequence[Turned],
    ring: paint.Field,
    rng: np.random.Generator,
) -> None:
    """Draw a turned body about the skin's axis into a frame of half the lens's size.  In place."""
    boxes = [_box(lens, skin, part) for part in parts]
    seen = [box for box in boxes if box is not None]
    if not seen:
        return
    left, top = (min(box[side] for box in seen) // 2 for side in (0, 1))
    right, bottom = (max(box[side] for box in seen) // 2 for side in (2, 3))
    rows, columns = bottom - top, right - left
    dx, dy = lens.rays(2.0 * left, 2.0 * top, columns, rows, 2.0)
    nearest = np.full((rows, columns), np.inf, np.float32)
    grey = np.zeros((rows, columns), np.float32)
    for part, box in zip(parts, boxes, strict=True):
        if box is None:
            continue
        across = slice(box[0] // 2 - left, box[2] // 2 - left)
        down = slice(box[1] // 2 - top, box[3] // 2 - top)
        _turn_part(part, skin, dx[:, across], dy[down], ring, nearest[down, across], grey[down, across])
    steel = np.isfinite(nearest)
    grey *= 1 + 0.05 * paint.cloud(rows, columns, 2.0, rng)
    # Steel half covering a pixel at the outline shows half of it, as a lens would.
    spread = np.where(steel, grey, cv2.dilate(grey, np.ones((3, 3), np.uint8)))
    cover = cv2.GaussianBlur(steel.astype(np.float32), (0, 0), 0.6)
    area = frame[top:bottom, left:right]
    area += cover[:, :, None] * (spread[:, :, None] * STEEL_COLOUR - area)


def _box(lens: Lens, skin: Skin, part: Turned) -> tuple[int, int, int, int] | None:
    """Left, top, right, bottom in pixels of a part in the picture; the whole where it comes too near."""
    assert skin.radius_mm is not None
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    middle = skin.point - skin.radius_mm * skin.normal
    rim = np.sin(angle)[:, None] * skin.across + np.cos(angle)[:, None] * skin.normal
    ends = (middle + part.low * skin.along, middle + part.high * skin.along)
    points = np.concatenate([end + 1.02 * part.radius * rim for end in ends])
    if points[:, 2].min() < 15:
        return 0, 0, lens.width_px, lens.height_px
    seen = lens.project(points)
    left, top = np.clip(np.floor(seen.min(axis=0)).astype(int) - 2, 0, (lens.width_px, lens.height_px))
    right, bottom = np.clip(np.ceil(seen.max(axis=0)).astype(int) + 3, 0, (lens.width_px, lens.height_px))
    if right - left < 2 or bottom - top < 2:
        return None
    return int(left), int(top), int(right), int(bottom)


def _turn_part(
    part: Turned,
    skin: Skin,
    dx: Plane,
    dy: Plane,
    ring: paint.Field,
    nearest: Plane,
    grey: Plane,
) -> None:
    """Draw one part's skin and end faces where it is nearer than what is there.  In place."""

    def slope(axis: NDArray[np.float64]) -> Plane:
        return dx * np.float32(axis[0]) + (dy * np.float32(axis[1]) + np.float32(axis[2]))

    centre = skin.point - (skin.radius_mm or 0.0) * skin.normal
    d_across, d_normal, d_along = slope(skin.across), slope(skin.normal), slope(skin.along)
    struck = strike_round(skin, part.radius, dx, dy)
    seen = struck.hit & (struck.along_mm >= part.low) & (struck.along_mm <= part.high)
    seen &= struck.depth < nearest
    light = paint.look_up(ring, 2 * struck.angle_rad - np.arctan2(-d_across, -d_normal))
    light *= 1 + np.float32(0.05) * paint.turning_marks(struck.along_mm, 0.11)
    edge = np.minimum(struck.along_mm - np.float32(part.low), np.float32(part.high) - struck.along_mm)
    light *= np.float32(0.78) + np.float32(0.22) * np.clip(edge / np.float32(1.2), 0, 1)
    np.copyto(grey, np.float32(part.tone) * light, where=seen)
    np.copyto(nearest, struck.depth, where=seen)
    for level, sign in ((part.low, -1.0), (part.high, 1.0)):
        depth = np.float32(centre @ skin.along + level) / np.where(np.abs(d_along) < 1e-5, 1e-5, d_along)
        x = depth * d_across - np.float32(centre @ skin.across)
        y = depth * d_normal - np.float32(centre @ skin.normal)
        out = np.sqrt(x * x + y * y).astype(np.float32)
        face = (d_along * sign < 0) & (depth > 1) & (out <= part.radius) & (depth < nearest)
        if not face.any():
            continue
        # A faced end mirrors the lamps as two opposite fans, as every lathe-faced surface does.
        fan = 0.3 + 0.25 * np.cos(2 * np.arctan2(x, y) + level) ** 2
        fan *= 1 + 0.06 * paint.turning_marks(out, 0.12)
        fan *= 0.75 + 0.25 * np.clip(part.radius - out, 0, 1)
        np.copyto(grey, (part.tone * fan).astype(np.float32), where=face)
        np.copyto(nearest, depth.astype(np.float32), where=face)


def _flat(scene: Scene, rng: np.random.Generator) -> Picture:
    """A drawer front or machine panel, or a card lying on a mat, without label; whole frame."""
    if scene.ground is Ground.SHEET:
        # A drawer front in proportion to its label, so that grip and gaps come into the picture.
        wide_mm, high_mm = 16.0 * scene.label_mm, 8.5 * scene.label_mm
        art = paint.sheet_art(480, 255, 3.4, rng)
    else:
        px_per_mm = 3.0
        wide_mm, high_mm = 700.0, 520.0
        mat = 0.17 + 0.02 * paint.cloud(round(high_mm * px_per_mm), round(wide_mm * px_per_mm), 0.6, rng)
        art = np.repeat((np.clip(mat, 0, 1) * 255).astype(np.uint8)[:, :, None], 3, axis=2)
        _lay_card(art, scene, px_per_mm)
    skin, lens = scene.skin, scene.lens
    x = np.array([-wide_mm, wide_mm, wide_mm, -wide_mm]) / 2
    z = np.array([high_mm, high_mm, -high_mm, -high_mm]) / 2
    spots = skin.spot(x, z)
    small = np.array([[0, 0], [art.shape[1], 0], [art.shape[1], art.shape[0]], [0, art.shape[0]]], np.float32)
    warp = cv2.getPerspectiveTransform(small, lens.project(spots).astype(np.float32))
    frame = cv2.warpPerspective(
        art, warp, (WIDTH_PX, HEIGHT_PX), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101
    )
    fall = 1 + 0.16 * paint.cloud(HEIGHT_PX // 8, WIDTH_PX // 8, 9.0, rng).clip(-1.5, 1.5)
    fall = cv2.resize(cv2.GaussianBlur(fall, (0, 0), 12), (WIDTH_PX, HEIGHT_PX))
    lit: Picture = cv2.multiply(frame, cv2.merge([fall] * 3), dtype=cv2.CV_8U)
    return lit


def _lay_card(art: Picture, scene: Scene, px_per_mm: float) -> None:
    """A plastic card (ISO/IEC 7810 ID-1, 85.6 x 54 mm) about its label: symbol left, words right.  In place."""
    middle = np.array([art.shape[1], art.shape[0]]) / 2 + np.array([22.0, 0.0]) * px_per_mm
    half = np.array([85.6, 54.0]) * px_per_mm / 2
    (left, top), (right, bottom) = (middle - half).astype(int).tolist(), (middle + half).astype(int).tolist()
    shadow = art.copy()
    cv2.rectangle(shadow, (left + 6, top + 8), (right + 8, bottom + 10), (12, 12, 12), -1)
    art[:] = cv2.GaussianBlur(shadow, (0, 0), 6)
    cv2.rectangle(art, (left, top), (right, bottom), (230, 232, 231), -1)
    badge = parse(scene.text).kind is CodeKind.BADGE
    band = (122, 84, 44) if badge else (58, 58, 60)
    cv2.rectangle(art, (left, top), (right, top + round(8 * px_per_mm)), band, -1)
    words = Image.fromarray(art[:, :, ::-1])
    pen = ImageDraw.Draw(words)
    pen.text(
        (left + 12, top + 4), "OPERATOR" if badge else "COMMAND", fill=(240,) * 3, font=paint.writing(16)
    )
    pen.text((middle[0] - 8, middle[1] - 18), scene.title, fill=(30,) * 3, font=paint.writing(20))
    pen.text(
        (middle[0] - 8, middle[1] + 14), parse(scene.text).grouped, fill=(90,) * 3, font=paint.writing(14)
    )
    art[:] = np.asarray(words)[:, :, ::-1]


def label(scene: Scene, wear: np.random.Generator) -> paint.Art:
    """The scene's printed label with its scratches."""
    art = paint.label_art(scene.text, 12, scene.caption, wear)
    paint.scratch(art, scene.scratches, 12, wear)
    return art


def stick(
    frame: paint.Field | Picture, scene: Scene, art: paint.Art, lens: Lens, skin: Skin, paper: paint.Field
) -> None:
    """Put `art`, `scene.label_mm` wide, on a skin, two by two samples a pixel.  In place.

    paper: how the light falls on it around the axis (`paint.paper_ring`).  Oil and the lamp's spot are the
    scene's.
    """
    ink, cover = art
    wear = np.random.default_rng([scene.look, 17])
    laid = lay(scene, ink.shape[0] / ink.shape[1], lens, skin)
    if laid is None:
        return
    left, top, columns, rows, struck, on_x, on_y = laid
    half = scene.label_mm / 2
    c, s = math.cos(math.radians(scene.turned_deg)), math.sin(math.radians(scene.turned_deg))

    per_mm = ink.shape[1] / scene.label_mm
    wanted = 2.4 * lens.focal_px / skin.point[2]
    if wanted < per_mm:
        # Down to about the samples' own size first, so that bilinear sampling skips no print.
        part = wanted / per_mm
        ink, cover = (
            cv2.resize(layer, None, fx=part, fy=part, interpolation=cv2.INTER_AREA) for layer in (ink, cover)
        )
        per_mm = ink.shape[1] / scene.label_mm
    map_x = np.where(struck.hit, (on_x + np.float32(half)) * np.float32(per_mm) - 0.5, -9).astype(np.float32)
    map_y = np.where(struck.hit, (on_y + np.float32(half)) * np.float32(per_mm) - 0.5, -9).astype(np.float32)
    grey = cv2.remap(ink, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    alpha = cv2.remap(cover, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    alpha = alpha.astype(np.float32)
    alpha *= np.float32(1 / 255)
    white = np.float32(0.06) + np.float32(0.80 / 255) * grey
    lit = white * np.clip(paint.look_up(paper, struck.angle_rad), 0.12, 1.5)
    colour = cv2.merge([lit * np.float32(0.985), lit, lit])
    if scene.oil > 0:
        film = paint.cloud(2 * rows, 2 * columns, max(columns / 60, 1.0), wear)
        film = (np.clip(0.55 + 0.6 * film, 0, 1) * np.float32(0.75 * scene.oil))[:, :, None]
        colour = colour * (1 - film * np.array([0.75, 0.5, 0.42], np.float32)) + film * np.array(
            [0.05, 0.09, 0.11], np.float32
        )
    if scene.glare > 0:
        off_x = on_x - np.float32(scene.glare_at[0] * scene.label_mm)
        off_y = on_y - np.float32(scene.glare_at[1] * scene.label_mm)
        # On round steel a lamp's spot is drawn out along the axis.
        long, short = scene.glare_mm * (1.7 if skin.radius_mm else 1.2), scene.glare_mm
        lengthwise = np.float32(s) * off_x - np.float32(c) * off_y
        sideways = np.float32(c) * off_x + np.float32(s) * off_y
        spot = np.exp(-((lengthwise / np.float32(long)) ** 2) - (sideways / np.float32(short)) ** 2)
        colour = colour + (np.float32(scene.glare) * spot)[:, :, None]
    area = frame[top : top + rows, left : left + columns]
    alpha = cv2.resize(alpha, (columns, rows), interpolation=cv2.INTER_AREA)[:, :, None]
    colour = cv2.resize(colour, (columns, rows), interpolation=cv2.INTER_AREA)
    if frame.dtype == np.uint8:
        mixed = area.astype(np.float32) * (1 - alpha) + colour * alpha * 255
        area[:] = np.clip(mixed, 0, 255).astype(np.uint8)
    else:
        area[:] = area * (1 - alpha) + colour * alpha
