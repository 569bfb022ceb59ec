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
from dataclasses import dataclass, replace
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
_HORIZON_S = 40_000.0  # by when even 12 kg of steel in still air has long soaked through
_LATER_S = np.concatenate([np.zeros(1), np.geomspace(1.0, _HORIZON_S, 60)])  # 19 % apart
_BETWEEN = np.linspace(0.0, 1.0, 9) ** 2  # of a span: what has just been heated changes fastest


class Longer(NamedTuple):
    """For how much longer a stage may have gone on than was counted: seconds, the last may be infinity.

    It goes on as if it had been `taken_s`, warmed so far that with those that are taken at `least_s` and `most_s` it
    stands for all between.  alone: it stands for all of them by itself.
    """

    least_s: float
    taken_s: float
    most_s: float
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Exchange:
    """What the skin does during one stage.  film_w_k, radiant_w_k4: (n,) for each cell of the mesh, or (holders, n).

    longer: for so much longer it may have gone on; none: for no longer.  Several: out of one holder come as many,
    each of which stood on for its own time.
    """

    start_s: float
    end_s: float  # infinity for the last
    film_w_k: Floats
    radiant_w_k4: Floats | None
    longer: tuple[Longer, ...] = ()


def conductance(mesh: Mesh, film_w_m2k: float | Floats) -> Floats:
    """(n,) W/K from the middle of each cell to the air, by way of its own half thickness; (holders, n) for films
    of many, (holders, 1)."""
    film = 1.0 / film_w_m2k
    return mesh.side_m2 / (film + mesh.side_r) + mesh.end_m2 / (film + mesh.end_r)


def radiance(mesh: Mesh, emissivity: float | Floats) -> Floats:
    """(n,) W/K4 of each cell's skin, or (holders, n)."""
    return np.asarray(emissivity * _SIGMA_W_M2K4 * (mesh.side_m2 + mesh.end_m2), np.float64)


class Piece(NamedTuple):
    """Excess over ambient = basis @ (rest + mix @ exp(-rates * (t - start_s))), for start_s <= t < end_s.

    Of one holder, or of many side by side: then each array has one more dimension in front.
    """

    start_s: float
    end_s: float
    basis: Floats  # (n, m), shared by the pieces of a stage
    on_skin: Floats  # (skin, m), its rows on the skin
    rates: Floats  # (m,) 1/s
    mix: Floats  # (m, m)
    rest: Floats  # (m,)

    def weights(self, times_s: Floats) -> Floats:
        """(m, times) weights of the basis."""
        weights: Floats = self.mix @ np.exp(-self.rates[..., None] * (times_s - self.start_s))
        weights += self.rest[..., None]
        return weights

    def skin(self, times_s: Floats) -> Floats:
        """(skin, times) excess in K."""
        return np.asarray(self.on_skin @ self.weights(times_s), np.float64)

    def along(self, weight: Floats, times_s: Floats) -> Floats:
        """(times,) weighted sum over all cells."""
        result: Floats = (weight @ self.basis) @ self.weights(times_s)
        return result

    def state(self, at_s: float) -> Floats:
        """(n,) excess in K."""
        return np.asarray((self.basis @ self.weights(np.array([at_s])))[..., 0], np.float64)

    def of(self, holder: int) -> Piece:
        """That of one holder among many, or of the one that many came out of."""
        at = holder if len(self.rates) > 1 else 0
        return Piece(
            self.start_s, self.end_s, self.basis[at], self.on_skin[at], self.rates[at], self.mix[at], self.rest[at]
        )


def _split(pieces: Sequence[Piece], times_s: Floats) -> list[tuple[Piece, Floats]]:
    starts = [piece.start_s for piece in pieces[1:]]
    edges = [0, *np.searchsorted(times_s, starts).tolist(), len(times_s)]
    return [
        (piece, times_s[low:high])
        for piece, low, high in zip(pieces, edges[:-1], edges[1:], strict=True)
        if high > low
    ]


