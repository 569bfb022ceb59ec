"""A located QR symbol resampled flat: surface fit, alignment by its fixed modules, then the modules one by one.

What zxing-cpp is handed at the end is a clean drawing of the modules; its error correction alone decides whether
there is a text.  This module never returns one that error correction did not confirm, and it never needs the
whole outline to be visible.  Fixed modules follow ISO/IEC 18004; bend and perspective come from `surface`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kiosk.reader import own_label
from kiosk.reader.codewords import corrected
from kiosk.reader.layout import Layout, layout, sizes_near
from kiosk.reader.surface import Camera, Floats, Surface, fit, fits
from kiosk.reader.timing import LEAST_BEAT, beat
from kiosk.reader.triples import Triple

MARGIN = 2  # modules of quiet zone that are resampled with the symbol
_FINDER = np.array([[0, 0], [7, 0], [7, 7], [0, 7]], np.float64)
Image = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Flat:
    """A symbol resampled flat.

    pixels: (s, s) grey, s = (size + 2 MARGIN) pitch.  where: (s, s, 2) source pixel of each.  pitch: pixels a module.
    """

    pixels: Image
    where: Image
    layout: Layout
    pitch: int

    def corners(self) -> Floats:
        """(4, 2) source pixels of the symbol's corners, tl tr br bl."""
        low, high = MARGIN * self.pitch, (MARGIN + self.layout.size) * self.pitch - 1
        return np.array([self.where[y, x] for y, x in ((low, low), (low, high), (high, high), (high, low))], np.float64)


def rectify(grey: NDArray[np.uint8], triple: Triple, camera: Camera) -> Iterator[Flat]:
    """Flat pictures of the symbol that `triple` marks, each a better guess than the last."""
    for surface in _surfaces(grey, triple, camera):
        fixed = layout(surface.size)
        flat = flatten(grey, surface, fixed)
        yield flat
        anchored = _anchored(grey, triple, camera, surface, flat)
        if anchored is not None:
            flat = flatten(grey, anchored, fixed)
            yield flat
        for steps in (_COARSE, FINE):
            flat = straighten(grey, flat, steps)
            yield flat


def _surfaces(grey: NDArray[np.uint8], triple: Triple, camera: Camera) -> list[Surface]:
    """Surfaces for the sizes the symbol may have, the best timing pattern first."""
    ranked: list[tuple[float, Surface]] = []
    seen = triple.guessed is None
    sizes = sizes_near(triple.modules, 0.1) if seen else [round(triple.modules)]
    labels = [(size, _finder_corners(size)) for size in sizes]
    surfaces = fits(labels, triple.corners, camera, triple.weights, bent=True)
    if not seen:  # too few points to tell a plane from a bend: both are tried
        surfaces += fits(labels, triple.corners, camera, triple.weights, bent=False)
    for surface in surfaces:
        if surface is None or surface.misfit > 1.2:
            continue
        timing = beat(grey, surface.project, surface.size)
        if timing > LEAST_BEAT:
            ranked.append((timing - 0.3 * surface.misfit, surface))
    ranked.sort(key=lambda rank: -rank[0])
    return [surface for rank, surface in ranked[:2] if rank > ranked[0][0] - 0.25]


def _finder_corners(size: int) -> Floats:
    """(12, 2) label points in the order of a triple's corners."""
    return np.concatenate([_FINDER, _FINDER + np.array([size - 7, 0]), _FINDER + np.array([0, size - 7])])


def flatten(grey: NDArray[np.uint8], surface: Surface, fixed: Layout) -> Flat:
    """The symbol resampled as if it lay flat."""
    pitch = 6 if fixed.size <= 61 else 4
    edge = (fixed.size + 2 * MARGIN) * pitch
    steps = (np.arange(edge) + 0.5) / pitch - MARGIN
    # a surface is smooth: every second module is enough, linear in between
    coarse = np.arange(0, edge + 2 * pitch, 2 * pitch)
    knots = (coarse + 0.5) / pitch - MARGIN
    grid = np.stack(np.meshgrid(knots, knots), axis=-1)
    where = surface.project(grid).astype(np.float32)
    back = ((steps + MARGIN) * pitch - 0.5) / (2 * pitch)
    columns, rows = np.meshgrid(back.astype(np.float32), back.astype(np.float32))
    return resampled(grey, cv2.remap(where, columns, rows, cv2.INTER_CUBIC), fixed, pitch)


