"""How much a place in a picture is like a label: finder patterns, margin, and print between them.

A label is flattened at a guessed pose, compared with the modules every version 1 symbol has, and the pose is moved to
where it fits best.  It must never ask what the symbol says.  The patterns are those of ISO/IEC 18004; that a label on
round steel bows when it is seen from aside is allowed for to second order.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.symbols import Outline

Grey = NDArray[np.uint8]
Levels = tuple[Grey, ...]
"""A picture, half of it, a quarter of it and so on."""
Pose = NDArray[np.float64]
"""A symbol's place in the picture, pixels: rows are its centre, half its width, half its height, and, where it
lies on steel seen from aside, how far its middle bows out downwards and sidewards."""

SIDE, QUIET = 21, 4  # modules across a version 1 symbol and its margin
LABEL = SIDE + 2 * QUIET
FLATTEST = 0.65  # more oblong than this a label is seen from so far aside that it also bows
PER = 2  # samples a module when likeness is judged
_WORTH_FITTING = 1.05  # likeness after one round of fitting, for the rounds that follow to pay


class _Likeness:
    """Correlation of samples with the modules every symbol has, in each of four turns."""

    def __init__(self, blur: float, drawn: NDArray[np.float32], where: NDArray[np.float32]) -> None:
        soft = _turns(cv2.GaussianBlur(drawn, (0, 0), blur))
        weight = _turns(where)
        weight /= weight.sum(axis=1, keepdims=True)
        soft -= (weight * soft).sum(axis=1, keepdims=True)
        soft /= np.sqrt((weight * soft * soft).sum(axis=1, keepdims=True))
        self.weight = weight
        self.pattern = weight * soft


def _turns(square: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.stack([np.rot90(square, turn).ravel() for turn in range(4)]).astype(np.float32)


def _fixed() -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """A label of which only finders and margin are known; where the finders are; where they and margin are."""
    edge = LABEL
    drawn = np.ones((edge, edge), np.float32)
    drawn[QUIET:-QUIET, QUIET:-QUIET] = 0.5
    finders, beside = np.zeros_like(drawn), np.zeros_like(drawn)
    near, far = slice(QUIET, QUIET + 8), slice(edge - QUIET - 8, edge - QUIET)
    near_out, far_out = slice(QUIET - 1, QUIET + 8), slice(edge - QUIET - 8, edge - QUIET + 1)
    for rows, columns, rows_out, columns_out in (
        (near, near, near_out, near_out),
        (near, far, near_out, far_out),
        (far, near, far_out, near_out),
    ):
        drawn[rows, columns] = 1
        top = rows.start + (rows is far)
        left = columns.start + (columns is far)
        for inset, tone in ((0, 0.0), (1, 1.0), (2, 0.0)):
            drawn[top + inset : top + 7 - inset, left + inset : left + 7 - inset] = tone
        finders[rows, columns] = 1
        beside[rows_out, columns_out] = 1
    cell = np.ones((PER, PER), np.float32)
    return np.kron(drawn, cell), np.kron(finders, cell), np.kron(beside, cell)


_DRAWN, _FINDERS, _BESIDE = _fixed()
_LIKE = (_Likeness(2.4, _DRAWN, _FINDERS), _Likeness(1.6, _DRAWN, _BESIDE))
_MASKS = np.concatenate([one.weight for one in _LIKE] + [one.pattern for one in _LIKE])


def levels_of(grey: Grey, least_edge: int) -> Levels:
    """The picture and its halves, as many as a picture with that shorter edge needs."""
    levels = [grey]
    while least_edge >> (len(levels) - 1) > 90 and min(levels[-1].shape) > 1:
        levels.append(np.asarray(cv2.resize(levels[-1], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)))
    return tuple(levels)


def sampled(levels: Levels, pose: Pose, per: int) -> NDArray[np.float32]:
    """The label at a pose, flat, `per` samples a module, row by row."""
    edge = LABEL * per
    step = 2 / (SIDE * per)
    (cx, cy), (ux, uy), (vx, vy) = pose[:3].tolist()
    longest = 2 * max(math.hypot(ux, uy), math.hypot(vx, vy), 1.0)
    number = min(max(math.ceil(math.log2(longest / SIDE / 1.6)), 0), len(levels) - 1)
    if len(pose) == 3:
        small, middle = 0.5**number, (edge - 1) / 2
        ux, uy, vx, vy = (small * step * part for part in (ux, uy, vx, vy))
        left, top = small * cx - 0.5 - (ux + vx) * middle, small * cy - 0.5 - (uy + vy) * middle
        warp = np.array([[ux, vx, left], [uy, vy, top]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        flat = cv2.warpAffine(levels[number], warp, (edge, edge), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    else:
        at = (np.arange(edge) - (edge - 1) / 2) * step
        x, y = at[None, :, None], at[:, None, None]
        here = pose * 0.5**number
        spot = here[0] - 0.5 + x * here[1] + y * here[2] + x * x * here[3] + y * y * here[4]
        flat = cv2.remap(
            levels[number], spot.astype(np.float32), None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    if per > 1:
        flat = cv2.GaussianBlur(flat, (5, 5), 1.3)
    return np.asarray(flat.ravel(), np.float32)


def compare(levels: Levels, pose: Pose) -> tuple[float, NDArray[np.float32]]:
    """Likeness to a label's fixed modules, 2 at most, and the samples."""
    samples = sampled(levels, pose, PER)
    sums = _MASKS @ samples
    spread = _MASKS[:8] @ (samples * samples) - sums[:8] ** 2
    alike = sums[8:] / np.sqrt(np.maximum(spread, 0.25))
    return float((alike[:4] + alike[4:]).max()), samples


