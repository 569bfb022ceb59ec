"""What to tell a person whose label is seen but not read: closer, hold still, tilt it.

Measured on the frame inside the label's outline: size of a module, brightness, contrast, burnt spots, sharpness of
edges along and across, slant.  It must never say that a label is bad while the picture is: light and distance are
named first, wear last.  The limits come from pictures drawn by `kiosk.bench.hint_scenes`, where the truth is known.
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
WIDEST_ROUGH_EDGE = 2.4
"""The same where the outline is rough: what lies around a label has edges of its own."""
SHAKEN = 1.5
"""Edges this much wider one way than the other come from shake; a lens out of focus widens all of them alike."""
STEEPEST = 0.58
"""Shorter side over longer side of the outline: 55 degrees aside; round steel hides modules soon after."""
STEEPEST_ROUGH = 0.82
"""The same of the one finder pattern by which a rough outline is known: the one that is nearest lies the flattest."""
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
    REFOCUS = "hint.refocus"
    WIPE_IT = "hint.wipe_it"


@dataclass(frozen=True, slots=True)
class Measured:
    """What the frame shows inside an outline.

    module_px: edge of a module.  paper, ink: levels of 255 of the light and the dark.  burnt: share of pixels
    at the top of the scale.  edge_px, sharp_px: width of edges from ink to paper in the softer of the two main
    directions and in the sharper.  slant: shorter over longer side, 1 seen straight.  cut_off: the outline
    touches the picture's border.  rough: it is about there.
    """

    module_px: float
    paper: float
    ink: float
    burnt: float
    edge_px: float
    sharp_px: float
    slant: float
    cut_off: bool
    rough: bool = False


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
    # Shake leaves the edges along its path sharp, so both main directions are asked.
    main = np.abs(np.linalg.eigh(slopes @ slopes.T)[1].T @ slopes)
    softer, sharper = sorted(float(steep) for steep in np.percentile(main, 90, axis=1))
    return Measured(
        module_px=outline.module_px or max(across, down) / MODULES,
        paper=paper,
        ink=ink,
        burnt=float((grey[inside] >= BURNT_LEVEL).mean()),
        edge_px=(paper - ink) / max(softer, 1e-3),
        sharp_px=(paper - ink) / max(sharper, 1e-3),
        slant=min(across, down) / max(across, down, 1e-3),
        cut_off=bool((quad < MARGIN_PX).any() or (quad > (width - MARGIN_PX, height - MARGIN_PX)).any()),
        rough=outline.rough,
    )


def advise(seen: Measured) -> Hint:
    """The one hint that helps most; the first reason that applies."""
    if seen.cut_off:
        return Hint.INTO_PICTURE
    if seen.paper < DARKEST_PAPER:
        return Hint.MORE_LIGHT
    far = seen.module_px < SMALLEST_MODULE_PX
    if seen.burnt > MOST_BURNT and not far:
        return Hint.TILT_IT
    # Before distance: seen from aside, a part of a label may be taken for all of it, and is as oblong.
    if seen.slant < (STEEPEST_ROUGH if seen.rough else STEEPEST):
        return Hint.TURN_IT
    if far:
        return Hint.CLOSER
    if seen.edge_px > (WIDEST_ROUGH_EDGE if seen.rough else WIDEST_EDGE) * seen.module_px:
        return Hint.HOLD_STILL if seen.edge_px > SHAKEN * seen.sharp_px else Hint.REFOCUS
    return Hint.WIPE_IT
