"""What drawn scenes are painted with: label art, shop light on turned steel, smears, backgrounds, the sensor.

It must never know where the camera stands; `scenes` puts geometry and paint together.  Light is handled as
display values 0..1 in blue, green, red order, as OpenCV keeps pictures; the sensor's noise grows with the
square root of the signal as photon noise does.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

import cv2
import numpy as np
import qrcode
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Picture = NDArray[np.uint8]
Field = NDArray[np.float32]


class Art(NamedTuple):
    """Something stuck on: ink (H, W) in grey levels, cover (H, W), 255 where it is, 0 where steel shows."""

    ink: Picture
    cover: Picture


QUIET_MODULES = 4
"""ISO/IEC 18004 asks for four light modules around the symbol."""
LIGHT_STEPS = 720
"""Samples of the ring of light around a cylinder's axis: half a degree each."""
SHOP_PAINTS = (
    (0.36, 0.33, 0.27),
    (0.30, 0.36, 0.31),
    (0.24, 0.30, 0.38),
    (0.48, 0.48, 0.47),
    (0.13, 0.13, 0.14),
    (0.33, 0.31, 0.29),
)
"""Blue, green, red of what stands about in a shop: machine paint, bins, rubber, cartons."""
SHEET_PAINTS = (
    (0.72, 0.73, 0.71),
    (0.62, 0.60, 0.56),
    (0.55, 0.47, 0.36),
    (0.50, 0.55, 0.45),
    (0.36, 0.36, 0.37),
)
"""Blue, green, red of drawer fronts and machine panels: light and pigeon grey, blue, green, slate."""


@lru_cache(maxsize=256)
def modules(text: str) -> NDArray[np.bool_]:
    """The QR symbol's modules without quiet zone, True is dark: level H, version 1 for ten of our symbols."""
    symbol = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_H, border=0)
    symbol.add_data(text, optimize=0)
    symbol.make(fit=True)
    grid: NDArray[np.bool_] = np.array(symbol.get_matrix(), dtype=bool)
    return grid


def writing(size_px: float) -> Any:
    """The font for drawn lettering, `size_px` high."""
    return ImageFont.load_default(size=max(size_px, 4))


def label_art(text: str, module_px: int, caption: str, rng: np.random.Generator) -> Art:
    """A printed label of our own layout, `module_px` pixels a module.

    The symbol's centre is `W / 2` from the left and from the top; a caption lengthens the label downwards.
    Edges of the print are a little ragged, as thermal transfer on laminated tape is.
    """
    grid = modules(text)
    side = (len(grid) + 2 * QUIET_MODULES) * module_px
    tail = round(4.2 * module_px) if caption else 0
    art = Image.new("L", (side, side + tail), 255)
    cell = np.kron(np.where(grid, 0, 255).astype(np.uint8), np.ones((module_px, module_px), np.uint8))
    art.paste(Image.fromarray(cell), (QUIET_MODULES * module_px, QUIET_MODULES * module_px))
    if caption:
        pen = ImageDraw.Draw(art)
        font = writing(3.6 * module_px)
        wide = pen.textlength(caption, font=font)
        pen.text(((side - wide) / 2, side - 2.2 * module_px), caption, fill=0, font=font)
    ink = np.asarray(art, dtype=np.float32)
    grain = rng.normal(0, 14, (side + tail, side)).astype(np.float32)
    ink = np.asarray(cv2.GaussianBlur(ink + grain, (0, 0), 0.07 * module_px + 0.2))
    return Art(np.clip(ink, 0, 255).astype(np.uint8), _rounded(art.width, art.height, 1.2 * module_px))


def _rounded(width: int, height: int, radius: float) -> Picture:
    cover = Image.new("L", (width, height), 0)
    ImageDraw.Draw(cover).rounded_rectangle((0, 0, width - 1, height - 1), radius, fill=255)
    return np.array(cover, dtype=np.uint8)


