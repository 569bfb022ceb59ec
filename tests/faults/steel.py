"""The truth beside the kiosk: what a holder's steel really does, whatever anybody scans.

A bar of cells along the axis, each as warm across as along its skin, written without the kiosk's cooling model and
without its outline: lengths and diameters of the standards, films of the trade, plain linear heat flow solved
exactly from one moment to the next.  Radiation is a film of its own, taken at a warm skin, so that the bar loses a
little less than steel does while it is very hot.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

STEEL_K, STEEL_RHO_C = 28.0, 7800.0 * 470.0
CARBIDE_K, CARBIDE_RHO_C = 80.0, 14500.0 * 230.0
RADIATES_W_M2K = 3.0  # 4 x 0.35 x sigma x (336 K)^3
HEATED_PAST_INSERT_MM = 4.0
CELL_MM = 5.0


class Flange(NamedTuple):
    """Spindle side, mm: ISO 12164-1 and ISO 7388-1."""

    flange_d: float
    flange_l: float
    taper_d: float
    taper_end_d: float
    taper_l: float
    bore: float


FLANGES = {
    "HSK63": Flange(63, 26, 48, 44.8, 32, 34),
    "HSK100": Flange(100, 29, 75, 70, 50, 53),
    "A40": Flange(63.5, 19.1, 44.45, 24.5, 68.4, 17),
}


@dataclass(frozen=True, slots=True)
class Shape:
    """A holder with a shank in it, mm.  A holder without a cutter has `shank_mm` 0, and no stickout."""

    coupling: str
    bore_mm: float
    nose_mm: float
    projection_mm: float
    shank_mm: float
    insert_mm: float
    stickout_mm: float


@dataclass(frozen=True, slots=True)
class World:
    """What the shop is really like, as nobody can enter it: factors on the nominal films and on the rise."""

    film: float = 1.0
    rise: float = 1.0
    ambient_k: float = 0.0


NOMINAL = World()
WARM = World(0.82, 1.04, 1.2)  # a slow shop on a warm day, well inside what the kiosk must expect

FILMS_W_M2K = {"free_air": 7.0, "forced_air": 45.0, "sleeve": 900.0, "mist": 350.0}


class _Bar(NamedTuple):
    """Cells from the cutter's tip to the taper's end; z of their middles from the nose, mm; capacities in J/K."""

    z_mm: Floats
    steel_jk: Floats
    cutter_jk: Floats
    skin_m2: Floats
    radius_m: Floats
    conducts: Floats  # (n, n) W/K, rows add up to nothing


@lru_cache(maxsize=256)
def _bar(shape: Shape) -> _Bar:
    flange = FLANGES[shape.coupling]
    neck = max(shape.projection_mm - flange.flange_l, 5.0)
    total = neck + flange.flange_l + flange.taper_l
    edges = [np.linspace(0.0, neck, max(2, round(neck / CELL_MM)) + 1)]
    edges.append(np.linspace(neck, neck + flange.flange_l, 5)[1:])
    edges.append(np.linspace(neck + flange.flange_l, total, 6)[1:])
    if shape.shank_mm:
        edges.insert(0, np.linspace(-shape.stickout_mm, 0.0, max(2, round(shape.stickout_mm / CELL_MM)) + 1)[:-1])
    edge = np.concatenate(edges)
    low, high = edge[:-1], edge[1:]
    z, long = (low + high) / 2, (high - low) * 1e-3
    cone_end = min(shape.nose_mm + 2 * math.tan(math.radians(4.5)) * 0.85 * neck, 0.9 * flange.flange_d)
    outer = np.where(z < neck, shape.nose_mm + (cone_end - shape.nose_mm) * np.clip(z / neck, 0, 1), flange.flange_d)
    taper = np.clip((z - neck - flange.flange_l) / flange.taper_l, 0, 1)
    behind = z > neck + flange.flange_l
    outer = np.where(behind, flange.taper_d + (flange.taper_end_d - flange.taper_d) * taper, outer)
    outer = np.where(z < 0, shape.shank_mm, outer)
    hole = np.where(behind, flange.bore, np.where(z < shape.insert_mm + 10.0, shape.bore_mm, 0.0))
    shank = np.where(z < shape.insert_mm, shape.shank_mm, 0.0)
    steel_m2 = np.where(z < 0, 0.0, math.pi / 4 * (outer**2 - hole**2)) * 1e-6
    shank_m2 = math.pi / 4 * shank**2 * 1e-6
    skin = math.pi * outer * 1e-3 * long
    skin[0] += math.pi / 4 * outer[0] ** 2 * 1e-6
    skin[-1] += steel_m2[-1]
    if shape.shank_mm:
        first = int(np.argmax(z > 0))
        skin[first] += math.pi / 4 * (outer[first] ** 2 - shape.shank_mm**2) * 1e-6
    across = (long[:-1] + long[1:]) / 2
    through = (
        STEEL_K * np.minimum(steel_m2[:-1], steel_m2[1:]) + CARBIDE_K * np.minimum(shank_m2[:-1], shank_m2[1:])
    ) / across
    conducts = np.diag(through, 1) + np.diag(through, -1)
    conducts -= np.diag(conducts.sum(axis=1))
    return _Bar(z, STEEL_RHO_C * steel_m2 * long, CARBIDE_RHO_C * shank_m2 * long, skin, outer / 2e3, conducts)


@lru_cache(maxsize=4096)
def _modes(shape: Shape, way: str, wet_mm: float | None, film: float) -> tuple[Floats, Floats, Floats]:
    """Rates 1/s, and how temperatures become amplitudes and back, for one way of cooling."""
    bar = _bar(shape)
    dry = np.full(len(bar.z_mm), (FILMS_W_M2K["free_air"] + RADIATES_W_M2K) * film)
    own = FILMS_W_M2K[way] + (RADIATES_W_M2K if way in ("free_air", "forced_air") else 0.0)
    wet = np.full(len(bar.z_mm), own * film)
    films = wet if wet_mm is None else np.where(bar.z_mm < wet_mm, wet, dry)
    leaves = bar.skin_m2 / (1 / films + bar.radius_m / (4 * STEEL_K))
    root = np.sqrt(bar.steel_jk + bar.cutter_jk)
    rates, vectors = np.linalg.eigh((np.diag(leaves) - bar.conducts) / np.outer(root, root))
    return rates, vectors.T * root, vectors / root[:, None]


class Steel:
    """One holder's temperatures, °C, moved on by `wait`."""

    def __init__(self, shape: Shape, world: World, ambient_c: float) -> None:
        self.shape, self.world = shape, world
        self._room_c = ambient_c + world.ambient_k
        self.excess_k = np.zeros(len(_bar(shape).z_mm))

    def heat(self, temp_c: float, ambient_c: float, shape: Shape | None = None) -> None:
        """The coil: steel up to a little past the insert is at `temp_c`, whatever it was; the cutter in it is not.

        shape: what the holder turns out to be now, with another cutter in it.
        """
        if shape is not None and shape != self.shape:
            before, was = self.excess_k, _bar(self.shape).z_mm
            self.shape = shape
            self.excess_k = np.interp(_bar(shape).z_mm, was, before)
        self.excess_k = self.excess_k + self._room_c
        self._room_c = ambient_c + self.world.ambient_k
        self.excess_k = np.maximum(self.excess_k - self._room_c, 0.0)
        bar = _bar(self.shape)
        rise_k = (temp_c - ambient_c) * self.world.rise
        hot = (bar.z_mm > 0) & (bar.z_mm < self.shape.insert_mm + HEATED_PAST_INSERT_MM)
        mixed = (bar.steel_jk * np.maximum(rise_k, self.excess_k) + bar.cutter_jk * self.excess_k) / (
            bar.steel_jk + bar.cutter_jk
        )
        self.excess_k = np.where(hot, mixed, self.excess_k)

    def wait(self, seconds: float, way: str = "free_air", wet_mm: float | None = None) -> None:
        """Stands somewhere.  wet_mm: cooled that way from the tip to there, in free air beyond; None: all over."""
        if seconds <= 0 or not self.excess_k.any():
            return
        rates, there, back = _modes(self.shape, way, wet_mm, self.world.film)
        self.excess_k = back @ (np.exp(-rates * seconds) * (there @ self.excess_k))

    @property
    def hottest_c(self) -> float:
        """Of all that a hand can touch."""
        return float(self._room_c + self.excess_k.max())

    def read_c(self, where: str) -> float:
        """The hottest skin of nose, flange or shank (of the nose, where there is no cutter)."""
        z, flange = _bar(self.shape).z_mm, FLANGES[self.shape.coupling]
        neck = self.shape.projection_mm - flange.flange_l
        there = {"nose": (z >= 0) & (z < neck), "flange": z >= neck, "shank": z < 0}[where]
        if not there.any():
            there = (z >= 0) & (z < neck)
        return float(self._room_c + self.excess_k[there].max())
