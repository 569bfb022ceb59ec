"""What each figure of a thing in the book and of a line may be: one table by class, asked wherever one is written.

Sources as in `bounds.py`, which also says what a bound is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass

from kiosk.rules import lines as L
from kiosk.rules.assembly import Assembly, Coupling, Cutter, Holder, Measured, Unbalance
from kiosk.rules.bounds import DEPTH, GRADE, READING, TOLERANCE, TOOL_NUMBER, WET_LENGTH, Bound, OutOfBounds
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.places import Place

_EDGES = Bound(1, 200)
_RPM = Bound(1, 500_000, "1/min")
_DIAMETER = Bound(0.01, 500, "mm", 3)
_OVERALL = Bound(1, 1000, "mm", 3)
_RADIUS = Bound(0, 250, "mm", 3)
_BORE = Bound(0.5, 160, "mm", 2)
_MINUTES = Bound(0, 1_000_000, "min")
_NUMBER = Bound(0, 99_999)

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
    Unbalance: {
        "residual_gmm": Bound(0, 1_000_000, "g·mm", 2),
        "grade": GRADE,
        "rpm": _RPM,
        "mass_kg": Bound(0.01, 300, "kg", 3),
    },
    Assembly: {"insert_mm": DEPTH, "used_min": _MINUTES},
    L.Built: {"insert_mm": DEPTH},
    L.CutterReground: {"dc_mm": _DIAMETER, "oal_mm": _OVERALL},
    L.ConditionSaid: {"used_min": _MINUTES},
    L.TemperatureRead: {"value_c": READING, "tolerance_k": TOLERANCE},
    L.ReadingWithdrawn: {"value_c": READING},
    L.ToolNumbered: {"number": TOOL_NUMBER},
    L.LabelWorn: {"spent": Bound(0, 1, "", 2)},
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
