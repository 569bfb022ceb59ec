"""Whether a frame in which nothing was read shows a label all the same, and where.

Dark print shut in by bright paper is looked for at several sizes and compared with what every QR symbol has: three
finder patterns and a quiet margin; what a border or a lamp has eaten is known by a single finder pattern.  It must
never say what a label says, nor serve anything but aim and hints.  The limits were found on drawn scenes
(`kiosk.bench.hint_scenes`), the patterns are those of ISO/IEC 18004.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.symbols import Corners, centre, inside

Grey = NDArray[np.uint8]
Levels = tuple[Grey, ...]
"""A picture, half of it, a quarter of it and so on."""
Pose = NDArray[np.float64]
"""A symbol's place in the picture, pixels: rows are its centre, half its width, half its height, and, where it
lies on steel seen from aside, how far its middle bows out downwards and sidewards."""

SIDE, QUIET = 21, 4  # modules across a version 1 symbol and its margin
_PER = 2  # samples a module
_ACROSS = (SIDE + 2 * QUIET) * _PER
_REACH_PX = 25  # dark areas up to this wide are filled when the paper under print is guessed
_LEAST_PX, _MOST_PX = 7, 45  # longer side of a symbol at the level where it is looked for
_MOST_OBLONG = 4.5
_SHARES = (0.16, 0.3)  # how much darker than its paper print is, in two attempts
_OVER_NOISE = 2.0
_LEAST_GAP, _MOST_GAP = 0.235, 0.6  # how much darker than its paper print is as a whole: half of it is light
_PATCHY = (0.12, 0.65)  # spread of the print's brightness, in parts of that
_LEAST_MARGIN = 0.6  # share of the margin that must be brighter than the print
_PROMISING, _BETTER = 0.85, 1.05  # likeness at first sight and after one round of fitting that is worth going on
_ALIKE = 1.3  # likeness of finders and of finders with margin, together, fitted; bare steel stays under 1.2
_ONE_FINDER, _BURNT_FINDER = 0.64, 0.56
_FINE_PRINT = 0.08  # print is that much darker or lighter than around it, in parts of the paper's brightness
_INK_BESIDE_BURNT = 205
_BESIDE_BURNT = 200  # a finder beside a burnt spot stands on paper nearly as bright
_ALIKE_ASIDE = 1.15  # the same for labels seen from far aside, which must be the more patchy
_FLATTEST = 0.65  # more oblong than this a label is seen from so far aside that it also bows
_LEAST_GAP_LEVELS = 2.0
_BURNT = 236
_LEAST_MODULE_PX = 1.5  # a single finder smaller than that is noise
_LARGEST_SPOT_PX = 420
_LEAST_STEP = 35  # levels between the ink and the paper of a single finder


class Glimpse(NamedTuple):
    """Something like a label: outline in pixels, edge of a module in pixels; `whole`: all of it was seen."""

    corners: Corners
    module_px: float
    whole: bool


class _Likeness:
    """Correlation of samples with the modules every symbol has, in each of four turns."""

    def __init__(self, blur: float, drawn: NDArray[np.float32], where: NDArray[np.float32]) -> None:
        soft = _turns(cv2.GaussianBlur(drawn, (0, 0), blur))
        weight = _turns(where)
        weight /= weight.sum(axis=1, keepdims=True)
        soft -= (weight * soft).sum(axis=1, keepdims=True)
        soft /= np.sqrt((weight * soft * soft).sum(axis=1, keepdims=True))
        self.weight = weight
        self.pattern = weight * soft


def _turns(square: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.stack([np.rot90(square, turn).ravel() for turn in range(4)]).astype(np.float32)


def _fixed() -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """A label of which only finders and margin are known; where the finders are; where they and margin are."""
    edge = SIDE + 2 * QUIET
    drawn = np.ones((edge, edge), np.float32)
    drawn[QUIET:-QUIET, QUIET:-QUIET] = 0.5
    finders, beside = np.zeros_like(drawn), np.zeros_like(drawn)
    near, far = slice(QUIET, QUIET + 8), slice(edge - QUIET - 8, edge - QUIET)
    near_out, far_out = slice(QUIET - 1, QUIET + 8), slice(edge - QUIET - 8, edge - QUIET + 1)
    for rows, columns, rows_out, columns_out in (
        (near, near, near_out, near_out),
        (near, far, near_out, far_out),
        (far, near, far_out, near_out),
    ):
        drawn[rows, columns] = 1
        top = rows.start + (rows is far)
        left = columns.start + (columns is far)
        for inset, tone in ((0, 0.0), (1, 1.0), (2, 0.0)):
            drawn[top + inset : top + 7 - inset, left + inset : left + 7 - inset] = tone
        finders[rows, columns] = 1
        beside[rows_out, columns_out] = 1
    cell = np.ones((_PER, _PER), np.float32)
    return np.kron(drawn, cell), np.kron(finders, cell), np.kron(beside, cell)


_DRAWN, _FINDERS, _BESIDE = _fixed()
_LIKE = (_Likeness(2.4, _DRAWN, _FINDERS), _Likeness(1.6, _DRAWN, _BESIDE))
_MASKS = np.concatenate([one.weight for one in _LIKE] + [one.pattern for one in _LIKE])


def _rim(edge: int, per: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Samples in the label's margin, one module off its ends, and samples in its print."""
    at = np.arange(edge)
    inset = np.minimum(np.minimum.outer(at, at), np.minimum.outer(edge - 1 - at, edge - 1 - at))
    return np.flatnonzero((inset >= per) & (inset < 3 * per)), np.flatnonzero(inset >= (QUIET + 1) * per)


