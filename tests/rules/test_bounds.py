"""Every figure that comes in has bounds and a unit, and nothing that is no number lies within."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any, get_args, get_origin, get_type_hints

import pytest

from kiosk.rules import lines as L
from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Family, Holder, Measured
from kiosk.rules.bounds import SETTINGS, Bound, OutOfBounds
from kiosk.rules.bounds_of_lines import BOUNDS, check
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.places import Kind, Place
from kiosk.settings import Settings

COME_IN = (Holder, Cutter, Coupling, Place, Magazine, Measured, Assembly)
# What a line says that the kiosk counted or worked out itself, or that names a line.
OWN = {
    (L.Moved, "undoes"), (L.TornDown, "undoes"), (L.ConditionSaid, "undoes"),
    (L.Imported, "count"), (L.ImportUndone, "imported"),
    *((L.Heated, name) for name in ("temp_c", "length_mm", "heats", "body_c")),
    *((L.TemperatureRead, name) for name in ("expected_c", "ambient_c", "by_heat_k", "by_film_k", "other_sd_k")),
    *((L.TemperatureRead, name) for name in ("heating", "spread_k", "usual_c", "about_heat")), (L.HoldEnded, "heating"),
    (L.ReadingWithdrawn, "reading"), (L.ReadingWithdrawn, "heating"),
    *((L.KioskLockedOut, name) for name in ("shared", "unshared")),
    *((L.AuditClosed, field.name) for field in fields(L.AuditClosed)),
}  # fmt: skip
HOLDER = Holder("k", "n", Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0)
CUTTER = Cutter("c", "n", 12.0, 12.0, 90.0)


def numeric(kind: type) -> set[str]:
    """Fields that hold a figure.  Pockets by number, as a magazine has them, are held against its own numbers."""
    hints = get_type_hints(kind)
    plain = {
        name: {hint, *(get_args(hint) if get_origin(hint) is not frozenset else ())} for name, hint in hints.items()
    }
    return {field.name for field in fields(kind) if plain[field.name] & {int, float}}


def test_every_figure_of_what_comes_in_has_bounds() -> None:
    for kind in COME_IN:
        assert numeric(kind) == set(BOUNDS[kind]), kind


def test_every_figure_a_line_brings_has_bounds_or_is_the_kiosks_own() -> None:
    for kind in L.KINDS.values():
        named = {name for name in numeric(kind) if (kind, name) not in OWN}
        assert named == set(BOUNDS.get(kind, {})), kind


def test_every_figure_among_the_settings_has_bounds_and_its_default_lies_within() -> None:
    found = {}
    for group in fields(Settings):
        table = getattr(Settings(), group.name)
        assert is_dataclass(table)
        for name in numeric(type(table)):
            found[f"{group.name}.{name}"] = getattr(table, name)
    assert found.keys() == SETTINGS.keys()
    assert all(SETTINGS[name].takes(value) for name, value in found.items())


@pytest.mark.parametrize("kind", [*BOUNDS, None])
def test_what_is_no_number_lies_nowhere(kind: type | None) -> None:
    for bound in (BOUNDS[kind] if kind else SETTINGS).values():
        assert bound.least < bound.most
        assert bound.takes(bound.least) and bound.takes(bound.most)
        beyond = (math.nan, math.inf, -math.inf, 10**30, math.nextafter(bound.least, -math.inf))
        assert not any(map(bound.takes, beyond))


def test_a_figure_names_its_unit_where_its_name_does() -> None:
    units = {"mm": "mm", "um": "µm", "kg": "kg", "s": "s", "h": "h", "c": "°C", "nm": "Nm", "ms": "ms", "days": "d"}
    for name, bound in [*((n, b) for table in BOUNDS.values() for n, b in table.items()), *SETTINGS.items()]:
        tail = name.rpartition("_")[2]
        if "_" in name and tail in units and "px_per" not in name:
            assert bound.unit == units[tail], name


@pytest.mark.parametrize(
    "line",
    [
        L.HolderRegistered(Holder("k", "n", HOLDER.coupling, Clamping.SHRINK_FIT, math.nan)),
        L.CutterAdded(Cutter("c", "n", 12.0, 12.0, math.inf)),
        L.CutterAdded(Cutter("c", "n", 12.0, 12.0, 90.0, zefp=0)),
        L.PlaceAdded(Place("p", "n", Kind.COOLING, way="sleeve", wet_length_mm=5500.0)),
        L.PlaceAdded(Place("p", "n", Kind.COOLING, way="sleeve", wet_length_mm=-50.0)),
        L.PlaceAdded(Place("p", "n", Kind.COOLING, way="sleeve", wet_length_mm=math.nan)),
        L.PlaceAdded(Place("p", "n", Kind.COOLING, capacity=0)),
        L.MeasuredLine("h", "a", Measured(math.nan, 1.0)),
        L.CutterReground("c", dc_mm=-1.0),
        L.TemperatureRead("h", "nose", math.nan, "probe", "agrees"),
        L.ToolNumbered("h", "a", 10**20),
        L.Built("a", "n", "h", "c", math.inf),
    ],
    ids=str,
)
def test_a_line_with_a_figure_that_cannot_be_is_turned_away(line: Any) -> None:
    with pytest.raises(OutOfBounds):
        check(line)


def test_what_is_possible_passes() -> None:
    check(L.HolderRegistered(HOLDER))
    check(L.Built("a", "n", "h", "c", None))
    check(Assembly("a", "n", HOLDER, CUTTER))
    assert str(Bound(1, 400, "mm", 1)) == "1 to 400 mm"


# name, least to most with the unit, decimals: a second time, as a slip there lets figures in that cannot be
WRITTEN = """
Coupling.size 25 to 160, 0
Holder.bore_mm 0.5 to 160 mm, 2
Holder.bore_min_mm 0.5 to 160 mm, 2
Holder.nose_mm 1 to 400 mm, 2
Holder.projection_mm 1 to 1000 mm, 2
Holder.insert_min_mm 0 to 500 mm, 1
Holder.insert_max_mm 0 to 500 mm, 1
Holder.rpm_max 1 to 500000 1/min, 0
Holder.mass_kg 0.01 to 200 kg, 3
Holder.heat_limit 1 to 100000, 0
Cutter.dc_mm 0.01 to 500 mm, 3
Cutter.dmm_mm 0.5 to 160 mm, 3
Cutter.oal_mm 1 to 1000 mm, 3
Cutter.lf_mm 0 to 1000 mm, 3
Cutter.lu_mm 0 to 1000 mm, 3
Cutter.re_mm 0 to 250 mm, 3
Cutter.zefp 1 to 200, 0
Cutter.rpmx_rpm 1 to 500000 1/min, 0
Cutter.wt_kg 0 to 100 kg, 3
Cutter.life_min 0 to 1e+06 min, 0
Place.number 0 to 99999, 0
Place.capacity 1 to 10000, 0
Place.wet_length_mm 1 to 400 mm, 1
Magazine.pockets 1 to 1000, 0
Magazine.pitch_mm 1 to 1000 mm, 2
Magazine.clearance_mm 0 to 500 mm, 2
Magazine.rpm_max 1 to 500000 1/min, 0
Magazine.rpm_needed 1 to 500000 1/min, 0
Magazine.mass_max_kg 0.01 to 500 kg, 2
Magazine.moment_max_nm 0.01 to 5000 Nm, 2
Magazine.length_max_mm 1 to 2000 mm, 1
Magazine.diameter_max_mm 1 to 1000 mm, 1
Magazine.diameter_max_free_mm 1 to 1000 mm, 1
Magazine.change_at 0 to 99999, 0
Magazine.first 0 to 99999, 0
Magazine.ring_mm 1 to 10000 mm, 1
Magazine.rows 1 to 100, 0
Magazine.row_pitch_mm 1 to 2000 mm, 1
Measured.length_mm 0.001 to 1000 mm, 3
Measured.diameter_mm 0.001 to 500 mm, 3
Measured.corner_radius_mm 0 to 250 mm, 3
Measured.runout_um 0 to 10000 µm, 0
Measured.edges 1 to 200, 0
Measured.unbalance_gmm 0 to 1e+06 g mm, 2
Measured.balance_grade 0 to 100000, 2
Measured.at_rpm 0 to 500000 1/min, 0
Measured.length_error_um -10000 to 10000 µm, 1
Unbalance.residual_gmm 0 to 1e+06 g·mm, 2
Unbalance.grade 0.1 to 4000, 1
Unbalance.rpm 1 to 500000 1/min, 0
Unbalance.mass_kg 0.01 to 300 kg, 3
Assembly.insert_mm 0 to 500 mm, 1
Assembly.used_min 0 to 1e+06 min, 0
Built.insert_mm 0 to 500 mm, 1
CutterReground.dc_mm 0.01 to 500 mm, 3
CutterReground.oal_mm 1 to 1000 mm, 3
ConditionSaid.used_min 0 to 1e+06 min, 0
TemperatureRead.value_c -30 to 500 °C, 1
TemperatureRead.tolerance_k 1 to 5 K, 1
ReadingWithdrawn.value_c -30 to 500 °C, 1
ToolNumbered.number 0 to 1e+08, 0
LabelWorn.spent 0 to 1, 2
kiosk.volume 0 to 1, 1
kiosk.pair_s 5 to 120 s, 0
kiosk.undo_s 10 to 600 s, 0
kiosk.sign_out_s 30 to 28800 s, 0
kiosk.shift_h 1 to 24 h, 1
kiosk.px_per_mm 0 to 40 px/mm, 2
kiosk.travel_s 0 to 600 s, 0
heat.limit_c 30 to 48 °C, 1
heat.ambient_c 5 to 40 °C, 1
heat.ambient_sd_k 0.8 to 5 K, 1
heat.temp_c 150 to 400 °C, 0
heat.heating_s 5 to 600 s, 0
heat.reheat_s 5 to 300 s, 0
heat.length_tolerance_um 0.5 to 50 µm, 1
heat.cycles_limit 1 to 100000, 0
heat.probe_tolerance_k 1 to 5 K, 1
build.friction 0.05 to 0.25, 2
build.clearance_um 0 to 30 µm, 1
build.side_screw_rpm 500 to 30000 1/min, 0
build.balance_grade 0.1 to 4000, 1
camera.rotation_deg 0 to 270 °, 0
camera.field_deg 20 to 120 °, 1
camera.distance_mm 80 to 1000 mm, 0
camera.label_mm 9 to 200 mm, 1
camera.budget_ms 10 to 1000 ms, 0
labels.dpi 150 to 1200 dpi, 0
audit.measured_days 1 to 3650 d, 0
backup.keep 1 to 1000, 0
phones.port 1024 to 65535, 0
thermometer.baud 300 to 921600 Bd, 0
thermometer.unknown_c 15 to 38 °C, 1
"""


def test_the_bounds_are_those_that_are_written_here() -> None:
    tables = {**{kind.__name__ + ".": table for kind, table in BOUNDS.items()}, "": SETTINGS}
    found = [f"{of}{name} {each}, {each.decimals}" for of, table in tables.items() for name, each in table.items()]
    assert found == WRITTEN.strip().splitlines()
    assert BOUNDS[L.ToolNumbered]["number"].most == 99_999_999


def test_both_ends_of_a_range_are_within_it_and_a_truth_is_no_figure() -> None:
    assert [Bound(1, 3).takes(value) for value in (0.99, 1, 2, 3, 3.01)] == [False, True, True, True, False]
    assert str(Bound(1, 3)) == "1 to 3" and str(Bound(0.5, 3, "mm", 1)) == "0.5 to 3 mm"
    cutter = Cutter("c", "n", 12.0, 12.0, 90.0)
    check(Assembly("a", "n", HOLDER, cutter, 0.0))
    with pytest.raises(OutOfBounds) as deep:
        check(Assembly("a", "n", Holder("k", "n", Coupling(Family.HOLLOW_TAPER, 161), Clamping.COLLET, 12.0), cutter))
    assert (deep.value.field, deep.value.value, deep.value.bound) == ("size", 161, Bound(25, 160))
