"""What lies in a stone and on it, drawn by chance: characteristics, dirt, claws, as rows for the tracer.

Sizes are given in micrometres and become parts of the stone's radius here. A row holds a shape's centre, a bounding
radius and the matrix that makes it the unit ball, cube, octahedron or disc.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scripts.second import stone as solid
from scripts.second import trace

MIX = {"pinpoint": 0.32, "crystal": 0.3, "feather": 0.18, "needle": 0.1, "cloud": 0.1}
Rows = list[list[float]]


@dataclass(frozen=True)
class Mark:
    """One characteristic or one piece of dirt."""

    kind: str
    finish: str
    centre: Any
    size_um: float
    rows: Rows


def any_turn(rng: Any) -> Any:
    """A random rotation."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    return q * np.sign(np.diag(r))


def row_of(shape: int, centre: Any, half: Any, axes: Any, look: tuple[float, float], seed: int = 0) -> list[float]:
    """A row from half lengths along three axes (rows of `axes`), opacity and glow."""
    corner = np.sqrt(3) if shape == trace.BOX else 1
    frame = np.asarray(axes) / np.asarray(half)[:, None]
    return [shape, *centre, corner * float(np.max(half)), *frame.ravel(), *look, seed, 0]


def draw_features(rng: Any, stone: solid.Stone, very_clean: bool) -> list[Mark]:
    radius_um = stone.proportions.diameter_mm * 500
    if very_clean:
        return [pinpoint(rng, stone, radius_um) for _ in range(rng.integers(1, 3))]
    kinds = rng.choice(list(MIX), rng.integers(3, 15), p=list(MIX.values()))
    return [MAKERS[kind](rng, stone, radius_um) for kind in kinds]


def place(rng: Any, stone: solid.Stone, margin: float) -> Any:
    """A place inside, evenly by volume, at least `margin` below every facet."""
    low, high = -0.9, 0.45
    while True:
        point = np.array([rng.uniform(-1, 1), rng.uniform(-1, 1), rng.uniform(low, high)])
        if solid.contains(stone, point, margin):
            return point


def finish_of(rng: Any, dark: float) -> tuple[str, tuple[float, float]]:
    if rng.random() < dark:
        return "dark", (rng.uniform(0.85, 1.0), rng.uniform(0.02, 0.15))
    return "pale", (rng.uniform(0.5, 0.85), rng.uniform(0.4, 1.1))


def pinpoint(rng: Any, stone: solid.Stone, radius_um: float) -> Mark:
    size = rng.uniform(10, 25)
    centre, (finish, look) = place(rng, stone, 0.02), finish_of(rng, 0.5)
    half = size / 2 / radius_um * rng.uniform(0.8, 1.25, 3)
    return Mark("pinpoint", finish, centre, size, [row_of(trace.ELLIPSOID, centre, half, any_turn(rng), look)])


def crystal(rng: Any, stone: solid.Stone, radius_um: float) -> Mark:
    size = float(np.exp(rng.uniform(np.log(20), np.log(90))))
    half = size / 2 / radius_um * rng.uniform(0.65, 1.3, 3)
    centre, axes = place(rng, stone, half.max()), any_turn(rng)
    if rng.random() < 0.2:
        look = rng.uniform(0.5, 0.85), rng.uniform(0.5, 1.2)
        return Mark("crystal", "clear", centre, size, [row_of(trace.CLEAR, centre, half, axes, look)])
    finish, look = finish_of(rng, 0.65)
    shape = int(rng.choice([trace.ELLIPSOID, trace.OCTAHEDRON, trace.BOX]))
    if shape == trace.BOX:
        half = half * 0.7
    return Mark("crystal", finish, centre, size, [row_of(shape, centre, half, axes, look)])


def needle(rng: Any, stone: solid.Stone, radius_um: float) -> Mark:
    length, thick = rng.uniform(80, 350), rng.uniform(5, 12)
    half = np.array([length, thick, thick]) / 2 / radius_um
    centre, (finish, look) = place(rng, stone, half[0] * 0.8), finish_of(rng, 0.3)
    return Mark("needle", finish, centre, length, [row_of(trace.ELLIPSOID, centre, half, any_turn(rng), look)])


