"""Whether a frame in which nothing was read shows a label all the same, and where.

Dark print shut in by bright paper is looked for at several sizes and judged by `likeness`; what a border or a lamp
has eaten is left to `lone_finder`, what scratches have joined with the steel around it to `own_flat`.  It must never
serve anything but aim and hints.  The limits were found on drawn scenes (`kiosk.bench.hint_scenes`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.likeness import (
    LABEL,
    PER,
    QUIET,
    SIDE,
    Grey,
    Levels,
    Pose,
    area_of,
    compare,
    fitted,
    levels_of,
    oblong,
    outline,
    sampled,
)
from kiosk.reader.lone_finder import burnt, cut_off
from kiosk.reader.own_flat import laid_flat
from kiosk.reader.symbols import Corners, Outline, Part, centre, inside
from kiosk.reader.wear import piece_around

_REACH_PX = 25  # dark areas up to this wide are filled when the paper under print is guessed
_LEAST_PX, _MOST_PX = 7, 45  # longer side of a symbol at the level where it is looked for
_MOST_OBLONG = 4.5
_NEAR, _THIN = np.ones((3, 3), np.uint8), np.ones((5, 5), np.uint8)  # gaps in print, lines that are no print
_SHARES = (0.16, 0.3)  # how much darker than its paper print is, in two attempts
_OVER_NOISE = 2.0
_LEAST_GAP, _MOST_GAP = 0.235, 0.6  # how much darker than its paper print is as a whole: half of it is light
_LEAST_GAP_LEVELS = 2.0
_PATCHY = (0.12, 0.65)  # spread of the print's brightness, in parts of that
_LEAST_MARGIN = 0.6  # share of the margin that must be brighter than the print
_PROMISING = 0.85  # likeness at first sight that is worth fitting
_FAINT = 0.7  # the same for print that scratches cross, of which one place is laid flat
_LAID_ALIKE = 0.5  # likeness of a label laid flat; other places stay under 0.41, other print under 0.45
_ALIKE = 1.3  # likeness of a fitted label; bare steel stays under 1.2
_LEAST_WORN_PX = 2.4  # edge of a module from which on worn print can be told from any other
_LOOKED_AT = 6  # places that are asked whether they may be a scratched label
_FAINT_TRIED, _LAID_TRIED = 2, 2  # of those that may; laying one flat costs more than all that was before
_ALIKE_ASIDE = 1.15  # the same for labels seen from far aside, which must be the more patchy


def _rim(edge: int, per: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Samples in the label's margin, one module off its ends, and samples in its print."""
    at = np.arange(edge)
    inset = np.minimum(np.minimum.outer(at, at), np.minimum.outer(edge - 1 - at, edge - 1 - at))
    return np.flatnonzero((inset >= per) & (inset < 3 * per)), np.flatnonzero(inset >= (QUIET + 1) * per)


_MARGIN, _PRINT = _rim(LABEL * PER, PER)
_FEW_MARGIN, _FEW_PRINT = _rim(LABEL, 1)
_FEW = np.zeros((2, LABEL**2), np.float32)
_FEW[0, _FEW_MARGIN], _FEW[1, _FEW_PRINT] = 1 / len(_FEW_MARGIN), 1 / len(_FEW_PRINT)


def glimpse(grey: Grey, part: Part | None = None) -> Outline | None:
    """The likeliest label in a grey picture (H, W), or None.  part: where it is looked for."""
    top = float(grey[::3, ::3].max(initial=0))
    gain = 240 / max(top, 12.0) if top < 120 else 1.0
    whole = Part(0, 0, grey.shape[1], grey.shape[0])
    part = part or whole
    piece = grey[part.top : part.bottom, part.left : part.right]
    piece = piece if gain == 1.0 else np.asarray(cv2.convertScaleAbs(piece, alpha=gain), np.uint8)
    found = _likeliest(levels_of(piece, min(grey.shape)), gain, _Ends.of(part, whole))
    if found is None:
        return None
    corners = tuple((x + part.left, y + part.top) for x, y in found.corners)
    return replace(found, corners=corners)


class _Ends(NamedTuple):
    """At which of its edges what is looked at ends because the picture does."""

    left: bool
    top: bool
    right: bool
    bottom: bool

    @classmethod
    def of(cls, part: Part, whole: Part) -> _Ends:
        return cls(*(edge == end for edge, end in zip(part, whole, strict=True)))


