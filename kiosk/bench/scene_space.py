"""Where things stand in a drawn scene: the camera's rays and the round or flat skin they strike.

Pure geometry for `scenes`; it must never know about colour, codes or chance.  A pinhole camera without lens
distortion stands at the origin, x to the right, y down, z into the picture; lengths are millimetres, angles
degrees, pixels count from the picture's top left corner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.float32]


class Lens(NamedTuple):
    """A pinhole camera: picture size and focal length, all in pixels."""

    width_px: int
    height_px: int
    focal_px: float

    @classmethod
    def with_angle(cls, width_px: int, height_px: int, hfov_deg: float) -> Lens:
        """The lens whose picture spans `hfov_deg` from left edge to right edge."""
        return cls(width_px, height_px, width_px / 2 / math.tan(math.radians(hfov_deg) / 2))

    def rays(self, left: float, top: float, columns: int, rows: int, step: float) -> tuple[Plane, Plane]:
        """x and y slopes of the rays through a grid of `columns` by `rows` samples, `step` pixels apart.

        The slopes come as (1, columns) and (rows, 1) so that arithmetic broadcasts them.
        """
        across = left + (np.arange(columns, dtype=np.float32) + 0.5) * step - self.width_px / 2
        down = top + (np.arange(rows, dtype=np.float32) + 0.5) * step - self.height_px / 2
        return (
            (across / self.focal_px).astype(np.float32)[None, :],
            (down / self.focal_px).astype(np.float32)[:, None],
        )

    def project(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Pixels of points (N, 3) in front of the camera, as (N, 2)."""
        return points[:, :2] / points[:, 2:] * self.focal_px + (self.width_px / 2, self.height_px / 2)


@dataclass(frozen=True, slots=True)
class Skin:
    """The skin a label sticks on.

    point: the skin's front point, mm.  across, along, normal: its unit axes there; `normal` looks out of the
    steel, `along` runs along the cylinder's axis, and across x along = normal.  radius_mm: None for flat.
    spin_deg: how far the label's centre sits from the front point, around the axis.
    """

    point: NDArray[np.float64]
    across: NDArray[np.float64]
    along: NDArray[np.float64]
    normal: NDArray[np.float64]
    radius_mm: float | None
    spin_deg: float = 0.0

    def spot(self, across_mm: NDArray[np.float64], along_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points in space (N, 3) of skin coordinates measured from the label's centre, mm."""
        x = np.atleast_1d(across_mm)[:, None]
        z = np.atleast_1d(along_mm)[:, None]
        if self.radius_mm is None:
            return self.point + x * self.across + z * self.along
        angle = x / self.radius_mm + math.radians(self.spin_deg)
        lean = np.sin(angle) * self.across + (np.cos(angle) - 1) * self.normal
        return np.asarray(self.point + self.radius_mm * lean + z * self.along)

    def facing(self, across_mm: float, along_mm: float) -> float:
        """Cosine between the skin's normal at a spot and the way to the camera; negative where hidden."""
        spot = self.spot(np.array([across_mm]), np.array([along_mm]))[0]
        normal = self.normal
        if self.radius_mm is not None:
            angle = across_mm / self.radius_mm + math.radians(self.spin_deg)
            normal = math.sin(angle) * self.across + math.cos(angle) * self.normal
        return float(-spot @ normal / np.linalg.norm(spot))


def pose(
    lens: Lens, aim_px: tuple[float, float], distance_mm: float, tilt_deg: float, roll_deg: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Point, across, along and normal of a skin seen at a pixel.

    tilt_deg leans the `along` axis towards the camera, roll_deg turns the whole about the line of sight.
    """
    sight = np.array([aim_px[0] - lens.width_px / 2, aim_px[1] - lens.height_px / 2, lens.focal_px])
    sight /= np.linalg.norm(sight)
    right = np.cross(np.array([0.0, 1.0, 0.0]), sight)
    right /= np.linalg.norm(right)
    up = np.cross(right, sight)
    if up[1] > 0:
        up = -up
    roll, tilt = math.radians(roll_deg), math.radians(tilt_deg)
    across = math.cos(roll) * right + math.sin(roll) * up
    upright = np.cross(-sight, across)
    along = math.cos(tilt) * upright + math.sin(tilt) * -sight
    normal = np.cross(across, along)
    return distance_mm * sight, across, along, normal


class Strike(NamedTuple):
    """Where rays hit a skin; arrays of one shape.

    hit: bool.  depth: the ray's parameter (z in mm).  angle_rad: around the axis from the front point (0 on a
    flat skin).  across_mm: along the skin from the front point, along_mm: along the axis.
    """

    hit: NDArray[np.bool_]
    depth: Plane
    angle_rad: Plane
    across_mm: Plane
    along_mm: Plane


def strike_round(skin: Skin, radius_mm: float, dx: Plane, dy: Plane) -> Strike:
    """Rays against an endless cylinder about the skin's axis, of any radius; the near side only."""
    assert skin.radius_mm is not None
    centre = skin.point - skin.radius_mm * skin.normal
    across, normal, along = (v.astype(np.float32) for v in (skin.across, skin.normal, skin.along))
    d_across = dx * across[0] + (dy * across[1] + across[2])
    d_normal = dx * normal[0] + (dy * normal[1] + normal[2])
    c_across, c_normal, c_along = (np.float32(centre @ v) for v in (skin.across, skin.normal, skin.along))
    square = d_across * d_across + d_normal * d_normal
    half = d_across * c_across + d_normal * c_normal
    root = half * half - square * np.float32(c_across**2 + c_normal**2 - radius_mm**2)
    hit = root > 0
    depth = (half - np.sqrt(np.maximum(root, 0))) / np.maximum(square, np.float32(1e-9))
    hit &= depth > 1
    angle = np.arctan2(depth * d_across - c_across, depth * d_normal - c_normal)
    z = depth * (dx * along[0] + (dy * along[1] + along[2])) - c_along
    return Strike(hit, depth, angle, angle * np.float32(radius_mm), z)


def strike_flat(skin: Skin, dx: Plane, dy: Plane, lift_mm: float = 0.0) -> Strike:
    """Rays against the plane through the skin's point, moved out by `lift_mm` along its normal."""
    across, normal, along = (v.astype(np.float32) for v in (skin.across, skin.normal, skin.along))
    d_normal = dx * normal[0] + (dy * normal[1] + normal[2])
    level = np.float32(skin.point @ skin.normal + lift_mm)
    hit = d_normal < -1e-4
    depth = np.where(hit, level / np.where(hit, d_normal, -1), 0).astype(np.float32)
    hit &= depth > 1
    x = depth * (dx * across[0] + (dy * across[1] + across[2])) - np.float32(skin.point @ skin.across)
    z = depth * (dx * along[0] + (dy * along[1] + along[2])) - np.float32(skin.point @ skin.along)
    return Strike(hit, depth, np.zeros_like(depth), x, z)
