"""A holder cut into rings: heat capacities, conductances and exposed skin for the cooling model.

Axisymmetric finite volumes: slices along the axis, rings across it, cut where the outline cuts them, so that
areas and volumes of cones and shoulders are exact on a coarse grid.  It never lets the empty bore exchange
heat: what is not sure to cool does not.  Scheme: standard two-point fluxes (harmonic resistances), and the
skin of a cone counted in steps, its cylinder plus its shoulder, as the reference solution does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiosk.rules.outline import Profile

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


class Grid(NamedTuple):
    """How fine a holder is cut, mm.

    near, far: thickness of slices where it was heated and beyond.  ring, wide: of rings inside the neck and outside it,
    in flange and taper, where temperatures are flat across.
    """

    near: float
    far: float
    ring: float
    wide: float


FINE = Grid(1.5, 2.5, 3.0, 6.0)
COARSE = Grid(3.0, 6.0, 6.0, 12.0)  # for how holders differ from a finely solved one

_GAP_MM = 1e-6


class Zone(Enum):
    """Parts of a holder a hand or a probe finds; the value is how the ledger writes it."""

    SHANK = "shank"
    NOSE = "nose"
    FLANGE = "flange"
    TAPER = "taper"

    @property
    def read_at(self) -> Zone:
        """Where a probe goes for it: the taper is read at the flange it is one piece with."""
        return Zone.FLANGE if self is Zone.TAPER else self


ZONES = tuple(Zone)


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """n cells in slice order.  Bands are lower symmetric storage as LAPACK wants it.

    root: (n,) square root of heat capacity, J/K.  bands: (b+1, n) conduction scaled by both roots, 1/s.
    side_m2, end_m2: (n,) exposed skin around and across.  side_r, end_r: (n,) m2K/W from the cell's middle to
    that skin.  skin: indices of cells with any.  zone: (skin,) index into ZONES.  low_mm, high_mm: (n,) the
    slice.  steel: (n,) bool.  stretch_um: (n,) growth of the measured length for each K of a cell.
    """

    root: Floats
    bands: NDArray[np.float64]
    side_m2: Floats
    end_m2: Floats
    side_r: Floats
    end_r: Floats
    skin: Ints
    zone: Ints
    low_mm: Floats
    high_mm: Floats
    steel: NDArray[np.bool_]
    stretch_um: Floats


def _slices(profile: Profile, marks: tuple[float, ...], grid: Grid) -> Floats:
    """Boundaries of the slices, mm from the nose."""
    tool = profile.tool
    tip = -tool.stickout_mm if tool else 0.0
    end = profile.length_mm
    cuts = {tip, 0.0, end, *marks}
    at = 0.0
    for segment in profile.segments:
        at += segment.length_mm
        cuts.add(at)
    if tool:
        cuts.add(tool.insert_mm)
    near = max((tool.insert_mm if tool else 0.0, *marks)) + 6.0
    edges = sorted(cut for cut in cuts if tip <= cut <= end)
    bounds = [edges[0]]
    for low, high in pairwise(edges):
        if high - low < 1e-3:
            continue
        step = grid.near if 0 <= low < near else grid.far
        count = max(1, math.ceil((high - low) / step - 1e-9))
        bounds.extend(low + (high - low) * (part + 1) / count for part in range(count))
    return np.array(bounds)


def _rings(profile: Profile, widest: float, grid: Grid) -> Floats:
    """Radii between the rings, mm: the shank's is always one of them."""
    tool = profile.tool
    inner = tool.shank_mm / 2 if tool else profile.segments[0].bore_mm / 2
    flange_start, _ = profile.flange_mm
    neck, at = inner, 0.0
    for segment in profile.segments:
        if at < flange_start:
            neck = max(neck, segment.od_start_mm / 2, segment.od_end_mm / 2)
        at += segment.length_mm
    lines = [0.0]
    if inner > 0:
        lines += [inner / 2, inner] if inner > 2.5 else [inner]
    for top, step in ((min(neck, widest), grid.ring), (widest, grid.wide)):
        count = math.ceil((top - lines[-1]) / step - 1e-9)
        if top - lines[-1] > 0.5:
            lines += [lines[-1] + (top - lines[-1]) * (part + 1) / count for part in range(count)]
    lines[-1] = max(lines[-1], widest)
    return np.array(lines)


