"""Faceted stones as convex solids: one half-space per facet, each cut with its own small error.

Frame: millimetres, girdle mid-plane at z = 0, table towards +z, azimuth 0 on a crown main facet at +x.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import HalfspaceIntersection

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
GIRDLE_PLANES = 96


@dataclass(frozen=True)
class Mesh:
    """Triangles: vertices (n, 3) in mm, faces (m, 3)."""

    vertices: Floats
    faces: Ints

    def moved(self, turn: Floats, shift: Floats) -> Mesh:
        """The same triangles turned by a (3, 3) matrix, then shifted."""
        return Mesh(self.vertices @ turn.T + shift, self.faces)


def merge(meshes: list[Mesh]) -> Mesh:
    """Several meshes as one."""
    starts = np.cumsum([0, *(len(m.vertices) for m in meshes[:-1])])
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + start for m, start in zip(meshes, starts, strict=True)]),
    )


@dataclass(frozen=True)
class Solid:
    """A convex stone: outward unit normals (n, 3), offsets (n,) in mm, a name per facet, its corner polygons."""

    normals: Floats
    offsets: Floats
    names: tuple[str, ...]
    polygons: tuple[Floats, ...]

    def inside(self, points: Floats, margin_mm: float = 0.0) -> NDArray[np.bool_]:
        """Which points (n, 3) lie at least margin_mm below every facet."""
        return np.asarray(np.all(points @ self.normals.T <= self.offsets - margin_mm, axis=1))

    def mesh(self) -> Mesh:
        """Flat triangles, corners not shared between facets."""
        parts = []
        for polygon in self.polygons:
            if len(polygon) >= 3:
                fan = np.array([(0, i, i + 1) for i in range(1, len(polygon) - 1)], dtype=np.int64)
                parts.append(Mesh(polygon, fan))
        return merge(parts)

    def corners(self) -> Floats:
        """Every corner of every facet, (n, 3)."""
        return np.concatenate([p for p in self.polygons if len(p)])


@dataclass(frozen=True)
class Proportions:
    """What a cutter aims at; angles in degrees, lengths as fractions of the mean girdle diameter or as said."""

    diameter_mm: float
    table: float = 0.57
    crown_deg: float = 34.5
    pavilion_deg: float = 40.8
    girdle: float = 0.03
    star: float = 0.52  # from table edge to girdle, in plan
    lower_half: float = 0.78  # from girdle to culet, in plan
    culet: float = 0.004
    elongation: float = 1.0  # length over width; 1.00x is the small out-of-round of a round stone

    def __post_init__(self) -> None:
        fractions = {"table": self.table, "star": self.star, "lower_half": self.lower_half, "girdle": self.girdle}
        for name, value in fractions.items():
            if not 0 < value < 1:
                raise ValueError(f"{name} is {value}; a fraction between 0 and 1 was expected, e.g. 0.57 for 57 %")
        if self.diameter_mm <= 0 or not 0 < self.crown_deg < 60 or not 0 < self.pavilion_deg < 60:
            raise ValueError(f"{self.diameter_mm} mm, {self.crown_deg} and {self.pavilion_deg} degrees are no stone")


def solid_from_planes(normals: Floats, offsets: Floats, names: tuple[str, ...]) -> Solid:
    """Intersect the half-spaces n·x <= d (the origin must be inside) and order each facet's corners."""
    length = np.linalg.norm(normals, axis=1)
    normals, offsets = normals / length[:, None], offsets / length
    if np.any(offsets <= 0):
        raise ValueError("a facet plane passes the wrong side of the stone's centre; choose ordinary proportions")
    corners = HalfspaceIntersection(np.c_[normals, -offsets], np.zeros(3)).intersections
    corners = corners[np.all(np.isfinite(corners), axis=1)]
    scale = float(np.ptp(corners[:, 0]))
    return Solid(
        normals, offsets, names, tuple(_polygon(corners, n, d, scale) for n, d in zip(normals, offsets, strict=True))
    )