def _likeliest(levels: Levels, gain: float, ends: _Ends) -> Outline | None:
    bordering = []
    promising = []
    faint: list[Pose] = []
    for pose, border, crossed in _shut_in(levels, ends, gain == 1.0):
        if not _papery(levels, pose):
            continue
        if crossed:
            faint.append(pose)
            continue
        if border:
            bordering.append(pose)
        alike, _ = compare(levels, pose)
        if alike > _PROMISING:
            promising.append((alike, pose, border))
        elif alike > _FAINT and not border and gain == 1.0:
            faint.append(pose)
    promising.sort(key=lambda one: -one[0])
    # Parts of a worn label are more like one at first sight than all of it.
    chosen = promising[:3] + sorted(promising[3:], key=lambda one: -area_of(one[1]))[:1]
    candidates = [(fitted(levels, pose), border) for _, pose, border in chosen]
    labels = [pose for pose, border in candidates if _is_label(levels, pose, border, gain)]
    # In the dark, noise makes single finders everywhere.
    cut = cut_off(levels, bordering) if gain == 1.0 else None
    if labels:
        label = outline(_best(levels, labels))
        return cut if cut is not None and inside(centre(label.corners), cut.corners) else label
    if gain > 1.0:
        return None
    if cut is None:
        cut = burnt(levels)
    return cut if cut is not None else _laid(levels, [pose for pose, border in candidates if not border], faint)


def _best(levels: Levels, labels: list[Pose]) -> Pose:
    """The largest, for parts of a label may look like one; of those in different places the one most like a label."""
    largest = max(labels, key=area_of)
    around = outline(largest).corners
    elsewhere = [pose for pose in labels if not inside(centre(outline(pose).corners), around)]
    if not elsewhere:
        return largest
    return max((largest, max(elsewhere, key=area_of)), key=lambda pose: _lay(levels[0], outline(pose).corners)[0])


def _lay(grey: Grey, corners: Corners) -> tuple[float, NDArray[np.float64]]:
    """How like a label's the fixed modules about within four corners are, laid flat, and their corners (4, 2)."""
    piece, points = piece_around(grey, corners)
    laid = laid_flat(piece, tuple((float(x), float(y)) for x, y in points))
    return laid.like, laid.flat.corners() + (np.array(corners[0]) - points[0])


def _laid(levels: Levels, fits: list[Pose], faint: list[Pose]) -> Outline | None:
    """The label that lies about at one of the fitted or of the faint poses, told by all its fixed modules laid flat."""
    fits = fits + [fitted(levels, pose) for pose in _scratched(levels, faint, _FAINT_TRIED)]
    for pose in _scratched(levels, fits, _LAID_TRIED):
        found = _laid_at(levels[0], outline(pose).corners)
        if found is not None:
            return found
    return None


def still_there(grey: Grey, seen: Corners) -> Outline | None:
    """The label that was seen a moment ago about within four corners of a grey picture (H, W), or None."""
    sides = [math.dist(one, other) for one, other in zip(seen, seen[1:] + seen[:1], strict=True)]
    return _laid_at(grey, seen) if min(sides) >= _LEAST_WORN_PX * SIDE else None


def _laid_at(grey: Grey, about: Corners) -> Outline | None:
    like, corners = _lay(grey, about)
    if like <= _LAID_ALIKE:
        return None
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    module_px = float(max(sides[0] + sides[2], sides[1] + sides[3])) / 2 / SIDE
    return Outline(tuple((float(x), float(y)) for x, y in corners), module_px)


def _scratched(levels: Levels, poses: list[Pose], most: int) -> list[Pose]:
    """The largest places, for parts of a label may look like one, that a scratched label may lie at."""
    large = sorted((pose for pose in poses if outline(pose).module_px >= _LEAST_WORN_PX), key=area_of, reverse=True)
    return [pose for pose in large[:_LOOKED_AT] if _Print.at(levels, pose).may_be_scratched][:most]


