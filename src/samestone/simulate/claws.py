"""A head that holds the stone: claws, gallery rings, a shank; metal as meshes in the stone's frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from samestone.simulate.cutting import Floats, Mesh, Proportions, merge


@dataclass(frozen=True)
class Claw:
    """One claw: azimuth in degrees, width in mm; worn is flattened and short, broken ends at the girdle."""

    azimuth_deg: float
    width_mm: float
    state: str = "whole"


def draw_claws(rng: np.random.Generator, count: int, *, damaged: int = 0) -> list[Claw]:
    """Evenly spaced claws with a bench worker's scatter; `damaged` of them worn or broken."""
    width = float(rng.uniform(0.75, 1.15))
    start = float(rng.uniform(0, 360))
    bad = set(rng.choice(count, damaged, replace=False).tolist()) if damaged else set()
    states = ["whole" if k not in bad else str(rng.choice(["worn", "broken"])) for k in range(count)]
    return [
        Claw(
            (start + 360 * k / count + float(rng.normal(0, 1.0))) % 360,
            width * float(rng.uniform(0.93, 1.07)),
            states[k],
        )
        for k in range(count)
    ]


def _tube(path: Floats, radii: Floats, sides: int = 28) -> Mesh:
    """A tube of circular section along a path (n, 3), closed at both ends."""
    n = len(path)
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    across = np.cross(tangent[0], [0.0, 0.0, 1.0])
    across = across if np.linalg.norm(across) > 1e-6 else np.cross(tangent[0], [0.0, 1.0, 0.0])
    rings = []
    for k in range(n):
        across = across - (across @ tangent[k]) * tangent[k]
        across /= np.linalg.norm(across)
        third = np.cross(tangent[k], across)
        angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
        rings.append(path[k] + radii[k] * (np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * third))
    vertices = np.vstack([*rings, path[:1], path[-1:]])
    faces = []
    for k in range(n - 1):
        for j in range(sides):
            a, b = k * sides + j, k * sides + (j + 1) % sides
            faces += [(a, b, b + sides), (a, b + sides, a + sides)]
    for j in range(sides):
        faces.append((n * sides, (j + 1) % sides, j))
        faces.append((n * sides + 1, (n - 1) * sides + j, (n - 1) * sides + (j + 1) % sides))
    return Mesh(vertices, np.array(faces, dtype=np.int64))


def _claw(claw: Claw, p: Proportions) -> Mesh:
    radius, h = p.diameter_mm / 2, p.girdle * p.diameter_mm / 2
    half = claw.width_mm / 2
    slope = np.radians(p.crown_deg)
    outside = radius + 0.42 * half
    over = {"whole": 1.05, "worn": 0.55, "broken": 0.0}[claw.state] * half
    lift = 0.62 * half if claw.state != "worn" else 0.34 * half
    points = [
        (0.60 * radius, -1.16 * radius),
        (0.82 * radius, -0.85 * radius),
        (outside, -0.35 * radius),
        (outside + 0.04, -0.2 * half),
    ]
    if claw.state == "broken":
        points.append((outside + 0.03, 0.25 * half))
    else:
        points.append((radius + 0.12 * half, h + 0.55 * half + 0.1 * lift))
        points.append((radius - over, h + over * np.tan(slope) + lift))
    knots = np.array(points)
    t = np.linspace(0, len(knots) - 1, 64)
    r, z = _smooth(knots[:, 0], t), _smooth(knots[:, 1], t)
    radii = np.full(64, half)
    end = np.linspace(0, 1, 9)
    radii[-9:] = half * np.sqrt(np.clip(1 - end**2, 0.004, None))  # a rounded tip
    a = np.radians(claw.azimuth_deg)
    path = np.c_[r * np.cos(a), r * np.sin(a), z]
    mesh = _tube(path, radii)
    if claw.state == "worn":
        mesh = Mesh(np.c_[mesh.vertices[:, :2], np.minimum(mesh.vertices[:, 2], h + 0.75 * half)], mesh.faces)
    return mesh


def _smooth(values: Floats, t: Floats) -> Floats:
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(np.arange(len(values)), values)(t))


def _ring(radius: float, z: float, thickness: float) -> Mesh:
    angle = np.linspace(0, 2 * np.pi, 97)
    path = np.c_[radius * np.cos(angle), radius * np.sin(angle), np.full(97, z)]
    return _tube(path, np.full(97, thickness / 2), 20)


def _shank(p: Proportions, azimuth_deg: float, width_mm: float) -> Mesh:
    """A finger ring below the head, its plane through the stone's axis."""
    a = np.radians(azimuth_deg)
    middle = 9.4
    angle = np.linspace(-np.pi / 2, 3 * np.pi / 2, 160)  # the seam is below, out of sight
    along = middle * np.cos(angle)
    z = middle * np.sin(angle) - middle - 0.60 * p.diameter_mm - 0.4 * width_mm
    path = np.c_[along * np.cos(a), along * np.sin(a), z]
    return _tube(path, np.full(len(path), width_mm / 2), 24)


def metal_head(claws: list[Claw], p: Proportions, *, shank_deg: float | None = None) -> Mesh:
    """Claws and two gallery rings and, when shank_deg is given, the shank lying along that azimuth."""
    radius = p.diameter_mm / 2
    parts = [_claw(c, p) for c in claws]
    parts += [_ring(0.86 * radius, -0.72 * radius, 0.16 * radius), _ring(0.62 * radius, -1.12 * radius, 0.16 * radius)]
    if shank_deg is not None:
        parts.append(_shank(p, shank_deg, 1.9))
    return merge(parts)
