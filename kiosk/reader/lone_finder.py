"""Labels of which only a single finder pattern is left: cut off by the picture's border, or burnt by a lamp.

A single pattern of rings is weak evidence, so each case asks for more: fine print shut in by paper at the border, or
a burnt spot or square beside it.  It must never be asked in the dark, where noise makes such patterns everywhere.
The limits were found on drawn scenes (`kiosk.bench.hint_scenes`).
"""

from __future__ import annotations

import cv2
import numpy as np

from kiosk.reader.likeness import LABEL, PER, QUIET, Grey, Levels, Pose, area_of, outline, sampled
from kiosk.reader.symbols import Outline

_AT_BORDER, _AT_SPOT = 0.64, 0.56  # likeness to a finder pattern; bare steel stays under 0.6, and 0.55 if burnt
_LEAST_MODULE_PX = 1.5  # a single finder smaller than that is noise
_FINE_PRINT = 0.08  # print is that much darker or lighter than around it, in parts of the paper's brightness
_LEAST_STEP = 35  # levels between ink and paper
_BURNT = 236
_PAPER_BESIDE_BURNT, _INK_BESIDE_BURNT = 200, 205  # paper beside a burnt spot is nearly as bright, ink is not
_LARGEST_SPOT_PX = 420
_LEAST_FILLED = 0.3  # share of its box that a lamp's spot on paper fills; what runs along steel fills less


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
    small = cv2.resize(mean, (9 * PER, 9 * PER), interpolation=cv2.INTER_AREA)
    return np.asarray(200 * small, np.uint8)


_FINDER = _finder()


def cut_off(levels: Levels, bordering: list[Pose]) -> Outline | None:
    """A label that leaves the picture and still shows a finder pattern; the largest outline that does."""
    for pose in sorted(bordering, key=area_of, reverse=True)[:4]:
        flat = sampled(levels, pose, 1).reshape(LABEL, LABEL)
        fine = cv2.absdiff(flat, cv2.blur(flat, (5, 5)))[QUIET + 1 : -QUIET - 1, QUIET + 1 : -QUIET - 1]
        if fine.mean() < _FINE_PRINT * np.percentile(flat, 90):
            continue
        around = outline(pose)
        xs, ys = [x for x, _ in around.corners], [y for _, y in around.corners]
        box = min(xs) - 6, min(ys) - 6, max(xs) + 6, max(ys) + 6
        alike, module_px = _one_finder(levels, box, 0.75 * around.module_px, 1.5 * around.module_px)
        if alike > _AT_BORDER and module_px >= _LEAST_MODULE_PX:
            return Outline(around.corners, module_px)
    return None


def burnt(levels: Levels) -> Outline | None:
    """A label under a lamp's spot: a finder pattern beside the spot, or a burnt square with some print left in it."""
    if len(levels) < 3:
        return None
    white = cv2.compare(levels[2], _BURNT, cv2.CMP_GT)
    if cv2.countNonZero(white) < 20:
        return None
    return _beside_spot(levels, white) or _burnt_square(levels[2], white)


def _beside_spot(levels: Levels, white: Grey) -> Outline | None:
    cell = np.ones((5, 5), np.uint8)
    white = cv2.morphologyEx(cv2.morphologyEx(white, cv2.MORPH_CLOSE, cell), cv2.MORPH_OPEN, cell)
    _, _, stats, _ = cv2.connectedComponentsWithStats(white)
    spots = [
        (int(area), 4 * np.array([x, y, x + wide, y + high], np.float64))
        for x, y, wide, high, area in stats[1:]
        if area >= max(25, _LEAST_FILLED * wide * high)
        and max(wide, high) <= min(3.5 * min(wide, high), _LARGEST_SPOT_PX / 4)
    ]
    for area, (left, top, right, low) in sorted(spots, key=lambda spot: -spot[0])[:3]:
        side = 4 * float(np.sqrt(area))
        room = 0.45 * side
        box = left - room, top - room, right + room, low + room
        alike, module_px = _one_finder(levels, box, side / 30, side / 9, _PAPER_BESIDE_BURNT)
        if alike > _AT_SPOT and module_px >= _LEAST_MODULE_PX:
            corners = ((left, top), (right, top), (right, low), (left, low))
            return Outline(tuple((float(x), float(y)) for x, y in corners), module_px)
    return None


def _burnt_square(quarter: Grey, white: Grey) -> Outline | None:
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
            return Outline(corners, 4 * long / LABEL)
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
        number = min(max(int(np.floor(np.log2(max(module_px, 0.1) / PER))), 0), len(levels) - 1)
        level, scale = levels[number], 2.0**number
        height, width = level.shape
        left, top = (max(int(edge / scale), 0) for edge in box[:2])
        right, low = min(int(box[2] / scale) + 1, width), min(int(box[3] / scale) + 1, height)
        zoom = PER * scale / module_px
        wide, high = round((right - left) * zoom), round((low - top) * zoom)
        if min(wide, high) >= 9 * PER:
            piece = cv2.resize(level[top:low, left:right], (wide, high), interpolation=cv2.INTER_LINEAR)
            piece = cv2.GaussianBlur(piece, (5, 5), 1.0)
            alike = cv2.matchTemplate(piece, _FINDER, cv2.TM_CCOEFF_NORMED)
            _, most, _, (x, y) = cv2.minMaxLoc(alike)
            if most > best[0] and _inked(piece[y : y + 9 * PER, x : x + 9 * PER], paper):
                best = float(most), float(module_px)
        module_px *= 1.22
    return best


def _inked(spot: Grey, paper: float) -> bool:
    """Whether a spot holds real ink on real paper; beside a burnt spot the ink is washed out, so `paper` must tell."""
    ink, light = np.percentile(spot, (5, 95))
    return bool(light > max(paper, ink + _LEAST_STEP, 0.0 if paper else 2 * ink))