def _polygon(corners: Floats, normal: Floats, offset: float, scale: float) -> Floats:
    on = corners[np.abs(corners @ normal - offset) < 1e-8 * scale]
    if len(on) < 3:
        return np.zeros((0, 3))
    side = np.cross(normal, [0.0, 0.0, 1.0] if abs(normal[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    up = np.cross(normal, side)
    rel = on - on.mean(axis=0)
    order = np.argsort(np.arctan2(rel @ up, rel @ side))
    ring = on[order]
    keep = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1) > 1e-7 * scale
    ring = ring[keep]
    return ring if len(ring) >= 3 else np.zeros((0, 3))


def _point(radius: float, azimuth: float, z: float) -> Floats:
    return np.array([radius * np.cos(azimuth), radius * np.sin(azimuth), z])


def _through(a: Floats, b: Floats, c: Floats) -> tuple[Floats, float]:
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal)
    offset = float(normal @ a)
    return (normal, offset) if offset > 0 else (-normal, -offset)


class _Planes:
    """Collects half-spaces; turns each one about a point of its own facet by the cutter's error."""

    def __init__(self) -> None:
        self.normals: list[Floats] = []
        self.offsets: list[float] = []
        self.names: list[str] = []
        self.pivots: list[Floats] = []

    def add(self, name: str, plane: tuple[Floats, float], pivot: Floats) -> None:
        self.normals.append(plane[0])
        self.offsets.append(plane[1])
        self.names.append(name)
        self.pivots.append(pivot)

    def cut(self, errors: Floats | None, stretch: Floats) -> Solid:
        normals, offsets = np.array(self.normals), np.array(self.offsets)
        if errors is not None:
            side = np.cross(normals, [0.0, 0.0, 1.0])
            side[np.linalg.norm(side, axis=1) < 1e-9] = [1.0, 0.0, 0.0]
            side /= np.linalg.norm(side, axis=1)[:, None]
            up = np.cross(side, normals)
            normals = (
                normals + np.radians(errors[: len(normals), :1]) * side + np.radians(errors[: len(normals), 1:]) * up
            )
            normals /= np.linalg.norm(normals, axis=1)[:, None]
            offsets = np.sum(normals * np.array(self.pivots), axis=1)
        return solid_from_planes(normals / stretch, offsets, tuple(self.names))


def _crown_of_brilliant(planes: _Planes, p: Proportions) -> None:
    radius, half = p.diameter_mm / 2, np.pi / 8
    h = p.girdle * p.diameter_mm / 2
    tan_c = np.tan(np.radians(p.crown_deg))
    table_z, table_r = h + radius * (1 - p.table) * tan_c, radius * p.table
    edge = table_r * np.cos(half)
    tip_r = edge + p.star * (radius - edge)
    tip_z = h + (radius - tip_r * np.cos(half)) * tan_c
    planes.add("table", (np.array([0.0, 0.0, 1.0]), table_z), _point(0, 0, table_z))
    for k in range(8):
        a = k * 2 * half
        slope = np.radians(p.crown_deg)
        n = np.array([np.sin(slope) * np.cos(a), np.sin(slope) * np.sin(a), np.cos(slope)])
        rim = _point(radius, a, h)
        planes.add(f"crown main {k + 1}", (n, float(n @ rim)), (rim + _point(table_r, a, table_z)) / 2)
        here, there = _point(table_r, a, table_z), _point(table_r, a + 2 * half, table_z)
        tip = _point(tip_r, a + half, tip_z)
        planes.add(f"star {k + 1}", _through(here, there, tip), (here + there + tip) / 3)
        between = _point(radius, a + half, h)
        for name, at in (("a", rim), ("b", _point(radius, a + 2 * half, h))):
            planes.add(f"upper half {k + 1}{name}", _through(tip, at, between), (tip + at + between) / 3)


def _pavilion_of_brilliant(planes: _Planes, p: Proportions) -> None:
    radius, half = p.diameter_mm / 2, np.pi / 8
    h = p.girdle * p.diameter_mm / 2
    slope = np.radians(p.pavilion_deg)
    tip_r = radius * (1 - p.lower_half)
    tip_z = -h - (radius - tip_r * np.cos(half)) * np.tan(slope)
    bottom = h + radius * np.tan(slope)
    for k in range(8):
        a = k * 2 * half
        n = np.array([np.sin(slope) * np.cos(a), np.sin(slope) * np.sin(a), -np.cos(slope)])
        rim = _point(radius, a, -h)
        planes.add(
            f"pavilion main {k + 1}", (n, float(n @ rim)), _point(radius * 0.4, a, -h - 0.6 * radius * np.tan(slope))
        )
        tip, between = _point(tip_r, a + half, tip_z), _point(radius, a + half, -h)
        for name, at in (("a", rim), ("b", _point(radius, a + 2 * half, -h))):
            planes.add(f"lower half {k + 1}{name}", _through(tip, at, between), (tip + at + between) / 3)
    culet_z = bottom - p.culet * radius * np.tan(slope)
    planes.add("culet", (np.array([0.0, 0.0, -1.0]), culet_z), _point(0, 0, -culet_z))


def round_brilliant(p: Proportions, errors: Floats | None = None) -> Solid:
    """A round (or, elongated, oval) brilliant; errors (n, 2) in degrees turn each facet in azimuth and slope."""
    planes = _Planes()
    _crown_of_brilliant(planes, p)
    _pavilion_of_brilliant(planes, p)
    for k in range(GIRDLE_PLANES):
        a = (k + 0.5) * 2 * np.pi / GIRDLE_PLANES
        n = _point(1, a, 0)
        planes.add("girdle", (n, p.diameter_mm / 2), n * p.diameter_mm / 2)
    still = np.zeros((len(planes.names), 2))
    if errors is not None:
        still[: len(errors)] = errors[: len(still)]
        still[[i for i, name in enumerate(planes.names) if name == "girdle"]] = 0.0
    return planes.cut(still, _stretch(p))


def _stretch(p: Proportions) -> Floats:
    # planes are stretched by dividing their normals; the mean diameter stays
    return np.array([np.sqrt(p.elongation), 1 / np.sqrt(p.elongation), 1.0])


def _steps(
    planes: _Planes, outline: list[tuple[float, float]], ladder: list[tuple[float, float, float]], name: str
) -> None:
    """Rows of facets: outline gives (azimuth, inradius), the ladder (slope deg, drop fraction, height at the rim)."""
    for side, (azimuth, inradius) in enumerate(outline):
        for row, (slope_deg, inset, z) in enumerate(ladder):
            s = np.radians(slope_deg)
            up = 1.0 if z >= 0 else -1.0
            n = np.array([np.sin(s) * np.cos(azimuth), np.sin(s) * np.sin(azimuth), up * np.cos(s)])
            at = _point(inradius * (1 - inset), azimuth, z)
            planes.add(f"{name} {side + 1}.{row + 1}", (n, float(n @ at)), at)


def step_cut(p: Proportions, errors: Floats | None = None) -> Solid:
    """An eight-sided step cut with cut corners: three rows above, three below."""
    w, h = p.diameter_mm / 2, p.girdle * p.diameter_mm / 2
    corner = w * np.sqrt(2) * 0.84
    sides = [(k * np.pi / 4, w if k % 2 == 0 else corner) for k in range(8)]
    planes = _Planes()
    rise, fall = w * (1 - p.table), w
    crown = [
        (p.crown_deg + 8, 0.0, h),
        (p.crown_deg + 1, 0.13, h + 0.13 * w * 0.93),
        (p.crown_deg - 8, 0.27, h + 0.23 * w),
    ]
    table_z = h + 0.23 * w + (rise - 0.27 * w) * np.tan(np.radians(p.crown_deg - 8))
    planes.add("table", (np.array([0.0, 0.0, 1.0]), float(table_z)), _point(0, 0, float(table_z)))
    _steps(planes, sides, crown, "crown step")
    low = [(52.0, 0.0, -h), (45.0, 0.22, -h - 0.28 * fall), (37.0, 0.5, -h - 0.56 * fall)]
    _steps(planes, sides, low, "pavilion step")
    planes.add("culet", (np.array([0.0, 0.0, -1.0]), 1.9 * w), _point(0, 0, -1.9 * w))
    for azimuth, inradius in sides:
        n = _point(1, azimuth, 0)
        planes.add("girdle", (n, inradius), n * inradius)
    return planes.cut(_quiet(planes, errors), _stretch(p))


def square_brilliant(p: Proportions, errors: Floats | None = None) -> Solid:
    """A square stone with pointed corners: two rows above, fans of narrow facets below."""
    w, h = p.diameter_mm / 2, p.girdle * p.diameter_mm / 2
    sides = [(k * np.pi / 2, w) for k in range(4)] + [((k + 0.5) * np.pi / 2, w * 1.385) for k in range(4)]
    planes = _Planes()
    table_z = h + 0.20 * w
    planes.add("table", (np.array([0.0, 0.0, 1.0]), table_z), _point(0, 0, table_z))
    _steps(planes, sides[:4], [(42.0, 0.0, h), (27.0, 0.13, h + 0.117 * w)], "crown")
    _steps(planes, sides[4:], [(27.0, 0.0, h)], "corner")
    for k in range(4):
        for j, (spread, slope_deg, inset) in enumerate(
            [(0.0, 61.0, 0.0), (9.0, 54.0, 0.07), (21.0, 47.5, 0.20), (33.0, 42.5, 0.36)]
        ):
            for sign in (-1, 1) if spread else (1,):
                a = k * np.pi / 2 + sign * np.radians(spread)
                s = np.radians(slope_deg)
                n = np.array([np.sin(s) * np.cos(a), np.sin(s) * np.sin(a), -np.cos(s)])
                at = _point(w * (1 - inset), k * np.pi / 2, -h - inset * w * 1.45)
                planes.add(f"fan {k + 1}.{j + 1}{'ab'[sign > 0]}", (n, float(n @ at)), at)
    planes.add("culet", (np.array([0.0, 0.0, -1.0]), 1.9 * w), _point(0, 0, -1.9 * w))
    for azimuth, inradius in sides:
        n = _point(1, azimuth, 0)
        planes.add("girdle", (n, inradius), n * inradius)
    return planes.cut(_quiet(planes, errors), _stretch(p))


def _quiet(planes: _Planes, errors: Floats | None) -> Floats:
    still = np.zeros((len(planes.names), 2))
    if errors is not None:
        still[: len(errors)] = errors[: len(still)]
    still[[i for i, name in enumerate(planes.names) if name in {"girdle", "table"}]] = 0.0
    return still


CUTS = {"round": round_brilliant, "oval": round_brilliant, "step": step_cut, "square": square_brilliant}