@dataclass(frozen=True, slots=True)
class Course:
    """Temperatures of one holder from heating on.  All results are excesses over ambient in K.

    ceiling_k: what it started with at its hottest; heat comes from nowhere else.
    """

    mesh: Mesh
    ambient_c: float
    pieces: tuple[Piece, ...]
    ceiling_k: float

    def skin(self, times_s: Floats) -> Floats:
        """(skin, times) excess of every exposed cell.  times_s ascending."""
        return np.concatenate([piece.skin(times) for piece, times in _split(self.pieces, times_s)], axis=1)

    def hottest(self, times_s: Floats) -> Floats:
        """(times,) excess of the hottest exposed cell."""
        hottest = np.concatenate([piece.skin(times).max(axis=0) for piece, times in _split(self.pieces, times_s)])
        return np.asarray(np.minimum(hottest, self.ceiling_k), np.float64)

    def growth_um(self, times_s: Floats) -> Floats:
        """(times,) how much longer the assembly is than at ambient, tip to gauge line."""
        weight = self.mesh.stretch_um
        return np.concatenate([piece.along(weight, times) for piece, times in _split(self.pieces, times_s)])

    def state(self, at_s: float) -> Floats:
        """(n,) excess of every cell at one moment."""
        piece = next((piece for piece in reversed(self.pieces) if piece.start_s <= at_s), self.pieces[0])
        return piece.state(at_s)


@dataclass(frozen=True, slots=True)
class Courses:
    """Temperatures of many holders of one shape that stood at the same places for the same times."""

    mesh: Mesh
    ambients_c: tuple[float, ...]
    pieces: tuple[Piece, ...]
    ceilings_k: tuple[float, ...]

    @property
    def count(self) -> int:
        return len(self.ambients_c)

    def each(self) -> list[Course]:
        """One by one."""
        return [
            Course(self.mesh, self.ambients_c[at], tuple(piece.of(at) for piece in self.pieces), self.ceilings_k[at])
            for at in range(self.count)
        ]

    def skin(self, times_s: Floats) -> Floats:
        """(holders, skin, times) excess of every exposed cell, K.  times_s ascending."""
        return np.concatenate([piece.skin(times) for piece, times in _split(self.pieces, times_s)], axis=2)


class Start(NamedTuple):
    """What holders are solved from.  excess: (n,) K over ambient at the first stage's start, or (holders, n).

    ambient_c, capacity: (holders,), or (1,) where all have the same.  capacity: factor on every heat capacity, 1 for
    the outline as given.
    """

    excess: Floats
    ambient_c: Floats
    capacity: Floats


def flow(mesh: Mesh, start: Start, exchanges: Sequence[Exchange]) -> Course:
    """The course of one holder through its stages: in order, the last without end."""
    return flows(mesh, start, exchanges).each()[0]


def flows(mesh: Mesh, start: Start, exchanges: Sequence[Exchange]) -> Courses:
    """The courses of many holders, solved side by side.  Their stages begin and end at the same times.

    After a stage that may have gone on for longer, the next begins with `_soaked`: heat that had time to soak into the
    body leaves a sleeve later than heat that is still in the nose.
    """
    pieces, after = _through(mesh, start, exchanges)
    ambient_c = np.broadcast_to(start.ambient_c, len(after))
    ceiling_k = np.broadcast_to(np.atleast_2d(start.excess).max(axis=1), len(after))
    return Courses(mesh, tuple(ambient_c.tolist()), tuple(pieces), tuple(ceiling_k.tolist()))


def left_after(mesh: Mesh, start: Start, exchanges: Sequence[Exchange]) -> Floats:
    """(holders, n) excess in K that many holders have left when the last of their stages begins; nothing is asked
    of that one.  As `flows`."""
    return _through(mesh, start, exchanges[:-1])[1]


