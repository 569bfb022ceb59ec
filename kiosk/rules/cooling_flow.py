"""Heat flow in a meshed holder, stage by stage, in closed form in time.

Within a stage the films are constant and radiation is replaced by its tangent; the resulting linear system is
projected on a shift-and-invert Krylov space, whose few modes give the temperatures at every moment of the
stage without time steps.  It must never cool faster than the films it is given: T**4 is convex, so a tangent
never lies above it, heat lost is never overestimated, and the error of the linearisation is on the warm side.
Source: van den Eshof and Hochbruck, SIAM J. Sci. Comput. 27 (2006) 1438, for the Krylov space; the rest is
the heat equation on finite volumes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.linalg.lapack import dpbtrf, dpbtrs, dstev

from kiosk.rules.cooling_mesh import Floats, Mesh

_SIGMA_W_M2K4 = 5.670374419e-8
_KELVIN = 273.15
_MODES = 14  # 0.05 K from 3 s on against 30 modes, on every outline tried
_SHIFT_S = (1.0, 60.0)  # shortest and longest shift; a stage's length over 8 in between
_FALL = 0.5  # a tangent serves until the hottest skin's excess has halved
_TANGENT_AT = 0.72  # of the excess at its start: near the mean on the way down
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


@dataclass(frozen=True, slots=True)
class Piece:
    """Excess over ambient = rest + modes @ exp(-rates * (t - start_s)), for start_s <= t < end_s."""

    start_s: float
    end_s: float
    rates: Floats  # (m,) 1/s
    modes: Floats  # (n, m) K
    rest: Floats  # (n,) K

    def state(self, at_s: float) -> Floats:
        """(n,) excess in K."""
        return self.rest + self.modes @ np.exp(-self.rates * (at_s - self.start_s))


@dataclass(frozen=True, slots=True)
class Course:
    """Temperatures of one holder from heating on.  All results are excesses over ambient in K."""

    mesh: Mesh
    ambient_c: float
    pieces: tuple[Piece, ...]
    _skin: list[Floats] = field(default_factory=list, repr=False)

    def _skin_modes(self, at: int) -> Floats:
        if not self._skin:
            self._skin.extend(piece.modes[self.mesh.skin] for piece in self.pieces)
        return self._skin[at]

    def _split(self, times_s: Floats) -> list[tuple[int, Floats]]:
        starts = np.array([piece.start_s for piece in self.pieces])
        which = np.clip(np.searchsorted(starts, times_s, side="right") - 1, 0, None)
        edges = np.searchsorted(which, np.arange(len(starts) + 1))
        return [(at, times_s[edges[at] : edges[at + 1]]) for at in range(len(starts)) if edges[at + 1] > edges[at]]

    def skin(self, times_s: Floats) -> Floats:
        """(skin, times) excess of every exposed cell.  times_s ascending."""
        parts = []
        for at, times in self._split(times_s):
            piece = self.pieces[at]
            decay = np.exp(-piece.rates[:, None] * (times - piece.start_s))
            parts.append(self._skin_modes(at) @ decay + piece.rest[self.mesh.skin][:, None])
        return np.concatenate(parts, axis=1)

    def hottest(self, times_s: Floats) -> Floats:
        """(times,) excess of the hottest exposed cell."""
        result: Floats = self.skin(times_s).max(axis=0)
        return result

    def growth_um(self, times_s: Floats) -> Floats:
        """(times,) how much longer the assembly is than at ambient, tip to gauge line."""
        weight = self.mesh.stretch_um
        parts = []
        for at, times in self._split(times_s):
            piece = self.pieces[at]
            decay = np.exp(-piece.rates[:, None] * (times - piece.start_s))
            parts.append((weight @ piece.modes) @ decay + weight @ piece.rest)
        return np.concatenate(parts)

    def state(self, at_s: float) -> Floats:
        """(n,) excess of every cell at one moment."""
        piece = next((piece for piece in reversed(self.pieces) if piece.start_s <= at_s), self.pieces[0])
        return piece.state(at_s)


def _krylov(mesh: Mesh, damping: Floats, capacity: float, scaled: Floats, shift_s: float) -> tuple[Floats, Floats]:
    """Rates (m,) and modes (n, m), scaled by the roots, of exp(-A t) @ scaled, A = bands + damping."""
    size = math.sqrt(scaled @ scaled)
    if size < 1e-9:
        return np.zeros(1), np.zeros((len(scaled), 1))
    system = np.multiply(mesh.bands, shift_s / capacity, order="F")
    system[0] += 1.0 + shift_s * damping
    factor, _ = dpbtrf(system, lower=1, overwrite_ab=1)
    basis = np.empty((_MODES + 1, len(scaled)))
    diagonal, beside = np.empty(_MODES), np.empty(_MODES)
    basis[0] = scaled / size
    used = _MODES
    for row in range(_MODES):
        vector, _ = dpbtrs(factor, basis[row], lower=1)
        shares = basis[: row + 1] @ vector
        diagonal[row] = shares[row]
        vector -= shares @ basis[: row + 1]
        beside[row] = math.sqrt(vector @ vector)
        if beside[row] < 1e-12:
            used = row + 1
            break
        np.divide(vector, beside[row], out=basis[row + 1])
    values, vectors, _ = dstev(diagonal[:used], beside[: max(used - 1, 1)])
    rates = (1.0 / np.clip(values, 1e-14, 1.0) - 1.0) / shift_s
    return rates, basis[:used].T @ (vectors * (vectors[0] * size))


def flow(
    mesh: Mesh,
    excess: Floats,
    ambient_c: float,
    exchanges: Sequence[Exchange],
    capacity: float = 1.0,
) -> Course:
    """The course of a holder through its stages.

    excess: (n,) K over ambient at the first stage's start.  exchanges: in order, the last without end.
    capacity: factor on every heat capacity, 1 for the outline as given.
    """
    pieces: list[Piece] = []
    heat = mesh.root**2 * capacity
    root = mesh.root * math.sqrt(capacity)
    absolute = ambient_c + _KELVIN
    for exchange in exchanges:
        at_s = exchange.start_s
        radiant = exchange.radiant_w_k4
        while at_s < exchange.end_s - 1e-9:
            left_s = min(exchange.end_s - at_s, _HORIZON_S)
            hottest = float(excess[mesh.skin].max())
            flat = radiant is None or hottest < _FLAT_K
            damping = exchange.film_w_k
            if radiant is not None:
                about = excess * (0.5 if flat else _TANGENT_AT)
                cube = (about + absolute) ** 3
                slope = 4.0 * radiant * cube
                pull = slope * about - radiant * (cube * (about + absolute) - absolute**4)
                damping = (damping + slope) / heat
                system = np.multiply(mesh.bands, 1.0 / capacity, order="F")
                system[0] += damping
                factor, _ = dpbtrf(system, lower=1, overwrite_ab=1)
                solved, _ = dpbtrs(factor, pull / root, lower=1)
                rest = solved / root
            else:
                damping = damping / heat
                rest = np.zeros_like(excess)
            shift_s = min(max(left_s / 8.0, _SHIFT_S[0]), _SHIFT_S[1])
            rates, modes = _krylov(mesh, damping, capacity, (excess - rest) * root, shift_s)
            modes /= root[:, None]
            step_s = left_s
            ends = flat or left_s < 0.5
            if not ends:
                after_s = np.geomspace(0.25, left_s, 40)
                skin = mesh.skin
                falls = (modes[skin] @ np.exp(-rates[:, None] * after_s) + rest[skin][:, None]).max(axis=0)
                halved = np.flatnonzero(falls <= _FALL * hottest)
                if len(halved) and halved[0] < len(after_s) - 1:
                    step_s = float(after_s[halved[0]])
                else:
                    ends = True
            end_s = exchange.end_s if ends else at_s + step_s
            piece = Piece(at_s, end_s, rates, modes, rest)
            pieces.append(piece)
            if math.isinf(end_s):
                break
            excess = piece.state(end_s)
            at_s = end_s
    return Course(mesh, ambient_c, tuple(pieces))
