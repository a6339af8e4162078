"""The round brilliant as half-spaces n·x <= h; the unit of length is half the nominal diameter, z points to the viewer.

Made here anew from the proportions of the trade (table, crown and pavilion angle, star and lower-half length, girdle),
so that no habit of the first renderer's geometry is shared.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.spatial import ConvexHull, HalfspaceIntersection

STEP = np.pi / 8
INNER = np.cos(STEP)


@dataclass(frozen=True)
class Proportions:
    """What a cutter aims at: shares of the diameter or of the radius, angles in degrees, mean diameter in mm."""

    table: float
    crown_deg: float
    pavilion_deg: float
    lower: float
    star: float
    girdle: float
    diameter_mm: float
    culet: float
    girdle_planes: int
    frosted: bool


@dataclass(frozen=True)
class Stone:
    """Planes (n, 4) as normal and offset, facets first, then the girdle from row `girdle`."""

    planes: Any
    names: tuple[str, ...]
    girdle: int
    proportions: Proportions

    @property
    def inscribed(self) -> float:
        """Radius about the axis within which no girdle plane can be met."""
        return float(self.planes[self.girdle :, 3].min())


def draw_proportions(rng: Any) -> Proportions:
    return Proportions(
        table=rng.uniform(0.53, 0.62),
        crown_deg=rng.uniform(32.0, 36.5),
        pavilion_deg=rng.uniform(40.2, 41.6),
        lower=rng.uniform(0.74, 0.84),
        star=rng.uniform(0.45, 0.55),
        girdle=rng.uniform(0.02, 0.04),
        diameter_mm=rng.uniform(4.2, 7.2),
        culet=0.0 if rng.random() < 0.8 else rng.uniform(0.006, 0.015),
        girdle_planes=int(rng.choice([64, 80, 96, 120])),
        frosted=bool(rng.random() < 0.5),
    )


def at(radius: float, azimuth: float, z: float) -> Any:
    return np.array([radius * np.cos(azimuth), radius * np.sin(azimuth), z])


def plane_through(a: Any, b: Any, c: Any) -> tuple[Any, Any]:
    """Outward normal and anchor of the plane through three points; the stone's inside holds the origin."""
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal)
    return normal * np.sign(normal @ a), (a + b + c) / 3


def half_stone(angle_deg: float, tip_radius: float, rim: float) -> tuple[list[Any], list[Any], list[Any]]:
    """Mains, halves and tips of a crown (or pavilion, upside down) whose mains meet the rim at height `rim`."""
    slope = np.tan(np.radians(angle_deg))
    mains, halves, tips = [], [], []
    for k in range(8):
        azimuth = 2 * k * STEP
        normal = at(np.sin(np.radians(angle_deg)), azimuth, np.cos(np.radians(angle_deg)))
        mains.append((normal, at(0.8, azimuth, rim + 0.2 * slope)))
        tips.append(at(tip_radius, azimuth + STEP, rim + (1 - tip_radius * INNER) * slope))
        for side in (0, 2):
            ends = at(1, azimuth + side * STEP, rim), at(1, azimuth + STEP, rim)
            halves.append(plane_through(tips[-1], *ends))
    return mains, halves, tips


def upside_down(faces: list[Any]) -> list[Any]:
    flip = np.array([1, 1, -1])
    return [(normal * flip, anchor * flip) for normal, anchor in faces]