@lru_cache(maxsize=128)
def mesh_of(profile: Profile, marks: tuple[float, ...], grid: Grid = FINE) -> Mesh:
    """The rings of a profile.  marks: z of heated and wet lengths, mm, so that a slice ends there."""
    tool = profile.tool
    bounds = _slices(profile, marks, grid)
    thick = np.diff(bounds)
    mid = (bounds[1:] + bounds[:-1]) / 2
    ends = np.cumsum([0.0] + [segment.length_mm for segment in profile.segments])
    at = np.clip(np.searchsorted(ends, mid) - 1, 0, len(profile.segments) - 1)
    start, end, bore, length = (
        np.array([segment[column] for segment in profile.segments])[at] for column in (1, 2, 3, 0)
    )
    slope = (end - start) / length
    shank = tool.shank_mm / 2 if tool else 0.0
    holder = mid > 0
    first = np.where(holder, (start + slope * (bounds[:-1] - ends[at])) / 2, shank)
    last = np.where(holder, (start + slope * (bounds[1:] - ends[at])) / 2, shank)
    outside = np.sqrt((first * first + first * last + last * last) / 3)  # same volume
    around = (first + last) / 2
    hollow = np.where(holder, bore / 2, 0.0)
    filled = mid < tool.insert_mm if tool else np.zeros(len(mid), bool)

    radii = _rings(profile, float(outside.max()) + _GAP_MM, grid)
    in_tool = (radii[1:] <= shank + 1e-9)[None, :] & filled[:, None]
    inside = np.where(filled, np.maximum(hollow, shank), hollow)
    low = np.where(in_tool, radii[:-1], np.maximum(radii[:-1], inside[:, None]))
    high = np.minimum(radii[1:], outside[:, None])
    solid = high > low + _GAP_MM
    number = np.full(solid.shape, -1, dtype=np.intp)
    number[solid] = np.arange(int(solid.sum()))

    steel, cutter = profile.steel, tool.metal if tool else profile.steel
    k = np.where(in_tool, cutter.k_w_mk, steel.k_w_mk)
    stored = np.where(in_tool, cutter.rho_kg_m3 * cutter.c_j_kgk, steel.rho_kg_m3 * steel.c_j_kgk)
    thick_m = thick[:, None] * 1e-3
    face_m2 = np.where(solid, math.pi * (high**2 - low**2) * 1e-6, 0.0)
    capacity = stored * face_m2 * thick_m
    centre = (low + high) / 2

    pairs: list[tuple[Ints, Ints, Floats]] = []
    touch = solid[:, :-1] & solid[:, 1:] & (np.abs(high[:, :-1] - low[:, 1:]) < 1e-6)
    with np.errstate(divide="ignore", invalid="ignore"):
        across = np.log(high[:, :-1] / centre[:, :-1]) / k[:, :-1] + np.log(centre[:, 1:] / low[:, 1:]) / k[:, 1:]
        conducts = 2 * math.pi * thick_m / across
    pairs.append((number[:, :-1][touch], number[:, 1:][touch], conducts[touch]))
    shared = math.pi * 1e-6 * (np.minimum(high[:-1], high[1:]) ** 2 - np.maximum(low[:-1], low[1:]) ** 2)
    touch = solid[:-1] & solid[1:] & (shared > 0)
    along = thick_m[:-1] / 2 / k[:-1] + thick_m[1:] / 2 / k[1:]
    pairs.append((number[:-1][touch], number[1:][touch], (shared / along)[touch]))

    root = np.sqrt(capacity[solid])
    one = np.concatenate([pair[0] for pair in pairs])
    two = np.concatenate([pair[1] for pair in pairs])
    flow = np.concatenate([pair[2] for pair in pairs])
    bands = np.zeros((int((two - one).max()) + 1, len(root)), order="F")
    bands[two - one, one] = -flow / (root[one] * root[two])
    bands[0] = (np.bincount(one, flow, len(root)) + np.bincount(two, flow, len(root))) / root**2

    outermost = solid & (np.abs(high - outside[:, None]) < 1e-9)
    side = np.where(outermost, 2 * math.pi * around[:, None] * thick[:, None] * 1e-6, 0.0)
    ahead, behind = np.append(0.0, outside[:-1]), np.append(outside[1:], 0.0)
    end_face = sum(
        np.clip(math.pi * 1e-6 * (high**2 - np.maximum(low, next_to[:, None]) ** 2), 0.0, None)
        for next_to in (ahead, behind)
    )
    end_face = np.where(solid, end_face, 0.0)
    skin = np.flatnonzero((side + end_face)[solid] > 1e-9)

    middle = np.broadcast_to(mid[:, None], solid.shape)[solid]
    flange_start, flange_end = profile.flange_mm
    zone = np.where(
        middle < 0,
        ZONES.index(Zone.SHANK),
        np.where(
            middle < flange_start,
            ZONES.index(Zone.NOSE),
            np.where(middle < flange_end, ZONES.index(Zone.FLANGE), ZONES.index(Zone.TAPER)),
        ),
    )
    stiff = np.where(in_tool, cutter.e_gpa, steel.e_gpa) * face_m2
    grows = np.where(in_tool, cutter.alpha_per_k, steel.alpha_per_k)
    measured = np.clip((profile.gauge_z_mm - bounds[:-1]) / thick, 0.0, 1.0) * thick
    stretch = measured[:, None] * grows * stiff / stiff.sum(axis=1, keepdims=True) * 1e3
    return Mesh(
        root=root,
        bands=bands,
        side_m2=side[solid],
        end_m2=end_face[solid],
        side_r=((high - centre) * 1e-3 / k)[solid],
        end_r=(thick_m / 2 / k)[solid],
        skin=skin,
        zone=zone[skin].astype(np.intp),
        low_mm=np.broadcast_to(bounds[:-1, None], solid.shape)[solid],
        high_mm=np.broadcast_to(bounds[1:, None], solid.shape)[solid],
        steel=~in_tool[solid],
        stretch_um=stretch[solid],
    )
