"""The frame of a Data Matrix symbol laid over a picture: two solid sides, two that beat, and quiet steel around them.

A frame is eight points, the corners and the middles of the sides, so that it bends with the steel.  Which size it has,
which way it is turned and where it lies is whatever the picture agrees with best along its border; what is inside
is not looked at here.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from kiosk.reader.matrix_symbol import SIZES, Size, fixed

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]
SQUARES = tuple(size for size in SIZES if size.rows == size.columns and size.blocks == 1)
OBLONGS = tuple(size for size in SIZES if size.rows != size.columns)

# top left, top right, bottom right, bottom left, then the middles of top, right, foot and left
_NODES = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [0, -1], [1, 0], [0, 1], [-1, 0]], np.float64)
_QUIET = 0.75  # modules outside of the border at which nothing may be marked


class Frame(NamedTuple):
    """Where a symbol of a size lies: nodes (8, 2) in pixels of its picture.  score: how well both agree, 0 to 4."""

    size: Size
    nodes: Floats
    score: float

    def places(self, at: Floats) -> Floats:
        """Pixels of points given in modules (N, 2), x to the right and y down from the symbol's top left corner."""
        scaled = at * 2 / (self.size.columns, self.size.rows) - 1
        return np.asarray(shape(scaled) @ self.nodes)


def shape(at: Floats) -> Floats:
    """(N, 8): how much every node moves a point of the unit square (N, 2), -1 to 1 (serendipity, eight nodes)."""
    x, y = at[:, :1], at[:, 1:]
    nx, ny = _NODES[:, 0], _NODES[:, 1]
    corner = (1 + x * nx) * (1 + y * ny) * (x * nx + y * ny - 1) / 4
    upright = (1 - x * x) * (1 + y * ny) / 2
    level = (1 + x * nx) * (1 - y * y) / 2
    return np.asarray(np.where(nx == 0, upright, np.where(ny == 0, level, corner)))


def from_corners(corners: Floats) -> Floats:
    """Nodes of frames with straight sides (..., 8, 2), from their four corners (..., 4, 2)."""
    return np.concatenate([corners, (corners + corners[..., [1, 2, 3, 0], :]) / 2], axis=-2)


class _Border(NamedTuple):
    """Points along a border: how nodes move each (P, 8); of each side its first, its end, and what they should be."""

    moves: Picture
    sides: tuple[tuple[int, int, Picture], ...]


@cache
def _border(size: Size) -> _Border:
    bits = fixed(size)
    rows, columns = size.rows, size.columns
    points: list[tuple[float, float]] = []
    sides = []
    for edge, (out_x, out_y) in (
        ([(c, 0) for c in range(columns)], (0, -1)), ([(columns - 1, r) for r in range(rows)], (1, 0)),
        ([(c, rows - 1) for c in range(columns)], (0, 1)), ([(0, r) for r in range(rows)], (-1, 0)),
    ):  # fmt: skip
        first = len(points)
        points += [(column + 0.5, row + 0.5) for column, row in edge]
        away = 0.5 + _QUIET
        points += [(column + 0.5 + away * out_x, row + 0.5 + away * out_y) for column, row in edge]
        wanted = np.array([2.0 * bits[row, column] - 1 for column, row in edge] + [-1.0] * len(edge), np.float32)
        wanted -= wanted.mean()
        sides.append((first, len(points), wanted / np.float32(np.linalg.norm(wanted))))
    at = np.array(points) * 2 / (columns, rows) - 1
    return _Border(shape(at).astype(np.float32), tuple(sides))


def agreement(marked: Picture, nodes: Floats, size: Size) -> Floats:
    """(K,): how well the picture agrees with a symbol of `size` at nodes (K, 8, 2), the four sides' correlations added.

    marked: (H, W) larger where something is marked.
    """
    border = _border(size)
    seen = _seen(marked, nodes, border.moves)
    return np.asarray(sum(_alike(seen[:, first:last], wanted) for first, last, wanted in border.sides), np.float64)


