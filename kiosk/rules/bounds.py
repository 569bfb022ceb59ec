"""Every figure that comes in, with its unit and what it may be: the one table for pads, files, settings and commands.

A figure outside its bounds is a slip of the finger or of a file, and is turned away where it comes in; what is not a
number never lies within.  The bounds are what such a thing can be at all in a shop that mills, not what is usual.
Sources: ISO 12164 and ISO 7388 (couplings up to 160 mm), makers' catalogues for the largest of each kind, and for
heat the ranges the cooling model was checked in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import NamedTuple

from kiosk.rules import lines as L
from kiosk.rules.assembly import Assembly, Coupling, Cutter, Holder, Measured
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.places import Place


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


_EDGES = Bound(1, 200)
_RPM = Bound(1, 500_000, "1/min")
_DIAMETER = Bound(0.01, 500, "mm", 3)
_OVERALL = Bound(1, 1000, "mm", 3)
_RADIUS = Bound(0, 250, "mm", 3)
_BORE = Bound(0.5, 160, "mm", 2)
_MINUTES = Bound(0, 1_000_000, "min")
_NUMBER = Bound(0, 99_999)
DEPTH = Bound(0, 500, "mm", 1)
WET_LENGTH = Bound(1, 400, "mm", 1)
READING = Bound(-30, 500, "°C", 1)
TOOL_NUMBER = Bound(0, 99_999_999)

BOUNDS: Mapping[type, Mapping[str, Bound]] = {
    Coupling: {"size": Bound(25, 160)},
    Holder: {
        "bore_mm": _BORE,
        "bore_min_mm": _BORE,
        "nose_mm": Bound(1, 400, "mm", 2),
        "projection_mm": Bound(1, 1000, "mm", 2),
        "insert_min_mm": DEPTH,
        "insert_max_mm": DEPTH,
        "rpm_max": _RPM,
        "mass_kg": Bound(0.01, 200, "kg", 3),
        "heat_limit": Bound(1, 100_000),
    },
    Cutter: {
        "dc_mm": _DIAMETER,
        "dmm_mm": Bound(0.5, 160, "mm", 3),
        "oal_mm": _OVERALL,
        "lf_mm": Bound(0, 1000, "mm", 3),
        "lu_mm": Bound(0, 1000, "mm", 3),
        "re_mm": _RADIUS,
        "zefp": _EDGES,
        "rpmx_rpm": _RPM,
        "wt_kg": Bound(0, 100, "kg", 3),
        "life_min": _MINUTES,
    },
    Place: {"number": _NUMBER, "capacity": Bound(1, 10_000), "wet_length_mm": WET_LENGTH},
    Magazine: {
        "pockets": Bound(1, 1000),
        "pitch_mm": Bound(1, 1000, "mm", 2),
        "clearance_mm": Bound(0, 500, "mm", 2),
        "rpm_max": _RPM,
        "rpm_needed": _RPM,
        "mass_max_kg": Bound(0.01, 500, "kg", 2),
        "moment_max_nm": Bound(0.01, 5000, "Nm", 2),
        "length_max_mm": Bound(1, 2000, "mm", 1),
        "diameter_max_mm": Bound(1, 1000, "mm", 1),
        "diameter_max_free_mm": Bound(1, 1000, "mm", 1),
        "change_at": _NUMBER,
        "first": _NUMBER,
        "ring_mm": Bound(1, 10_000, "mm", 1),
        "rows": Bound(1, 100),
        "row_pitch_mm": Bound(1, 2000, "mm", 1),
    },
    Measured: {
        "length_mm": Bound(0.001, 1000, "mm", 3),
        "diameter_mm": Bound(0.001, 500, "mm", 3),
        "corner_radius_mm": _RADIUS,
        "runout_um": Bound(0, 10_000, "µm"),
        "edges": _EDGES,
        "unbalance_gmm": Bound(0, 1_000_000, "g mm", 2),
        "balance_grade": Bound(0, 100_000, "", 2),
        "at_rpm": Bound(0, 500_000, "1/min"),
        "length_error_um": Bound(-10_000, 10_000, "µm", 1),
    },
    Assembly: {"insert_mm": DEPTH, "used_min": _MINUTES},
    L.Built: {"insert_mm": DEPTH},
    L.CutterReground: {"dc_mm": _DIAMETER, "oal_mm": _OVERALL},
    L.ConditionSaid: {"used_min": _MINUTES},
    L.TemperatureRead: {"value_c": READING},
    L.ReadingWithdrawn: {"value_c": READING},
    L.ToolNumbered: {"number": TOOL_NUMBER},
}

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
    "heat.temp_c": Bound(150, 400, "°C"),
    "heat.heating_s": Bound(5, 600, "s"),
    "heat.reheat_s": Bound(5, 300, "s"),
    "heat.length_tolerance_um": Bound(0.5, 50, "µm", 1),
    "heat.cycles_limit": Bound(1, 100_000),
    "build.friction": Bound(0.05, 0.25, "", 2),
    "build.clearance_um": Bound(0, 30, "µm", 1),
    "build.side_screw_rpm": Bound(500, 30_000, "1/min"),
    "camera.rotation_deg": Bound(0, 270, "°"),
    "camera.field_deg": Bound(20, 120, "°", 1),
    "camera.distance_mm": Bound(80, 1000, "mm"),
    "camera.label_mm": Bound(9, 200, "mm", 1),
    "camera.budget_ms": Bound(10, 1000, "ms"),
    "labels.dpi": Bound(150, 1200, "dpi"),
    "audit.measured_days": Bound(1, 3650, "d"),
    "backup.keep": Bound(1, 1000),
    "thermometer.baud": Bound(300, 921_600, "Bd"),
    "thermometer.unknown_c": Bound(15, 38, "°C", 1),
}


def faults(value: object) -> Iterator[OutOfBounds]:
    """Every figure in `value`, and in what it holds, that cannot be."""
    known = BOUNDS.get(type(value), {})
    for each in fields(value):  # type: ignore[arg-type]  # only dataclasses come here
        found = getattr(value, each.name)
        if isinstance(found, bool):
            continue
        if isinstance(found, int | float):
            if (bound := known.get(each.name)) is not None and not bound.takes(found):
                yield OutOfBounds(each.name, found, bound)
        elif is_dataclass(found) and not isinstance(found, type):
            yield from faults(found)


def check(value: object) -> None:
    """Raises OutOfBounds for the first figure that cannot be."""
    for fault in faults(value):
        raise fault