def _shut_in(levels: Levels, ends: _Ends, crossed_too: bool) -> Iterator[tuple[Pose, bool, bool]]:
    """Dark areas shut in by bright ones, as wide as a symbol may be.

    With each whether the picture's border cuts it, and whether it is shut in only once thin lines across its margin,
    as scratches leave them, are taken for bright: looked for where `crossed_too`, and never of a label too small.
    """
    seen = set()
    fill = np.ones((_REACH_PX, _REACH_PX), np.uint8)
    for number, level in enumerate(levels[1:], start=1):
        scale = 2.0**number
        height, width = level.shape
        soft = cv2.blur(level, (3, 3))
        paper = cv2.morphologyEx(soft, cv2.MORPH_CLOSE, fill)
        dark = cv2.subtract(paper, soft)
        noise = cv2.norm(level, soft, cv2.NORM_L1) / level.size
        shapes = []
        for share in _SHARES:
            limit = cv2.convertScaleAbs(paper, alpha=share, beta=1 + _OVER_NOISE * noise)
            shapes.append((cv2.compare(dark, limit, cv2.CMP_GT), False))
        if crossed_too:
            joined = cv2.morphologyEx(shapes[0][0], cv2.MORPH_CLOSE, _NEAR)
            shapes.append((cv2.morphologyEx(joined, cv2.MORPH_OPEN, _THIN), True))
        for shape, crossed in shapes:
            areas, kin = cv2.findContours(shape, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
            for area, (_, _, _, parent) in zip(areas, kin[0] if kin is not None else (), strict=False):
                if parent >= 0 or len(area) < 4:
                    continue
                x, y, wide, high = cv2.boundingRect(area)
                least = _LEAST_WORN_PX * SIDE / scale if crossed else _LEAST_PX
                if not least <= max(wide, high) <= _MOST_PX or min(wide, high) < 4:
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
                at_edges = x <= 1, y <= 1, x + wide >= width - 1, y + high >= height - 1
                cut = any(at and end for at, end in zip(at_edges, ends, strict=True))
                yield pose * scale, cut, crossed


def _papery(levels: Levels, pose: Pose) -> bool:
    """Whether a margin stands out bright all around something patchy."""
    samples = sampled(levels, pose, 1)
    paper, mean = (_FEW @ samples).tolist()
    gap = paper - mean
    if gap < max(1.0, 0.45 * _LEAST_GAP * (paper + 2)) or samples[_FEW_PRINT].std() < _PATCHY[0] * gap:
        return False
    bright = np.count_nonzero(samples[_FEW_MARGIN] > mean + 0.3 * gap)
    return bool(bright > 0.85 * _LEAST_MARGIN * len(_FEW_MARGIN))


@dataclass(frozen=True, slots=True)
class _Print:
    """What lies at a fitted pose.  alike: likeness to a label.  gap: by how much the margin is brighter than the print.

    dark: the same as a share of the margin's brightness.  patchy: spread of the print, framed: share of the margin that
    is bright, fine: what of the print is finer than a few modules, thinnest: how dark its faintest ninth is, in gaps.
    """

    alike: float
    gap: float
    dark: float
    patchy: float
    framed: float
    fine: float
    thinnest: float

    @classmethod
    def at(cls, levels: Levels, pose: Pose) -> _Print:
        alike, samples = compare(levels, pose)
        margin, print_ = samples[_MARGIN], samples[_PRINT]
        paper, mean = float(margin.mean()), float(print_.mean())
        gap = max(paper - mean, 1e-3)
        flat = print_.reshape(((SIDE - 2) * PER,) * 2)
        return cls(
            alike,
            gap,
            gap / (paper + 2),
            float(print_.std()) / gap,
            np.count_nonzero(margin > mean + 0.3 * gap) / len(margin),
            float(cv2.absdiff(flat, cv2.blur(flat, (9, 9))).mean()) / gap,
            float((paper - cv2.resize(flat, (3, 3), interpolation=cv2.INTER_AREA)).min()) / gap,
        )

    def is_label(self, gain: float, aside: bool) -> bool:
        """Whether it is a label: its fixed modules, its margin, and print in every part of it."""
        if self.alike < (_ALIKE_ASIDE if aside else _ALIKE):
            return False
        if self.gap < _LEAST_GAP_LEVELS * gain or not _LEAST_GAP < self.dark < _MOST_GAP:
            return False
        if not _PATCHY[0] < self.patchy < _PATCHY[1] or self.framed < (0.75 if aside else _LEAST_MARGIN):
            return False
        return self.thinnest > (0.4 if aside else 0.2) and (not aside or self.fine >= 0.1)

    @property
    def is_smeared(self) -> bool:
        """Whether it is a label whose finders are worn: less like one, but framed all around and dark everywhere."""
        dark = 0.2 < self.dark < _MOST_GAP and self.gap >= 10
        print_ = 0.22 < self.patchy < 0.6 and self.fine > 0.12 and self.thinnest > 0.6
        return self.alike > 1.165 and dark and print_ and self.framed > 0.955

    @property
    def may_be_scratched(self) -> bool:
        """Whether it is worth to lay it flat: as fine and as patchy as print, if like no label at first sight."""
        print_ = 0.22 < self.patchy < 1.2 and self.fine > 0.12 and self.gap >= 10 and self.dark > 0.12
        return print_ and (self.thinnest > 0.3 or (self.alike > _FAINT and self.thinnest > -0.5))

    @property
    def is_faded(self) -> bool:
        """Whether it is a label whose print or paper is half gone: very like one, but pale, or framed in part."""
        pale = 0.12 < self.dark < _MOST_GAP and self.gap >= 8
        alike = self.thinnest > 0.25 if self.alike < 1.385 else self.thinnest > 0
        return self.alike > 1.325 and alike and pale and self.framed > 0.68 and self.fine > 0.2 and self.patchy < 1.05


def _is_label(levels: Levels, pose: Pose, cut: bool, gain: float) -> bool:
    """Whether a fitted pose holds a label, in the dark only one that nothing else is wrong with."""
    there = _Print.at(levels, pose)
    sure = gain == 1.0 and not cut
    if there.is_label(gain, sure and oblong(pose)):
        return True
    if not sure or outline(pose).module_px < _LEAST_WORN_PX:
        return False
    return there.is_faded or (there.is_smeared and not oblong(pose))
