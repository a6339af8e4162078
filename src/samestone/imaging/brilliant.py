"""A symmetric round brilliant seen from the side: its corners, its projected hull, and how both move.

Pixels: x to the right, y down. Lengths of the stone in mean girdle diameters.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NAMES = ("table", "crown_angle_deg", "pavilion_angle_deg", "girdle", "star", "lower_half", "perspective")
"""What the proportions are, in this order: per cent, degrees; perspective: diameters over the camera's distance."""
STEPS = np.array([0.02, 0.02, 0.02, 0.02, 0.2, 0.2])
"""Steps of the numerical derivative of the corners, for all proportions but the perspective."""


EIGHTH = np.pi / 8
COUNTS = (8, 8, 8, 96, 96, 1)
"""Corners of the table, below the stars, above the lower halves, along both edges of the girdle; the point."""
TURNS = np.concatenate([np.arange(8) * 2 * EIGHTH + turn for turn in (0, EIGHTH, EIGHTH)] + [np.zeros(193)])
TURNS[24:216] = np.tile(np.linspace(0, 2 * np.pi, 97)[:-1], 2)
TOWARDS = np.column_stack([np.cos(TURNS), np.sin(TURNS)])
FLAT, BULGE = 0.5 * np.cos(EIGHTH / 2), 0.5 * np.cos(TURNS[24:120] % EIGHTH - EIGHTH / 2)
"""How far from the axis a half facet's plane and the round girdle are, along the middle of the half facet."""


def brilliant_corners(proportions: Array) -> Array:
    """Corners (n, 3) of a symmetric round brilliant of diameter 1: x, y in the girdle plane, z up, girdle top at 0.

    proportions in the order of NAMES. Mains have the angles asked for; halves pass through their neighbours' corners.
    """
    table, crown, pavilion, girdle, star, lower_half, _ = proportions
    slope, drop = np.tan(np.radians(crown)), np.tan(np.radians(pavilion))
    thick, aside = girdle / 100, np.cos(EIGHTH)
    top = table / 200
    star_r = top * aside + star / 100 * (0.5 - top * aside)
    star_z = slope * (0.5 - star_r * aside)
    low_r = 0.5 * (1 - lower_half / 100)
    low_z = -drop * (0.5 - low_r * aside)
    corners = np.empty((len(TURNS), 3))
    corners[:, :2] = TOWARDS * np.repeat([top, star_r, low_r, 0.5, 0.5, 0.0], COUNTS)[:, None]
    corners[:24, 2] = np.repeat([slope * (0.5 - top), star_z, low_z - thick], 8)
    corners[24:120, 2] = np.minimum(rim_height(star_r, star_z), 0)
    corners[120:216, 2] = np.maximum(rim_height(low_r, low_z), 0) - thick
    corners[216, 2] = -thick - drop * 0.5
    return corners


def corner_slopes(proportions: Array) -> Array:
    """How the corners move with each proportion but the perspective: (6, n, 3)."""
    moves = np.eye(len(STEPS), len(NAMES)) * STEPS[:, None]
    return np.stack(
        [
            (brilliant_corners(proportions + move) - brilliant_corners(proportions - move)) / (2 * step)
            for move, step in zip(moves, STEPS, strict=True)
        ]
    )


def rim_height(radius: float, z: float) -> Array:
    """Height above the girdle's edge at which the half facets' planes meet the girdle, (96,).

    A plane passes through (1/2, azimuth 0), (1/2, azimuth 22.5°), both at height 0, and (radius, 22.5°) at z.
    """
    return np.asarray(z * (FLAT - BULGE) / (FLAT - radius * np.cos(EIGHTH / 2)))