def feather(rng: Any, stone: solid.Stone, radius_um: float) -> Mark:
    """A crack, ragged and whitish; half of them start at the rim, where only the half inside the stone is there."""
    size = float(np.exp(rng.uniform(np.log(150), np.log(800))))
    half = np.array([1, rng.uniform(0.4, 1), 1e-3]) * size / 2 / radius_um
    centre = place(rng, stone, 0.03)
    if rng.random() < 0.5:
        azimuth = rng.uniform(0, 2 * np.pi)
        centre = solid.at(0.985, azimuth, rng.uniform(-1, 1) * stone.proportions.girdle)
    look = rng.uniform(0.45, 0.95), rng.uniform(0.5, 1.2)
    row = row_of(trace.DISC, centre, half, any_turn(rng), look, int(rng.integers(1000)))
    return Mark("feather", "veil", centre, size, [row])


def cloud(rng: Any, stone: solid.Stone, radius_um: float) -> Mark:
    """A haze, or specks too small to tell apart, or both."""
    size = rng.uniform(150, 600)
    half = size / 2 / radius_um * rng.uniform(0.5, 1.0, 3)
    centre, axes = place(rng, stone, 0.06), any_turn(rng)
    rows: Rows = []
    specks = int(rng.integers(40, 101)) if rng.random() < 0.65 else 0
    look = 0.75, rng.uniform(0.7, 1.2)
    for _ in range(specks):
        spot = axes.T @ (np.clip(rng.normal(size=3) * 0.42, -0.95, 0.95) * half)
        speck = np.full(3, rng.uniform(4, 9) / 2 / radius_um)
        rows.append(row_of(trace.ELLIPSOID, centre + spot, speck, np.eye(3), look))
    if rows:
        reach = max(float(np.linalg.norm(np.array(row[1:4]) - centre)) for row in rows) + 0.01
        rows.insert(0, [trace.GROUP, *centre, reach, *np.eye(3).ravel(), 0, 0, 0, len(rows)])
    if not rows or rng.random() < 0.5:
        density = rng.uniform(0.1, 0.35)  # per half length
        rows.append(row_of(trace.HAZE, centre, half, axes, (density, rng.uniform(0.5, 0.9))))
    return Mark("cloud", "pale", centre, size, rows)


MAKERS = {"pinpoint": pinpoint, "crystal": crystal, "needle": needle, "feather": feather, "cloud": cloud}


def draw_dirt(rng: Any, stone: solid.Stone) -> list[Mark]:
    """The dirt of one taking: grains and fibres on the crown, grease on either side."""
    radius_um = stone.proportions.diameter_mm * 500
    marks = [grain(rng, stone, radius_um) for _ in range(rng.integers(2, 13))]
    marks += [fibre(rng, stone, radius_um) for _ in range(rng.integers(0, 4))]
    marks += [smear(rng, stone, radius_um, 1) for _ in range(rng.integers(1, 6))]
    return marks + [smear(rng, stone, radius_um, -1) for _ in range(rng.integers(0, 5))]


def on_surface(rng: Any, stone: solid.Stone, side: int) -> tuple[Any, Any]:
    """A place on the crown (side 1) or pavilion (side -1), and the normal there."""
    radius, azimuth = 0.97 * np.sqrt(rng.random()), rng.uniform(0, 2 * np.pi)
    start = solid.at(radius, azimuth, 0)
    normals, offsets = stone.planes[: stone.girdle, :3], stone.planes[: stone.girdle, 3]
    facing = normals[:, 2] * side > 0.05
    height = ((offsets - normals @ start) / np.abs(normals[:, 2]).clip(1e-9))[facing]
    first = int(np.argmin(height))
    return start + np.array([0, 0, side * height[first]]), normals[facing][first]


def lying(rng: Any, normal: Any) -> Any:
    """Axes of something that lies on a facet: two in it, one off it."""
    u = np.cross(normal, rng.normal(size=3))
    u /= np.linalg.norm(u)
    return np.array([u, np.cross(normal, u), normal])