def _through(mesh: Mesh, start: Start, exchanges: Sequence[Exchange]) -> tuple[list[Piece], Floats]:
    """The pieces of stages, and what every cell of each has left after the last that ends."""
    count = max(len(np.atleast_2d(start.excess)), len(start.ambient_c), len(start.capacity))
    excess = np.broadcast_to(start.excess, (count, start.excess.shape[-1]))
    capacity = np.broadcast_to(start.capacity, count)
    ambient_k = np.broadcast_to(start.ambient_c, count) + _KELVIN
    pieces: list[Piece] = []
    for stage in exchanges:
        if len(capacity) != len(excess):  # all came out of one
            capacity, ambient_k = (np.resize(each, len(excess)) for each in (capacity, ambient_k))
        if stage.longer and math.isfinite(stage.end_s):
            on = replace(stage, end_s=stage.end_s + max(each.most_s for each in stage.longer))
            found = _stage(_space(mesh, excess, on, capacity), mesh.skin, ambient_k, on, capacity)
            excess = _soaked(found, stage.end_s, stage.longer)
            seen = [piece for piece in found if piece.start_s < stage.end_s]
            pieces += [piece._replace(end_s=min(piece.end_s, stage.end_s)) for piece in seen]
            continue
        pieces += _stage(_space(mesh, excess, stage, capacity), mesh.skin, ambient_k, stage, capacity)
        if math.isfinite(stage.end_s):
            excess = pieces[-1].state(stage.end_s)
    return pieces, excess


def _soaked(pieces: Sequence[Piece], end_s: float, longer: Sequence[Longer]) -> Floats:
    """(holders, n) what each goes on with where it stood on after `end_s`.

    Its state at `taken_s`, and above it whatever cells were warmer on the way to either side than a straight line to
    the state there: a mixture of two neighbours' states is then warmer in every cell than any state between them.
    Warmer everywhere stays warmer everywhere, and what a mixture becomes is a mixture of what its two become, radiation
    apart; so the hotter of the two courses is hotter than all that may have been between.  Alone, and without end,
    every cell is as warm as it ever becomes there.
    """
    later_s = np.unique(np.concatenate([_looked_at_s(each) for each in longer]))
    course = np.concatenate(
        [piece.basis @ piece.weights(at_s) for piece, at_s in _split(pieces, end_s + later_s)], axis=-1
    )
    found = []
    for each in longer:
        taken = course[..., later_s.searchsorted(each.taken_s)]
        above = np.zeros_like(taken)
        for other_s in (each.least_s, each.most_s):
            flat = each.alone or other_s > _HORIZON_S
            low_s, high_s = sorted((each.taken_s, other_s))
            way = slice(later_s.searchsorted(low_s), later_s.searchsorted(high_s, "right"))
            line = taken[..., None]
            if not flat:
                share = (later_s[way] - each.taken_s) / ((other_s - each.taken_s) or 1.0)
                line = line + (course[..., later_s.searchsorted(other_s)] - taken)[..., None] * share
            above = np.maximum(above, (course[..., way] - line).max(axis=-1))
        found.append(taken + above)
    return np.concatenate(found)


def _looked_at_s(longer: Longer) -> Floats:
    """Moments after a stage's end."""
    least_s, taken_s, most_s = (min(each, _HORIZON_S) for each in longer[:3])
    spans = ((least_s, taken_s), (taken_s, most_s))
    parts = [np.append(low_s + (high_s - low_s) * _BETWEEN, high_s) for low_s, high_s in spans]
    if longer.alone or longer.most_s > _HORIZON_S:
        parts.append(_LATER_S[(taken_s < _LATER_S) & (most_s > _LATER_S)])
    return np.concatenate(parts)


class _Space(NamedTuple):
    """What a stage is solved in.  rates: (holders, m) 1/s of conduction and films at capacity 1.
    basis: (holders, n, m).  on_skin: (holders, skin, m).  start: (holders, m) the state the stage begins with."""

    rates: Floats
    basis: Floats
    on_skin: Floats
    start: Floats


