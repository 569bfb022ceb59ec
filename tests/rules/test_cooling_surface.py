"""Which parts of the skin are followed apart: all of it, on both meshes, cut at the same places."""

from __future__ import annotations

from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from kiosk.rules.cooling.mesh import COARSE, FINE, ZONES, Zone, mesh_of
from kiosk.rules.cooling.surface import _parts
from tests.rules.test_cooling_mesh import ALL, MARKS


class Skin(SimpleNamespace):
    """What stands in for a mesh, itself and no other, as a mesh is."""

    __eq__, __hash__ = object.__eq__, object.__hash__


def skin(*middles: tuple[Zone, float]) -> Any:
    """A mesh of nothing but skin cells: their zones and where their middles lie, mm."""
    at_mm = np.array([mm for _, mm in middles])
    zone = np.array([ZONES.index(each) for each, _ in middles])
    return Skin(zone=zone, skin=np.arange(len(middles)), low_mm=at_mm - 0.5, high_mm=at_mm + 0.5)


@pytest.mark.parametrize("name", list(ALL))
@pytest.mark.parametrize("count", [1, 2, 3])
def test_no_skin_is_left_out_and_none_is_followed_twice(name: str, count: int) -> None:
    fine, coarse = mesh_of(ALL[name], MARKS, FINE), mesh_of(ALL[name], MARKS, COARSE)
    for at, zone in enumerate(ZONES):
        cells = np.flatnonzero(fine.zone == at)
        if not len(cells):
            continue
        found = _parts(fine, coarse, zone, count)
        assert sorted(np.concatenate([part.fine for part in found]).tolist()) == cells.tolist()
        assert all(len(part.fine) and len(part.coarse) for part in found) and len(found) <= count
        middles = (fine.low_mm + fine.high_mm)[fine.skin] / 2
        reach = [(middles[part.fine].min(), middles[part.fine].max()) for part in found]
        assert all(one[1] <= two[0] for one, two in pairwise(reach)), "lengths along the axis"


def test_a_zone_too_small_for_the_coarse_mesh_is_as_the_hottest_of_all_its_skin() -> None:
    fine, coarse = skin((Zone.NOSE, 1.0), (Zone.FLANGE, 40.0)), skin((Zone.NOSE, 1.0), (Zone.NOSE, 30.0))
    (part,) = _parts(fine, coarse, Zone.FLANGE, 3)
    assert part.fine.tolist() == [1] and part.coarse.tolist() == [0, 1]


def test_a_part_of_a_zone_without_coarse_cells_makes_it_one_part_and_one_without_any_is_none() -> None:
    coarse = skin(*((Zone.NOSE, mm) for mm in (0.0, 10.0, 20.0, 30.0)))  # cut at 6, 12, 18 and 24: none in the middle
    (part,) = _parts(skin((Zone.NOSE, 0.0), (Zone.NOSE, 15.0), (Zone.NOSE, 30.0)), coarse, Zone.NOSE, 5)
    assert part.fine.tolist() == [0, 1, 2] and part.coarse.tolist() == [0, 1, 2, 3]
    found = _parts(skin((Zone.NOSE, 0.0), (Zone.NOSE, 11.0), (Zone.NOSE, 30.0)), coarse, Zone.NOSE, 5)
    assert [(part.fine.tolist(), part.coarse.tolist()) for part in found] == [([0], [0]), ([1], [1]), ([2], [3])]
