"""A cut stone as an exact convex polyhedron, built from its proportions: facets, volume, picture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from samestone.gem.outline import Outline, round_outline

Array = npt.NDArray[np.float64]
Plane = tuple[Array, float]
"""Outward unit normal and distance from the origin."""
Named = tuple[str, Plane]


@dataclass(frozen=True)
class Facet:
    """One flat face: its name, its outward unit normal, its corners in order, counter-clockwise seen from outside."""

    name: str
    normal: Array
    corners: Array


@dataclass(frozen=True)
class Solid:
    """A polyhedron in mm; x along the length, z up through the table, girdle top at z = 0."""

    facets: tuple[Facet, ...]

    @property
    def volume_mm3(self) -> float:
        """Sum over the facets of (corner x normal) area / 3 (divergence theorem)."""
        return math.fsum(float(f.corners[0] @ f.normal) * _area(f.corners, f.normal) / 3 for f in self.facets)

    @property
    def corners(self) -> Array:
        """All distinct corners, one a row."""
        return np.unique(np.concatenate([f.corners for f in self.facets]), axis=0)

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Length, width, depth of its box."""
        spread = np.ptp(self.corners, axis=0)
        return float(spread[0]), float(spread[1]), float(spread[2])

    def named(self, name: str) -> tuple[Facet, ...]:
        """The facets of one name: table, bezel, star, upper half, girdle, lower half, main, culet, step."""
        return tuple(facet for facet in self.facets if facet.name == name)


@dataclass(frozen=True, slots=True)
class Proportions:
    """Proportions in per cent of the mean girdle diameter (of the width for other outlines), angles in degrees.

    `girdle` is its thickness at the hills; `star` and `lower_half` are how far they reach seen from above.
    """

    table: float = 57.0
    crown_angle_deg: float = 34.5
    pavilion_angle_deg: float = 40.75
    girdle: float = 3.0
    star: float = 50.0
    lower_half: float = 77.0
    culet: float = 0.0

    def __post_init__(self) -> None:
        for name, low, high in (
            ("table", 20, 95), ("crown_angle_deg", 5, 60), ("pavilion_angle_deg", 20, 70), ("girdle", 0.1, 20),
            ("star", 10, 95), ("lower_half", 10, 98), ("culet", 0, 20),
        ):  # fmt: skip
            value = getattr(self, name)
            if not (math.isfinite(value) and low <= value <= high):
                raise ValueError(f"{name} is {value:g}, expected {low} to {high}")

    @property
    def crown_height(self) -> float:
        """(100 - table)/2 tan(crown angle), in per cent."""
        return (100 - self.table) / 2 * math.tan(math.radians(self.crown_angle_deg))

    @property
    def pavilion_depth(self) -> float:
        """50 tan(pavilion angle), less what the culet cuts off, in per cent."""
        return (100 - self.culet) / 2 * math.tan(math.radians(self.pavilion_angle_deg))

    @property
    def depth(self) -> float:
        """Crown, girdle and pavilion together, in per cent."""
        return self.crown_height + self.girdle + self.pavilion_depth


def build_round(proportions: Proportions, diameter_mm: float = 1.0) -> Solid:
    """Build a round brilliant of 57 facets (58 with a culet) and a round girdle of 96 equal-area sides.

    >>> round(build_round(Proportions()).volume_mm3, 3)
    0.21
    """
    return build_brilliant(round_outline(diameter_mm), proportions, diameter_mm)


