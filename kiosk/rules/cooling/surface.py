"""Temperatures of every zone as smooth functions of what is not known, fitted to solved holders.

The solver answers for one holder; the bound and a reading ask about thousands.  ln(1 K + excess) of each zone at each
moment is a full quadratic in ln(heat level), heated length, 1/capacity and the films, through as many solved
holders as it has terms: exponential decay is linear in exactly these.  It never stands in for the solver where one
holder is shown: nominal curves are solved.  Against the solver on drawn holders: 0.3-1 % of the time, 1-2 % of the
excess.  Source: response surfaces as in every text on structural reliability (Bucher and Bourgund 1990).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import numpy as np

from kiosk.rules.cooling.flow import Course, Courses
from kiosk.rules.cooling.mesh import ZONES, Floats, Ints, Mesh, Zone

_REACH = 1.7  # standard deviations from the middle to the solved holders along one unknown
_CORNER = 0.75  # of that along each of two
_SOFT_K = 1.0  # about this excess a logarithm becomes a straight line: below it there is nothing to tell apart
_LEAST_K = 0.01
_HIGHEST = 7.0  # its logarithm, above all that steel is heated to
_GROUPS = 3  # parts of a zone along the axis that are followed apart, so that each one's hottest cell stays the same


class Axis(NamedTuple):
    """One unknown of the surface: its place in the unknowns, its middle and how far it may reach.

    power: 0 the unknown is taken as it is; 1 or -1 it is a logarithm of a factor that acts as such, or inversely.
    warm: sign of the side on which holders are warmer.  crossed: what it does depends on the others
    and on itself; where not, its logarithm only adds.
    """

    at: int
    middle: float
    sd: float
    power: int
    warm: int
    crossed: bool


class Surface:
    """Solved holders about a middle one, and what lies between them."""

    def __init__(
        self, middle: Floats, axes: Sequence[Axis], solve: Callable[[Sequence[Floats]], Courses], about: Course
    ) -> None:
        """middle: (unknowns,).  solve: the courses of holders, given the unknowns of each; about: of the middle one.

        The middle one is solved finely; how others differ from it, on a coarser mesh.
        """
        self._axes = tuple(axes)
        self._pairs = np.array(
            [pair for pair in combinations(range(len(axes)), 2) if axes[pair[0]].crossed], np.intp
        ).reshape(-1, 2).T  # fmt: skip
        self._bent = [axis.crossed for axis in axes]
        at, middles, sd, power, *_ = zip(*axes, strict=True)
        self._scaled = np.array(at), np.array(middles), np.array(sd), np.array(power, np.float64)
        points = []
        for steps in self._design():
            unknown = middle.copy()
            for axis, step in zip(axes, steps, strict=True):
                unknown[axis.at] = axis.middle + step * axis.sd
            points.append(unknown)
        self.courses, self._about = solve(points), about
        self._solver = np.linalg.inv(self.terms(np.array(points)))
        found = about.mesh.zone
        self.zones = tuple(zone for at, zone in enumerate(ZONES) if (found == at).any())
        fine, coarse = about.mesh, self.courses.mesh
        self._spots = [part for zone in self.zones for part in _parts(fine, coarse, zone, _GROUPS)]
        self._of_zone = [part for zone in self.zones for part in _parts(fine, coarse, zone, 1)]

    def _design(self) -> list[Floats]:
        count = len(self._axes)
        design = [np.zeros(count)]
        for at in range(count):
            for side in (1.0, -1.0) if self._axes[at].crossed else (1.0,):
                steps = np.zeros(count)
                steps[at] = side * _REACH
                design.append(steps)
        for one, two in self._pairs.T:
            steps = np.zeros(count)
            for at in (one, two):
                steps[at] = _REACH * _CORNER * self._axes[at].warm
            design.append(steps)
        return design

    def terms(self, unknowns: Floats) -> Floats:
        """(holders, terms) of the quadratic for (holders, unknowns)."""
        at, middle, sd, power = self._scaled
        acts = unknowns[:, at] - middle
        acts[:, power != 0] = np.expm1(acts[:, power != 0] * power[power != 0])
        acts /= sd
        one, two = self._pairs
        bent = acts[:, self._bent]
        return np.concatenate([np.ones((len(unknowns), 1)), acts, bent * bent, acts[:, one] * acts[:, two]], axis=1)

    @staticmethod
    def excess_k(fitted: Floats) -> Floats:
        """Excess in K of what `terms` times coefficients gives."""
        return np.asarray(np.maximum(_SOFT_K * np.expm1(np.minimum(fitted, _HIGHEST)), _LEAST_K), np.float64)

    @staticmethod
    def fitted(excess_k: Floats) -> Floats:
        """What must be fitted at least for more than an excess in K: the other way round than `excess_k`."""
        least = np.log1p(excess_k / _SOFT_K)
        return np.where(excess_k < _LEAST_K, -math.inf, np.where(least >= _HIGHEST, math.inf, least))

    def spots(self, times_s: Floats) -> Floats:
        """(terms, spots, times) for `excess_k` of every followed part of the skin."""
        return self._fit(times_s, self._spots)

    def place(self, zone: Zone) -> int:
        """Which of `zones` is read for a zone: the nose where there is no such zone, and the flange where the nose is
        as wide as that and taken for one piece with it."""
        return self.zones.index(next(each for each in (zone, Zone.NOSE, Zone.FLANGE) if each in self.zones))

    def of_zones(self, times_s: Floats) -> Floats:
        """(terms, zones, times) for `excess_k` of the hottest skin of every zone.  times_s ascending."""
        return self._fit(times_s, self._of_zone)

    def zone(self, zone: Zone, times_s: Floats) -> Floats:
        """(terms, times) for `excess_k` of the hottest skin of a zone, as `place` has it."""
        return np.asarray(self._fit(times_s, [self._of_zone[self.place(zone)]])[:, 0], np.float64)

    def _fit(self, times_s: Floats, parts: Sequence[_Part]) -> Floats:
        skin = self.courses.skin(times_s)
        logs = _logs([skin[:, part.coarse].max(axis=1) for part in parts])
        skin = self._about.skin(times_s)[None]
        fine = _logs([skin[:, part.fine].max(axis=1) for part in parts])
        fitted = (self._solver @ logs.reshape(len(logs), -1)).reshape(logs.shape)
        fitted[0] += fine[0] - logs[0]  # the first is the middle one, where nothing but the constant counts
        return np.asarray(fitted, np.float64)


class _Part(NamedTuple):
    """A part of the skin that is followed: indices into the skin of the fine and of the coarse mesh."""

    fine: Ints
    coarse: Ints


@lru_cache(maxsize=256)
def _parts(fine: Mesh, coarse: Mesh, zone: Zone, count: int) -> tuple[_Part, ...]:
    """A zone in up to `count` lengths along the axis, cut at the same places on both meshes; no skin is left out."""
    at = ZONES.index(zone)
    cells = [np.flatnonzero(mesh.zone == at) for mesh in (fine, coarse)]
    if not len(cells[1]):
        return (_Part(cells[0], np.arange(len(coarse.skin))),)
    along = [_middle_mm(mesh)[there] for mesh, there in zip((fine, coarse), cells, strict=True)]
    cuts = np.quantile(along[1], np.linspace(0.0, 1.0, count + 1)[1:-1]) if count > 1 else np.zeros(0)
    lengths = [np.searchsorted(cuts, mm) for mm in along]
    found = [_Part(cells[0][lengths[0] == part], cells[1][lengths[1] == part]) for part in range(count)]
    if any(len(part.fine) and not len(part.coarse) for part in found):
        return (_Part(*cells),)
    return tuple(part for part in found if len(part.fine))


def _middle_mm(mesh: Mesh) -> Floats:
    """(skin,) where its cells lie along the axis."""
    return np.asarray((mesh.low_mm + mesh.high_mm)[mesh.skin] / 2, np.float64)


def _logs(values: Sequence[Floats]) -> Floats:
    """(holders, parts, times) of what is fitted."""
    return np.asarray(np.log1p(np.maximum(np.stack(values, axis=1), 0.0) / _SOFT_K), np.float64)