def _seen(marked: Picture, nodes: Floats, moves: Picture) -> Picture:
    at = nodes.transpose(0, 2, 1).astype(np.float32) @ moves.T  # (K, 2, P)
    return np.asarray(cv2.remap(marked, at[:, 0], at[:, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _alike(values: Picture, wanted: Picture) -> Picture:
    """(K, ...): how well values (K, P) agree with what is wanted of them (P, ...)."""
    values = values - values.mean(1, keepdims=True)
    spread = np.sqrt(np.einsum("kp,kp->k", values, values)) + 1e-6
    return np.asarray(((values @ wanted).T / spread).T)


@cache
def _along_sides(size: Size) -> Picture:
    """(4, P): what the sides of a symbol should be, each clockwise; of an oblong one only sides across are alike."""
    wanted = [side[2] for side in _border(size).sides]
    longest = max(len(side) for side in wanted)
    clockwise = [side if n < 2 else side.reshape(2, -1)[:, ::-1].ravel() for n, side in enumerate(wanted)]
    return np.stack([np.pad(side, (0, longest - len(side))) for side in clockwise])


_STEPS_OUT = (-1.6, -0.8, 0.0, 0.8, 1.6)  # of sides, modules
_ENDS = np.stack(np.meshgrid(_STEPS_OUT, _STEPS_OUT, _STEPS_OUT, indexing="ij"), axis=-1).reshape(-1, 3)
_OFF = 0.15  # by which a score is off at most that takes every side alone
_EXACTLY = 16  # of them that are compared with all four sides in their place
_SETTLED = 8  # frames that are worth to be fitted closely
_LEAST_ROUGH = 2.0  # score before that; marks that were read had 2.26 and more, two bare places of three have less


def lay(marked: Picture, corners: Floats, oblong: bool, most: float = float("inf")) -> list[Frame]:
    """Frames that may fit a symbol whose rough corners (4, 2) are known, the best first.

    corners: clockwise; off by two modules at most.  most: modules along a side, the mean of both ways.
    """
    rough: list[Frame] = []
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    ratio = (sides[0] + sides[2]) / (sides[1] + sides[3])
    if oblong:
        upright = np.roll(corners, -1, axis=0)
        for size in (size for size in OBLONGS if size.rows + size.columns <= 2 * most):
            for turned, wide in ((corners, ratio), (upright, 1 / ratio)):
                if 0.7 < wide * size.rows / size.columns < 1.4:
                    rough += _roughly(marked, turned, size, (0, 2))
    elif 0.7 < ratio < 1.4:
        for size in (size for size in SQUARES if size.rows <= most):
            rough += _roughly(marked, corners, size, (0, 1, 2, 3))
    rough.sort(key=lambda frame: -frame.score)
    settled = [settle(marked, frame) for frame in rough[:_SETTLED]]
    return sorted(settled, key=lambda frame: -frame.score)


def _roughly(marked: Picture, corners: Floats, size: Size, turns: tuple[int, ...]) -> Iterator[Frame]:
    """For each way up the best frame of all whose sides are moved in or out by some steps, each on its own.

    Where a side lies is up to its own step and those of its two neighbours; how far off the side across is moves its
    modules by less than a tenth of one.  So every side is looked at alone, for all ways up at once.
    """
    border = _border(size)
    turned = np.stack([np.roll(_along_sides(size), turn, axis=0) for turn in turns])  # (turns, sides, points)
    alone = []
    for side, (first, last, _) in enumerate(border.sides):
        shifts = np.zeros((len(_ENDS), 4))
        shifts[:, [side - 1, side, (side + 1) % 4]] = _ENDS
        seen = _seen(marked, from_corners(_shifted(corners, shifts, size)), border.moves[first:last])
        clockwise = seen if side < 2 else seen.reshape(len(seen), 2, -1)[:, :, ::-1].reshape(seen.shape)
        alike = _alike(clockwise, turned[:, side, : last - first].T)
        alone.append(alike.reshape((len(_STEPS_OUT),) * 3 + (len(turns),)))
    top, right, foot, left = alone  # each by: the side before it, itself, the one after it, and the way up
    together = (
        top.transpose(1, 2, 0, 3)[:, :, None, :] + right[:, :, :, None]
        + foot[None] + left.transpose(2, 0, 1, 3)[:, None]
    ).reshape(-1, len(turns))  # fmt: skip
    for turn, scores in zip(turns, together.T, strict=True):
        if scores.max() > _LEAST_ROUGH - _OFF:
            most = np.argpartition(scores, -_EXACTLY)[-_EXACTLY:]
            shifts = np.array(_STEPS_OUT)[np.stack(np.unravel_index(most, (len(_STEPS_OUT),) * 4), axis=1)]
            nodes = from_corners(np.roll(_shifted(corners, shifts, size), -turn, axis=1))
            exact = agreement(marked, nodes, size)
            best = int(exact.argmax())
            if exact[best] > _LEAST_ROUGH:
                yield Frame(size, nodes[best], float(exact[best]))


def _shifted(corners: Floats, shifts: Floats, size: Size) -> Floats:
    """(K, 4, 2): the quad with its top, right, foot and left moved out by so many modules (K, 4)."""
    right = (corners[1] - corners[0] + corners[2] - corners[3]) / 2 / size.columns
    down = (corners[3] - corners[0] + corners[2] - corners[1]) / 2 / size.rows
    top, to_right, foot, left = (shifts[:, side : side + 1] for side in range(4))
    return np.stack([
        corners[0] - left * right - top * down, corners[1] + to_right * right - top * down,
        corners[2] + to_right * right + foot * down, corners[3] - left * right + foot * down,
    ], axis=1)  # fmt: skip


_INSIDE = 4.0  # what all modules inside weigh against the four sides
_STEPS = (0.7, 0.35, 0.18, 0.09)  # modules


def settle(marked: Picture, frame: Frame, clear: Picture | None = None) -> Frame:
    """The frame moved, stretched and bent to where the picture agrees with it best.

    clear: (H, W) how clearly a spot is marked or not; given, modules inside are drawn to where that is most.
    """
    size, nodes, score = frame
    if clear is not None:
        score += _clearness(clear, nodes[None], size)[0]
    for step in _STEPS if clear is None else _STEPS[1:]:
        for _ in range(10):
            tried = nodes + _moves(nodes, size, step)
            scores = agreement(marked, tried, size)
            if clear is not None:
                scores = scores + _clearness(clear, tried, size)
            best = int(scores.argmax())
            if scores[best] <= score + 1e-4:
                break
            nodes, score = tried[best], float(scores[best])
    return Frame(size, nodes, score)


@cache
def _inner(size: Size) -> Picture:
    """(P, 8): how nodes move the middle of every module."""
    columns, rows = np.meshgrid(np.arange(size.columns) + 0.5, np.arange(size.rows) + 0.5)
    at = np.stack([columns, rows], axis=-1).reshape(-1, 2) * 2 / (size.columns, size.rows) - 1
    return shape(at).astype(np.float32)


def _clearness(clear: Picture, nodes: Floats, size: Size) -> Floats:
    at = nodes.transpose(0, 2, 1).astype(np.float32) @ _inner(size).T
    seen = cv2.remap(clear, at[:, 0], at[:, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(_INSIDE * seen.mean(1), np.float64)


@cache
def _patterns() -> Floats:
    """(K, 8, 2): ways to move a frame, in modules: as a whole, one side, one corner, one middle."""
    moves = []
    for axis in (0, 1):
        whole = np.zeros((8, 2))
        whole[:, axis] = 1
        moves.append(whole)
        for side in ((0, 1, 4), (1, 2, 5), (2, 3, 6), (3, 0, 7)):
            one = np.zeros((8, 2))
            one[list(side), axis] = 1
            moves.append(one)
        for corner, (before, after) in enumerate(((7, 4), (4, 5), (5, 6), (6, 7))):
            one = np.zeros((8, 2))
            one[corner, axis] = 1
            one[[before, after], axis] = 0.5
            moves.append(one)
        for pair in ((4, 6), (5, 7)):
            bend = np.zeros((8, 2))
            bend[list(pair), axis] = 0.5
            moves.append(bend)
    return np.concatenate([np.array(moves), -np.array(moves)])


def _moves(nodes: Floats, size: Size, step: float) -> Floats:
    right = (nodes[1] - nodes[0] + nodes[2] - nodes[3]) / 2 / size.columns
    down = (nodes[3] - nodes[0] + nodes[2] - nodes[1]) / 2 / size.rows
    return np.asarray(step * (_patterns()[..., :1] * right + _patterns()[..., 1:] * down))
