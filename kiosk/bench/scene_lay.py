"""Where a label or a mark lies in a drawn picture: every ray of the camera in the label's own plane.

Pure geometry for what is stuck on and what is marked in; knows neither colour nor chance.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiosk.bench.scene import Scene
from kiosk.bench.scene_space import Lens, Plane, Skin, Strike, strike_flat, strike_round


def turned(
    x: NDArray[np.float64], y: NDArray[np.float64], deg: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points turned by so many degrees about the middle of a label."""
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    return c * x - s * y, s * x + c * y


class Laid(NamedTuple):
    """Where a label or mark lies in the picture.

    left, top, columns, rows: the part of the picture, pixels.  struck: its rays, two by two a pixel.  on_x, on_y: the
    same rays in the mark's own plane, mm from its middle, x to its right and y down.
    """

    left: int
    top: int
    columns: int
    rows: int
    struck: Strike
    on_x: Plane
    on_y: Plane


def lay(scene: Scene, high: float, lens: Lens, skin: Skin) -> Laid | None:
    """Where something `scene.label_mm` wide and `high` times as high lies; None: out of the picture."""
    half = scene.label_mm / 2
    foot = half - scene.label_mm * high
    x, z = np.meshgrid(np.linspace(-half, half, 9), np.linspace(foot, half, 9))
    x, z = turned(x.ravel(), z.ravel(), scene.turned_deg)
    seen = lens.project(skin.spot(x, z))
    left, top = np.clip(np.floor(seen.min(axis=0)).astype(int) - 2, 0, (lens.width_px, lens.height_px))
    right, bottom = np.clip(np.ceil(seen.max(axis=0)).astype(int) + 2, 0, (lens.width_px, lens.height_px))
    columns, rows = int(right - left), int(bottom - top)
    if columns < 4 or rows < 4:
        return None
    dx, dy = lens.rays(float(left), float(top), 2 * columns, 2 * rows, 0.5)
    if skin.radius_mm is None:
        struck = strike_flat(skin, dx, dy)
        across = struck.across_mm
    else:
        struck = strike_round(skin, skin.radius_mm, dx, dy)
        across = struck.across_mm - np.float32(math.radians(skin.spin_deg) * skin.radius_mm)
    c, s = math.cos(math.radians(scene.turned_deg)), math.sin(math.radians(scene.turned_deg))
    on_x = np.float32(c) * across + np.float32(s) * struck.along_mm
    on_y = np.float32(s) * across - np.float32(c) * struck.along_mm
    return Laid(int(left), int(top), columns, rows, struck, on_x, on_y)
