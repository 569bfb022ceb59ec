"""Which finder patterns belong to one symbol, and where a symbol must be of which only some were seen.

Proposals in order of plausibility and nothing more: what a symbol says is confirmed by its error correction
alone.  Angles and lengths may differ as far as a bend or a steep view turns them, never further.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiosk.reader.finders import Finder, outlines

Floats = NDArray[np.float64]

MANY = 5  # symbols wanted of one picture from which on it is one full of labels
_MOST_SHARED = 3  # symbols that one finder may be tried in
WORST_MISFIT = 1.3  # symbols that could be read had up to 0.99


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

    def same(self, other: Triple) -> bool:
        """Whether both are of the same finders, within a quarter of a module; two where one was guessed."""
        if self.guessed != other.guessed:
            return False
        module_px = min(self.narrowest_px, other.narrowest_px)
        apart = np.abs(self.corners - other.corners).reshape(3, 8).max(axis=1)
        most = np.array([2.0 if place == self.guessed else 0.25 for place in range(3)])
        return bool((apart < most * module_px).all())

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

    middle: pixels.  reach_px: half the edge of a square that holds it wherever its other finders are.  module: (2, 2),
    pixels, the two edges of a module as the best of its finders lies.
    """

    middle: Floats
    reach_px: float
    module_px: float
    module: Floats

    def moved(self, left: float, top: float, scale: float) -> Spot:
        """The same spot in a crop that starts at (left, top) and was resized by `scale`."""
        middle = (self.middle - (left, top)) * scale
        return Spot(middle, self.reach_px * scale, self.module_px * scale, self.module * scale)

    def same(self, other: Spot) -> bool:
        """Whether a look around one is a look around the other."""
        alike = 0.7 < self.reach_px / other.reach_px < 1.4
        return alike and float(np.abs(self.middle - other.middle).max()) < 0.5 * other.reach_px

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """The square around it, clockwise from the top left."""
        return self._around(self.reach_px * np.eye(2))

    @property
    def symbol(self) -> tuple[tuple[float, float], ...]:
        """A place as large as the smallest symbol, seen as much from aside as its finder."""
        return self._around(10.5 * self.module)

    def _around(self, half: Floats) -> tuple[tuple[float, float], ...]:
        right, down = half
        corners = (-right - down, right - down, right + down, down - right)
        return tuple((float(x), float(y)) for x, y in (self.middle + corner for corner in corners))


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
        a, b, c, d = first.corners
        edges = np.array([b + c - a - d, c + d - a - b]) / 14
        found.append((len(near), Spot(middle, reach, module, edges)))
    found.sort(key=lambda each: -each[0])
    return [spot for _, spot in found[:limit]]


def refined(grey: NDArray[np.uint8], triple: Triple) -> Triple:
    """The same three finders measured again in `grey`, in which they stand larger than where they were found."""
    seeds = np.array([[*finder.centre, finder.module_px, finder.module_px] for finder in triple.finders])
    measured = outlines(grey, seeds)
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
