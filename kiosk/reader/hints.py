"""What to tell a person whose label is seen but not read: closer, hold still, tilt it.

Measured on the frame inside the outline the reader found: size of a module, brightness, contrast, burnt spots,
sharpness of edges, slant.  It must never say that a label is bad while the picture is: light and distance are
named first, wear last.  The limits come from pictures drawn by `kiosk.bench.scenes`, where the truth is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.symbols import Outline

SMALLEST_MODULE_PX = 2.2
"""Sampling needs two pixels a module, and a little for what the lens takes."""
DARKEST_PAPER = 55
"""White paper under this level of 255 drowns in noise."""
MOST_BURNT = 0.08
"""Share of the symbol that may be burnt out before finder patterns or too many words go with it."""
BURNT_LEVEL = 250
WIDEST_EDGE = 1.45
"""Width of an edge from ink to paper, in modules, past which neighbours run together."""
STEEPEST = 0.42
"""Shorter side over longer side of the outline: under this the far modules are lost."""
MARGIN_PX = 3
MODULES = 21
"""Across a version 1 symbol, where the reader could not tell (ISO/IEC 18004)."""


class Hint(Enum):
    """What would help; the value is the message the screen shows."""

    INTO_PICTURE = "hint.into_picture"
    CLOSER = "hint.closer"
    MORE_LIGHT = "hint.more_light"
    TILT_IT = "hint.tilt_it"
    TURN_IT = "hint.turn_it"
    HOLD_STILL = "hint.hold_still"
    WIPE_IT = "hint.wipe_it"


@dataclass(frozen=True, slots=True)
class Measured:
    """What the frame shows inside an outline.

    module_px: edge of a module.  paper, ink: levels of 255 of the light and the dark.  burnt: share of pixels
    at the top of the scale.  edge_px: width of edges from ink to paper in the softer direction.  slant:
    shorter over longer side, 1 seen straight.  cut_off: the outline touches the picture's border.
    """

    module_px: float
    paper: float
    ink: float
    burnt: float
    edge_px: float
    slant: float
    cut_off: bool


def measure(image: NDArray[np.uint8], outline: Outline) -> Measured:
    """Measure inside an outline; image (H, W) or (H, W, 3) blue-green-red."""
    height, width = image.shape[:2]
    quad = np.array(outline.corners, dtype=np.float32).reshape(-1, 2)
    sides = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    across, down = (float(sides[0] + sides[2]) / 2, float(sides[1] + sides[3]) / 2)
    low = np.clip(np.floor(quad.min(axis=0)), 0, (width - 1, height - 1)).astype(int)
    high = np.clip(np.ceil(quad.max(axis=0)) + 1, low + 1, (width, height)).astype(int)
    patch = image[low[1] : high[1], low[0] : high[0]]
    grey = cv2.cvtColor(np.ascontiguousarray(patch), cv2.COLOR_BGR2GRAY) if patch.ndim == 3 else patch
    mask = np.zeros(grey.shape, dtype=np.uint8)
    cv2.fillConvexPoly(mask, np.round(quad - low).astype(np.int32), 1)
    inside = mask.astype(bool) if mask.any() else np.ones(grey.shape, dtype=bool)
    ink, paper = (float(level) for level in np.percentile(grey[inside], (8, 92)))
    smooth = cv2.GaussianBlur(grey, (3, 3), 0.6).astype(np.float32)
    slopes = np.stack([cv2.Sobel(smooth, cv2.CV_32F, *way, scale=0.125)[inside] for way in ((1, 0), (0, 1))])
    # Shake leaves the edges along its path sharp, so the softer of the two main directions counts.
    main = np.abs(np.linalg.eigh(slopes @ slopes.T)[1].T @ slopes)
    steepest = float(np.percentile(main, 90, axis=1).min())
    return Measured(
        module_px=outline.module_px or max(across, down) / MODULES,
        paper=paper,
        ink=ink,
        burnt=float((grey[inside] >= BURNT_LEVEL).mean()),
        edge_px=(paper - ink) / max(steepest, 1e-3),
        slant=min(across, down) / max(across, down, 1e-3),
        cut_off=bool(
            (quad < MARGIN_PX).any()
            or (quad[:, 0] > width - MARGIN_PX).any()
            or (quad[:, 1] > height - MARGIN_PX).any()
        ),
    )


def advise(seen: Measured) -> Hint:
    """The one hint that helps most; the first reason that applies."""
    if seen.cut_off:
        return Hint.INTO_PICTURE
    if seen.paper < DARKEST_PAPER:
        return Hint.MORE_LIGHT
    if seen.module_px < SMALLEST_MODULE_PX:
        return Hint.CLOSER
    if seen.burnt > MOST_BURNT:
        return Hint.TILT_IT
    if seen.slant < STEEPEST:
        return Hint.TURN_IT
    if seen.edge_px > WIDEST_EDGE * seen.module_px:
        return Hint.HOLD_STILL
    return Hint.WIPE_IT


_GLIMPSE_PX = 640  # longest edge of the picture in which a label is guessed at
_PRINT_PX = 9  # what is narrower than this there, darker than its paper, may be print
_LEAST_WAYS = 0.12  # share of slopes in the weaker direction: grooves and gaps run one way, print both
_LEAST_BLOBS = 3


def glimpse(image: NDArray[np.uint8]) -> Outline | None:
    """Something that looks like a label which the reader could not even locate, or None.

    Bright paper closely strewn with dark print, about square.  It serves hints alone: one frame in twenty of bare
    steel shows such a thing too, and labels far away or out of focus are mostly overlooked.
    """
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY) if image.ndim == 3 else image
    scale = _GLIMPSE_PX / max(grey.shape)
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    paper = cv2.morphologyEx(small, cv2.MORPH_CLOSE, np.ones((_PRINT_PX, _PRINT_PX), np.uint8))
    ink = (cv2.subtract(paper, small) > np.maximum(paper * 0.22, 12)).astype(np.uint8)
    dense = cv2.boxFilter(ink.astype(np.float32), -1, (_PRINT_PX, _PRINT_PX)) > 0.2
    count, part, stats, _ = cv2.connectedComponentsWithStats(dense.astype(np.uint8))
    for index in sorted(range(1, count), key=lambda index: -int(stats[index, cv2.CC_STAT_AREA])):
        x, y, width, height, area = (int(value) for value in stats[index])
        if area < 110:
            break
        window = slice(y, y + height), slice(x, x + width)
        inside = part[window] == index
        places = np.argwhere(inside)[:, ::-1].astype(np.float32) + np.array([x, y], np.float32)
        centre, (across, down), turn = cv2.minAreaRect(places)
        if max(across, down) > 300 or min(across, down) < 9 or max(across, down) > 2.6 * min(across, down):
            continue
        if area < 0.72 * across * down or not _printed(small[window], paper[window], ink[window], inside):
            continue
        # The print's density reaches half a window past the print.
        size = (max(across - 4, 4.0), max(down - 4, 4.0))
        corners = cv2.boxPoints((centre, size, turn)) / scale
        return Outline(tuple((float(px), float(py)) for px, py in corners), 0.0)
    return None


def _printed(
    grey: NDArray[np.uint8], paper: NDArray[np.uint8], ink: NDArray[np.uint8], inside: NDArray[np.bool_]
) -> bool:
    """Whether a patch is evenly lit paper with several blots whose edges run in more than one direction."""
    low, high = np.percentile(paper[inside], (20, 80))
    if low < 0.72 * high:
        return False
    slopes = np.stack([cv2.Sobel(grey, cv2.CV_32F, *way)[inside] for way in ((1, 0), (0, 1))])
    weak, strong = np.linalg.eigvalsh(slopes @ slopes.T)
    if weak < _LEAST_WAYS * strong:
        return False
    blots = int(cv2.connectedComponents((ink * inside).astype(np.uint8))[0]) - 1
    return blots >= _LEAST_BLOBS
