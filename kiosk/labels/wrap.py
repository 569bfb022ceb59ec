"""Whether a label wrapped round steel can still be read by this kiosk's camera, and what to do when it cannot.

A symbol of width w on a cylinder of diameter D spans 2w/D radians; its edge modules lean away from the camera and
shrink.  Everything here is geometry: it must never look at a picture.  The camera is a pinhole that looks squarely
at the middle of the symbol.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum

from kiosk.labels.faults import LabelError, WrongUse
from kiosk.labels.layout import Layout
from kiosk.labels.sizes import STANDARD, LabelSize
from kiosk.labels.symbol import INCH_MM, MODULES, least_module_dots
from kiosk.rules.say import Say, say

ANGLE_MOST_DEG = 65.0  # past 60 to 70 degrees the edge modules are not resolved
EDGE_LEAST_PX = 2.0  # pixels a module that a decoder needs at the edge
FLAT_MM = math.inf  # a flat side is a cylinder without end


@dataclass(frozen=True, slots=True)
class CameraView:
    """How this kiosk's camera sees: horizontal angle of view, pixels across, distance to the label's middle."""

    hfov_deg: float = 60.0
    width_px: int = 1280
    distance_mm: float = 120.0

    def __post_init__(self) -> None:
        if not (0 < self.hfov_deg < 180 and self.width_px > 0 and self.distance_mm > 0):
            raise WrongUse("a camera has an angle of view of 0 to 180 degrees, pixels, and a distance above 0 mm")

    @property
    def focal_px(self) -> float:
        """Pixels for one unit of sideways over forward."""
        return self.width_px / 2 / math.tan(math.radians(self.hfov_deg / 2))


class Remedy(Enum):
    """What makes a label readable that would not be."""

    NONE = "none"
    SMALLER_SYMBOL = "smaller_symbol"  # same label, fewer dots a module
    OTHER_SIZE = "other_size"
    FLAT = "flat"  # the flat of the flange, or any other flat side
    CLOSER = "closer"  # hold it nearer to the camera


@dataclass(frozen=True, slots=True)
class Advice:
    """How a symbol fares on round steel.

    angle_deg: spanned by the symbol; edge_px: pixels a module at its edge, 0 where the edge faces away.
    remedy, with the size and dots a module that work, or the distance in mm.
    """

    ok: bool
    angle_deg: float
    edge_px: float
    remedy: Remedy = Remedy.NONE
    size: LabelSize | None = None
    module_dots: int | None = None
    closer_mm: float | None = None
    diameter_mm: float = FLAT_MM

    @property
    def say(self) -> Say:
        """The advice as a message id with values."""
        key = "label.wrap.ok" if self.ok else f"label.wrap.{self.remedy.value}"
        return say(
            key,
            diameter_mm=self.diameter_mm,
            angle_deg=round(self.angle_deg),
            edge_px=round(self.edge_px, 1),
            size=self.size.name if self.size else None,
            closer_mm=self.closer_mm,
        )

    def __str__(self) -> str:
        seen = (
            f"the symbol spans {self.angle_deg:.0f}° of Ø{self.diameter_mm:g} mm, "
            f"{self.edge_px:.1f} pixels a module at its edge"
        )
        if self.ok:
            return f"{seen}: readable"
        remedies = {
            Remedy.SMALLER_SYMBOL: f"print a smaller symbol ({self.module_dots} dots a module) on the same label",
            Remedy.OTHER_SIZE: f"take {self.size.name if self.size else ''}",
            Remedy.FLAT: "stick it on the flat of the flange or another flat side",
            Remedy.CLOSER: f"hold it within {self.closer_mm or 0:.0f} mm of the camera, on a flat side",
        }
        return f"{seen}: hard to read; {remedies[self.remedy]}"


def angle_deg(width_mm: float, diameter_mm: float) -> float:
    """Angle that a width spans round a diameter, in degrees: 2w/D radians.  Raises WrongUse."""
    if not (width_mm > 0 and diameter_mm > 0):
        raise WrongUse("a label's width and the diameter it goes round are above 0 mm")
    return math.degrees(2 * width_mm / diameter_mm)


def edge_px(symbol_mm: float, diameter_mm: float, view: CameraView) -> float:
    """Pixels across the outermost module of a symbol; 0 where that module faces away from the camera."""
    module_mm = symbol_mm / MODULES
    inner, outer = (_seen_px(arc_mm, diameter_mm, view) for arc_mm in (symbol_mm / 2 - module_mm, symbol_mm / 2))
    if inner is None or outer is None:
        return 0.0
    return max(0.0, outer - inner)


def _seen_px(arc_mm: float, diameter_mm: float, view: CameraView) -> float | None:
    """Where a point some way along the steel is seen, in pixels from the middle; None when it faces away."""
    if math.isinf(diameter_mm):
        return view.focal_px * arc_mm / view.distance_mm
    radius_mm = diameter_mm / 2
    turn = arc_mm / radius_mm
    # The camera's line of sight touches the cylinder where cos(turn) = R / (R + distance).
    if turn >= math.acos(radius_mm / (radius_mm + view.distance_mm)):
        return None
    depth_mm = view.distance_mm + radius_mm * (1 - math.cos(turn))
    return view.focal_px * radius_mm * math.sin(turn) / depth_mm


def advise(
    layout: Layout,
    diameter_mm: float,
    view: CameraView,
    relaid: Callable[[LabelSize, int | None], Layout],
    *,
    angle_most_deg: float = ANGLE_MOST_DEG,
    edge_least_px: float = EDGE_LEAST_PX,
) -> Advice:
    """Whether a label can be read on steel of a diameter, and else the first remedy that works.

    relaid: lays the same label out on another size with at most so many dots a module, raising LabelError.
    """

    def fares(symbol_mm: float, steel_mm: float = diameter_mm) -> tuple[bool, float, float]:
        angle, pixels = angle_deg(symbol_mm, steel_mm), edge_px(symbol_mm, steel_mm, view)
        return angle <= angle_most_deg and pixels >= edge_least_px, angle, pixels

    ok, angle, pixels = fares(layout.symbol_mm)

    found = Advice(ok, angle, pixels, diameter_mm=diameter_mm)
    if ok:
        return found
    module_mm = INCH_MM / layout.dpi
    for dots in range(layout.symbol.module_dots - 1, least_module_dots(layout.dpi) - 1, -1):
        if fares(MODULES * dots * module_mm)[0]:
            return replace(found, remedy=Remedy.SMALLER_SYMBOL, size=layout.size, module_dots=dots)
    for size in sorted(STANDARD, key=lambda each: -each.height_mm * (each.width_mm or each.height_mm)):
        try:
            other = relaid(size, None)
        except LabelError:
            continue
        if (layout.left_out or not other.left_out) and fares(other.symbol_mm)[0]:
            return replace(found, remedy=Remedy.OTHER_SIZE, size=size, module_dots=other.symbol.module_dots)
    if fares(layout.symbol_mm, FLAT_MM)[0]:
        return replace(found, remedy=Remedy.FLAT)
    near_mm = view.focal_px * layout.module_mm / edge_least_px
    return replace(found, remedy=Remedy.CLOSER, closer_mm=math.floor(near_mm))