_MARGIN, _PRINT = _rim(_ACROSS, _PER)
_FEW_MARGIN, _FEW_PRINT = _rim(SIDE + 2 * QUIET, 1)
_FEW = np.zeros((2, (SIDE + 2 * QUIET) ** 2), np.float32)
_FEW[0, _FEW_MARGIN], _FEW[1, _FEW_PRINT] = 1 / len(_FEW_MARGIN), 1 / len(_FEW_PRINT)


def _finder() -> Grey:
    """One finder pattern with its light frame, 9 modules across, as the mean of all the ways it may be turned."""
    fine = 8
    drawn = np.ones((9, 9), np.float32)
    for inset, tone in ((1, 0.0), (2, 1.0), (3, 0.0)):
        drawn[inset:-inset, inset:-inset] = tone
    drawn = np.kron(drawn, np.ones((fine, fine), np.float32))
    middle = ((len(drawn) - 1) / 2,) * 2
    turned = [
        cv2.warpAffine(drawn, cv2.getRotationMatrix2D(middle, angle, 1), drawn.shape, borderValue=1)
        for angle in range(0, 90, 15)
    ]
    mean = cv2.GaussianBlur(np.mean(turned, axis=0), (0, 0), fine / 2)
    small = cv2.resize(mean, (9 * _PER, 9 * _PER), interpolation=cv2.INTER_AREA)
    return np.asarray(200 * small, np.uint8)


_FINDER = _finder()


def glimpse(grey: Grey) -> Glimpse | None:
    """The likeliest label in a grey picture (H, W), or None."""
    top = float(grey[::3, ::3].max(initial=0))
    gain = 240 / max(top, 12.0) if top < 120 else 1.0
    levels = _levels(grey if gain == 1.0 else np.asarray(cv2.convertScaleAbs(grey, alpha=gain), np.uint8))
    bordering = []
    promising = []
    for pose, border in _shut_in(levels, gain > 1.0):
        if not _papery(levels, pose):
            continue
        if border:
            bordering.append(pose)
        alike, _ = _compare(levels, pose)
        if alike > _PROMISING:
            promising.append((alike, pose, border))
    promising.sort(key=lambda one: -one[0])
    labels = [
        fitted for _, pose, border in promising[:3] if _label(levels, fitted := _fitted(levels, pose), border, gain)
    ]
    # In the dark, noise makes single finders everywhere.
    cut = _cut_off(levels, bordering) if gain == 1.0 else None
    if labels:
        # Parts of a label may look like one; the whole is larger.
        label = _whole(max(labels, key=_area))
        return cut if cut is not None and inside(centre(label.corners), cut.corners) else label
    return cut or (_burnt(levels) if gain == 1.0 else None)


def _levels(grey: Grey) -> Levels:
    levels = [grey]
    while min(levels[-1].shape) > 90:
        levels.append(np.asarray(cv2.resize(levels[-1], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)))
    return tuple(levels)


