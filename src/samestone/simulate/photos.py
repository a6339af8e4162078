"""Photographs of simulated stones by path tracing, each with its truth. Development only: needs mitsuba.

The stone is turned about its axis (counter-clockwise as seen), then tilted; the lens looks down the z axis.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial import ConvexHull

from samestone.simulate.blemish import Feature, glow_specks, layered, seen_from_both_sides
from samestone.simulate.camera import CameraModel, Frame, develop, direct_images, jpeg
from samestone.simulate.claws import Claw, metal_head
from samestone.simulate.cutting import Floats, Mesh, Solid, merge
from samestone.simulate.light import Lamp, sky
from samestone.simulate.stones import Stone

FINISHES = ("dark", "pale", "clear", "veil", "dust", "film")
DISCS = ("veil", "film")
GRAIN_PX = 0.8
METALS = {"white": (0.80, 0.79, 0.77), "yellow": (0.91, 0.72, 0.40), "rose": (0.90, 0.66, 0.52)}


def diamond_index(wavelength_um: float) -> float:
    """Refractive index of diamond; two-term Sellmeier formula, F. Peter, Zeitschrift für Physik 15 (1923) 358."""
    w = wavelength_um**2
    return float(np.sqrt(1 + 0.3306 * w / (w - 0.175**2) + 4.3356 * w / (w - 0.106**2)))


@dataclass(frozen=True)
class Looks:
    """How dust, films of grease and feathers look: dust's brightness against the usual grey-brown, and opacities."""

    dust: float = 1.0
    film_opacity: float = 0.5
    veil_opacity: float = 0.38
    layers: int = 1  # of which films and feathers are piled up, the upper ones smaller, so that the rim is soft
    softness: float = 0.0  # by how much of its size the uppermost layer is smaller

    def opacity(self, whole: float) -> float:
        """Of one layer, for as much as `whole` where all lie on each other."""
        return float(1 - (1 - whole) ** (1 / self.layers))


@dataclass(frozen=True)
class View:
    """One photograph to take: pose, lamp, lens, electronics, dirt, setting; samples is rays per pixel."""

    name: str
    rotation_deg: float = 0.0
    tilt_deg: tuple[float, float] = (0.0, 0.0)  # about x, about y
    lamp: Lamp = field(default_factory=Lamp)
    frame: Frame = field(default_factory=Frame)
    camera: CameraModel = field(default_factory=CameraModel)
    dirt: tuple[Feature, ...] = ()
    claws: tuple[Claw, ...] = ()
    metal: str = "white"
    shank_deg: float | None = None
    dispersion: bool = False
    samples: int = 48
    seed: int = 0
    lying: bool = True  # above a card
    gap_mm: float = 0.05  # from culet to card
    glow: tuple[float, float, float] | None = None  # luminescence, for pictures under ultraviolet
    looks: Looks = field(default_factory=Looks)


@dataclass(frozen=True)
class Photo:
    """A developed picture with its linear light, class mask (0 none, 1 faint, 2 natural, 3 dirt, 4 metal) and truth."""

    values: Floats
    light: Floats
    mask: np.ndarray[Any, np.dtype[np.uint8]]
    truth: dict[str, Any]

    def jpeg(self, quality: int) -> bytes:
        """The picture as JPEG bytes."""
        return jpeg(self.values, quality)


def _change(light: Floats, bare: Floats) -> Floats:
    """By what share of its light each pixel differs from the picture without features."""
    return np.asarray(np.abs(light - bare) / (bare + 0.03))


def _turn(view: View) -> Floats:
    r = np.radians(view.rotation_deg)
    x, y = np.radians(view.tilt_deg)
    spin = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, np.cos(x), -np.sin(x)], [0, np.sin(x), np.cos(x)]])
    about_y = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    return np.asarray(about_x @ about_y @ spin)