def resampled(grey: NDArray[np.uint8], where: Image, fixed: Layout, pitch: int) -> Flat:
    """The symbol whose pixels lie at `where` (s, s, 2) in the source."""
    # where a module covers many source pixels, a few of them are enough but noise should be averaged
    span = float(np.linalg.norm(where[-1, -1] - where[0, 0])) / (1.414 * len(where))
    source = grey
    if span > 1.6:
        width = int(span) | 1
        source = np.asarray(cv2.blur(grey, (width, width)), np.uint8)
    pixels = cv2.remap(source, where, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return Flat(pixels.astype(np.float32), where, fixed, pitch)


def _anchored(
    grey: NDArray[np.uint8], triple: Triple, camera: Camera, surface: Surface, flat: Flat
) -> Surface | None:
    """The surface fitted again with the alignment patterns that were found; None where there are none."""
    for reach in (3.5, 1.5):
        found = _alignments(flat, reach)
        if not found:
            return None if reach == 3.5 else surface
        label = np.concatenate([_finder_corners(surface.size), np.array([place for place, _, _ in found])])
        pixels = np.concatenate([triple.corners, np.array([at for _, at, _ in found])])
        weight = np.concatenate([triple.weights, np.array([3 * trust for _, _, trust in found])])
        again = fit(label, pixels, surface.size, camera, weight)
        if again is None or again.misfit > 1.5:
            return None if reach == 3.5 else surface
        surface = again
        flat = flatten(grey, surface, flat.layout)
    return surface


def _alignments(flat: Flat, reach: float) -> list[tuple[Floats, Floats, float]]:
    """Alignment patterns near where they should be: label place, source pixel, trust 0 to 1."""
    pitch = flat.pitch
    centre = np.abs(np.arange(7 * pitch) + 0.5 - 3.5 * pitch) / pitch
    away = np.maximum(centre[:, None], centre[None, :])
    drawing = np.where((away < 0.5) | ((away > 1.5) & (away < 2.5)), 0.0, 1.0).astype(np.float32)
    drawing = cv2.GaussianBlur(drawing, (0, 0), 0.4 * pitch)[pitch:-pitch, pitch:-pitch]
    found = []
    for place in flat.layout.alignments:
        middle = (place + MARGIN) * pitch
        low = np.maximum((middle - (2.5 + reach) * pitch).astype(int), 0)
        high = np.minimum((middle + (2.5 + reach) * pitch).astype(int), len(flat.pixels))
        region = flat.pixels[low[1] : high[1], low[0] : high[0]]
        if min(region.shape) < len(drawing):
            continue
        match = cv2.matchTemplate(region, drawing, cv2.TM_CCOEFF_NORMED)
        _, peak, _, at = cv2.minMaxLoc(match)
        if peak < 0.65:
            continue
        x, y = low + np.array(at) + len(drawing) // 2
        found.append((place, flat.where[y, x].astype(np.float64), float(peak)))
    return found


class Step(NamedTuple):
    """One round of straightening.  reach: modules over which the shift is smooth.  trust: weight of data modules."""

    reach: float
    trust: float


# fixed modules lead, data modules join in as their places become sure: otherwise a region locks one module off
_COARSE = (Step(6, 0.05), Step(6, 0.1), Step(4, 0.2), Step(4, 0.3))
FINE = (Step(3, 0.5), Step(2.2, 1), Step(1.6, 1), Step(1.6, 1))


def straighten(
    grey: NDArray[np.uint8], flat: Flat, steps: Sequence[Step], known: NDArray[np.int8] | None = None
) -> Flat:
    """The flat picture moved piece by piece until its edges stand on the module lines.

    What the modules seem to be is drawn, and the picture is shifted towards the drawing where both disagree
    (Lucas and Kanade's method, over windows of a few modules); with better places come better modules.
    known: (size, size), 1 black, what the modules must be, where that is known.
    """
    pitch, edge = flat.pitch, len(flat.pixels)
    columns, rows = np.meshgrid(np.arange(edge, dtype=np.float32), np.arange(edge, dtype=np.float32))
    limit = 0.4 * pitch
    for step in steps:
        plain = relative(modules(flat))
        seen = _levelled(cv2.GaussianBlur(flat.pixels, (0, 0), 0.25 * pitch), pitch)
        wanted = _levelled(_drawing(_settled(plain < 0.5, flat.layout) if known is None else known, pitch), pitch)
        gx = cv2.Sobel(wanted, cv2.CV_32F, 1, 0, scale=0.125)
        gy = cv2.Sobel(wanted, cv2.CV_32F, 0, 1, scale=0.125)
        weight = _weights(plain, flat, step.trust)
        off, wx, wy = (seen - wanted) * weight, gx * weight, gy * weight
        terms = (gx * wx, gx * wy, gy * wy, gx * off, gy * off)
        xx, xy, yy, xt, yt = (_smoothed(term, step.reach * pitch) for term in terms)
        floor = 0.15 * float((xx + yy).mean()) + 1e-6
        xx, yy = xx + floor, yy + floor
        scale = xx * yy - xy * xy
        shifts = (np.clip(shift / scale, -limit, limit) for shift in (yy * xt - xy * yt, xx * yt - xy * xt))
        dx, dy = (cv2.resize(shift, (edge, edge), interpolation=cv2.INTER_LINEAR) for shift in shifts)
        where = cv2.remap(flat.where, columns - dx, rows - dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        flat = resampled(grey, where, flat.layout, pitch)
    return flat


def _weights(plain: Image, flat: Flat, trust: float) -> Image:
    """How much each pixel may pull: fixed modules fully, the others by trust and by how clear they are."""
    clear = np.clip(3 * np.abs(plain - 0.5), 0, 1) ** 2 * trust
    whole = np.pad(np.where(flat.layout.fixed, 1.0, clear), MARGIN, constant_values=0.2 * trust)
    edge = len(flat.pixels)
    return np.asarray(
        cv2.resize(whole.astype(np.float32), (edge, edge), interpolation=cv2.INTER_NEAREST), np.float32
    )


def _smoothed(picture: Image, spread: float) -> Image:
    """Gaussian mean; a wide one is taken from a smaller picture and left as small, where all else costs less too."""
    if spread < 8:
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), spread), np.float32)
    shrink = 4 if spread > 16 else 2
    edge = len(picture)
    small = cv2.resize(picture, (edge // shrink, edge // shrink), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(small, (0, 0), spread / shrink), np.float32)


def _levelled(picture: Image, pitch: int) -> Image:
    """Mean 0 and spread 1 over a neighbourhood of nine modules."""
    width = 9 * pitch | 1
    mean = cv2.blur(picture, (width, width))
    spread = np.sqrt(np.maximum(cv2.blur(picture * picture, (width, width)) - mean * mean, 1.0))
    return np.asarray((picture - mean) / spread, np.float32)


def _drawing(bits: NDArray[np.int8], pitch: int) -> Image:
    """Bits as a slightly blurred picture with its margin; black is 0, white 255."""
    framed = np.pad(1 - bits.astype(np.float32), MARGIN, constant_values=1) * 255
    large = cv2.resize(framed, None, fx=pitch, fy=pitch, interpolation=cv2.INTER_NEAREST)
    return np.asarray(cv2.GaussianBlur(large, (0, 0), 0.35 * pitch), np.float32)


def modules(flat: Flat) -> Image:
    """(size, size) mean grey of the middle of each module."""
    size, pitch = flat.layout.size, flat.pitch
    whole = flat.pixels.reshape(size + 2 * MARGIN, pitch, size + 2 * MARGIN, pitch)
    core = slice(pitch // 4, pitch - pitch // 4)
    return np.asarray(whole[MARGIN:-MARGIN, core, MARGIN:-MARGIN, core].mean((1, 3)), np.float32)


def relative(grey: Image) -> Image:
    """Between the local black (0) and the local white (1)."""
    around = np.ones((5, 5), np.uint8)
    low = cv2.blur(cv2.erode(grey, around), (5, 5))
    high = cv2.blur(cv2.dilate(grey, around), (5, 5))
    return np.asarray((grey - low) / np.maximum(high - low, 1.0), np.float32)


def _settled(dark: NDArray[np.bool_], fixed: Layout) -> NDArray[np.int8]:
    return np.where(fixed.fixed, fixed.bits, dark.astype(np.int8)).astype(np.int8)


def readings(flat: Flat) -> Iterator[NDArray[np.int8]]:
    """Several opinions on what the modules are, the most usual first."""
    grey = modules(flat)
    yield _settled(relative(grey) < 0.5, flat.layout)
    bits = _settled(_equalised(grey, flat.layout.bits) > 0, flat.layout)
    yield bits
    yield _settled(grey < cv2.blur(grey, (7, 7)), flat.layout)
    yield _settled(_explained(grey, bits, flat.layout) > 0, flat.layout)


def _explained(grey: Image, bits: NDArray[np.int8], fixed: Layout, rounds: int = 3) -> Image:
    """Darkness of each module by how much worse the picture would be explained were it the other colour.

    How a module smears into its neighbours is measured on `bits`, a first guess; then every module that explains
    the picture better the other way is turned, a ninth of them at a time so that neighbours never turn together,
    and the smear is measured again (iterated conditional modes).
    """
    size, side = len(grey), 2
    taps = 2 * side + 1
    plain = _plain(grey)
    free = ~fixed.fixed
    framed = np.full((size + 2 * side,) * 2, -1, np.float32)
    colour = framed[side:-side, side:-side]
    colour[:] = bits * 2.0 - 1.0
    turn_costs = np.zeros_like(plain)
    for _ in range(rounds):
        table = np.lib.stride_tricks.sliding_window_view(framed, (taps, taps)).reshape(size * size, -1)
        table = np.concatenate([table, np.ones((size * size, 1), np.float32)], axis=1)
        # sums of ones, which single precision holds exactly
        square = (table.T @ table).astype(np.float64) + 0.01 * len(table) * np.eye(table.shape[1])
        smear = np.linalg.solve(square, (table.T @ plain.ravel()).astype(np.float64))
        kernel, level = smear[:-1].reshape(taps, taps).astype(np.float32), float(smear[-1])
        energy = float((kernel**2).sum()) + 1e-9
        back = np.ascontiguousarray(kernel[::-1, ::-1])
        turned = 0
        for start in range(9):
            drawn = cv2.filter2D(framed, -1, kernel, borderType=cv2.BORDER_CONSTANT)[side:-side, side:-side]
            left = cv2.filter2D(plain - drawn - level, -1, back, borderType=cv2.BORDER_CONSTANT)
            turn_costs = 4 * colour * left + 4 * energy
            better = np.zeros_like(free)
            better[start // 3 :: 3, start % 3 :: 3] = True
            better &= free & (turn_costs < 0)
            colour[better] *= -1
            turned += int(better.sum())
        if not turned:
            break
    return np.asarray(colour * np.maximum(turn_costs, 0) / (4 * energy), np.float32)


def _plain(grey: Image) -> Image:
    """Grey without the light's fall: mean 0 and spread 1 around every module."""
    level = cv2.blur(grey, (9, 9))
    spread = np.sqrt(np.maximum(cv2.blur((grey - level) ** 2, (9, 9)), 1.0))
    return np.asarray((grey - level) / spread, np.float32)


def _equalised(grey: Image, bits: NDArray[np.int8]) -> Image:
    """Blackness of each module with its neighbours' spill taken out: a 3 by 3 filter learnt on the modules in `bits`.

    Blur by defocus or by movement in any direction smears the fixed modules just as it smears the others.  bits: 1
    black, 0 white, -1 not known.
    """
    size = len(grey)
    plain = _plain(grey)
    framed = cv2.copyMakeBorder(plain, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    table = np.lib.stride_tricks.sliding_window_view(framed, (3, 3)).reshape(size, size, -1)
    table = np.concatenate([table, np.ones_like(plain)[..., None]], axis=-1)
    known = bits >= 0
    wanted = bits[known] * 2.0 - 1.0
    rows = table[known].astype(np.float64)
    balance = np.where(wanted > 0, 1 / max((wanted > 0).mean(), 0.1), 1 / max((wanted < 0).mean(), 0.1))
    square = rows.T @ (rows * balance[:, None]) + 0.02 * len(rows) * np.eye(rows.shape[1])
    filter_ = np.linalg.solve(square, rows.T @ (wanted * balance))
    return np.asarray(table @ filter_, np.float32)


def text_of(bits: NDArray[np.int8]) -> str | None:
    """What the modules say, or None where error correction does not confirm it."""
    drawn = np.pad(1 - bits.astype(np.uint8), 4, constant_values=1) * 255
    large = drawn.repeat(3, axis=0).repeat(3, axis=1)
    found = zxingcpp.read_barcodes(
        large,
        formats=zxingcpp.BarcodeFormat.QRCode,
        is_pure=True,
        try_rotate=False,
        try_downscale=False,
        try_invert=False,
    )
    for barcode in found:
        if barcode.valid and barcode.text:
            return str(barcode.text)
    return None


def opinions(flat: Flat) -> Iterator[Image]:
    """(size, size) darkness of each module with its certainty: above 0 black, the further from 0 the surer."""
    grey = modules(flat)
    around = np.ones((5, 5), np.uint8)
    contrast = cv2.blur(cv2.dilate(grey, around) - cv2.erode(grey, around), (3, 3))
    seen = np.clip(contrast / max(float(np.median(contrast)), 1.0), 0.05, 1)  # glare and dirt leave little contrast
    plain = np.asarray((1 - 2 * relative(grey)) * seen, np.float32)
    yield plain
    bits = _settled(_equalised(grey, flat.layout.bits) > 0, flat.layout)
    yield np.asarray(_explained(grey, bits, flat.layout) * seen, np.float32)


def read_triple(
    grey: NDArray[np.uint8], triple: Triple, camera: Camera, over: Callable[[], bool] = lambda: False
) -> tuple[str, Floats] | None:
    """Text and corners (4, 2) of the symbol that three finders mark, or None.  over: says when time is up."""
    flat = None
    for flat in rectify(grey, triple, camera):
        for bits in readings(flat):
            text = text_of(bits)
            if text is not None:
                return text, flat.corners()
        if over():
            return None
    if flat is not None:
        for darkness in opinions(flat):
            if over():
                return None
            for repaired in (corrected, own_label.whole):
                repairs = repaired(darkness)
                text = None if repairs is None else text_of(repairs)
                if text is not None:
                    return text, flat.corners()
    return None
