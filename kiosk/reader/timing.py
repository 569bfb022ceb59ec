"""How well a guess at a symbol's place agrees with its timing patterns, the one thing every size shows differently.

A wrong size or a wrong corner loses the beat within a few modules, so this decides between guesses before any of
them is resampled.  It never looks at data modules.  Timing patterns are those of ISO/IEC 18004.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LEAST_BEAT = 0.25  # symbols that could be read had 0.87 or more; bent or torn ones less


def beat(grey: NDArray[np.uint8], project: Callable[[Floats], Floats], size: int) -> float:
    """How well both timing patterns alternate, -1 to 1.

    project: label points (..., 2; modules) to pixels of `grey`.  size: modules along the symbol's edge.
    """
    steps = np.arange(7, size - 7) + 0.5
    sign = np.where(np.arange(7, size - 7) % 2 == 0, -1.0, 1.0)
    total = 0.0
    for upright in (False, True):
        best = -1.0
        for beside in (6.2, 6.5, 6.8):
            line = np.stack([steps, np.full_like(steps, beside)], axis=1)
            values = _sample(grey, project(line[:, ::-1] if upright else line))
            values -= cv2.blur(values.reshape(1, -1), (5, 1)).ravel()
            best = max(best, float((values * sign).sum() / (np.abs(values).sum() + 1e-6)))
        total += best
    return total / 2


def _sample(grey: NDArray[np.uint8], at: Floats) -> Floats:
    points = at.reshape(1, -1, 2).astype(np.float32)
    return np.asarray(cv2.remap(grey, points, None, cv2.INTER_LINEAR).ravel(), np.float64)
