"""What one scene is: a label on steel, sheet or card, how it lies before the camera, and what light and wear do to it.

Values alone; `scene_frame` draws them and `scenes` makes them up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np

from kiosk.bench import scene_paint as paint
from kiosk.bench.scene_space import Lens, Skin, pose

WIDTH_PX, HEIGHT_PX = 1280, 720


class Ground(Enum):
    """What a label sticks on."""

    STEEL = "steel"
    SHEET = "sheet"
    CARD = "card"


@dataclass(frozen=True, slots=True)
class Scene:
    """One label in front of one camera.

    text: what the symbol says.  ground: what it sticks on.  label_mm: width of the label with quiet zone.
    diameter_mm: of the cylinder (steel only).  distance_mm: camera to label.  tilt_deg: the axis leans to the
    camera.  roll_deg: about the line of sight.  spin_deg: about the cylinder's axis, away from the front.
    turned_deg: how the label was stuck on, in its own plane.  aim: where the label is in the picture, as
    fractions of its width and height.  hfov_deg: the camera's horizontal angle.  light: level of white paper,
    1 is well exposed.  warmth: -1 bluish to 1 yellowish.  glare: strength of the lamp's spot on the label, 0
    none, 1 and over burnt out; glare_at: its place in label widths from the centre; glare_mm: its radius.
    oil: 0 clean to 1 dripping.  scratches: strokes across the print.  defocus_px, motion_px, motion_deg: blur
    in pixels.  noise: sensor noise in levels of 255.  jpeg: quality of the camera's own packing.
    caption: text under the symbol.  title: words on a card.  look: picks background, lights and grooves.
    """

    text: str
    ground: Ground = Ground.STEEL
    label_mm: float = 15.0
    diameter_mm: float = 40.0
    distance_mm: float = 200.0
    tilt_deg: float = 0.0
    roll_deg: float = 0.0
    spin_deg: float = 0.0
    turned_deg: float = 0.0
    aim: tuple[float, float] = (0.5, 0.5)
    hfov_deg: float = 65.0
    light: float = 0.9
    warmth: float = 0.0
    glare: float = 0.0
    glare_at: tuple[float, float] = (0.0, 0.0)
    glare_mm: float = 3.0
    oil: float = 0.0
    scratches: int = 0
    defocus_px: float = 0.4
    motion_px: float = 0.0
    motion_deg: float = 0.0
    noise: float = 2.0
    jpeg: int = 90
    caption: str = ""
    title: str = ""
    look: int = 0

    @property
    def module_mm(self) -> float:
        return self.label_mm / (len(paint.modules(self.text)) + 2 * paint.QUIET_MODULES)

    @property
    def lens(self) -> Lens:
        return Lens.with_angle(WIDTH_PX, HEIGHT_PX, self.hfov_deg)

    @property
    def skin(self) -> Skin:
        aim_px = (self.aim[0] * WIDTH_PX, self.aim[1] * HEIGHT_PX)
        point, across, along, normal = pose(self.lens, aim_px, self.distance_mm, self.tilt_deg, self.roll_deg)
        if self.ground is Ground.STEEL:
            return Skin(point, across, along, normal, self.diameter_mm / 2, self.spin_deg)
        spin = math.radians(self.spin_deg)
        turned_across = math.cos(spin) * across - math.sin(spin) * normal
        return Skin(point, turned_across, along, np.cross(turned_across, along), None)
