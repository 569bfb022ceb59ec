"""What the cooling model cuts a holder into is the holder: its mass, its skin, its zones, and where each part ends."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from kiosk.rules.cooling.mesh import COARSE, FINE, ZONES, Grid, Mesh, Zone, mesh_of
from kiosk.rules.outline import STEEL, Metal, Profile, Segment, Tool

CARBIDE = Metal(80.0, 14500.0, 230.0, 5.5e-6, 600.0)


def of(shank_mm: float | None, *segments: tuple[float, float, float, float], stickout_mm: float = 33.0) -> Profile:
    tool = Tool(shank_mm, 38.0, stickout_mm, CARBIDE) if shank_mm else None
    return Profile(tuple(Segment(*each) for each in segments), tool)


SLIM = of(12.0, (55.0, 24.0, 31.0, 12.0), (14.0, 36.0, 44.0, 0.0), (26.0, 63.0, 63.0, 0.0), (32.0, 38.0, 36.0, 20.0))
THIN = of(4.0, (40.0, 15.0, 20.0, 4.0), (20.0, 32.0, 32.0, 0.0), (16.0, 24.0, 22.0, 17.0), stickout_mm=1.5)
EMPTY = of(None, (52.0, 27.0, 34.0, 16.0), (19.0, 63.0, 63.0, 0.0), (68.0, 44.0, 25.0, 17.0))
ALL = {"slim": SLIM, "thin": THIN, "empty": EMPTY}
MARKS = (42.0, 45.25)


@pytest.fixture(params=[(name, grid) for name in ALL for grid in (FINE, COARSE)], ids=lambda each: each[0])
def cut(request: pytest.FixtureRequest) -> tuple[Profile, Grid, Mesh]:
    name, grid = request.param
    return ALL[name], grid, mesh_of(ALL[name], MARKS, grid)


def edges_of(mesh: Mesh) -> list[float]:
    return sorted({*mesh.low_mm.tolist(), *mesh.high_mm.tolist()})


def cone_mm3(length_mm: float, one_mm: float, two_mm: float) -> float:
    return math.pi / 12 * length_mm * (one_mm**2 + one_mm * two_mm + two_mm**2)


def test_it_weighs_what_the_outline_weighs(cut: tuple[Profile, Grid, Mesh]) -> None:
    """Heat capacities against cones and bores worked out by hand."""
    profile, _, mesh = cut
    tool, stored_j_k, at_mm = profile.tool, 0.0, 0.0
    for each in profile.segments:
        steel_mm3 = cone_mm3(each.length_mm, each.od_start_mm, each.od_end_mm)
        deep_mm = min(max((tool.insert_mm if tool else 0.0) - at_mm, 0.0), each.length_mm)
        inside_mm = max(each.bore_mm, tool.shank_mm) if tool else each.bore_mm
        for long_mm, wide_mm in ((deep_mm, inside_mm), (each.length_mm - deep_mm, each.bore_mm)):
            steel_mm3 -= math.pi / 4 * wide_mm**2 * long_mm
        stored_j_k += steel_mm3 * 1e-9 * STEEL.rho_kg_m3 * STEEL.c_j_kgk
        at_mm += each.length_mm
    if tool:
        carbide_mm3 = math.pi / 4 * tool.shank_mm**2 * (tool.insert_mm + tool.stickout_mm)
        carbide_j_k = carbide_mm3 * 1e-9 * CARBIDE.rho_kg_m3 * CARBIDE.c_j_kgk
        assert float((mesh.root[~mesh.steel] ** 2).sum()) == pytest.approx(carbide_j_k, rel=1e-6)
    assert float((mesh.root[mesh.steel] ** 2).sum()) == pytest.approx(stored_j_k, rel=1e-4)


def test_heat_only_flows_from_one_piece_to_another(cut: tuple[Profile, Grid, Mesh]) -> None:
    """A holder as warm everywhere exchanges nothing within: every row of the conduction is without a sum."""
    _, _, mesh = cut
    count, warm = len(mesh.root), mesh.root
    flows = mesh.bands[0] * warm
    for off in range(1, len(mesh.bands)):
        along = mesh.bands[off, : count - off]
        flows[: count - off] += along * warm[off:]
        flows[off:] += along * warm[: count - off]
    assert float(np.abs(flows).max()) < 1e-9 * float((mesh.bands[0] * warm).max())


def test_slices_end_where_something_ends_and_are_as_thick_as_was_asked_for(cut: tuple[Profile, Grid, Mesh]) -> None:
    profile, grid, mesh = cut
    tool, edges = profile.tool, edges_of(mesh)
    ends = np.cumsum([0.0, *(each.length_mm for each in profile.segments)]).tolist()
    wanted = {*ends, *MARKS, *((-tool.stickout_mm, tool.insert_mm) if tool else ())}
    assert all(min(abs(edge - each) for edge in edges) < 1e-9 for each in wanted)
    for low, high in pairwise(edges):
        begun, ended = max(each for each in wanted if each <= low + 1e-9), min(e for e in wanted if e > low + 1e-9)
        step = grid.near if 0.0 <= begun < max(MARKS) + 6.0 else grid.far
        assert high - low == pytest.approx((ended - begun) / math.ceil((ended - begun) / step - 1e-9))


def test_two_marks_in_one_place_are_one_edge() -> None:
    edges = edges_of(mesh_of(SLIM, (42.0, 42.0007, 45.25)))
    assert min(high - low for low, high in pairwise(edges)) > 0.5


def test_a_thick_shank_is_two_rings_and_a_thin_one_is_one() -> None:
    for shank_mm, rings in ((4.0, 1), (5.0, 1), (5.2, 2), (8.0, 2), (12.0, 2)):
        profile = of(shank_mm, (55.0, 24.0, 31.0, shank_mm), (14.0, 63.0, 63.0, 0.0), (40.0, 38.0, 36.0, 20.0))
        mesh = mesh_of(profile, MARKS)
        first = mesh.low_mm == mesh.low_mm.min()
        assert int(first.sum()) == rings, shank_mm


def test_what_is_thinner_than_half_a_millimetre_is_no_ring_of_its_own() -> None:
    """The flange is hardly wider than the neck: the last ring reaches out to it, and no sliver is made."""
    for wide_mm, more in ((31.8, 0), (32.4, 1), (44.0, 2)):
        profile = of(12.0, (55.0, 31.0, 31.0, 12.0), (14.0, wide_mm, wide_mm, 0.0), (40.0, 30.0, 30.0, 20.0))
        mesh = mesh_of(profile, MARKS)
        flange = (mesh.low_mm >= 55.0) & (mesh.high_mm <= 69.0)
        rings = int(flange.sum()) / len(set(mesh.low_mm[flange]))
        assert rings == 2 + math.ceil((31.0 / 2 - 6.0) / 3.0) + more, wide_mm


def test_each_piece_of_skin_belongs_to_the_zone_its_middle_lies_in(cut: tuple[Profile, Grid, Mesh]) -> None:
    profile, _, mesh = cut
    start, end = profile.flange_mm
    for cell, zone in zip(mesh.skin, mesh.zone, strict=True):
        middle = (mesh.low_mm[cell] + mesh.high_mm[cell]) / 2
        behind = Zone.FLANGE if middle < end else Zone.TAPER
        said = Zone.SHANK if middle < 0 else Zone.NOSE if middle < start else behind
        assert ZONES[zone] is said, middle


def test_all_skin_is_there_and_none_inside(cut: tuple[Profile, Grid, Mesh]) -> None:
    """Around: cylinders of the slices' mean radius; across: every shoulder, and both ends."""
    profile, _, mesh = cut
    tool = profile.tool
    around_m2 = sum(
        math.pi * (each.od_start_mm + each.od_end_mm) / 2 * each.length_mm * 1e-6 for each in profile.segments
    ) + (math.pi * tool.shank_mm * tool.stickout_mm * 1e-6 if tool else 0.0)
    assert float(mesh.side_m2.sum()) == pytest.approx(around_m2, rel=1e-9)
    exposed = (mesh.side_m2 + mesh.end_m2) > 0
    assert set(mesh.skin.tolist()) == set(np.flatnonzero(exposed).tolist())


def test_a_kelvin_everywhere_is_the_growth_of_what_is_measured() -> None:
    grown = float(mesh_of(EMPTY, MARKS).stretch_um.sum())
    assert grown == pytest.approx(EMPTY.gauge_z_mm * STEEL.alpha_per_k * 1e3, rel=1e-9)


def test_how_fine_a_holder_is_cut_is_what_the_model_was_held_to_the_reference_with() -> None:
    assert Grid(near=1.5, far=2.5, ring=3.0, wide=6.0) == FINE
    assert Grid(near=3.0, far=6.0, ring=6.0, wide=12.0) == COARSE
    assert [len(mesh_of(SLIM, MARKS, grid).root) for grid in (FINE, COARSE)] == [422, 143], "rings"
