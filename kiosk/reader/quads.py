"""Straight lines and the quadrilateral of a finder's outer edge, from points that were measured on it.

Pure geometry in pixels: it knows no picture and no symbol, and says None where no four corners can be told.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def quad_around(ring: Floats) -> Floats | None:
    """Four corners around points of the outer edge: smallest quadrilateral, then a straight line on each side."""
    hull = cv2.convexHull(ring.astype(np.float32))
    if len(hull) < 4:
        return None
    try:
        rough: Floats = cv2.approxPolyN(hull, 4, ensure_convex=True).reshape(-1, 2).astype(np.float64)
    except cv2.error:
        return None
    if len(rough) != 4:
        return None
    following = np.roll(rough, -1, axis=0)
    normals = (following - rough)[:, ::-1] * (1, -1)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-9
    away = np.abs(((ring[:, None, :] - rough[None]) * normals[None]).sum(2))
    nearest = away.argmin(1)
    lines = []
    for side in range(4):
        own = ring[nearest == side]
        if len(own) < 3:
            own = np.stack([rough[side], following[side]])
        lines.append(_line(own))
    corners: Floats = np.array([_cross(lines[side - 1], lines[side]) for side in range(4)])
    if not np.isfinite(corners).all():
        return rough
    span = np.linalg.norm(rough - rough.mean(0), axis=1).max()
    if np.linalg.norm(corners - rough, axis=1).max() > 0.5 * span:
        return rough
    return corners


def _line(points: Floats) -> Floats:
    """Line a x + b y + c = 0 through points, outliers dropped once."""
    for _ in range(2):
        middle = points.mean(0)
        shifted = points - middle
        (xx, xy), (_, yy) = shifted.T @ shifted
        angle = 0.5 * np.arctan2(2 * xy, xx - yy) + np.pi / 2
        normal = np.array([np.cos(angle), np.sin(angle)])
        off = np.abs(shifted @ normal)
        keep = off <= 2.5 * np.sort(off)[len(off) // 2] + 1e-6
        if keep.all() or keep.sum() < 3:
            break
        points = points[keep]
    return np.array([normal[0], normal[1], -normal @ middle])


def _cross(one: Floats, other: Floats) -> Floats:
    """Where two lines meet; not a number where they are parallel."""
    (a, b, c), (d, e, f) = one.tolist(), other.tolist()
    w = a * e - b * d
    if abs(w) < 1e-9:
        return np.array([np.nan, np.nan])
    return np.array([(b * f - c * e) / w, (c * d - a * f) / w])


def _through(one: Floats, other: Floats) -> Floats:
    """The line through two points."""
    (x, y), (u, v) = one.tolist(), other.tolist()
    return np.array([y - v, u - x, x * v - y * u])


def diagonals(quad: Floats) -> Floats:
    """Crossing of the diagonals: the projected centre."""
    centre = _cross(_through(quad[0], quad[2]), _through(quad[1], quad[3]))
    return centre if np.isfinite(centre).all() else quad.mean(0)