class Studio:
    """Renders views with one mitsuba variant (scalar_rgb, llvm_ad_rgb, cuda_ad_rgb)."""

    def __init__(self, variant: str = "scalar_rgb", depth: int = 18) -> None:
        import mitsuba

        mitsuba.set_variant(variant)
        self.mi: Any = mitsuba
        self.depth = depth
        self.folder = tempfile.TemporaryDirectory(prefix="studio")

    def photograph(self, stone: Stone, view: View, *, truth: bool = True) -> Photo:
        """Take one picture; with truth also the class mask and each feature's visible contrast."""
        light = self._light(stone, view)
        rng = np.random.default_rng([view.seed, 77])
        values = develop(light, view.camera, rng)
        facts = facts_of(stone, view)
        mask = np.zeros(light.shape[:2], np.uint8)
        if truth:
            bare = self._render(self._scene(stone, replace(view, dirt=()), 1.0, bare=True), view, view.samples)
            mask = self._mask(stone, view, light, bare)
            _add_contrast(facts, light, bare, stone, view)
        return Photo(values, light, mask, facts)

    def _light(self, stone: Stone, view: View) -> Floats:
        if not view.dispersion:
            return self._render(self._scene(stone, view, 1.0), view, view.samples)
        bands = [self._render(self._scene(stone, view, w), view, view.samples) for w in (0.62, 0.545, 0.465)]
        return np.stack([bands[k][..., k] for k in range(3)], axis=-1)

    def _mask(self, stone: Stone, view: View, light: Floats, bare: Floats) -> np.ndarray[Any, np.dtype[np.uint8]]:
        glow = self._render(self._scene(stone, view, 1.0, glowing=True), view, max(16, view.samples // 2))
        natural, dirt, metal = glow[..., 1], gaussian_filter(glow[..., 0], GRAIN_PX), glow[..., 2]
        mask = np.zeros(natural.shape, np.uint8)
        mask[natural > 0.12] = 1
        mask[(natural > 0.12) & (_change(light[..., 1], bare[..., 1]) > 0.08)] = 2
        # films are wide and weak: a little averaging tells them apart from the renderer's grain
        softly = _change(*(gaussian_filter(picture[..., 1], GRAIN_PX) for picture in (light, bare)))
        mask[(dirt > 0.12) & (dirt > natural) & (softly > 0.05)] = 3
        mask[metal > 0.3] = 4
        return mask

    def _ply(self, name: str, mesh: Mesh) -> str:
        path = Path(self.folder.name) / f"{name}.ply"
        head = (
            f"ply\nformat binary_little_endian 1.0\nelement vertex {len(mesh.vertices)}\n"
            "property float x\nproperty float y\nproperty float z\n"
            f"element face {len(mesh.faces)}\nproperty list uchar int vertex_indices\nend_header\n"
        )
        faces = np.zeros(len(mesh.faces), dtype=[("n", "u1"), ("v", "<i4", 3)])
        faces["n"], faces["v"] = 3, mesh.faces
        path.write_bytes(head.encode() + mesh.vertices.astype("<f4").tobytes() + faces.tobytes())
        return str(path)

    def _finish(self, name: str, index: float, view: View) -> dict[str, Any]:
        def matt(*rgb: float) -> dict[str, Any]:
            return {"type": "twosided", "b": {"type": "diffuse", "reflectance": {"type": "rgb", "value": list(rgb)}}}

        looks = view.looks
        known: dict[str, dict[str, Any]] = {
            "dark": matt(0.03, 0.028, 0.03),
            "pale": matt(0.72, 0.70, 0.66),
            "clear": {"type": "dielectric", "int_ior": 1.70, "ext_ior": index},
            "veil": {"type": "mask", "opacity": looks.opacity(looks.veil_opacity), "b": matt(0.8, 0.8, 0.8)},
            "dust": matt(0.17 * looks.dust, 0.145 * looks.dust, 0.11 * looks.dust),
            "film": {
                "type": "mask",
                "opacity": looks.opacity(looks.film_opacity),
                "b": matt(0.10, 0.085, 0.06),
            },
        }
        return known[name]

    def _scene(
        self, stone: Stone, view: View, wavelength_um: float, *, bare: bool = False, glowing: bool = False
    ) -> Any:
        index = diamond_index(0.5893 if wavelength_um == 1.0 else wavelength_um)
        turn = _turn(view)
        lowest = float((stone.solid.corners() @ turn.T)[:, 2].min())
        scene: dict[str, Any] = {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": self.depth, "rr_depth": self.depth},
        }
        scene["sensor"] = self._sensor(view)
        body = stone.solid.mesh().moved(turn, view.frame.shift_mm)
        scene["stone"] = {
            "type": "ply",
            "filename": self._ply("stone", body),
            "face_normals": True,
            "bsdf": {"type": "dielectric", "int_ior": index, "ext_ior": 1.0},
        }
        for name in FINISHES:
            scene[name] = self._features(name, stone, view, index, bare=bare, glowing=glowing)
        scene["metal"] = self._metal(stone, view, turn, glowing=glowing)
        if view.glow is not None and not glowing:
            specks = glow_specks(np.random.default_rng(view.seed), stone.solid).moved(turn, view.frame.shift_mm)
            shine = {"type": "area", "radiance": {"type": "rgb", "value": [index**2 * c for c in view.glow]}}
            scene["glow"] = {
                "type": "ply",
                "filename": self._ply("glow", specks),
                "face_normals": True,
                "emitter": shine,
            }
        self._surroundings(scene, view, lowest, glowing=glowing)
        return self.mi.load_dict(scene)

    def _features(
        self, name: str, stone: Stone, view: View, index: float, *, bare: bool, glowing: bool
    ) -> dict[str, Any]:
        # a finish that has nothing to show keeps one speck far below the card: every scene then compiles to one kernel
        hidden = Mesh(np.array([[0, 0, -90.0], [0.01, 0, -90.0], [0, 0.01, -90.0]]), np.array([[0, 1, 2]]))
        wanted = [] if bare else [f.mesh for f in (*stone.features, *view.dirt) if f.finish == name]
        if name in DISCS and glowing:
            wanted = [seen_from_both_sides(disc) for disc in wanted]
        elif name in DISCS:
            wanted = [layered(disc, view.looks.layers, view.looks.softness) for disc in wanted]
        mesh = merge([hidden, *wanted]).moved(_turn(view), view.frame.shift_mm)
        shape = {"type": "ply", "filename": self._ply(name, mesh), "face_normals": True}
        if not glowing:
            return {**shape, "bsdf": self._finish(name, index, view)}
        colour = {"dust": [1.0, 0, 0], "film": [index**2, 0, 0]}.get(name, [0, index**2, 0])
        black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": [0.0, 0.0, 0.0]}}
        return {**shape, "bsdf": black, "emitter": {"type": "area", "radiance": {"type": "rgb", "value": colour}}}

    def _metal(self, stone: Stone, view: View, turn: Floats, *, glowing: bool) -> dict[str, Any]:
        mesh = Mesh(np.array([[0, 0, -91.0], [0.01, 0, -91.0], [0, 0.01, -91.0]]), np.array([[0, 1, 2]]))
        if view.claws:
            mesh = metal_head(list(view.claws), stone.proportions, shank_deg=view.shank_deg).moved(
                turn, view.frame.shift_mm
            )
        shape: dict[str, Any] = {"type": "ply", "filename": self._ply("metal", mesh)}
        if glowing:
            shape["bsdf"] = {"type": "diffuse", "reflectance": {"type": "rgb", "value": [0.0, 0.0, 0.0]}}
            shape["emitter"] = {"type": "area", "radiance": {"type": "rgb", "value": [0.0, 0.0, 1.0]}}
            return shape
        reflectance = {"type": "rgb", "value": list(METALS[view.metal])}
        shape["bsdf"] = {
            "type": "roughconductor",
            "material": "none",
            "alpha": 0.13,
            "specular_reflectance": reflectance,
        }
        return shape

    def _surroundings(self, scene: dict[str, Any], view: View, lowest: float, *, glowing: bool) -> None:
        below = lowest - view.gap_mm
        card = [0.0, 0.0, 0.0] if glowing else list(view.lamp.card)
        half = 60.0 if view.lying else 1e-3
        size = self.mi.ScalarTransform4f().translate([0, 0, below]).scale([half, half, 1])
        reflectance = {"type": "rgb", "value": card}
        scene["card"] = {"type": "rectangle", "to_world": size, "bsdf": {"type": "diffuse", "reflectance": reflectance}}
        light = np.zeros((192, 384, 3)) + 1e-7 if glowing else sky(view.lamp) + 1e-7
        upright = self.mi.ScalarTransform4f().rotate([1, 0, 0], 90)
        scene["sky"] = {"type": "envmap", "bitmap": self.mi.Bitmap(light.astype(np.float32)), "to_world": upright}

    def _sensor(self, view: View) -> dict[str, Any]:
        f, t = view.frame, self.mi.ScalarTransform4f()
        width_mm = f.size_px[0] * f.um_per_px / 1000
        look = t.look_at(origin=[0, 0, f.distance_mm], target=[0, 0, 0], up=[0, 1, 0])
        film = {
            "type": "hdrfilm",
            "width": f.size_px[0],
            "height": f.size_px[1],
            "rfilter": {"type": "box"},
            "pixel_format": "rgb",
        }
        return {
            "type": "thinlens",
            "to_world": look,
            "fov": float(np.degrees(2 * np.arctan(width_mm / 2 / f.distance_mm))),
            "fov_axis": "x",
            "aperture_radius": max(f.aperture * f.distance_mm, 1e-4),
            "focus_distance": f.distance_mm - f.focus_mm,
            "near_clip": 1.0,
            "film": {**film, "component_format": "float32"},
            "sampler": {"type": "independent"},
        }

    def _render(self, scene: Any, view: View, samples: int) -> Floats:
        image = self.mi.render(scene, spp=samples, seed=view.seed)
        return np.nan_to_num(np.array(image, dtype=np.float64))


def world_solid(stone: Stone, view: View) -> Solid:
    """The stone's facets as they stand before the lens."""
    turn, shift = _turn(view), view.frame.shift_mm
    normals = stone.solid.normals @ turn.T
    polygons = tuple(p @ turn.T + shift for p in stone.solid.polygons)
    return Solid(normals, stone.solid.offsets + normals @ shift, stone.solid.names, polygons)


def _outline(stone: Stone, view: View) -> dict[str, Any]:
    points = view.frame.project(world_solid(stone, view).corners())
    rim = points[ConvexHull(points).vertices]
    x, y = rim[:, 0], rim[:, 1]
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    area = cross.sum() / 2
    centre = [float(((v + np.roll(v, -1)) * cross).sum() / (6 * area)) for v in (x, y)]
    angles = np.radians(np.arange(0, 180, 0.25))
    reach = rim @ np.array([np.cos(angles), np.sin(angles)])
    widths = reach.max(axis=0) - reach.min(axis=0)
    return {
        "centre_px": [round(c, 3) for c in centre],
        "diameter_max_px": round(float(widths.max()), 3),
        "diameter_min_px": round(float(widths.min()), 3),
    }


def facts_of(stone: Stone, view: View) -> dict[str, Any]:
    """What is true of a picture: outline, pose, scale, every feature's place inside and its direct images."""
    outline = _outline(stone, view)
    radius = stone.proportions.diameter_mm / 2
    turn, shift, solid = _turn(view), view.frame.shift_mm, world_solid(stone, view)
    index = diamond_index(0.5893)
    marks = []
    for feature in (*stone.features, *view.dirt):
        seat = turn @ np.array(feature.centre_mm)
        place = seat + shift
        images = direct_images(place, solid, view.frame, index) if feature.id.startswith("n") else []
        if feature.id.startswith("d") and solid.inside(place[None])[0]:
            images = direct_images(place, solid, view.frame, index)
        if not images:
            images = [("straight", view.frame.project(place[None])[0])] if not solid.inside(place[None])[0] else []
        marks.append(
            {
                "id": feature.id,
                "kind": feature.kind,
                "finish": feature.finish,
                "size_px": round(feature.size_mm * 1000 / view.frame.um_per_px, 2),
                "r": round(float(np.hypot(*seat[:2]) / radius), 4),
                "angle_deg": round(float(np.degrees(np.arctan2(seat[1], seat[0])) % 360), 2),
                "depth_mm": round(float(stone.solid.offsets[0] - feature.centre_mm[2]), 4),
                "images": [
                    {"facet": n, "x_px": round(float(p[0]), 2), "y_px": round(float(p[1]), 2)} for n, p in images
                ],
            }
        )
    return {
        "simulated": True,
        "stone": stone.name,
        "cut": stone.cut,
        "view": view.name,
        **outline,
        "um_per_px": view.frame.um_per_px,
        "rotation_deg": round(view.rotation_deg % 360, 4),
        "tilt_deg": [round(t, 4) for t in view.tilt_deg],
        "lamp": view.lamp.kind,
        "lamp_azimuth_deg": round(view.lamp.azimuth_deg % 360, 2),
        "claws": [
            {
                "angle_deg": round((c.azimuth_deg + view.rotation_deg) % 360, 3),
                "width_um": round(c.width_mm * 1000, 1),
                "state": c.state,
            }
            for c in view.claws
        ],
        "features": marks,
    }


def _add_contrast(facts: dict[str, Any], light: Floats, bare: Floats, stone: Stone, view: View) -> None:
    change = np.log((light[..., 1] + 0.02) / (bare[..., 1] + 0.02))
    h, w = change.shape
    for mark in facts["features"]:
        reach = max(2, min(30, int(mark["size_px"] / 2) + 1))
        for image in mark["images"]:
            x, y = round(image["x_px"]), round(image["y_px"])
            window = change[max(0, y - reach) : min(h, y + reach + 1), max(0, x - reach) : min(w, x + reach + 1)]
            image["contrast"] = round(float(np.mean(window)), 4) if window.size else 0.0
            image["peak"] = round(float(np.percentile(np.abs(window), 90)), 4) if window.size else 0.0