def plate_art(rng: np.random.Generator) -> Art:
    """Something printed that is no code: a rating plate, a ruler, a check pattern, lettering or a hatch."""
    side = 348
    art = Image.new("L", (side, side), 255)
    pen = ImageDraw.Draw(art)
    kind = int(rng.integers(5))
    if kind == 0:
        for row in range(7):
            pen.text(
                (18, 14 + 46 * row),
                f"{rng.integers(10, 9999)} mm {rng.integers(1, 99)}",
                fill=0,
                font=writing(34),
            )
            pen.line((10, 54 + 46 * row, side - 10, 54 + 46 * row), fill=90, width=2)
    elif kind == 1:
        for tick in range(58):
            pen.line((12 + 6 * tick, 20, 12 + 6 * tick, 200 if tick % 10 == 0 else 120), fill=0, width=2)
        pen.text((20, 230), "0  10  20  30  40  50", fill=0, font=writing(30))
    elif kind == 2:
        cells = rng.random((int(rng.integers(6, 30)),) * 2) < 0.5
        check = Image.fromarray(np.where(cells, 0, 255).astype(np.uint8)).resize(
            (270, 270), Image.Resampling.NEAREST
        )
        art.paste(check, (39, 39))
    elif kind == 3:
        pen.rectangle((14, 14, side - 14, side - 14), outline=0, width=14)
        pen.rectangle((90, 90, side - 90, side - 90), fill=0)
        pen.text((110, 120), f"T{rng.integers(10, 99)}", fill=255, font=writing(100))
    else:
        for stripe in range(-6, 14):
            pen.polygon(
                [
                    (56 * stripe, side),
                    (56 * stripe + 28, side),
                    (56 * stripe + 200, 0),
                    (56 * stripe + 172, 0),
                ],
                fill=0,
            )
    return Art(np.array(art, dtype=np.uint8), _rounded(side, side, 12))


def scratch(art: Art, count: int, module_px: float, rng: np.random.Generator) -> None:
    """Scratches and nicks: strokes that wear the symbol off, some down to the steel.  In place."""
    ink, cover = art
    width = cover.shape[1]
    for _ in range(count):
        length = rng.uniform(4, 16) * module_px
        angle = rng.uniform(0, np.pi)
        middle = rng.uniform(0.1, 0.9, 2) * width
        bend = rng.normal(0, 0.08 * length, 2)
        half = np.array([np.cos(angle), np.sin(angle)]) * length / 2
        line = np.array([middle - half, middle + bend, middle + half]).round().astype(np.int32)
        thick = max(1, round(rng.uniform(0.15, 0.6) * module_px))
        if rng.random() < 0.5:
            cv2.polylines(cover, [line], False, int(rng.integers(0, 120)), thick, cv2.LINE_AA)
        else:
            cv2.polylines(ink, [line], False, int(rng.integers(170, 245)), thick, cv2.LINE_AA)


@lru_cache(maxsize=1)
def _cloud() -> Field:
    """One tile (512, 512) of soft noise, mean 0, wrapping at its edges; parts of it are used everywhere."""
    rng = np.random.default_rng(1)
    total = np.zeros((512, 512), np.float32)
    for cells, weight in ((4, 1.0), (8, 0.7), (16, 0.5), (32, 0.3), (64, 0.2)):
        coarse = rng.normal(0, 1, (cells, cells)).astype(np.float32)
        coarse = np.pad(coarse, 2, mode="wrap")
        fine = cv2.resize(coarse, None, fx=512 / cells, fy=512 / cells, interpolation=cv2.INTER_CUBIC)
        edge = 2 * 512 // cells
        total += weight * fine[edge : edge + 512, edge : edge + 512]
    return np.asarray(total / total.std(), dtype=np.float32)


