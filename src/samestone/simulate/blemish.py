"""What nature left inside a stone and what wear left on it: small meshes with a kind and a place.

Natural kinds: crystal, pinpoint, needle, feather, cloud. On the surface: nick (cut, see stones), dust, fibre, smear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from samestone.simulate.cutting import Floats, Mesh, Solid, merge

FILM_MM = 0.002


@dataclass(frozen=True)
class Feature:
    """One thing to be seen: `finish` is how it meets light (dark, pale, clear, veil, dust, film)."""

    id: str
    kind: str
    finish: str
    centre_mm: tuple[float, float, float]
    size_mm: float
    mesh: Mesh


def _blob(rng: np.random.Generator, size_mm: float, points: int = 14) -> Mesh:
    cloud = rng.normal(size=(points, 3))
    cloud /= np.linalg.norm(cloud, axis=1)[:, None]
    cloud *= rng.uniform(0.7, 1.0, (points, 1)) * rng.uniform(0.6, 1.0, 3) * size_mm / 2
    hull = ConvexHull(cloud)
    faces = hull.simplices.astype(np.int64)
    a, b, c = (cloud[faces[:, i]] for i in range(3))
    wrong = np.einsum("ij,ij->i", np.cross(b - a, c - a), hull.equations[:, :3]) < 0
    faces[wrong] = faces[wrong][:, ::-1]
    used, index = np.unique(faces, return_inverse=True)
    return Mesh(cloud[used], index.reshape(faces.shape))


def _rotation(rng: np.random.Generator) -> Floats:
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return np.asarray(q if np.linalg.det(q) > 0 else -q)


def _needle(rng: np.random.Generator, length_mm: float) -> Mesh:
    w = rng.uniform(0.010, 0.022) / 2
    box = np.array([[x, y, z] for x in (-length_mm / 2, length_mm / 2) for y in (-w, w) for z in (-w, w)])
    faces = np.array(
        [
            [0, 1, 3],
            [0, 3, 2],
            [4, 6, 7],
            [4, 7, 5],
            [0, 4, 5],
            [0, 5, 1],
            [2, 3, 7],
            [2, 7, 6],
            [0, 2, 6],
            [0, 6, 4],
            [1, 5, 7],
            [1, 7, 3],
        ]
    )
    return Mesh(box @ _rotation(rng).T, faces)


def _disc(rng: np.random.Generator, size_mm: float, bumpiness: float, *, corners: int = 26) -> Mesh:
    """An uneven disc around the origin in the xy plane, as a fan."""
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radius = np.ones(corners)
    for k in range(2, 7):
        radius += bumpiness / k * np.cos(k * angle + rng.uniform(0, 2 * np.pi)) * rng.uniform(0.3, 1.2)
    radius = np.clip(radius, 0.25, None) * size_mm / 2
    rim = np.c_[radius * np.cos(angle), radius * rng.uniform(0.5, 1.0) * np.sin(angle), np.zeros(corners)]
    fan = np.array([(0, i + 1, (i + 1) % corners + 1) for i in range(corners)], dtype=np.int64)
    return Mesh(np.vstack([np.zeros(3), rim]), fan)


def seen_from_both_sides(disc: Mesh, apart_mm: float = 0.0002) -> Mesh:
    """A disc with a back of its own just behind it: a surface shines only where its normal points."""
    return merge([disc, Mesh(disc.vertices - apart_mm * _normal(disc), disc.faces[:, ::-1])])


def layered(disc: Mesh, layers: int, softness: float, apart_mm: float = 0.0002) -> Mesh:
    """A disc (a fan around its first corner) as a pile of ever smaller ones: its rim fades in as many steps."""
    middle, normal = disc.vertices[0], _normal(disc)
    pile = []
    for k in range(layers):
        smaller = middle + (1 - softness * k / layers) * (disc.vertices - middle)
        pile.append(Mesh(smaller + k * apart_mm * normal, disc.faces))
    return merge(pile)


def _normal(disc: Mesh) -> Floats:
    a, b, c = (disc.vertices[disc.faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a).sum(axis=0)
    return np.asarray(normal / np.linalg.norm(normal))


def _place_inside(rng: np.random.Generator, solid: Solid, mesh: Mesh) -> tuple[Mesh, Floats] | None:
    corners = solid.corners()
    low, high = corners.min(axis=0), corners.max(axis=0)
    for _ in range(400):
        centre = rng.uniform(low, high)
        if np.hypot(*centre[:2]) > 0.48 * (high[0] - low[0]) or centre[2] < low[2] * 0.72:
            continue
        moved = Mesh(mesh.vertices + centre, mesh.faces)
        if solid.inside(moved.vertices, 0.01).all():
            return moved, centre
    return None


def _draw_mesh(rng: np.random.Generator, kind: str) -> tuple[Mesh, float, str]:
    if kind == "crystal":
        size = float(np.exp(rng.uniform(np.log(0.06), np.log(0.24))))
        return _blob(rng, size), size, str(rng.choice(["dark", "pale", "clear"], p=[0.5, 0.25, 0.25]))
    if kind == "pinpoint":
        size = float(rng.uniform(0.018, 0.045))
        return _blob(rng, size, 8), size, str(rng.choice(["dark", "pale"], p=[0.5, 0.5]))
    if kind == "needle":
        size = float(rng.uniform(0.25, 0.8))
        return _needle(rng, size), size, "pale"
    if kind == "feather":
        size = float(rng.uniform(0.25, 0.9))
        disc = _disc(rng, size, 0.6)
        return Mesh(disc.vertices @ _rotation(rng).T, disc.faces), size, "veil"
    radius = float(rng.uniform(0.12, 0.3))
    specks = []
    for _ in range(int(rng.integers(40, 111))):
        at = rng.normal(size=3) * radius / 2
        speck = _blob(rng, float(rng.uniform(0.006, 0.013)), 6)
        specks.append(Mesh(speck.vertices + at, speck.faces))
    return merge(specks), 2 * radius, "pale"


def draw_natural(rng: np.random.Generator, solid: Solid, kinds: list[str]) -> list[Feature]:
    """Natural features of the given kinds, each wholly inside the stone; one that finds no room is left out."""
    found: list[Feature] = []
    for kind in kinds:
        mesh, size, finish = _draw_mesh(rng, kind)
        placed = _place_inside(rng, solid, mesh)
        if placed is not None:
            centre = (float(placed[1][0]), float(placed[1][1]), float(placed[1][2]))
            found.append(Feature(f"n{1 + len(found)}", kind, finish, centre, size, placed[0]))
    return found


def place_feature(
    rng: np.random.Generator, name: str, look: tuple[str, str, float], centre_mm: tuple[float, float, float]
) -> Feature:
    """One natural feature where it is wanted: look is (kind, finish, size in mm)."""
    kind, finish, size = look
    mesh = _needle(rng, size) if kind == "needle" else _blob(rng, size, 12)
    if kind == "feather":
        disc = _disc(rng, size, 0.7)
        mesh = Mesh(disc.vertices @ _rotation(rng).T, disc.faces)
    return Feature(name, kind, finish, centre_mm, size, Mesh(mesh.vertices + np.array(centre_mm), mesh.faces))


def glow_specks(rng: np.random.Generator, solid: Solid, count: int = 60000, size_mm: float = 0.008) -> Mesh:
    """Tiny tetrahedra all through a stone: where they shine, the stone luminesces."""
    corners = solid.corners()
    at = rng.uniform(corners.min(axis=0), corners.max(axis=0), (count * 3, 3))
    at = at[solid.inside(at, 2 * size_mm)][:count]
    shape = np.array([[1, 1, 1], [-1, -1, 1], [-1, 1, -1], [1, -1, -1]]) * size_mm / 2
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])  # outward, or they would shine inwards
    vertices = (at[:, None, :] + shape[None]).reshape(-1, 3)
    return Mesh(vertices, (np.arange(len(at))[:, None, None] * 4 + faces[None]).reshape(-1, 3))


def _facet_point(rng: np.random.Generator, solid: Solid, facet: int) -> Floats:
    polygon = solid.polygons[facet]
    weights = rng.dirichlet(np.full(len(polygon), 1.0))
    return np.asarray(weights @ polygon)


def _areas(solid: Solid, part: str) -> Floats:
    wanted = []
    for normal, polygon in zip(solid.normals, solid.polygons, strict=True):
        up = normal[2] > 0.3 if part == "above" else normal[2] < -0.3
        area = 0.0
        if up and len(polygon) >= 3:
            rel = polygon - polygon[0]
            area = float(np.linalg.norm(np.cross(rel[1:-1], rel[2:]), axis=1).sum() / 2)
        wanted.append(area)
    areas = np.array(wanted)
    return np.asarray(areas / areas.sum())


def _on_facet(mesh: Mesh, solid: Solid, facet: int, at: Floats, lift_mm: float) -> Mesh:
    normal = solid.normals[facet]
    side = np.cross(normal, [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    turned = mesh.vertices @ np.array([side, np.cross(normal, side), normal]) + at + lift_mm * normal
    others = np.arange(len(solid.normals)) != facet
    for _ in range(12):  # pull a corner that hangs over the facet's edge towards the middle
        over = np.any(turned @ solid.normals[others].T > solid.offsets[others] - 0.006, axis=1)
        if not over.any():
            break
        middle = at + lift_mm * normal
        turned[over] = middle + 0.75 * (turned[over] - middle)
    return Mesh(turned, mesh.faces)


def draw_dirt(rng: np.random.Generator, solid: Solid, amount: float = 1.0) -> list[Feature]:
    """Dust and fibres on the crown, greasy films on the crown and, pressed against it, under the pavilion."""
    found: list[Feature] = []

    def keep(kind: str, finish: str, at: Floats, size: float, mesh: Mesh) -> None:
        found.append(
            Feature(f"d{len(found) + 1}", kind, finish, (float(at[0]), float(at[1]), float(at[2])), size, mesh)
        )

    above, below = _areas(solid, "above"), _areas(solid, "below")
    for _ in range(round(rng.uniform(5, 16) * amount)):
        facet = int(rng.choice(len(above), p=above))
        size = float(np.exp(rng.uniform(np.log(0.025), np.log(0.13))))
        at = _facet_point(rng, solid, facet) + solid.normals[facet] * size * 0.3
        speck = _blob(rng, size, 10)
        keep("dust", "dust", at, size, Mesh(speck.vertices * [1, 1, 0.7] + at, speck.faces))
    for _ in range(round(rng.uniform(1, 4) * amount)):
        facet = int(rng.choice(len(above), p=above))
        size = float(rng.uniform(0.3, 1.1))
        at = _facet_point(rng, solid, facet)
        keep("smear", "film", at, size, _on_facet(_disc(rng, size, 0.7), solid, facet, at, FILM_MM))
    for _ in range(round(rng.uniform(2, 7) * amount)):
        facet = int(rng.choice(len(below), p=below))
        size = float(rng.uniform(0.25, 1.0))
        at = _facet_point(rng, solid, facet)
        keep("smear", "film", at, size, _on_facet(_disc(rng, size, 0.7), solid, facet, at, -FILM_MM))
    return found