def _space(mesh: Mesh, state: Floats, stage: Exchange, capacity: Floats) -> _Space:
    """The Krylov spaces of (holders, n) states under a stage's conduction and films.

    The inverse is projected, not the operator: such rates are harmonic means of the operator's own, never above
    the arithmetic ones that projecting the operator would give, so that this error too is on the warm side.
    All holders are one banded system of blocks that have nothing to do with each other.  A vector that brings nothing
    new is left empty: it takes no part.
    """
    from scipy.linalg.lapack import dpbtrf, dpbtrs  # only where a course is solved: it takes long to load

    holders, cells = state.shape
    long_s = stage.end_s - stage.start_s
    shift_s = min(max(long_s / 8.0, _SHIFT_S[0]), _SHIFT_S[1]) / capacity
    system = mesh.bands.T * shift_s[:, None, None]
    system[:, :, 0] += 1.0 + shift_s[:, None] * (stage.film_w_k / mesh.root**2)
    factor, _ = dpbtrf(system.reshape(holders * cells, -1).T, lower=1, overwrite_ab=1)
    scaled = state * mesh.root
    rows = np.zeros((holders, _MODES, cells))
    solved = np.zeros_like(rows)
    vector = scaled
    for used in range(_MODES):
        kept = rows[:, :used]
        vector = _less(vector, kept)
        size = np.sqrt(np.vecdot(vector, vector))
        least = size.min()
        if least < 1e-3:  # little is new: what is left must be made orthogonal once more to mean anything
            vector = _less(vector, kept)
            size = np.sqrt(np.vecdot(vector, vector))
            least = size.min()
        unit = vector / np.maximum(size, 1e-9)[:, None]
        if least < 1e-9:
            new = size >= 1e-9
            if not new.any():
                break
            unit[~new] = 0.0
        rows[:, used] = unit
        vector = dpbtrs(factor, unit.reshape(-1), lower=1, overwrite_b=1)[0].reshape(holders, cells)
        solved[:, used] = vector
    shares = rows @ solved.swapaxes(1, 2)
    values, turn = np.linalg.eigh((shares + shares.swapaxes(1, 2)) / 2)
    turned = rows.swapaxes(1, 2) @ turn
    basis = turned / mesh.root[:, None]
    rates = (1.0 / np.clip(values, 1e-12, 1.0) - 1.0) / shift_s[:, None]
    start = (scaled[:, None, :] @ turned)[:, 0]
    return _Space(rates, basis, basis[:, mesh.skin], start)


def _less(vector: Floats, kept: Floats) -> Floats:
    """(holders, n) without what (holders, k, n) orthonormal rows hold of it."""
    return np.asarray(vector - ((kept @ vector[..., None]).swapaxes(1, 2) @ kept)[:, 0], np.float64)


def _stage(space: _Space, skin: Ints, ambient_k: Floats, stage: Exchange, capacity: Floats) -> list[Piece]:
    """The pieces of a stage: one, or as many as radiation needs tangents until none of the holders needs more."""
    rates, basis, on_skin, y = space
    at_s, end_s = stage.start_s, stage.end_s
    cooled = rates / capacity[:, None]
    modes = rates.shape[1]
    if stage.radiant_w_k4 is None:
        return [Piece(at_s, end_s, basis, on_skin, cooled, y[:, :, None] * np.eye(modes), np.zeros_like(y))]
    radiant = np.atleast_2d(stage.radiant_w_k4)[:, skin]
    radiates, every = np.flatnonzero(radiant[0]), np.arange(modes)
    pieces: list[Piece] = []
    long_s = _FIRST_S
    absolute_k = ambient_k[:, None]
    ambient_k4 = absolute_k**4
    outwards = on_skin.swapaxes(1, 2)
    while True:
        now = (on_skin @ y[..., None])[..., 0]
        flat = now[:, radiates].max(axis=1) < _FLAT_K  # what is wet does not radiate
        about = now * np.where(flat, 0.5, _TANGENT_AT)[:, None]
        absolute = about + absolute_k
        cube = absolute * absolute * absolute
        slope = 4.0 * radiant * cube
        pull = slope * about - radiant * (cube * absolute - ambient_k4)
        matrix = (outwards * slope[:, None, :]) @ on_skin
        matrix[:, every, every] += rates
        values, turn = np.linalg.eigh(matrix)
        force = ((pull[:, None, :] @ on_skin) @ turn)[:, 0] / values
        mix = turn * ((y[:, None, :] @ turn)[:, 0] - force)[:, None, :]
        piece = Piece(at_s, end_s, basis, on_skin, values / capacity[:, None], mix, (turn @ force[..., None])[..., 0])
        if flat.all() or at_s + long_s >= end_s:
            pieces.append(piece)
            return pieces
        pieces.append(piece._replace(end_s=at_s + long_s))
        y = piece.weights(np.array([at_s + long_s]))[..., 0]
        at_s += long_s
        long_s *= _LONGER