def build_brilliant(
    outline: Outline, p: Proportions, width_mm: float, *, bulge: Sequence[tuple[float, float]] = ()
) -> Solid:
    """Build a brilliant on any convex outline: mains, stars and halves at its sixteen stations.

    On a station's support line the main facet rises from the girdle to the table's outline (the girdle's, scaled by
    table %); stars and halves are the planes through the points that their neighbours leave. On a circle this is the
    round brilliant; on an ellipse its exact affine image. With `bulge`, rows of (share of the way inwards, share of the
    depth) at all sixteen stations take the place of the pavilion's mains and halves.
    """
    crown, girdle, pavilion = (width_mm / 100 * part for part in (p.crown_height, p.girdle, p.pavilion_depth))
    planes = [("table", _plane((0, 0, 1), (0, 0, crown)))]
    planes += [("girdle", _plane((*side.normal, 0), (*side.point, 0))) for side in outline.sides]
    if p.culet:
        planes.append(("culet", _plane((0, 0, -1), (0, 0, -girdle - pavilion))))
    top = _Side("bezel", "upper half", crown, 1 - p.table / 100, p.star / 100, p.table / 100)
    bottom = _Side("main", "lower half", pavilion, 1 - p.culet / 100, p.lower_half / 100, 0.0)
    planes += _facets(outline, top)
    planes += [
        (name, _plane((n[0], n[1], -n[2]), (n[0] * d, n[1] * d, -n[2] * d - girdle)))
        for name, (n, d) in (_bulged(outline, pavilion, bulge) if bulge else _facets(outline, bottom))
    ]
    return intersect(planes, (0, 0, -girdle / 2))


@dataclass(frozen=True, slots=True)
class _Side:
    """Crown or pavilion, both built upwards from z = 0; `table` is 0 for a side that has none."""

    main: str
    half: str
    height: float
    inset: float
    reach: float
    table: float


