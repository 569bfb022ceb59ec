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
    (L.Moved, "undoes"), (L.TornDown, "undoes"), (L.Imported, "count"), (L.ImportUndone, "imported"),
    *((L.Heated, name) for name in ("temp_c", "length_mm", "heats", "body_c")),
    *((L.TemperatureRead, name) for name in ("expected_c", "ambient_c", "by_heat_k", "by_film_k", "other_sd_k")),
    *((L.TemperatureRead, name) for name in ("heating", "spread_k", "usual_c", "about_heat")), (L.HoldEnded, "heating"),
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
