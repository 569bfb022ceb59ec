"""The shape a label lies on: a plane or a cylinder before a camera, fitted to points whose place is known.

It never bends a plane without need: bend and focal length are held back by a prior, so that three finder patterns
are enough.  Geometry is the pinhole camera and the circular cylinder, nothing learned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# turn (3), place (3), bend, axis, logarithm of the focal length against the camera's guess
_PARAMETERS = 9
_BEND, _AXIS, _FOCAL = 6, 7, 8
_AXES = np.array([0.0, 0.25, 0.5, 0.75]) * np.pi
_TRIED = 4  # steps from every axis before only the best goes on
_STEP = 1e-5


@dataclass(frozen=True, slots=True)
class Camera:
    """Principal point and focal length, pixels."""

    x: float
    y: float
    focal: float

    @classmethod
    def guess(cls, width: int, height: int) -> Camera:
        """A usual lens that looks at the middle of the picture."""
        return cls(width / 2, height / 2, 1.2 * max(width, height))

    def within(self, left: float, top: float, scale: float) -> Camera:
        """The same camera seen through a crop that starts at (left, top) and was resized by `scale`."""
        return Camera((self.x - left) * scale, (self.y - top) * scale, self.focal * scale)


@dataclass(frozen=True, slots=True)
class Surface:
    """A fitted label.  size: modules along its edge.  misfit: root mean square of the residuals, modules."""

    size: int
    camera: Camera
    parameters: Floats
    misfit: float

    def project(self, points: Floats) -> Floats:
        """Pixels of label points, (..., 2) column and row in modules from the top left corner."""
        flat = points.reshape(1, -1, 2) / self.size - 0.5
        pixels: Floats = _project(self.parameters[None], flat, self.camera)[0]
        return pixels.reshape(points.shape)


def fit(
    label: Floats,
    pixels: Floats,
    size: int,
    camera: Camera,
    weight: Floats | None = None,
    bent: bool = True,
    rounds: int = 12,
) -> Surface | None:
    """The surface on which label points (n, 2; modules) appear at pixels (n, 2).  None where no camera sees it so.

    weight: per point, 1 is normal.  bent: whether a cylinder is tried besides the plane.
    """
    return fits([(size, label)], pixels, camera, weight, bent, rounds)[0]


def fits(
    labels: Sequence[tuple[int, Floats]],
    pixels: Floats,
    camera: Camera,
    weight: Floats | None = None,
    bent: bool = True,
    rounds: int = 12,
) -> list[Surface | None]:
    """As `fit`, for several sizes and their label points at once, which costs little more than one."""
    if not labels:
        return []
    weights = np.ones(len(pixels)) if weight is None else weight
    axes = _AXES if bent else _AXES[:1]
    starts, flats, modules = [], [], []
    for size, label in labels:
        flat = label / size - 0.5
        start = _plane(flat, pixels, camera)
        if start is None:
            start = np.full(_PARAMETERS, np.nan)
        for axis in axes:
            starts.append(start + np.array([0, 0, 0, 0, 0, 0, 0.4 if bent else 0.0, axis, 0]))
            flats.append(flat)
            modules.append(max(float(np.sqrt(_area(pixels) / max(_area(label), 1e-9))), 0.5))
    table, flat_table, module_px = np.array(starts), np.array(flats), np.array(modules)
    costs = np.full(len(table), np.inf)

    def descend(which: NDArray[np.intp], steps: int) -> None:
        if len(which):
            table[which], costs[which] = _descend(
                table[which], flat_table[which], pixels, camera, weights, module_px[which], bent, steps
            )

    # a few steps tell which of the axes leads somewhere; only that one is worth the rest
    tried = min(_TRIED, rounds) if len(axes) > 1 else rounds
    descend(np.flatnonzero(np.isfinite(table).all(1)), tried)
    leading = np.arange(len(labels)) * len(axes) + costs.reshape(len(labels), -1).argmin(1)
    if rounds > tried:
        descend(leading[np.isfinite(costs[leading])], rounds - tried)
    found: list[Surface | None] = []
    for (size, _), best in zip(labels, leading, strict=True):
        if not np.isfinite(costs[best]):
            found.append(None)
            continue
        residual = (_project(table[best][None], flat_table[best][None], camera)[0] - pixels) / module_px[best]
        misfit = float(np.sqrt((weights * (residual**2).sum(1)).sum() / weights.sum()))
        found.append(Surface(size, camera, table[best], misfit))
    return found


def _area(points: Floats) -> float:
    return float(cv2.contourArea(cv2.convexHull(points.astype(np.float32))))


def _plane(flat: Floats, pixels: Floats, camera: Camera) -> Floats | None:
    """Pose of the flat label, as parameters without bend."""
    matrix = np.array([[camera.focal, 0, camera.x], [0, camera.focal, camera.y], [0, 0, 1]])
    space = np.concatenate([flat, np.zeros((len(flat), 1))], axis=1)
    try:
        found, turn, place = cv2.solvePnP(space, pixels, matrix, None, flags=cv2.SOLVEPNP_ITERATIVE)
    except cv2.error:
        return None
    if not found or place[2, 0] <= 0:
        return None
    return np.concatenate([turn.ravel(), place.ravel(), np.zeros(3)])


def _project(parameters: Floats, flat: Floats, camera: Camera) -> Floats:
    """(b, n, 2) pixels of flat label points (1 or b, n, 2; label widths from its middle) for b sets of parameters."""
    bend, axis = parameters[:, _BEND, None], parameters[:, _AXIS, None]
    cosine, sine = np.cos(axis), np.sin(axis)
    around = flat[..., 0] * cosine + flat[..., 1] * sine
    along = flat[..., 1] * cosine - flat[..., 0] * sine
    turned_half = 0.5 * bend * around
    turned_half[np.abs(turned_half) < 1e-9] = 1e-9  # smooth through a bend of nothing
    half = np.sin(turned_half) / turned_half
    across = around * half * np.cos(turned_half)  # the sine of the whole turn over the whole
    depth = 0.5 * bend * around**2 * half**2
    x = across * cosine - along * sine
    y = across * sine + along * cosine
    space = np.stack([x, y, depth], axis=-1)
    turned = space @ _rotation(parameters[:, :3]).transpose(0, 2, 1) + parameters[:, None, 3:6]
    ahead = np.maximum(turned[..., 2:], 1e-3)
    focal = camera.focal * np.exp(parameters[:, _FOCAL])[:, None, None]
    pixels: Floats = turned[..., :2] / ahead * focal + np.array([camera.x, camera.y])
    return pixels


def _rotation(turn: Floats) -> Floats:
    """Rotation matrices (b, 3, 3) of rotation vectors (b, 3), by Rodrigues' formula."""
    angle = np.linalg.norm(turn, axis=1)[:, None, None] + 1e-12
    x, y, z = (turn / angle[:, :, 0]).T
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    rotation: Floats = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross)
    return rotation