def _facets(outline: Outline, side: _Side) -> list[Named]:
    """Mains, halves and, where there is a table, stars."""
    stations, table = outline.stations, side.table
    mains = [_slope(s.normal, s.support, side.height, side.inset) for s in stations[::2]]
    planes = [(side.main, main) for main in mains]
    for index in range(1, len(stations), 2):
        left, middle, right = stations[index - 1], stations[index], stations[(index + 1) % len(stations)]
        near, far = mains[index // 2], mains[(index // 2 + 1) % len(mains)]
        start = _crossing(middle.point, table * left.point, table * right.point) if table else 0.0
        share = start + side.reach * (1 - start) if table else 1 - side.reach
        tip = share * middle.point
        top = np.array([*tip, min(_height(near, tip), _height(far, tip))])
        foot = np.array([*middle.point, 0.0])
        planes += [(side.half, _through(np.array([*end.point, 0.0]), foot, top)) for end in (left, right)]
        if table:
            ends = [np.array([*(table * end.point), side.height]) for end in (left, right)]
            planes.append(("star", _through(ends[0], ends[1], top)))
    return planes


def _bulged(outline: Outline, height: float, rows: Sequence[tuple[float, float]]) -> list[Named]:
    planes: list[Named] = []
    inset = rise = 0.0
    for inwards, upwards in rows:
        for s in outline.stations:
            foot = (*(s.support * (1 - inset) * s.normal), rise * height)
            planes.append(("main", _plane((*(s.normal * upwards * height), inwards * s.support), foot)))
        inset, rise = inset + inwards, rise + upwards
    return planes


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a step cut: how far it reaches inwards and how high it rises, both in mm."""

    inset_mm: float
    rise_mm: float


def build_step(outline: Sequence[tuple[Array, float]], crown: Sequence[Row], pavilion: Sequence[Row], girdle_mm: float,
               pavilion_outline: Sequence[tuple[Array, float]] = ()) -> Solid:  # fmt: skip
    """Build a step cut on straight sides, each (outward unit normal, distance from the centre), rows from the girdle.

    The last pavilion row ends in a keel where its insets add up to half the width. `pavilion_outline` turns the sides
    below the girdle: lines through the corners make the chevrons of a princess.
    """
    height = sum(row.rise_mm for row in crown)
    planes: list[Named] = [("table", _plane((0, 0, 1), (0, 0, height)))]
    planes += [("girdle", _plane((*normal, 0), (*(support * normal), 0))) for normal, support in outline]
    planes += [("step", plane) for plane in _steps(outline, crown)]
    for normal, offset in _steps(pavilion_outline or outline, pavilion):
        point = normal * offset
        planes.append(("step", _plane((normal[0], normal[1], -normal[2]), (point[0], point[1], -point[2] - girdle_mm))))
    return intersect(planes, (0, 0, -girdle_mm / 2))


def _steps(sides: Sequence[tuple[Array, float]], rows: Sequence[Row]) -> list[Plane]:
    planes, inset, rise = [], 0.0, 0.0
    for row in rows:
        for normal, support in sides:
            foot = (support - inset) * normal
            planes.append(_plane((*(normal * row.rise_mm), row.inset_mm), (*foot, rise)))
        inset, rise = inset + row.inset_mm, rise + row.rise_mm
    return planes


def _slope(normal: Array, support: float, height: float, inset: float) -> Plane:
    """The plane that leaves the girdle's support line at z = 0 and is `height` up after `inset` of the way inwards."""
    return _plane((normal[0] * height, normal[1] * height, inset * support), (*(support * normal), 0.0))


def _height(plane: Plane, at: Array) -> float:
    normal, offset = plane
    return float((offset - normal[:2] @ at) / normal[2])


def _crossing(ray: Array, a: Array, b: Array) -> float:
    """How far along the ray from the centre (1 = its end) it crosses the chord a-b."""
    normal = np.array([b[1] - a[1], a[0] - b[0]])
    return float(normal @ a / (normal @ ray))


def _plane(normal: Sequence[float] | Array, point: Sequence[float] | Array) -> Plane:
    n = np.asarray(normal, dtype=float)
    n = n / np.linalg.norm(n)
    return n, float(n @ np.asarray(point, dtype=float))


def _through(a: Array, b: Array, c: Array) -> Plane:
    normal = np.cross(b - a, c - a)
    return _plane(normal if normal[2] > 0 else -normal, a)


def intersect(planes: Sequence[Named], inside: Sequence[float] = (0.0, 0.0, 0.0)) -> Solid:
    """Intersect half-spaces (name, (outward unit normal, offset)) into a solid around a point inside them all.

    Refuses planes that leave that point outside, or that do not close.
    """
    from scipy.spatial import HalfspaceIntersection, QhullError

    normals = np.array([normal for _, (normal, _) in planes])
    offsets = np.array([offset for _, (_, offset) in planes])
    centre = np.asarray(inside, dtype=float)
    if (normals @ centre >= offsets).any():
        raise ValueError("these proportions leave no solid: the facets cut everything away")
    try:
        points = HalfspaceIntersection(np.column_stack([normals, -offsets]), centre).intersections
    except QhullError as problem:
        raise ValueError(f"these planes do not close a solid: {str(problem).splitlines()[0]}") from None
    if not np.isfinite(points).all():
        raise ValueError("these planes do not close a solid: one side is open")
    scale = float(np.ptp(points, axis=0).max())
    points = _distinct(points, 1e-9 * scale)
    facets = []
    for name, (normal, offset) in planes:
        corners = points[np.abs(points @ normal - offset) < 1e-8 * scale]
        ordered = _ordered(corners, normal)
        if len(ordered) >= 3 and _area(ordered, normal) > 1e-9 * scale**2:
            facets.append(Facet(name, normal, ordered))
    return Solid(tuple(facets))


def _distinct(points: Array, reach: float) -> Array:
    """One of each group of points that are nearer than `reach`, unrounded."""
    from scipy.spatial import cKDTree

    first = np.arange(len(points))
    for low, high in sorted(cKDTree(points).query_pairs(reach)):
        first[high] = min(first[high], first[low])
    return np.asarray(points[np.unique(first)] + 0.0, dtype=float)


def _ordered(corners: Array, normal: Array) -> Array:
    if len(corners) < 3:
        return corners
    centred = corners - corners.mean(axis=0)
    axis = np.cross(normal, (1.0, 0.0, 0.0) if abs(normal[0]) < 0.9 else (0.0, 1.0, 0.0))
    axis /= np.linalg.norm(axis)
    angles = np.arctan2(centred @ np.cross(normal, axis), centred @ axis)
    return np.asarray(corners[np.argsort(angles)], dtype=float)


def _area(corners: Array, normal: Array) -> float:
    rolled = np.roll(corners, -1, axis=0)
    return float(abs(np.cross(corners - corners[0], rolled - corners[0]).sum(axis=0) @ normal) / 2)
