"""Draws from mixtures of normal distributions, and what each of them weighs: importance sampling.

Quasi-random, so that the same facts always give the same draws.  Source: Owen and Zhou 2000.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from kiosk.rules.cooling.mesh import Floats

_MOST = 1536  # points of one sequence


class Normal(NamedTuple):
    """What was expected of the unknowns that matter here.  mean: (n,), cov: (n, n)."""

    mean: Floats
    cov: Floats


class Proposal:
    """A normal distribution that is drawn from `wider` than it is."""

    def __init__(self, normal: Normal, wider: float) -> None:
        self.normal, self._wider = normal, wider
        self._root = np.linalg.cholesky(normal.cov)
        self._inverse = np.linalg.inv(self._root).T
        self._size = float(np.log(np.diag(self._root)).sum())

    def draw(self, count: int, skip: int) -> Floats:
        points = _points(len(self.normal.mean))[skip : skip + count]
        result: Floats = self.normal.mean + self._wider * points @ self._root.T
        return result

    def distance(self, values: Floats) -> Floats:
        """(draws,) squared distance from the middle, in standard deviations of the distribution itself."""
        off = (values - self.normal.mean) @ self._inverse
        return np.asarray((off * off).sum(axis=1), np.float64)

    def ln_density(self, distance: Floats, wider: float | None = None) -> Floats:
        """(draws,) at `distance`, up to what is the same everywhere; wider: as if drawn from so much wider."""
        wider = self._wider if wider is None else wider
        return np.asarray(
            distance * (-0.5 / wider**2) - self._size - len(self.normal.mean) * math.log(wider), np.float64
        )


def ln_proposed(proposals: Sequence[Proposal], distances: Sequence[Floats], shares: Sequence[int]) -> Floats:
    """(draws,) ln of how densely the proposals lie there together.  distances: to each; shares: draws of each."""
    each = np.stack([one.ln_density(distance) for one, distance in zip(proposals, distances, strict=True)])
    each += np.log(np.array(shares) / sum(shares))[:, None]
    most = each.max(axis=0)
    return np.asarray(most + np.log(np.exp(each - most).sum(axis=0)), np.float64)


def weigh(ln_weight: Floats) -> Floats:
    """(draws,) weights that sum to one."""
    weight = np.exp(ln_weight - ln_weight.max())
    result: Floats = weight / weight.sum()
    return result


@lru_cache(maxsize=8)
def _points(dimensions: int) -> Floats:
    """(draws, dimensions) quasi-random standard normal points: a Kronecker sequence of generalised golden ratios."""
    from scipy.special import ndtri  # only where something is drawn: it takes long to load

    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (dimensions + 1))
    steps = ratio ** -np.arange(1.0, dimensions + 1)
    index = np.arange(1, _MOST + 1)[:, None]
    result: Floats = ndtri(np.mod(0.5 + index * steps, 1.0))
    return result
