"""Which pictures a set holds: every stone, view and seed follows from the set's name and nothing else.

Views of a stone: V1 dirty, V2 cleaned, V3 at pick-up under another lamp (free: any turn, tilt up to 2.5 degrees);
V4 and V5 under the one dome, tilt up to 0.4 degrees, any turn; V6 dirty, posed like V4 (guided).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from samestone.simulate.blemish import draw_dirt
from samestone.simulate.camera import CameraModel, Frame
from samestone.simulate.claws import draw_claws
from samestone.simulate.light import Lamp
from samestone.simulate.photos import Looks, View
from samestone.simulate.stones import Stone, draw_clone, draw_stone, draw_twin

SEEDS = {"dev": 909, "tune": 1101, "calibrate": 2203, "final": 3307, "extra": 4409}
SIZES = {"dev": 3, "tune": 600, "calibrate": 240, "final": 64}
MAKES = {"dev": 1, "tune": 300, "calibrate": 24, "final": 1}  # of dome: a stone and its copies stand under one
LAMPS = ("dome", "ring", "gooseneck", "darkfield", "tent", "window")


@dataclass(frozen=True)
class Shot:
    """One picture of a set: folder/view name, stone, view, what its stone is to others, JPEG quality, make of dome."""

    path: str
    stone: Stone
    view: View
    role: str
    of: str
    protocol: str
    quality: int
    make: int = 0


def roles(name: str) -> list[tuple[str, int]]:
    """Per stone: plain, clean, twin or clone, and which earlier stone it copies (-1: none)."""
    n = SIZES[name]
    if name == "tune":  # to learn that facets prove nothing, half of the stones are copies of the other half
        half = n // 2
        return [("clean" if i % 7 == 6 else "plain", -1) for i in range(half)] + [("clone", i) for i in range(half)]
    copies = max(1, round(0.13 * n))
    plain = n - 2 * copies
    clean = max(1, round(0.14 * n)) if n > 4 else 0
    first = [("clean" if i >= plain - clean else "plain", -1) for i in range(plain)]
    # half of the copies of clean stones: the hardest case
    return first + [("twin", i) for i in _models(plain, copies, 0)] + [("clone", i) for i in _models(plain, copies, 1)]


def _models(plain: int, copies: int, start: int) -> list[int]:
    hard = copies // 4
    return [start + 2 * i for i in range(copies - hard)] + [plain - 1 - 2 * i - start for i in range(hard)]


def stone_of(name: str, index: int) -> tuple[Stone, str, str]:
    """The stone of a set by number, its role and the name of the stone it copies."""
    role, model = roles(name)[index]
    rng = np.random.default_rng([SEEDS[name], index])
    label = f"{name[0].upper()}{index + 1:03d}"
    if role in {"plain", "clean"}:
        return draw_stone(label, rng, richness="very clean" if role == "clean" else "ordinary"), role, ""
    other, other_role, _ = stone_of(name, model)
    draw = draw_twin if role == "twin" else draw_clone
    return draw(label, rng, other, richness="very clean" if other_role == "clean" else "ordinary"), role, other.name


def make_of(name: str, index: int) -> int:
    """Under which make of dome a stone stands in guided pictures; twins and clones under that of their model."""
    _, model = roles(name)[index]
    return (index if model < 0 else model) % MAKES[name]


def _camera(name: str, rng: np.random.Generator) -> CameraModel:
    if name == "final":  # another maker's electronics: harder tone, sharpening, a warm cast, stronger JPEG
        return CameraModel(
            full_well=float(rng.uniform(3500, 6000)),
            blur_px=0.85,
            contrast=float(rng.uniform(0.45, 0.7)),
            sharpen=float(rng.uniform(0.4, 0.8)),
            saturation=1.15,
            cast=(1.06, 1.0, float(rng.uniform(0.82, 0.92))),
            vignette=0.14,
            exposure=float(rng.uniform(0.78, 0.92)),
        )
    return CameraModel(
        full_well=float(rng.uniform(4000, 14000)),
        blur_px=float(rng.uniform(0.35, 0.95)),
        contrast=float(rng.uniform(0.0, 0.4)),
        sharpen=float(rng.uniform(0.0, 0.35)),
        saturation=float(rng.uniform(0.85, 1.25)),
        cast=(float(rng.normal(1, 0.04)), 1.0, float(rng.normal(1, 0.05))),
        vignette=float(rng.uniform(0.02, 0.16)),
        exposure=float(rng.uniform(0.74, 0.94)),
    )


def _lamp(name: str, rng: np.random.Generator, avoid: str = "") -> Lamp:
    if name == "final":
        weights = np.array([0.2, 0.15, 0.15, 0.1, 0.25, 0.15])
    else:
        weights = np.array([0.36, 0.17, 0.15, 0.10, 0.14, 0.08])
    weights[[i for i, k in enumerate(LAMPS) if k == avoid]] = 0
    kind = str(rng.choice(LAMPS, p=weights / weights.sum()))
    if name != "final" and kind == "dome":
        return _any_dome(rng)
    grey = float(rng.uniform(0.35, 0.75)) if kind != "darkfield" else 0.02
    return Lamp(kind, float(rng.uniform(0, 360)), float(rng.uniform(9, 14)), card=(grey, grey, grey * 0.98))


def _any_dome(rng: np.random.Generator) -> Lamp:
    """A dome of some make: lens hole, evenness, colour and the card under the stone all vary."""
    grey = float(np.exp(rng.uniform(np.log(0.08), np.log(0.8))))
    warm = float(rng.uniform(0.8, 1.1))
    return Lamp(
        "dome",
        float(rng.uniform(0, 360)),
        float(rng.uniform(6.0, 14.0)),
        colour=(1.0, 0.5 + warm / 2, warm),
        card=(grey, grey * float(rng.uniform(0.93, 1.05)), grey * float(rng.uniform(0.9, 1.1))),
        uneven=float(rng.uniform(0.0, 0.5)),
        rise=float(rng.uniform(0.0, 0.9)),
    )


def guided_lamp(name: str, rng: np.random.Generator | None = None) -> Lamp:
    """The one lamp of guided pictures: another make for every stone that is learned on, one in the final set."""
    if name == "final":
        return Lamp("dome", 250.0, 15.0, colour=(1.0, 0.96, 0.88), card=(0.42, 0.42, 0.45))
    if rng is None:
        return Lamp("dome", 40.0, 11.0)
    if name == "tune" and rng.random() < 0.15:  # to know that a tent is no dome
        grey = float(rng.uniform(0.2, 0.7))
        return Lamp("tent", float(rng.uniform(0, 360)), float(rng.uniform(8, 14)), card=(grey, grey, grey))
    return _any_dome(rng)


def _frame(name: str, rng: np.random.Generator, diameter_mm: float, *, mounted: bool) -> Frame:
    size = 704 if name == "final" else 640
    low, high = (0.70, 0.78) if mounted else (0.80 if name == "final" else 0.72, 0.90)
    across = rng.uniform(low, high) * size
    shift = rng.uniform(-0.03, 0.03, 2) * size
    aperture = float(rng.uniform(0.003, 0.014)) if name != "final" else float(rng.uniform(0.010, 0.020))
    return Frame(
        (size, size),
        diameter_mm * 1000 / float(across),
        (float(shift[0]), float(shift[1])),
        aperture,
        0.0,
        15 * diameter_mm,
    )


def _tilt(rng: np.random.Generator, most_deg: float) -> tuple[float, float]:
    reach, way = most_deg * np.sqrt(rng.random()), rng.uniform(0, 2 * np.pi)
    return float(reach * np.cos(way)), float(reach * np.sin(way))


def stone_shots(name: str, index: int) -> Iterator[Shot]:
    """The six pictures of one stone of a set."""
    stone, role, of = stone_of(name, index)
    rng = np.random.default_rng([SEEDS[name], index, 5])
    mounted = rng.random() < 0.35
    dirt = tuple(draw_dirt(rng, stone.solid, float(rng.uniform(0.6, 1.4))))
    claws = tuple(draw_claws(rng, int(rng.choice([4, 6])))) if mounted else ()
    again = tuple(draw_claws(rng, len(claws))) if mounted else ()
    lamp = _lamp(name, rng)
    later = _lamp(name, rng, lamp.kind)
    metal = str(rng.choice(["white", "yellow", "rose"]))
    posed = float(rng.uniform(0, 360))
    make = make_of(name, index)
    soft = guided_lamp(name, np.random.default_rng([SEEDS[name], make, 7]))
    own = np.random.default_rng([SEEDS[name], make, 6])
    looks = Looks()
    if name != "final":
        looks = Looks(
            dust=float(np.exp(own.uniform(-0.7, 1.2))),
            film_opacity=float(own.uniform(0.2, 0.7)),
            veil_opacity=float(own.uniform(0.2, 0.6)),
        )
    if name == "tune" and make % 2:  # soft rims, which the other sets do not have
        soft_rng = np.random.default_rng([SEEDS[name], make, 8])
        looks = replace(looks, layers=4, softness=float(soft_rng.uniform(0.5, 1.0)))
    poses = {
        "V1": (lamp, 2.2, rng.uniform(0, 360), dirt, claws),
        "V2": (lamp, 2.2, rng.uniform(0, 360), (), claws),
        "V3": (later, 2.5, rng.uniform(0, 360), (), again),
        "V4": (soft, 0.4, posed, (), claws),
        "V5": (soft, 0.4, rng.uniform(0, 360), (), again),
        "V6": (soft, 0.4, posed + rng.uniform(-1.5, 1.5), dirt, claws),
    }
    camera = _camera(name, rng)
    frame = _frame(name, rng, stone.proportions.diameter_mm, mounted=mounted)
    for number, (label, (light, tilt, turn, dirty, held)) in enumerate(poses.items()):
        if label == "V3":
            camera, frame = _camera(name, rng), _frame(name, rng, stone.proportions.diameter_mm, mounted=mounted)
        if label in {"V4", "V5", "V6"}:
            shift = rng.uniform(-13, 13, 2)
            frame = replace(frame, shift_px=(float(shift[0]), float(shift[1])))
        view = View(
            label,
            float(turn) % 360,
            _tilt(rng, tilt),
            light,
            frame,
            camera,
            dirty,
            held,
            metal,
            dispersion=name == "final" or own.random() < 0.25,
            samples=30 if name == "tune" else 40,
            seed=int(SEEDS[name] * 10000 + index * 10 + number),
            lying=light.kind != "darkfield",
            gap_mm=0.05 if not held else 2.0,
            looks=looks,
        )
        quality = int(rng.integers(80, 87)) if name == "final" else int(rng.integers(78, 95))
        yield Shot(f"{stone.name}/{label}", stone, view, role, of, "free" if number < 3 else "guided", quality, make)