def nominal_faces(p: Proportions) -> tuple[list[Any], list[str]]:
    """Normal and anchor of every facet but the girdle's, and the facets' names."""
    slope = np.tan(np.radians(p.crown_deg))
    rim = p.girdle + 0.018 * slope  # the girdle is measured at its valleys, below the mains' corners
    edge = p.table * INNER
    mains, uppers, tips = half_stone(p.crown_deg, edge + p.star * (1 - edge), rim)
    top = rim + (1 - p.table) * slope
    corners = [at(p.table, 2 * k * STEP, top) for k in range(9)]
    stars = [plane_through(corners[k], corners[k + 1], tips[k]) for k in range(8)]
    bottoms, lowers, _ = half_stone(p.pavilion_deg, 1 - p.lower, rim)
    faces = [(np.array([0, 0, 1.0]), np.array([0, 0, top])), *mains, *stars, *uppers]
    faces += upside_down(bottoms) + upside_down(lowers)
    names = ["table"] + [f"{group} {k + 1}" for group in ("crown main", "star") for k in range(8)]
    names += [f"upper half {k // 2 + 1}{'ab'[k % 2]}" for k in range(16)]
    names += [f"pavilion main {k + 1}" for k in range(8)] + [f"lower half {k // 2 + 1}{'ab'[k % 2]}" for k in range(16)]
    if p.culet:
        depth = rim + np.tan(np.radians(p.pavilion_deg)) * (1 - p.culet)
        faces.append((np.array([0, 0, -1.0]), np.array([0, 0, -depth])))
        names.append("culet")
    return faces, names


def cut(p: Proportions, errors: Any, nick: Any = None) -> Stone:
    """A stone with its cutter's errors, drawn from the generator `errors`; `nick` a generator if the rim is chipped."""
    faces, names = nominal_faces(p)
    worst = errors.uniform(0.2, 0.5)
    planes = []
    for normal, anchor in faces:
        lean = np.radians(errors.uniform(0.1, worst))
        across = np.cross(normal, errors.normal(size=3))
        tilted = normal * np.cos(lean) + across / np.linalg.norm(across) * np.sin(lean)
        planes.append([*tilted, tilted @ anchor + errors.normal() * 0.0008])
    if nick is not None:
        planes.append(nick_plane(p, nick))
        names.append("nick")
    return Stone(np.array(planes + girdle_planes(p, errors)), (*names, "girdle"), len(planes), p)


def girdle_planes(p: Proportions, errors: Any) -> list[list[float]]:
    """Upright planes around a rim that is out of round by up to 1.2 % of the diameter."""
    oval, third = errors.uniform(0, 0.006), errors.uniform(0, 0.002)
    phase = errors.uniform(0, 2 * np.pi, 2)
    azimuths = np.arange(p.girdle_planes) * 2 * np.pi / p.girdle_planes
    radius = 1 - 0.003 + oval * np.cos(2 * azimuths + phase[0]) + third * np.cos(3 * azimuths + phase[1])
    return [[np.cos(a), np.sin(a), 0.0, r] for a, r in zip(azimuths, radius, strict=True)]


def nick_plane(p: Proportions, rng: Any) -> list[float]:
    """A chip at the girdle's upper edge, a few hundredths of the radius deep."""
    azimuth, steep = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(40, 65))
    normal = at(np.cos(steep), azimuth, np.sin(steep))
    edge = at(0.99 - rng.uniform(0.02, 0.05), azimuth, p.girdle)
    return [*normal, float(normal @ edge)]


def corners_of(stone: Stone) -> Any:
    """Corners (n, 3) of the solid."""
    planes = np.column_stack([stone.planes[:, :3], -stone.planes[:, 3]])
    return HalfspaceIntersection(planes, np.zeros(3)).intersections


def contains(stone: Stone, point: Any, margin: float = 0.0) -> bool:
    return bool((stone.planes[:, :3] @ point < stone.planes[:, 3] - margin).all())


def caliper(points: Any) -> tuple[tuple[float, float], float, float]:
    """Centroid, largest and smallest caliper (Feret) diameter of the convex outline of points (n, 2)."""
    outline = points[ConvexHull(points).vertices]
    x, y = outline.T
    following = np.roll(outline, -1, axis=0)
    area = x * following[:, 1] - y * following[:, 0]
    centre = ((outline + following) * area[:, None]).sum(0) / (3 * area.sum())
    edges = following - outline
    normals = np.column_stack([-edges[:, 1], edges[:, 0]]) / np.linalg.norm(edges, axis=1)[:, None]
    across = outline @ normals.T  # the smallest width is found at right angles to an edge, the largest between corners
    widest = np.linalg.norm(outline[:, None] - outline[None], axis=2).max()
    return (float(centre[0]), float(centre[1])), float(widest), float(np.ptp(across, axis=0).min())
