"""Where QR finder patterns are, by their 1:1:3:1:1 runs, and which three of them make one symbol.

This only proposes: a proposal becomes a reading when the symbol's error correction confirms it.  It never needs a
quiet zone or an unbroken ring, because along most lines through the centre the runs are there even where oil,
glare or a bent surface spoils the rest.  Proportions are those of ISO/IEC 18004, finder pattern.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Finder:
    """A finder pattern.  centre: pixels.  corners: (4, 2) of the black ring's outside, in order around it.

    module_px: mean module size.  score: share of the directions in which all three edges stand where they should.
    """

    centre: Floats
    corners: Floats
    module_px: float
    score: float


    def moved(self, left: float, top: float, scale: float | Floats) -> Finder:
        """The same finder in a crop that starts at (left, top) and was resized by `scale`, or by one in x and y."""
        start = np.array([left, top])
        size = float(np.sqrt(np.prod(scale))) if isinstance(scale, np.ndarray) else scale
        return Finder(
            (self.centre - start) * scale, (self.corners - start) * scale, self.module_px * size, self.score
        )


@dataclass(frozen=True, slots=True)
class Triple:
    """Three finders of one symbol: top left, top right, bottom left; corners of each start at its own top left.

    modules: estimated edge of the symbol, in modules.  misfit: how badly directions and lengths agree; 0 is perfect.
    guessed: which of the three was not seen but must be there, None where all were seen.
    """

    finders: tuple[Finder, Finder, Finder]
    modules: float
    misfit: float
    guessed: int | None = None

    @property
    def corners(self) -> Floats:
        """(12, 2): outer ring corners of the three finders, each tl tr br bl."""
        return np.concatenate([finder.corners for finder in self.finders])

    @property
    def narrowest_px(self) -> float:
        """Module size where and how it is smallest."""
        sides = self.corners.reshape(3, 4, 2) - np.roll(self.corners.reshape(3, 4, 2), 1, axis=1)
        return max(float(np.linalg.norm(sides, axis=2).min()) / 7, 0.5)

    def moved(self, left: float, top: float, scale: float | Floats) -> Triple:
        """The same three in a crop that starts at (left, top) and was resized by `scale`, or by one in x and y."""
        one, two, three = (finder.moved(left, top, scale) for finder in self.finders)
        return Triple((one, two, three), self.modules, self.misfit, self.guessed)

    @property
    def weights(self) -> Floats:
        """(12,): how much each corner counts; one that was only guessed hardly."""
        return np.repeat([0.03 if place == self.guessed else 1.0 for place in range(3)], 4)


class Level(Enum):
    """What a pixel must be darker than to count as black."""

    MIDDLE = "middle of the range around it"
    MEAN = "mean around it"


def find(
    grey: NDArray[np.uint8],
    window_px: int = 48,
    step: int = 2,
    done: Sequence[Floats] = (),
    levels: Sequence[Level] = tuple(Level),
    least: float | None = None,
) -> list[Finder]:
    """Finder patterns of `grey`, best first.

    window_px: neighbourhood that decides between black and white.  step: every how many rows are looked at.  done:
    outlines (n, 2) of symbols already read, in which nothing is looked for.  levels: ways to tell black from white,
    one after the other.  least: lowest score, None for the one that keeps chance finds out of whole pictures.
    """
    if min(grey.shape) < 16:
        return []
    seeds: list[Floats] = []
    lively = _lively(grey)
    for outline in done:
        cv2.fillConvexPoly(lively, outline.astype(np.int32), 0)
    for level in levels:
        binary = (_nearer_black if level is Level.MIDDLE else _under_mean)(grey, window_px) & lively
        across = _runs(binary, step)
        down = _runs(np.ascontiguousarray(binary.T), step)[:, [1, 0, 2]]
        if len(across) and len(down):
            seeds += _crossings(across, down, step)
    if not seeds:
        return []
    finders = _outlines(grey, _unlike(np.array(seeds)), LEAST_SCORE if least is None else least)
    return _distinct(sorted(finders, key=lambda finder: -finder.score))


def _lively(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """1 where black and white can be told apart, else 0: noise and turning marks make hundreds of chance runs."""
    height, width = grey.shape
    low, high = _extremes(cv2.blur(grey, (3, 3)), 8, 3)
    span = (high - low).astype(np.float32)
    noise = 2 * float(np.percentile(span, 20))
    differs = span > np.maximum(8, np.clip(noise, 0.22 * high, 0.4 * high))
    return np.asarray(
        cv2.resize(differs.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST), np.uint8
    )


def _under_mean(grey: NDArray[np.uint8], window_px: int) -> NDArray[np.uint8]:
    """1 where a pixel is darker than its neighbourhood's mean, else 0: keeps lines that blur has left pale."""
    method, kind = cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV
    return np.asarray(cv2.adaptiveThreshold(grey, 1, method, kind, window_px * 3 // 4 | 1, 3), np.uint8)


def _nearer_black(grey: NDArray[np.uint8], window_px: int) -> NDArray[np.uint8]:
    """1 where a pixel is nearer to the darkest than to the brightest of its neighbourhood, else 0.

    The middle of the range, unlike the mean, does not move with the share of black, so edges stay where they are.
    """
    block = max(window_px // 6, 2)
    height, width = grey.shape
    low, high = (edge.astype(np.float32) for edge in _extremes(grey, block, 5))
    middle = np.where(high - low < 6, 0, (low + high) / 2)
    middle = cv2.blur(middle, (3, 3))
    rows, columns = middle.shape
    level = cv2.resize(middle, (columns * block, rows * block), interpolation=cv2.INTER_LINEAR)
    return np.asarray(grey < level[:height, :width], np.uint8)


def _extremes(
    grey: NDArray[np.uint8], block: int, around: int
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Darkest and brightest of each block of pixels and of its neighbours, `around` by `around` blocks together."""
    own, near = np.ones((block, block), np.uint8), np.ones((around, around), np.uint8)
    middles = slice(block // 2, None, block)
    height, width = (-(-edge // block) * block for edge in grey.shape)
    whole = cv2.copyMakeBorder(
        grey, 0, height - grey.shape[0], 0, width - grey.shape[1], cv2.BORDER_REPLICATE
    )
    low = cv2.erode(np.ascontiguousarray(cv2.erode(whole, own)[middles, middles]), near)
    high = cv2.dilate(np.ascontiguousarray(cv2.dilate(whole, own)[middles, middles]), near)
    return np.asarray(low, np.uint8), np.asarray(high, np.uint8)


def _unlike(seeds: Floats) -> Floats:
    """Seeds without those that say the same as an earlier one."""
    keep = np.ones(len(seeds), bool)
    for place, seed in enumerate(seeds):
        if keep[place]:
            near = np.hypot(seeds[:, 0] - seed[0], seeds[:, 1] - seed[1]) < 0.7 * min(seed[2], seed[3])
            keep[place + 1 :] &= ~near[place + 1 :]
    return seeds[keep]


def _runs(binary: NDArray[np.uint8], step: int) -> Floats:
    """(n, 3): x, y and module size wherever a row of `binary` (1 is black) shows 1:1:3:1:1."""
    rows = binary[::step]
    padded = np.zeros((rows.shape[0], rows.shape[1] + 2), np.uint8)
    padded[:, 1:-1] = rows
    flat = padded.ravel()
    edges = np.flatnonzero(flat[1:] != flat[:-1])  # a row starts and ends white, so even entries begin black runs
    if len(edges) < 6:
        return np.empty((0, 3))
    width = padded.shape[1]
    starts = np.arange(0, len(edges) - 5, 2)
    first, last = edges[starts], edges[starts + 5]
    lengths = np.stack([edges[starts + k + 1] - edges[starts + k] for k in range(5)]).astype(np.float64)
    module = (last - first) / 7.0
    ring = lengths[[0, 1, 3, 4]]
    fits = (
        (first // width == last // width)
        & (module >= 1.0)
        & (ring > 0.3 * module).all(0)
        & (ring < 2.0 * module).all(0)
        & (lengths[2] > 1.8 * module)
        & (lengths[2] < 4.3 * module)
    )
    first, lengths, module = first[fits], lengths[:, fits], module[fits]
    x = first % width + lengths[0] + lengths[1] + lengths[2] / 2
    return np.stack([x, (first // width) * float(step), module], axis=1)


def _repeated(hits: Floats, step: int) -> Floats:
    """Hits that the next row shows too; patterns so small that only one row may cross them are let through."""
    from scipy.spatial import cKDTree

    if len(hits) < 2:
        return hits
    near, which = cKDTree(hits[:, :2]).query(hits[:, :2], k=2)
    alike = np.abs(np.log(hits[which[:, 1], 2] / hits[:, 2])) < 0.4
    kept: Floats = hits[((near[:, 1] < 2.3 * step) & alike) | (hits[:, 2] < 0.8 * step)]
    return kept


def _crossings(across: Floats, down: Floats, step: int) -> list[Floats]:
    """Places where runs across and runs down cross in the same centre: x, y, module across, module down."""
    from scipy.spatial import cKDTree


    across, down = _repeated(across, step), _repeated(down, step)
    if not len(across) or not len(down):
        return []
    near, which = cKDTree(down[:, :2]).query(across[:, :2])
    meets = near < 1.2 * np.minimum(across[:, 2], down[which, 2]) + step
    meets &= np.maximum(across[:, 2], down[which, 2]) < 4.5 * np.minimum(across[:, 2], down[which, 2])
    if not meets.any():
        return []
    seeds = np.stack([across[meets, 0], down[which[meets], 1], across[meets, 2], down[which[meets], 2]], axis=1)
    # a lone crossing is noise, unless the pattern is so small that few rows cross it
    nearest = cKDTree(seeds[:, :2]).query(seeds[:, :2], k=2)[0][:, 1]
    size = seeds[:, 2:].max(1)
    seeds = seeds[(nearest < 1.5 * size) | (size < 1.5 * step)][:4000]
    places: list[tuple[int, Floats]] = []
    while len(seeds):
        gap = np.hypot(seeds[:, 0] - seeds[0, 0], seeds[:, 1] - seeds[0, 1])
        same = gap < 1.5 * max(seeds[0, 2], seeds[0, 3])
        places.append((int(same.sum()), seeds[same].mean(0)))
        seeds = seeds[~same]
    places.sort(key=lambda place: -place[0])
    return [place for _, place in places[:100]]


MANY = 5  # symbols wanted of one picture from which on it is one full of labels
_MOST_SHARED = 3  # symbols that one finder may be tried in
WORST_MISFIT = 1.3  # symbols that could be read had up to 0.99
LEAST_SCORE = 0.66  # the worst finders of symbols that could be read had 0.71, chance finds rarely 0.69
RAYS = 48
_ANGLES = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
_DIRECTIONS = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)], axis=1)
_PITCH = 0.05  # step along a ray, as a difference of logarithms: a change of scale is then a shift
_RADII = np.exp(np.arange(np.log(0.5), np.log(4.4), _PITCH))  # modules from the centre
_SHIFTS = 36
_NEAREST = -18
_PROFILE = np.where((_RADII < 1.5) | ((_RADII > 2.5) & (_RADII < 3.5)), -1.0, 1.0)
_WEIGHT = _RADII * np.where(_RADII > 3.5, 0.6, 1.0)  # what lies beyond the ring may be a missing quiet zone
_WEIGHT /= _WEIGHT.sum()
_CENTRED = _PROFILE - (_WEIGHT * _PROFILE).sum()
_CENTRED /= np.sqrt((_WEIGHT * _CENTRED**2).sum())
_RINGS = len(_RADII) + _SHIFTS


def _sliding(kernel: Floats) -> NDArray[np.float32]:
    """(rings, shifts): the matrix that correlates a ray with `kernel` at every shift."""
    return np.stack([np.pad(kernel, (k, _SHIFTS - k)) for k in range(_SHIFTS + 1)], axis=1).astype(np.float32)


_MEAN, _MATCH = _sliding(_WEIGHT), _sliding(_WEIGHT * _CENTRED)


def _outlines(grey: NDArray[np.uint8], table: Floats, least: float = LEAST_SCORE) -> list[Finder]:
    """The finders around seeds, from how well each ray out of a centre agrees with black, white, black, white.

    Agreement is a correlation, so neither blur nor uneven light has to be known.
    """
    if not len(table):
        return []
    hopeful = _agreement(grey, table, 4).max(2).clip(0, 1).mean(1) > least - 0.08
    table = table[hopeful]
    if not len(table):
        return []
    agreement = _agreement(grey, table, 1).astype(np.float64)
    scores = agreement.max(2).clip(0, 1).mean(1)
    finders = []
    for seed, match, score in zip(table, agreement, scores, strict=True):
        if score > least and (finder := _outline(seed, match, float(score))) is not None:
            finders.append(finder)
    return finders


def _spokes(table: Floats) -> tuple[Floats, Floats]:
    """Directions (seeds, rays, 2), longer where modules are, and the module size they are relative to (seeds,)."""
    reach = np.sqrt(table[:, 2] * table[:, 3])
    return _DIRECTIONS[None] * (table[:, 2:] / reach[:, None])[:, None], reach


def _agreement(grey: NDArray[np.uint8], table: Floats, every: int) -> NDArray[np.float32]:
    """(seeds, rays, shifts) correlation, -1 to 1, of every so many rays with the profile of a finder."""
    spokes, reach = _spokes(table)
    spokes = spokes[:, ::every]
    radii = 0.5 * np.exp(_PITCH * (np.arange(_RINGS) + _NEAREST)) * reach[:, None]
    at = (table[:, None, None, :2] + spokes[:, :, None] * radii[:, None, :, None]).astype(np.float32)
    count, rays = at.shape[:2]
    at = at.reshape(count * rays, _RINGS, 2)
    values = np.concatenate(
        [
            cv2.remap(grey, part, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            for part in np.array_split(at, len(at) // 30000 + 1)  # remap takes no more than 32767 rows
        ]
    ).astype(np.float32)
    mean = values @ _MEAN
    spread = np.sqrt(np.maximum((values * values) @ _MEAN - mean * mean, 1.0))
    return np.asarray((values @ _MATCH / spread).reshape(count, rays, -1), np.float32)


def _outline(seed: Floats, agreement: Floats, score: float) -> Finder | None:
    """The finder at a seed that its rays agree on, (rays, shifts) from -1 to 1; None where no outline fits."""
    best = agreement.argmax(1)
    rays = np.arange(RAYS)
    quality = agreement[rays, best]
    good = (quality > 0.6) & (best > 0) & (best < agreement.shape[1] - 1)
    if good.mean() < 0.5:
        return None
    spokes, reach = _spokes(seed[None])
    middle = np.clip(best, 1, agreement.shape[1] - 2)
    before, at_best, after = (agreement[rays, middle + k] for k in (-1, 0, 1))
    bend = before - 2 * at_best + after
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(bend < 0, 0.5 * (before - after) / bend, 0.0)
    ring_px = 3.5 * reach[0] * np.exp(_PITCH * (middle + np.clip(part, -0.5, 0.5) + _NEAREST))
    good &= _smooth(np.log(ring_px), good)
    if good.sum() < 12:
        return None
    quad = _quad(seed[:2] + spokes[0][good] * ring_px[good][:, None])
    if quad is None:
        return None
    area = float(cv2.contourArea(quad.astype(np.float32)))
    sides = np.linalg.norm(quad - np.roll(quad, -1, axis=0), axis=1)
    if area < 40 or sides.min() < 0.16 * sides.max():
        return None
    return Finder(_diagonals(quad), quad, float(np.sqrt(area)) / 7, score)


def _smooth(values: Floats, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which rays reach about as far as their neighbours; a scratch makes one of them stand out."""
    rays = np.arange(RAYS)
    filled = np.interp(rays, rays[good], values[good], period=RAYS)
    around = np.sort(filled[(rays[:, None] + np.arange(-3, 4)) % RAYS], axis=1)
    close: NDArray[np.bool_] = np.abs(values - around[:, 3]) < 0.14
    return close


def _quad(ring: Floats) -> Floats | None:
    """Four corners around points of the outer edge: smallest quadrilateral, then a straight line on each side."""
    hull = cv2.convexHull(ring.astype(np.float32))
    if len(hull) < 4:
        return None
    try:
        rough: Floats = cv2.approxPolyN(hull, 4, ensure_convex=True).reshape(-1, 2).astype(np.float64)
    except cv2.error:
        return None
    if len(rough) != 4:
        return None
    following = np.roll(rough, -1, axis=0)
    normals = (following - rough)[:, ::-1] * (1, -1)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-9
    away = np.abs(((ring[:, None, :] - rough[None]) * normals[None]).sum(2))
    nearest = away.argmin(1)
    lines = []
    for side in range(4):
        own = ring[nearest == side]
        if len(own) < 3:
            own = np.stack([rough[side], following[side]])
        lines.append(_line(own))
    corners: Floats = np.array([_cross(lines[side - 1], lines[side]) for side in range(4)])
    if not np.isfinite(corners).all():
        return rough
    span = np.linalg.norm(rough - rough.mean(0), axis=1).max()
    if np.linalg.norm(corners - rough, axis=1).max() > 0.5 * span:
        return rough
    return corners


def _line(points: Floats) -> Floats:
    """Line a x + b y + c = 0 through points, outliers dropped once."""
    for _ in range(2):
        middle = points.mean(0)
        shifted = points - middle
        (xx, xy), (_, yy) = shifted.T @ shifted
        angle = 0.5 * np.arctan2(2 * xy, xx - yy) + np.pi / 2
        normal = np.array([np.cos(angle), np.sin(angle)])
        off = np.abs(shifted @ normal)
        keep = off <= 2.5 * np.sort(off)[len(off) // 2] + 1e-6
        if keep.all() or keep.sum() < 3:
            break
        points = points[keep]
    return np.array([normal[0], normal[1], -normal @ middle])


def _cross(one: Floats, other: Floats) -> Floats:
    """Where two lines meet; not a number where they are parallel."""
    (a, b, c), (d, e, f) = one.tolist(), other.tolist()
    w = a * e - b * d
    if abs(w) < 1e-9:
        return np.array([np.nan, np.nan])
    return np.array([(b * f - c * e) / w, (c * d - a * f) / w])


def _through(one: Floats, other: Floats) -> Floats:
    """The line through two points."""
    (x, y), (u, v) = one.tolist(), other.tolist()
    return np.array([y - v, u - x, x * v - y * u])


def _diagonals(quad: Floats) -> Floats:
    """Crossing of the diagonals: the projected centre."""
    centre = _cross(_through(quad[0], quad[2]), _through(quad[1], quad[3]))
    return centre if np.isfinite(centre).all() else quad.mean(0)


def _distinct(finders: Sequence[Finder]) -> list[Finder]:
    kept: list[Finder] = []
    for finder in finders:
        if all(np.hypot(*(finder.centre - other.centre)) > 3 * other.module_px for other in kept):
            kept.append(finder)
    return kept


def triples(finders: Sequence[Finder], limit: int = 4) -> list[Triple]:
    """Every plausible symbol from three of the finders, most plausible first."""
    usable = sorted(finders, key=lambda finder: -finder.score)[: max(24, 4 * limit)]
    if len(usable) < 3:
        return []
    orders = _orders(usable)
    found = [
        (made.misfit, order, made)
        for order in orders[: 3 * limit if limit < MANY else 8 * limit]
        if (made := _triple(*(usable[place] for place in order))) is not None
    ]
    found.sort(key=lambda each: each[:2])
    kept: list[Triple] = []
    used = [0] * len(usable)
    for _, order, made in found:
        # among many labels the finders of neighbours make symbols too, and crowd out the true ones
        if max(used[place] for place in order) < _MOST_SHARED and len(kept) < limit:
            kept.append(made)
            for place in order:
                used[place] += 1
    return kept


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a symbol must be of which only some finders were seen.

    middle: pixels.  reach_px: half the edge of a square that holds it wherever its other finders are.
    """

    middle: Floats
    reach_px: float
    module_px: float

    def moved(self, left: float, top: float, scale: float) -> Spot:
        """The same spot in a crop that starts at (left, top) and was resized by `scale`."""
        return Spot((self.middle - (left, top)) * scale, self.reach_px * scale, self.module_px * scale)

    def same(self, other: Spot) -> bool:
        """Whether a look around one is a look around the other."""
        alike = 0.7 < self.reach_px / other.reach_px < 1.4
        return alike and float(np.abs(self.middle - other.middle).max()) < 0.5 * other.reach_px

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """The square around it, clockwise from the top left."""
        return self._square(self.reach_px)

    @property
    def symbol(self) -> tuple[tuple[float, float], ...]:
        """A square as large as the smallest symbol."""
        return self._square(10.5 * self.module_px)

    def _square(self, half: float) -> tuple[tuple[float, float], ...]:
        x, y = (float(value) for value in self.middle)
        return ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))


def spots(finders: Sequence[Finder], limit: int = 3) -> list[Spot]:
    """Finders that may belong together, two or more first."""
    left = sorted(finders, key=lambda finder: -finder.score)
    found: list[tuple[int, Spot]] = []
    while left:
        first = left[0]
        near = [
            other
            for other in left
            if np.hypot(*(other.centre - first.centre)) < 24 * first.module_px
            and max(other.module_px, first.module_px) < 1.8 * min(other.module_px, first.module_px)
        ]
        left = [other for other in left if all(other is not each for each in near)]
        centres = np.array([finder.centre for finder in near])
        module = max(finder.module_px for finder in near)
        middle = (centres.min(0) + centres.max(0)) / 2
        apart = float(np.hypot(*(centres.max(0) - centres.min(0))))
        # alone it may be any corner; two may be an edge, with the rest on either side of it
        reach = (19 if len(near) == 1 else 21 if apart < 16 * module else 16) * module
        found.append((len(near), Spot(middle, reach, module)))
    found.sort(key=lambda each: -each[0])
    return [spot for _, spot in found[:limit]]


def refined(grey: NDArray[np.uint8], triple: Triple) -> Triple:
    """The same three finders measured again in `grey`, in which they stand larger than where they were found."""
    seeds = np.array([[*finder.centre, finder.module_px, finder.module_px] for finder in triple.finders])
    measured = _outlines(grey, seeds)
    again = []
    for finder in triple.finders:
        near = [other for other in measured if np.hypot(*(other.centre - finder.centre)) < 2 * finder.module_px]
        again.append(min(near, key=lambda other: float(np.hypot(*(other.centre - finder.centre))), default=finder))
    return _triple(again[0], again[1], again[2]) or triple


def _orders(finders: Sequence[Finder]) -> list[tuple[int, int, int]]:
    """Indices (corner, right, below) worth a closer look: sides of all three run along the legs; best first."""
    centres = np.array([finder.centre for finder in finders])
    sizes = np.array([finder.module_px for finder in finders])
    quads = np.array([finder.corners for finder in finders])
    sides = np.stack([quads[:, 1] + quads[:, 2], quads[:, 2] + quads[:, 3]], axis=1)
    sides -= np.stack([quads[:, 0] + quads[:, 3], quads[:, 0] + quads[:, 1]], axis=1)
    bearing = np.arctan2(sides[:, :, 1], sides[:, :, 0])  # of each finder's two directions, good up to half a turn
    leg = centres[None, :] - centres[:, None]
    length = np.hypot(leg[..., 0], leg[..., 1])
    course = np.arctan2(leg[..., 1], leg[..., 0])
    # how far finder f's side s turns away from leg i -> j: [f, s, i, j] would be big, so only its own two ends
    here = _turn(bearing[:, None, :], course[:, :, None])  # finder i against leg i -> j: [i, j, side]
    there = _turn(bearing[None, :, :], course[:, :, None])  # finder j against leg i -> j
    alike = np.maximum(sizes[:, None], sizes[None]) < 2.6 * np.minimum(sizes[:, None], sizes[None])
    apart = length > 7 * np.minimum(sizes[:, None], sizes[None])
    leg_fits = alike & apart & (here.min(2) < 0.6) & (there.min(2) < 0.6)
    np.fill_diagonal(leg_fits, False)
    found: list[tuple[float, tuple[int, int, int]]] = []
    for corner in range(len(finders)):
        others = np.flatnonzero(leg_fits[corner])
        if len(others) < 2:
            continue
        right, below = (grid.ravel() for grid in np.meshgrid(others, others))
        a, b = leg[corner, right], leg[corner, below]
        turn = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / (length[corner, right] * length[corner, below] + 1e-9)
        side_a, side_b = here[corner, right].argmin(1), here[corner, below].argmin(1)
        ratio = np.abs(np.log(length[corner, right] / (length[corner, below] + 1e-9) + 1e-9))
        fits = (turn > 0.2) & (side_a != side_b) & (ratio < 1.3)
        off = here[corner, right].min(1) + here[corner, below].min(1)
        off += there[corner, right].min(1) + there[corner, below].min(1) + 0.5 * ratio
        off += np.abs(np.log(sizes[right] / sizes[below]))
        found += [
            (float(off[k]), (corner, int(right[k]), int(below[k])))
            for k in np.flatnonzero(fits & (off < 2 * WORST_MISFIT))
        ]
    found.sort()
    return [order for _, order in found]


def _turn(one: Floats, other: Floats) -> Floats:
    """Angle between two undirected lines, radians."""
    return np.abs((one - other + np.pi / 2) % np.pi - np.pi / 2)


def _triple(corner: Finder, right: Finder, below: Finder) -> Triple | None:
    """The symbol whose top left finder is `corner`, or None where the three do not fit or run anticlockwise."""
    a, b = right.centre - corner.centre, below.centre - corner.centre
    turn = a[0] * b[1] - a[1] * b[0]
    if turn <= 0:
        return None
    turned = []
    misfit = 0.0
    counts = []
    for finder in (corner, right, below):
        quad = facing(finder.corners, a, b)
        along = (quad[1] + quad[2] - quad[0] - quad[3]) / 2
        down = (quad[3] + quad[2] - quad[0] - quad[1]) / 2
        off_a, off_b = _angle(along, a), _angle(down, b)
        # a finder on the far side of a bend or in perspective is turned against the leg, but never by much
        if max(off_a, off_b) > 0.6:
            return None
        misfit += off_a + off_b
        counts.append((np.linalg.norm(along) / 7, np.linalg.norm(down) / 7))
        turned.append(Finder(finder.centre, quad, finder.module_px, finder.score))
    across = float(np.linalg.norm(a)) * (1 / counts[0][0] + 1 / counts[1][0]) / 2
    down_count = float(np.linalg.norm(b)) * (1 / counts[0][1] + 1 / counts[2][1]) / 2
    low, high = sorted((across, down_count))
    if low < 8.5 or high > 210 or high > 1.75 * low:
        return None
    misfit += 2 * abs(float(np.log(across / down_count)))
    sizes = np.log([finder.module_px for finder in (corner, right, below)])
    misfit += float(sizes.max() - sizes.min())
    if misfit > WORST_MISFIT:
        return None
    return Triple((turned[0], turned[1], turned[2]), float(across + down_count) / 2 + 7, misfit)


def facing(quad: Floats, a: Floats, b: Floats) -> Floats:
    """The quad's corners renumbered so that the first lies towards neither neighbour: tl tr br bl of the symbol."""
    middle = quad.mean(0)
    frame = np.linalg.inv(np.stack([a / np.linalg.norm(a), b / np.linalg.norm(b)], axis=1))
    local = (quad - middle) @ frame.T
    order = np.argsort(np.arctan2(local[:, 1], local[:, 0]))
    ring = quad[order]
    local = local[order]
    start = int(np.argmin(local.sum(1)))
    return np.roll(ring, -start, axis=0)


def _angle(one: Floats, other: Floats) -> float:
    cosine = float(one @ other) / float(np.linalg.norm(one) * np.linalg.norm(other) + 1e-9)
    return float(np.arccos(np.clip(cosine, -1, 1)))
