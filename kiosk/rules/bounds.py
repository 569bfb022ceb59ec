"""What a figure that comes in may be, with its unit: for pads, files, settings and commands.

A figure outside its bounds is a slip of the finger or of a file, and is turned away where it comes in; what is not a
number never lies within.  The bounds are what such a thing can be at all in a shop that mills, not what is usual.
Sources: ISO 12164 and ISO 7388 (couplings up to 160 mm), makers' catalogues for the largest of each kind, and for
heat the ranges the cooling model was checked in.  Figures of the book's own things and lines: `bounds_of_lines.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class Bound(NamedTuple):
    """From `least` to `most`, both taken, in `unit`; typed with so many `decimals`."""

    least: float
    most: float
    unit: str = ""
    decimals: int = 0

    def takes(self, value: float) -> bool:
        """Whether a figure lies within; what is not a number does not."""
        return self.least <= value <= self.most

    def __str__(self) -> str:
        return f"{self.least:g} to {self.most:g} {self.unit}".rstrip()


class OutOfBounds(ValueError):
    """A figure that cannot be.  `field`, `value`, `bound`."""

    def __init__(self, field: str, value: float, bound: Bound) -> None:
        super().__init__(f"{field}: {value:g} cannot be; it lies between {bound}")
        self.field = field
        self.value = value
        self.bound = bound


DEPTH = Bound(0, 500, "mm", 1)
WET_LENGTH = Bound(1, 400, "mm", 1)
READING = Bound(-30, 500, "°C", 1)
TOLERANCE = Bound(1, 5, "K", 1)
TOOL_NUMBER = Bound(0, 99_999_999)
GRADE = Bound(0.1, 4000, "", 1)  # balance quality G, mm/s, by ISO 21940-11

SETTINGS: Mapping[str, Bound] = {
    "kiosk.volume": Bound(0, 1, "", 1),
    "kiosk.pair_s": Bound(5, 120, "s"),
    "kiosk.undo_s": Bound(10, 600, "s"),
    "kiosk.sign_out_s": Bound(30, 28_800, "s"),
    "kiosk.shift_h": Bound(1, 24, "h", 1),
    "kiosk.px_per_mm": Bound(0, 40, "px/mm", 2),
    "kiosk.travel_s": Bound(0, 600, "s"),
    "heat.limit_c": Bound(30, 48, "°C", 1),
    "heat.ambient_c": Bound(5, 40, "°C", 1),
    "heat.ambient_sd_k": Bound(0.8, 5, "K", 1),
    "heat.temp_c": Bound(150, 400, "°C"),
    "heat.heating_s": Bound(5, 600, "s"),
    "heat.reheat_s": Bound(5, 300, "s"),
    "heat.length_tolerance_um": Bound(0.5, 50, "µm", 1),
    "heat.cycles_limit": Bound(1, 100_000),
    "heat.probe_tolerance_k": TOLERANCE,
    "build.friction": Bound(0.05, 0.25, "", 2),
    "build.clearance_um": Bound(0, 30, "µm", 1),
    "build.side_screw_rpm": Bound(500, 30_000, "1/min"),
    "build.balance_grade": GRADE,
    "camera.rotation_deg": Bound(0, 270, "°"),
    "camera.field_deg": Bound(20, 120, "°", 1),
    "camera.distance_mm": Bound(80, 1000, "mm"),
    "camera.label_mm": Bound(9, 200, "mm", 1),
    "camera.budget_ms": Bound(10, 1000, "ms"),
    "labels.dpi": Bound(150, 1200, "dpi"),
    "audit.measured_days": Bound(1, 3650, "d"),
    "backup.keep": Bound(1, 1000),
    "phones.port": Bound(1024, 65_535),
    "thermometer.baud": Bound(300, 921_600, "Bd"),
    "thermometer.unknown_c": Bound(15, 38, "°C", 1),
}