def dust_look(rng: Any) -> tuple[float, float]:
    return (rng.uniform(0.8, 1.0), rng.uniform(0.05, 0.3)) if rng.random() < 0.5 else (0.85, rng.uniform(0.5, 1.1))


def grain(rng: Any, stone: solid.Stone, radius_um: float) -> Mark:
    size = float(np.exp(rng.uniform(np.log(15), np.log(90))))
    centre, normal = on_surface(rng, stone, 1)
    axes, look = lying(rng, normal), dust_look(rng)
    rows = []
    for k in range(rng.integers(1, 4)):  # a grain is a few lumps
        half = size / 2 / radius_um * rng.uniform(0.5, 1.1, 3)
        shift = (rng.uniform(-0.5, 0.5, 2) * size / radius_um) @ axes[:2] if k else 0
        rows.append(row_of(trace.GRAIN, centre + shift, half, axes, look))
    return Mark("dust", "dust", centre, size, rows)


def fibre(rng: Any, stone: solid.Stone, radius_um: float) -> Mark:
    """A short fibre, bent: links one after the other on the facet."""
    length, thick = rng.uniform(150, 600), rng.uniform(8, 18)
    centre, normal = on_surface(rng, stone, 1)
    axes, look = lying(rng, normal), dust_look(rng)
    links = 5
    step, bend = length / links / radius_um, rng.uniform(-0.5, 0.5)
    rows, spot = [], centre - axes[0] * step * links / 2
    for k in range(links):
        turn = bend * (k - links / 2)
        ahead = np.cos(turn) * axes[0] + np.sin(turn) * axes[1]
        half = np.array([step * 0.75, thick / 2 / radius_um, 0.02])
        rows.append(row_of(trace.GRAIN, spot + ahead * step / 2, half, [ahead, np.cross(normal, ahead), normal], look))
        spot = spot + ahead * step
    return Mark("dust", "dust", centre, length, rows)


def smear(rng: Any, stone: solid.Stone, radius_um: float, side: int) -> Mark:
    size = rng.uniform(250, 1400)
    centre, normal = on_surface(rng, stone, side)
    half = size / 2 / radius_um * np.array([1, rng.uniform(0.3, 0.9), 0.8])
    look = rng.uniform(0.3, 0.8), rng.uniform(0.25, 0.6)
    row = row_of(trace.SMEAR, centre, half, lying(rng, normal), look, int(rng.integers(1000)))
    return Mark("smear", "film", centre, size, [row])


def draw_claws(rng: Any, stone: solid.Stone, count: int) -> list[dict[str, Any]]:
    """Claws evenly around, each somewhat off: angle in the stone's frame, width, rows of its head and of its leg."""
    p, start, claws = stone.proportions, rng.uniform(0, 360), []
    radius_um, width_um = p.diameter_mm * 500, rng.uniform(500, 1100) * (0.8 if count == 6 else 1)
    length = rng.uniform(0.13, 0.2)
    for k in range(count):
        angle = start + 360 * k / count + rng.normal() * 2
        width = width_um * rng.uniform(0.93, 1.07)
        a, wide = np.radians(angle), width / 2 / radius_um
        out, side, lean = solid.at(1, a, 0), solid.at(1, a + np.pi / 2, 0), np.radians(p.crown_deg)
        inward = np.cos(lean) * -out + np.array([0, 0, np.sin(lean)])
        axes = [inward, side, np.cross(inward, side)]
        height = p.girdle + 0.05 * np.tan(lean)
        head = row_of(trace.GRAIN, out * 0.97 + [0, 0, height], [length, wide, 0.07], axes, (1, 0))
        leg = row_of(trace.GRAIN, out * 1.05 + [0, 0, -0.25], [0.075, wide * 0.95, 0.5], [out, side, [0, 0, 1]], (1, 0))
        claws.append({"angle_deg": angle, "width_um": round(width, 1), "rows": [head, leg]})
    return claws


def stacked(rows: Rows) -> Any:
    """Rows (n, COLUMNS) for the tracer."""
    return np.array(rows, dtype=float).reshape(-1, trace.COLUMNS)