@dataclass(frozen=True)
class SideView:
    """The hull of the corners in one picture. pose: azimuth, pitch, roll (radians), centre x, centre y (px)."""

    hull: Array
    """(m, 2), px, without corners that fall together."""
    at: NDArray[np.intp]
    """Which corner each point of the hull is, (m,)."""
    turned: Array
    """The hull's corners turned towards the camera: to the right, away, up; (m, 3)."""
    scale: float
    perspective: float
    pose: Array

    @classmethod
    def of(cls, corners: Array, scale: float, perspective: float, pose: Array) -> SideView:
        azimuth, pitch, roll, cx, cy = pose
        turned = corners @ turning(azimuth, pitch)
        size = scale / (1 + perspective * turned[:, 1])
        flat = rolled(np.column_stack([turned[:, 0] * size, turned[:, 2] * size]), roll) + np.array([cx, cy])
        at = cv2.convexHull(flat.astype(np.float32), returnPoints=False).ravel()
        apart = np.hypot(*(flat[np.roll(at, -1)] - flat[at]).T) > 1e-6
        at = np.asarray(at[apart], np.intp)
        return cls(flat[at], at, turned[at], scale, perspective, pose)

    def misses(self, points: Array) -> Array:
        """Distance of each point (n, 2) from the hull's sides, px, positive outside (exact beside sides and inside)."""
        return nearest_side(points, self.hull)[0]

    def slopes(self, points: Array, corner_moves: Array) -> tuple[Array, Array]:
        """Derivatives of `misses` (n, 8) by scale and the proportions, and (n, 5) by the pose.

        A line through two moving points: the distance changes by how far the line moves at the point's foot.
        """
        _, side, normal, foot = nearest_side(points, self.hull)
        moves = self.hull_moves(corner_moves)
        following = np.roll(np.arange(len(self.hull)), -1)
        first = np.einsum("kmc,mc->mk", moves, normal)
        last = np.einsum("kmc,mc->mk", moves[:, following], normal)
        slopes = -(first[side] + foot[:, None] * (last[side] - first[side]))
        return slopes[:, :8], slopes[:, 8:]

    def hull_moves(self, corner_moves: Array) -> Array:
        """How the hull's points move (13, m, 2) with scale, the proportions, perspective and the pose."""
        azimuth, pitch, roll, _, _ = self.pose
        right, away, up = self.turned.T
        depth = 1 + self.perspective * away
        size = self.scale / depth
        shape = corner_moves[:, self.at] @ turning(azimuth, pitch)
        level = away * np.cos(pitch) + up * np.sin(pitch)
        turn = np.column_stack([-level, right * np.cos(pitch), right * np.sin(pitch)])
        tip = np.column_stack([np.zeros_like(up), -up, away])
        solid = np.concatenate([shape, turn[None], tip[None]])
        shrink = -size * self.perspective * solid[:, :, 1] / depth
        seen = np.stack([solid[:, :, 0] * size + right * shrink, solid[:, :, 2] * size + up * shrink], axis=2)
        flat = np.column_stack([right * size, up * size])
        nearer = -flat * (away / depth)[:, None]
        across, down = np.zeros_like(flat), np.zeros_like(flat)
        across[:, 0], down[:, 1] = 1.0, 1.0
        rolling = np.column_stack([-flat[:, 1], flat[:, 0]])
        return np.stack(
            [
                rolled(flat / self.scale, roll),
                *(rolled(one, roll) for one in seen[:6]),
                rolled(nearer, roll),
                rolled(seen[6], roll),
                rolled(seen[7], roll),
                rolled(rolling, roll),
                across,
                down,
            ]
        )


def turning(azimuth: float, pitch: float) -> Array:
    """(3, 3): row vectors of the stone times this are to the right, away from the camera, up."""
    ca, sa, cp, sp = np.cos(azimuth), np.sin(azimuth), np.cos(pitch), np.sin(pitch)
    return np.array([[ca, sa * cp, sa * sp], [-sa, ca * cp, ca * sp], [0.0, -sp, cp]])


def rolled(flat: Array, roll: float) -> Array:
    """Right and up (n, 2) turned counter-clockwise as seen by `roll`, in the picture's axes, y down."""
    c, s = np.cos(roll), np.sin(roll)
    return np.asarray(flat @ np.array([[c, -s], [-s, -c]]))


def nearest_side(points: Array, hull: Array) -> tuple[Array, NDArray[np.intp], Array, Array]:
    """Signed distance of each point from the hull, which side is nearest, the sides' outward normals, and the foot.

    The foot is where the perpendicular meets the side, as a share of it from its first corner.
    """
    edge = np.roll(hull, -1, axis=0) - hull
    length = np.hypot(edge[:, 0], edge[:, 1])
    normal = np.column_stack([edge[:, 1], -edge[:, 0]]) / length[:, None]
    if ((hull.mean(axis=0) - hull) * normal).sum() > 0:
        normal = -normal
    away = points @ normal.T - (normal * hull).sum(axis=1)
    side = away.argmax(axis=1)
    foot = ((points - hull[side]) * edge[side]).sum(axis=1) / length[side] ** 2
    return away[np.arange(len(points)), side], side, normal, foot