def _shut_in(levels: Levels, lifted: bool) -> Iterator[tuple[Pose, bool]]:
    """Dark areas shut in by bright ones, as wide as a symbol may be, and whether the picture's border cuts them."""
    seen = set()
    fill = np.ones((_REACH_PX, _REACH_PX), np.uint8)
    for number, level in enumerate(levels[1:], start=1):
        scale = 2.0**number
        height, width = level.shape
        soft = cv2.blur(level, (3, 3))
        paper = cv2.morphologyEx(soft, cv2.MORPH_CLOSE, fill)
        dark = cv2.subtract(paper, soft)
        noise = cv2.norm(level, soft, cv2.NORM_L1) / level.size
        for share in _SHARES:
            limit = cv2.convertScaleAbs(paper, alpha=share, beta=1 + _OVER_NOISE * noise)
            areas, kin = cv2.findContours(cv2.compare(dark, limit, cv2.CMP_GT), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
            for area, (_, _, _, parent) in zip(areas, kin[0] if kin is not None else (), strict=False):
                if parent >= 0 or len(area) < 4:
                    continue
                x, y, wide, high = cv2.boundingRect(area)
                if not _LEAST_PX <= max(wide, high) <= _MOST_PX or min(wide, high) < 4:
                    continue
                (cx, cy), (across, down), turn = cv2.minAreaRect(area)
                filled = cv2.contourArea(area) + len(area) / 2
                if filled < 0.5 * across * down or max(across, down) + 1 > _MOST_OBLONG * (min(across, down) + 1):
                    continue
                sizes = round(4 * math.log2(across + 1)), round(4 * math.log2(down + 1))
                key = (number, round(cx / 2), round(cy / 2), *sizes)
                if key in seen:
                    continue
                seen.add(key)
                c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
                right, low = (across + 1) / 2, (down + 1) / 2
                pose = np.array([[cx + 0.5, cy + 0.5], [c * right, s * right], [-s * low, c * low]])
                cut = x <= 1 or y <= 1 or x + wide >= width - 1 or y + high >= height - 1
                yield pose * scale, cut


def _sampled(levels: Levels, pose: Pose, per: int) -> NDArray[np.float32]:
    """The label at a pose, flat, `per` samples a module, row by row."""
    edge = (SIDE + 2 * QUIET) * per
    step = 2 / (SIDE * per)
    (cx, cy), (ux, uy), (vx, vy) = pose[:3].tolist()
    longest = 2 * max(math.hypot(ux, uy), math.hypot(vx, vy), 1.0)
    number = min(max(math.ceil(math.log2(longest / SIDE / 1.6)), 0), len(levels) - 1)
    if len(pose) == 3:
        small, middle = 0.5**number, (edge - 1) / 2
        ux, uy, vx, vy = (small * step * part for part in (ux, uy, vx, vy))
        left, top = small * cx - 0.5 - (ux + vx) * middle, small * cy - 0.5 - (uy + vy) * middle
        warp = np.array([[ux, vx, left], [uy, vy, top]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        flat = cv2.warpAffine(levels[number], warp, (edge, edge), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    else:
        at = (np.arange(edge) - (edge - 1) / 2) * step
        x, y = at[None, :, None], at[:, None, None]
        here = pose * 0.5**number
        spot = here[0] - 0.5 + x * here[1] + y * here[2] + x * x * here[3] + y * y * here[4]
        flat = cv2.remap(
            levels[number], spot.astype(np.float32), None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    if per > 1:
        flat = cv2.GaussianBlur(flat, (5, 5), 1.3)
    return np.asarray(flat.ravel(), np.float32)


def _papery(levels: Levels, pose: Pose) -> bool:
    """Whether a margin stands out bright all around something patchy."""
    samples = _sampled(levels, pose, 1)
    paper, mean = (_FEW @ samples).tolist()
    gap = paper - mean
    if gap < max(1.0, 0.45 * _LEAST_GAP * (paper + 2)) or samples[_FEW_PRINT].std() < _PATCHY[0] * gap:
        return False
    bright = np.count_nonzero(samples[_FEW_MARGIN] > mean + 0.3 * gap)
    return bool(bright > 0.85 * _LEAST_MARGIN * len(_FEW_MARGIN))


def _compare(levels: Levels, pose: Pose) -> tuple[float, NDArray[np.float32]]:
    """Likeness to a label's fixed modules, 2 at most, and the samples."""
    samples = _sampled(levels, pose, _PER)
    sums = _MASKS @ samples
    spread = _MASKS[:8] @ (samples * samples) - sums[:8] ** 2
    alike = sums[8:] / np.sqrt(np.maximum(spread, 0.25))
    return float((alike[:4] + alike[4:]).max()), samples


def _fitted(levels: Levels, pose: Pose) -> Pose:
    """The pose nearby at which the likeness is greatest."""
    pose, alike = _climbed(levels, pose, _WAYS[:6], 1)
    if alike < _BETTER:
        return pose
    pose, _ = _climbed(levels, pose, _WAYS[:6], 3)
    if not _oblong(pose):
        return pose
    bowed = np.concatenate([pose, np.zeros((2, 2))])
    return _climbed(levels, bowed, _WAYS, 5)[0]


_WAYS = ((0, 1), (0, 2), (1, 1), (2, 2), (1, 2), (2, 1), (3, 2), (4, 1))
"""Row of a pose that is moved, and row along which."""


def _climbed(levels: Levels, pose: Pose, ways: tuple[tuple[int, int], ...], rounds: int) -> tuple[Pose, float]:
    best, step = _compare(levels, pose)[0], 2 / SIDE
    for _ in range(rounds):
        moved = False
        for row, axis in ways:
            for sign in (step, -step):
                tried = pose.copy()
                tried[row] += sign * (1.0, 0.75, 0.75, 2.0, 2.0)[row] * pose[axis]
                alike = _compare(levels, tried)[0]
                if alike > best + 0.003:
                    best, pose, moved = alike, tried, True
                    break
        if not moved:
            if step < 1.2 / SIDE:
                break
            step /= 2
    return pose, best


def _label(levels: Levels, pose: Pose, cut: bool, gain: float) -> bool:
    """Whether a fitted pose holds a label: its fixed modules, its margin, and print in every part of it."""
    alike, samples = _compare(levels, pose)
    aside = gain == 1.0 and _oblong(pose) and not cut
    if alike < (_ALIKE_ASIDE if aside else _ALIKE):
        return False
    margin, print_ = samples[_MARGIN], samples[_PRINT]
    paper, mean = float(margin.mean()), float(print_.mean())
    gap = paper - mean
    if gap < _LEAST_GAP_LEVELS * gain or not _LEAST_GAP < gap / (paper + 2) < _MOST_GAP:
        return False
    if not _PATCHY[0] < print_.std() / gap < _PATCHY[1]:
        return False
    if np.count_nonzero(margin > mean + 0.3 * gap) < (0.75 if aside else _LEAST_MARGIN) * len(margin):
        return False
    flat = print_.reshape(((SIDE - 2) * _PER,) * 2)
    if aside and float(cv2.absdiff(flat, cv2.blur(flat, (9, 9))).mean()) < 0.1 * gap:
        return False
    ninths = cv2.resize(flat, (3, 3), interpolation=cv2.INTER_AREA)
    return bool((paper - ninths).min() > (0.4 if aside else 0.2) * gap)


def _area(pose: Pose) -> float:
    return abs(float(np.linalg.det(pose[1:3])))


def _oblong(pose: Pose) -> bool:
    across, down = np.hypot(*pose[1]), np.hypot(*pose[2])
    return bool(min(across, down) < _FLATTEST * max(across, down))


def _whole(pose: Pose) -> Glimpse:
    centre, right, down = pose[:3]
    quad = (centre - right - down, centre + right - down, centre + right + down, centre - right + down)
    module_px = 2 * max(np.hypot(*right), np.hypot(*down)) / SIDE
    return Glimpse(tuple((float(x), float(y)) for x, y in quad), float(module_px), True)


def _cut_off(levels: Levels, bordering: list[Pose]) -> Glimpse | None:
    """A label that leaves the picture and still shows a finder pattern; the largest outline that does."""
    for pose in sorted(bordering, key=_area, reverse=True)[:4]:
        flat = _sampled(levels, pose, 1).reshape((SIDE + 2 * QUIET,) * 2)
        fine = cv2.absdiff(flat, cv2.blur(flat, (5, 5)))[QUIET + 1 : -QUIET - 1, QUIET + 1 : -QUIET - 1]
        if fine.mean() < _FINE_PRINT * np.percentile(flat, 90):
            continue
        corners, module_px, _ = _whole(pose)
        xs, ys = [x for x, _ in corners], [y for _, y in corners]
        box = min(xs) - 6, min(ys) - 6, max(xs) + 6, max(ys) + 6
        alike, module_px = _one_finder(levels, box, 0.75 * module_px, 1.5 * module_px)
        if alike > _ONE_FINDER and module_px >= _LEAST_MODULE_PX:
            return Glimpse(corners, module_px, False)
    return None


def _burnt(levels: Levels) -> Glimpse | None:
    """A label under a lamp's spot: a finder pattern beside the spot, or a burnt square with some print left in it."""
    if len(levels) < 3:
        return None
    white = cv2.compare(levels[2], _BURNT, cv2.CMP_GT)
    if cv2.countNonZero(white) < 20:
        return None
    return _beside_spot(levels, white) or _burnt_square(levels[2], white)


def _beside_spot(levels: Levels, white: Grey) -> Glimpse | None:
    cell = np.ones((5, 5), np.uint8)
    white = cv2.morphologyEx(cv2.morphologyEx(white, cv2.MORPH_CLOSE, cell), cv2.MORPH_OPEN, cell)
    _, _, stats, _ = cv2.connectedComponentsWithStats(white)
    spots = [
        (int(area), 4 * np.array([x, y, x + wide, y + high], np.float64))
        for x, y, wide, high, area in stats[1:]
        if area >= 25 and max(wide, high) <= min(3.5 * min(wide, high), _LARGEST_SPOT_PX / 4)
    ]
    for area, (left, top, right, low) in sorted(spots, key=lambda spot: -spot[0])[:3]:
        side = 4 * float(np.sqrt(area))
        room = 0.45 * side
        box = left - room, top - room, right + room, low + room
        alike, module_px = _one_finder(levels, box, side / 30, side / 9, _BESIDE_BURNT)
        if alike > _BURNT_FINDER and module_px >= _LEAST_MODULE_PX:
            corners = ((left, top), (right, top), (right, low), (left, low))
            return Glimpse(tuple((float(x), float(y)) for x, y in corners), module_px, False)
    return None


def _burnt_square(quarter: Grey, white: Grey) -> Glimpse | None:
    cell = np.ones((3, 3), np.uint8)
    white = cv2.morphologyEx(cv2.morphologyEx(white, cv2.MORPH_OPEN, cell), cv2.MORPH_CLOSE, cell)
    areas, _ = cv2.findContours(white, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    # Filled, and freed of the burnt streaks of the steel that run into it.
    filled = cv2.drawContours(np.zeros_like(white), areas, -1, 255, cv2.FILLED)
    filled = cv2.morphologyEx(filled, cv2.MORPH_OPEN, np.ones((11, 11), np.uint8))
    areas, _ = cv2.findContours(filled, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    for area in areas:
        around = cv2.convexHull(area)
        box = cv2.minAreaRect(around)
        short, long = sorted(box[1])
        if short < 10 or long > min(2 * short, _LARGEST_SPOT_PX / 4) or cv2.contourArea(around) < 0.85 * short * long:
            continue
        x, y, wide, high = cv2.boundingRect(around)
        within = np.zeros((high, wide), np.uint8)
        cv2.fillConvexPoly(within, around - (x, y), 1)
        within = cv2.erode(within, np.ones((5, 5), np.uint8), borderValue=0)
        ink = cv2.compare(quarter[y : y + high, x : x + wide], _INK_BESIDE_BURNT, cv2.CMP_LT) & within
        _, _, stats, _ = cv2.connectedComponentsWithStats(ink)
        if int((stats[1:, cv2.CC_STAT_AREA] >= 2).sum()) >= 3 and 0.02 < ink.sum() / max(within.sum(), 1) < 0.6:
            corners = tuple((4 * float(px), 4 * float(py)) for px, py in cv2.boxPoints(box))
            return Glimpse(corners, 4 * long / (SIDE + 2 * QUIET), False)
    return None


def _one_finder(
    levels: Levels, box: tuple[float, float, float, float], least_px: float, most_px: float, paper: float = 0.0
) -> tuple[float, float]:
    """How much the likeliest spot in a box (left, top, right, bottom) is like one finder pattern, and its module.

    paper: level the light around it must reach.
    """
    best = (0.0, least_px)
    module_px = least_px
    while module_px <= most_px:
        number = min(max(int(np.floor(np.log2(max(module_px, 0.1) / _PER))), 0), len(levels) - 1)
        level, scale = levels[number], 2.0**number
        height, width = level.shape
        left, top = (max(int(edge / scale), 0) for edge in box[:2])
        right, low = min(int(box[2] / scale) + 1, width), min(int(box[3] / scale) + 1, height)
        zoom = _PER * scale / module_px
        wide, high = round((right - left) * zoom), round((low - top) * zoom)
        if min(wide, high) >= 9 * _PER:
            piece = cv2.resize(level[top:low, left:right], (wide, high), interpolation=cv2.INTER_LINEAR)
            piece = cv2.GaussianBlur(piece, (5, 5), 1.0)
            alike = cv2.matchTemplate(piece, _FINDER, cv2.TM_CCOEFF_NORMED)
            _, most, _, (x, y) = cv2.minMaxLoc(alike)
            ink, light = np.percentile(piece[y : y + 9 * _PER, x : x + 9 * _PER], (5, 95))
            if most > best[0] and light > max(paper, ink + _LEAST_STEP, 0.0 if paper else 2 * ink):
                best = float(most), float(module_px)
        module_px *= 1.22
    return best