def cloud(height: int, width: int, scale: float, rng: np.random.Generator) -> Field:
    """Soft noise (height, width), about -2..2; `scale` is how many pixels of it one tile pixel covers."""
    tile = np.roll(_cloud(), rng.integers(0, 512, 2), (0, 1))
    rows, columns = int(height / scale) + 2, int(width / scale) + 2
    tile = np.tile(tile, (rows // 512 + 1, columns // 512 + 1))[:rows, :columns]
    return np.asarray(cv2.resize(tile, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def shop_ring(rng: np.random.Generator) -> Field:
    """Shop light around a cylinder's axis: what turned steel mirrors at each reflected angle, -180..180.

    A dim hall with a dark floor side, two to four strip lights or windows, and the long tails that the fine
    grooves of turning give every highlight.
    """
    at = np.linspace(-180, 180, LIGHT_STEPS, endpoint=False, dtype=np.float32)

    def lobe(centre: float, width: float) -> Field:
        away = (at - centre + 180) % 360 - 180
        return np.asarray(np.exp(-((away / width) ** 2)), np.float32)

    ring = np.full(LIGHT_STEPS, 0.17, np.float32)
    ring += 0.14 * lobe(rng.uniform(-60, 60), 70)
    for _ in range(int(rng.integers(2, 5))):
        centre, power = rng.uniform(-150, 150), rng.uniform(0.25, 0.75)
        ring += power * (0.7 * lobe(centre, rng.uniform(5, 18)) + 0.3 * lobe(centre, 45))
    ring -= 0.1 * lobe(rng.choice([-1, 1]) * rng.uniform(110, 180), 50)
    return np.asarray(np.clip(ring, 0.05, 1.6), dtype=np.float32)


def paper_ring(ring: Field) -> Field:
    """How brightly that light falls on matte paper, by its normal's angle; mean 1 at the front."""
    at = np.linspace(-np.pi, np.pi, LIGHT_STEPS, endpoint=False)
    lobe = np.maximum(np.cos(at), 0) + 0.25
    spread = np.fft.irfft(np.fft.rfft(ring) * np.fft.rfft(np.fft.ifftshift(lobe)), LIGHT_STEPS)
    front = spread[np.abs(at) < 0.5].mean()
    return np.asarray(spread / front, np.float32)


def look_up(ring: Field, angle_rad: Field) -> Field:
    """The ring's value at angles in radians; steps of half a degree need no interpolation between them."""
    per_radian = np.float32(LIGHT_STEPS / (2 * np.pi))
    return np.take(ring, (angle_rad * per_radian).astype(np.int32) + LIGHT_STEPS // 2, mode="wrap")


@lru_cache(maxsize=4)
def _lines(seed: int) -> Field:
    rng = np.random.default_rng(seed)
    fine = rng.normal(0, 1, 8192).astype(np.float32)
    soft = cv2.GaussianBlur(rng.normal(0, 1, (1, 8192)).astype(np.float32), (0, 0), 9)[0]
    mix = fine + 0.8 * soft / soft.std()
    return np.asarray(mix / mix.std(), dtype=np.float32)


def turning_marks(along_mm: Field, pitch_mm: float) -> Field:
    """The fine grooves a lathe leaves around the axis, as relative brightness about 0, by place along it."""
    index = (along_mm / np.float32(pitch_mm) + 4096).astype(np.int32)
    return np.asarray(np.take(_lines(5), index, mode="wrap"), dtype=np.float32)


def bench_blur(height: int, width: int, rng: np.random.Generator) -> Field:
    """A shop out of focus behind the steel, (height, width, 3) in 0..1: mat, boxes, lamps, machine paint."""
    small_h, small_w = max(height // 6, 8), max(width // 6, 8)
    top = np.array([0.30, 0.31, 0.31]) * rng.uniform(0.5, 1.4) + rng.normal(0, 0.007, 3)
    low = np.array([0.20, 0.22, 0.25]) * rng.uniform(0.5, 1.3) + rng.normal(0, 0.007, 3)
    ramp = np.linspace(0, 1, small_h)[:, None, None]
    board = ((1 - ramp) * top + ramp * low).astype(np.float32) * np.ones((small_h, small_w, 1), np.float32)
    for _ in range(int(rng.integers(6, 15))):
        x, y = rng.uniform(0, small_w), rng.uniform(0, small_h)
        wide, high = rng.uniform(0.04, 0.3) * small_w, rng.uniform(0.05, 0.35) * small_h
        paint = (rng.choice(np.array(SHOP_PAINTS)) * rng.uniform(0.5, 1.2)).tolist()
        if rng.random() < 0.85:
            box = cv2.boxPoints(((x, y), (wide, high), float(rng.normal(0, 8))))
            cv2.fillConvexPoly(board, box.astype(np.int32), paint, cv2.LINE_AA)
        else:
            cv2.ellipse(board, ((x, y), (wide, wide), 0), paint, -1, cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 4))):
        spot = (int(rng.uniform(0, small_w)), int(rng.uniform(0, small_h * 0.5)))
        cv2.circle(board, spot, int(rng.integers(1, 4)), (0.85, 0.95, 1.0), -1, cv2.LINE_AA)
    board = cv2.GaussianBlur(board, (0, 0), small_h * 0.03 + 0.8)
    out = cv2.resize(board, (width, height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.clip(out, 0, 1), dtype=np.float32)


def sheet_art(width_mm: float, height_mm: float, px_per_mm: float, rng: np.random.Generator) -> Picture:
    """A painted drawer front or machine panel, (H, W, 3): gaps, a grip, screws, rubs and dirt."""
    wide, high = round(width_mm * px_per_mm), round(height_mm * px_per_mm)
    base = np.array(SHEET_PAINTS[int(rng.integers(len(SHEET_PAINTS)))], np.float32)
    sheet = (base * (1 + 0.025 * cloud(high, wide, 7.0, rng))[:, :, None]).astype(np.float32)

    def row(mm: float) -> int:
        return round(mm * px_per_mm)

    def bar(left: float, right: float, top_mm: float, thick_mm: float, colour: Field) -> None:
        corner = (row(width_mm * right), row(top_mm + thick_mm))
        cv2.rectangle(sheet, (row(width_mm * left), row(top_mm)), corner, colour.tolist(), -1)

    gap = rng.uniform(0.16, 0.27) * height_mm
    for level in (gap, height_mm - gap * rng.uniform(0.6, 1.0)):
        bar(0, 1, level - 0.5, 0.5, base * 0.7)
        bar(0, 1, level, 3, base * 0.22)
        bar(0, 1, level + 3, 0.6, base * 1.22)
    grip = rng.uniform(0.63, 0.7) * height_mm
    bar(0.15, 0.85, grip, 7, np.full(3, 0.76, np.float32))
    bar(0.15, 0.85, grip, 1.2, np.full(3, 0.93, np.float32))
    bar(0.15, 0.85, grip + 7, 3, base * 0.55)
    for side in (0.06, 0.94):
        x, y = row(width_mm * side), row(height_mm * 0.45)
        cv2.circle(sheet, (x, y), row(4.2), (base * 0.6).tolist(), -1, cv2.LINE_AA)
        cv2.circle(sheet, (x, y), row(3.4), (0.62, 0.63, 0.63), -1, cv2.LINE_AA)
        slot = (row(2), -row(1))
        cv2.line(sheet, (x - slot[0], y - slot[1]), (x + slot[0], y + slot[1]), (0.2,) * 3, row(0.8))
    for _ in range(int(rng.integers(3, 14))):
        start = rng.uniform(0, 1, 2) * (wide, high)
        end = start + rng.normal(0, 25 * px_per_mm, 2)
        tone = (base * rng.uniform(0.6, 1.25)).tolist()
        cv2.line(sheet, start.astype(int).tolist(), end.astype(int).tolist(), tone, 1, cv2.LINE_AA)
    return np.asarray(np.clip(sheet, 0, 1) * 255, dtype=np.uint8)


@lru_cache(maxsize=1)
def _grain() -> NDArray[np.float32]:
    """One tile of sensor grain, unit deviation, slightly smeared as demosaicing leaves it."""
    rng = np.random.default_rng(2)
    grain = rng.normal(0, 1, (1024, 1536, 3)).astype(np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), 0.5)
    grain = 0.75 * grain + 0.45 * grain.mean(axis=2, keepdims=True)
    return np.asarray(grain / grain.std(), dtype=np.float32)


@lru_cache(maxsize=8)
def _grain_at(noise_tenths: int) -> NDArray[np.int8]:
    return np.asarray(np.clip(_grain() * (noise_tenths / 10), -127, 127), dtype=np.int8)


def add_grain(picture: Picture, noise_levels: float, rng: np.random.Generator) -> Picture:
    """Sensor noise of a standard deviation in levels of 255, as it is in the mid tones."""
    if noise_levels <= 0:
        return picture
    height, width = picture.shape[:2]
    tile = _grain_at(round(noise_levels * 10))
    if height > tile.shape[0] or width > tile.shape[1]:
        tile = np.tile(tile, (height // tile.shape[0] + 1, width // tile.shape[1] + 1, 1))
    top = int(rng.integers(0, tile.shape[0] - height + 1))
    left = int(rng.integers(0, tile.shape[1] - width + 1))
    patch = tile[top : top + height, left : left + width]
    return np.asarray(cv2.add(picture, np.ascontiguousarray(patch), dtype=cv2.CV_8U), dtype=np.uint8)


def shake(picture: Picture, length_px: float, angle_deg: float) -> Picture:
    """Motion blur along a straight line of `length_px`."""
    if length_px < 0.3:
        return picture
    reach = int(np.ceil(length_px / 2)) + 1
    size = 2 * reach + 1
    fine = 8
    kernel = np.zeros((size * fine, size * fine), np.float32)
    middle = size * fine / 2
    half = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))]) * length_px * fine / 2
    start, end = (middle - half).round().astype(int), (middle + half).round().astype(int)
    cv2.line(kernel, start.tolist(), end.tolist(), 1.0, fine)
    kernel = cv2.resize(kernel, (size, size), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.filter2D(picture, -1, kernel / kernel.sum()), dtype=np.uint8)


def through_jpeg(picture: Picture, quality: int) -> Picture:
    """The picture after its camera packed it."""
    _, packed = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), dtype=np.uint8)
