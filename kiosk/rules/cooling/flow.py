"""Heat flow in a meshed holder, stage by stage, in closed form in time.

Each stage is projected on a small Krylov space in which its films and conduction are exact to a few hundredths
of a kelvin; radiation is replaced there by tangents that are renewed as it cools, so that every piece is a sum
of exponentials and needs no time steps.  It must never cool faster than the films it is given: T**4 is convex,
a tangent never lies above it, heat lost is never overestimated, and that error is on the warm side.
Source: van den Eshof and Hochbruck, SIAM J. Sci. Comput. 27 (2006) 1438, for the shift-and-invert space; the
rest is Galerkin's method on the heat equation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from kiosk.rules.cooling.mesh import Floats, Ints, Mesh

_SIGMA_W_M2K4 = 5.670374419e-8
_KELVIN = 273.15
_MODES = 11  # within 0.2 K of thirty modes from 3 s on, on every outline tried
_SHIFT_S = (1.0, 60.0)  # shortest and longest shift; a stage's length over 8 in between
_FIRST_S, _LONGER = 20.0, 2.0  # a tangent serves that long, each next one that many times longer
_TANGENT_AT = 0.81  # of the excess at its start: near the mean on the way down
_FLAT_K = 25.0  # below this excess one tangent serves to the end
_HORIZON_S = 40_000.0  # by when even 12 kg of steel has lost half its excess in still air


@dataclass(frozen=True, slots=True)
class Exchange:
    """What the skin does during one stage.  film_w_k, radiant_w_k4: (n,) for each cell of the mesh."""

    start_s: float
    end_s: float  # infinity for the last
    film_w_k: Floats
    radiant_w_k4: Floats | None


def conductance(mesh: Mesh, film_w_m2k: float) -> Floats:
    """(n,) W/K from the middle of each cell to the air, by way of its own half thickness."""
    film = 1.0 / film_w_m2k
    return mesh.side_m2 / (film + mesh.side_r) + mesh.end_m2 / (film + mesh.end_r)


def radiance(mesh: Mesh, emissivity: float) -> Floats:
    """(n,) W/K4 of each cell's skin."""
    return emissivity * _SIGMA_W_M2K4 * (mesh.side_m2 + mesh.end_m2)


class Piece(NamedTuple):
    """Excess over ambient = basis @ (rest + mix @ exp(-rates * (t - start_s))), for start_s <= t < end_s."""

    start_s: float
    end_s: float
    basis: Floats  # (n, m), shared by the pieces of a stage
    on_skin: Floats  # (skin, m), its rows on the skin
    rates: Floats  # (m,) 1/s
    mix: Floats  # (m, m)
    rest: Floats  # (m,)

    def weights(self, times_s: Floats) -> Floats:
        """(m, times) weights of the basis."""
        weights: Floats = self.mix @ np.exp(-self.rates[:, None] * (times_s - self.start_s))
        weights += self.rest[:, None]
        return weights

    def skin(self, times_s: Floats) -> Floats:
        """(skin, times) excess in K."""
        return self.on_skin @ self.weights(times_s)

    def along(self, weight: Floats, times_s: Floats) -> Floats:
        """(times,) weighted sum over all cells."""
        result: Floats = (weight @ self.basis) @ self.weights(times_s)
        return result

    def state(self, at_s: float) -> Floats:
        """(n,) excess in K."""
        return self.basis @ (self.rest + self.mix @ np.exp(-self.rates * (at_s - self.start_s)))


@dataclass(frozen=True, slots=True)
class Course:
    """Temperatures of one holder from heating on.  All results are excesses over ambient in K.

    ceiling_k: what it started with at its hottest; heat comes from nowhere else.
    """

    mesh: Mesh
    ambient_c: float
    pieces: tuple[Piece, ...]
    ceiling_k: float

    def _split(self, times_s: Floats) -> list[tuple[Piece, Floats]]:
        starts = [piece.start_s for piece in self.pieces[1:]]
        edges = [0, *np.searchsorted(times_s, starts).tolist(), len(times_s)]
        return [
            (piece, times_s[low:high])
            for piece, low, high in zip(self.pieces, edges[:-1], edges[1:], strict=True)
            if high > low
        ]

    def skin(self, times_s: Floats) -> Floats:
        """(skin, times) excess of every exposed cell.  times_s ascending."""
        return np.concatenate([piece.skin(times) for piece, times in self._split(times_s)], axis=1)

    def hottest(self, times_s: Floats) -> Floats:
        """(times,) excess of the hottest exposed cell."""
        hottest = np.concatenate([piece.skin(times).max(axis=0) for piece, times in self._split(times_s)])
        return np.asarray(np.minimum(hottest, self.ceiling_k), np.float64)

    def growth_um(self, times_s: Floats) -> Floats:
        """(times,) how much longer the assembly is than at ambient, tip to gauge line."""
        weight = self.mesh.stretch_um
        return np.concatenate([piece.along(weight, times) for piece, times in self._split(times_s)])

    def state(self, at_s: float) -> Floats:
        """(n,) excess of every cell at one moment."""
        piece = next((piece for piece in reversed(self.pieces) if piece.start_s <= at_s), self.pieces[0])
        return piece.state(at_s)