def _residuals(
    parameters: Floats, flat: Floats, pixels: Floats, camera: Camera, weights: Floats, module_px: Floats
) -> Floats:
    """(b, m): errors in units of 0.2 module, then the priors on bend and focal length."""
    off = (_project(parameters, flat, camera) - pixels) / (0.2 * module_px[:, None, None])
    off *= np.sqrt(weights)[:, None]
    prior = np.stack([parameters[:, _BEND] / 1.2, parameters[:, _FOCAL] / 0.25], axis=1)
    return np.concatenate([off.reshape(len(parameters), -1), prior], axis=1)


def _descend(
    starts: Floats,
    flat: Floats,
    pixels: Floats,
    camera: Camera,
    weights: Floats,
    module_px: Floats,
    bent: bool,
    rounds: int,
) -> tuple[Floats, Floats]:
    """Levenberg-Marquardt from all starts at once.  Returns parameters (b, 9) and their costs (b,)."""
    current = starts.copy()
    free = np.ones(_PARAMETERS, bool)
    free[[_BEND, _AXIS]] = bent
    which = np.flatnonzero(free)
    batch, ways = len(current), len(which)
    flat_many, module_many = np.repeat(flat, ways + 1, axis=0), np.repeat(module_px, ways + 1)
    rows, columns = np.tile(np.arange(1, ways + 1), batch), np.tile(which, batch)
    rows = rows + np.repeat(np.arange(batch) * (ways + 1), ways)

    def at(parameters: Floats) -> tuple[Floats, Floats]:
        """Residuals (b, m) and their slopes (b, ways, m), asked for at once, which costs hardly more than either."""
        beside = np.repeat(parameters, ways + 1, axis=0)
        beside[rows, columns] += _STEP
        many = _residuals(beside, flat_many, pixels, camera, weights, module_many).reshape(batch, ways + 1, -1)
        return many[:, 0], (many[:, 1:] - many[:, :1]) / _STEP

    damping = np.full(batch, 1e-2)
    value, slope = at(current)
    cost = (value**2).sum(1)
    for _ in range(rounds):
        square = slope @ slope.transpose(0, 2, 1)
        diagonal = np.einsum("bii->bi", square)
        square[:, np.arange(ways), np.arange(ways)] += damping[:, None] * diagonal + 1e-9
        try:
            change = np.linalg.solve(square, -(slope @ value[:, :, None]))[..., 0]
        except np.linalg.LinAlgError:
            break
        proposed = current.copy()
        proposed[:, which] += change
        proposed[:, _BEND] = np.clip(proposed[:, _BEND], -2.6, 2.6)
        proposed_value, proposed_slope = at(proposed)
        proposed_cost = (proposed_value**2).sum(1)
        better = proposed_cost < cost
        gain = np.where(better, cost - proposed_cost, 0.0)
        current[better], cost[better] = proposed[better], proposed_cost[better]
        value[better], slope[better] = proposed_value[better], proposed_slope[better]
        damping = np.clip(np.where(better, damping * 0.3, damping * 8), 1e-7, 1e7)
        if (gain < 1e-3 * (cost + 1e-3)).all() and better.any():
            break
    return current, cost