def fitted(levels: Levels, pose: Pose) -> Pose:
    """The pose nearby at which the likeness is greatest."""
    pose, alike = _climbed(levels, pose, _WAYS[:6], 1)
    if alike < _WORTH_FITTING:
        return pose
    pose, _ = _climbed(levels, pose, _WAYS[:6], 3)
    if not oblong(pose):
        return pose
    bowed = np.concatenate([pose, np.zeros((2, 2))])
    return _climbed(levels, bowed, _WAYS, 5)[0]


_WAYS = ((0, 1), (0, 2), (1, 1), (2, 2), (1, 2), (2, 1), (3, 2), (4, 1))
"""Row of a pose that is moved, and row along which."""


def _climbed(levels: Levels, pose: Pose, ways: tuple[tuple[int, int], ...], rounds: int) -> tuple[Pose, float]:
    best, step = compare(levels, pose)[0], 2 / SIDE
    for _ in range(rounds):
        moved = False
        for row, axis in ways:
            for sign in (step, -step):
                tried = pose.copy()
                tried[row] += sign * (1.0, 0.75, 0.75, 2.0, 2.0)[row] * pose[axis]
                alike = compare(levels, tried)[0]
                if alike > best + 0.003:
                    best, pose, moved = alike, tried, True
                    break
        if not moved:
            if step < 1.2 / SIDE:
                break
            step /= 2
    return pose, best


def area_of(pose: Pose) -> float:
    return abs(float(np.linalg.det(pose[1:3])))


def oblong(pose: Pose) -> bool:
    across, down = np.hypot(*pose[1]), np.hypot(*pose[2])
    return bool(min(across, down) < FLATTEST * max(across, down))


def outline(pose: Pose) -> Outline:
    """The symbol's outline and the edge of a module seen straight, pixels."""
    middle, right, down = pose[:3]
    quad = (middle - right - down, middle + right - down, middle + right + down, middle - right + down)
    module_px = 2 * max(float(np.hypot(*right)), float(np.hypot(*down))) / SIDE
    return Outline(tuple((float(x), float(y)) for x, y in quad), module_px)