def flow(mesh: Mesh, excess: Floats, ambient_c: float, exchanges: Sequence[Exchange], capacity: float = 1.0) -> Course:
    """The course of a holder through its stages.

    excess: (n,) K over ambient at the first stage's start.  exchanges: in order, the last without end.
    capacity: factor on every heat capacity, 1 for the outline as given.
    """
    pieces: list[Piece] = []
    ceiling_k = float(excess.max())
    for exchange in exchanges:
        if pieces:
            excess = pieces[-1].state(exchange.start_s)
        pieces += _stage(_space(mesh, excess, exchange, capacity), mesh.skin, ambient_c + _KELVIN, exchange, capacity)
    return Course(mesh, ambient_c, tuple(pieces), ceiling_k)


class _Space(NamedTuple):
    """What a stage is solved in.  rates: (m,) 1/s of conduction and films at capacity 1.  basis: (n, m).
    on_skin: (skin, m).  start: (m,) the state the stage begins with."""

    rates: Floats
    basis: Floats
    on_skin: Floats
    start: Floats


def _space(mesh: Mesh, state: Floats, exchange: Exchange, capacity: float) -> _Space:
    """The Krylov space of a state under a stage's conduction and films.

    The inverse is projected, not the operator: such rates are harmonic means of the operator's own, never above
    the arithmetic ones that projecting the operator would give, so that this error too is on the warm side.
    """
    from scipy.linalg.lapack import dpbtrf, dpbtrs, dsyevd  # only where a course is solved: it takes long to load

    long_s = min(exchange.end_s - exchange.start_s, _HORIZON_S)
    shift_s = min(max(long_s / 8.0, _SHIFT_S[0]), _SHIFT_S[1]) / capacity
    system = np.multiply(mesh.bands, shift_s, order="F")
    system[0] += 1.0 + shift_s * (exchange.film_w_k / mesh.root**2)
    factor, _ = dpbtrf(system, lower=1, overwrite_ab=1)
    scaled = state * mesh.root
    rows = np.empty((_MODES, len(scaled)))
    solved = np.empty_like(rows)
    vector, used = scaled, 0
    while used < _MODES:
        kept = rows[:used]
        vector = vector - (kept @ vector) @ kept
        size = math.sqrt(vector @ vector)
        if size < 1e-3:  # little is new: what is left must be made orthogonal once more to mean anything
            vector -= (kept @ vector) @ kept
            size = math.sqrt(vector @ vector)
            if size < 1e-9:
                break
        np.divide(vector, size, out=rows[used])
        vector = dpbtrs(factor, rows[used], lower=1)[0]
        solved[used] = vector
        used += 1
    if not used:  # nothing is warm
        nothing = np.zeros((len(scaled), 1))
        return _Space(np.ones(1), nothing, nothing[mesh.skin], np.zeros(1))
    shares = rows[:used] @ solved[:used].T
    values, turn, _ = dsyevd((shares + shares.T) / 2)
    turned = rows[:used].T @ turn
    basis = turned / mesh.root[:, None]
    rates = (1.0 / np.clip(values, 1e-12, 1.0) - 1.0) / shift_s
    return _Space(rates, basis, basis[mesh.skin], scaled @ turned)


def _stage(space: _Space, skin: Ints, ambient_k: float, exchange: Exchange, capacity: float) -> list[Piece]:
    """The pieces of a stage: one, or as many as radiation needs tangents."""
    from scipy.linalg.lapack import dsyevd

    rates, basis, on_skin, y = space
    at_s, end_s = exchange.start_s, exchange.end_s
    if exchange.radiant_w_k4 is None:
        return [Piece(at_s, end_s, basis, on_skin, rates / capacity, np.diag(y), np.zeros_like(y))]
    radiant = exchange.radiant_w_k4[skin]
    radiates = np.flatnonzero(radiant)
    pieces: list[Piece] = []
    long_s = _FIRST_S
    while True:
        now = on_skin @ y
        flat = now[radiates].max() < _FLAT_K  # what is wet does not radiate
        about = now * (0.5 if flat else _TANGENT_AT)
        absolute = about + ambient_k
        cube = absolute * absolute * absolute
        slope = 4.0 * radiant * cube
        pull = slope * about - radiant * (cube * absolute - ambient_k**4)
        matrix = (on_skin.T * slope) @ on_skin
        matrix.flat[:: len(rates) + 1] += rates
        values, turn, _ = dsyevd(matrix)
        force = (pull @ on_skin) @ turn / values
        piece = Piece(at_s, end_s, basis, on_skin, values / capacity, turn * (y @ turn - force), turn @ force)
        if flat or at_s + long_s >= end_s:
            pieces.append(piece)
            return pieces
        pieces.append(piece._replace(end_s=at_s + long_s))
        y = piece.rest + piece.mix @ np.exp(-piece.rates * long_s)
        at_s += long_s
        long_s *= _LONGER
