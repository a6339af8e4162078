"""The pictures of the demo job: one stone as it came in, cleaned, loose, and going home; and a look-alike."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from samestone.simulate.blemish import draw_dirt, place_feature
from samestone.simulate.camera import CameraModel, Frame
from samestone.simulate.claws import Claw
from samestone.simulate.cutting import Proportions
from samestone.simulate.light import Lamp
from samestone.simulate.photos import View
from samestone.simulate.sets import Shot
from samestone.simulate.stones import Stone, draw_errors, draw_twin, make_stone

SEED = 1507
WARM_CARD = (0.50, 0.43, 0.35)
DOME = Lamp("dome", 60.0, 12.5, colour=(1.0, 0.985, 0.96), card=WARM_CARD)
PROPORTIONS = Proportions(
    6.688,
    table=0.57,
    crown_deg=34.2,
    pavilion_deg=40.7,
    girdle=0.039,
    star=0.52,
    lower_half=0.77,
    culet=0.004,
    elongation=1.0055,
)
SIZE = 1000


def demo_stone() -> Stone:
    """A 6.71 x 6.67 x 4.10 mm brilliant with a handful of features that a loupe shows at once."""
    rng = np.random.default_rng(SEED)
    bare = replace(make_stone("demo", rng, PROPORTIONS, draw_errors(rng, 0.22)), nicks=())
    stone = replace(bare, solid=bare.solid)
    places: list[tuple[tuple[str, str, float], tuple[float, float, float]]] = [
        (("crystal", "dark", 0.20), (0.95, 0.55, 0.10)),
        (("feather", "veil", 0.75), (-1.75, -1.35, 0.15)),
        (("needle", "pale", 0.62), (-0.55, 1.05, -0.25)),
        (("crystal", "clear", 0.26), (0.35, -1.45, -0.10)),
        (("pinpoint", "dark", 0.055), (-1.05, 0.15, 0.25)),
        (("pinpoint", "dark", 0.045), (-1.25, 0.32, 0.20)),
        (("pinpoint", "dark", 0.050), (-1.10, 0.42, 0.10)),
        (("crystal", "dark", 0.13), (1.55, -1.10, 0.25)),
        (("needle", "dark", 0.50), (-0.45, -1.05, -0.05)),
    ]
    features = tuple(place_feature(rng, f"n{k + 1}", look, at) for k, (look, at) in enumerate(places))
    return replace(stone, features=features)


def _claws(turned_deg: float) -> tuple[Claw, ...]:
    """Four claws that stand at the corners of the picture when the stone is turned by this much."""
    return tuple(
        Claw(45.0 + 90 * k + s - turned_deg, 1.02 * w)
        for k, (s, w) in enumerate([(0.6, 1.0), (-0.8, 1.03), (0.3, 0.97), (0.9, 1.01)])
    )


def _view(name: str, turned_deg: float, **changes: object) -> View:
    frame = Frame((SIZE, SIZE), 10.4, (0.0, 0.0), 0.008, 0.0, 100.0)
    view = View(name, turned_deg, (0.1, -0.15), DOME, frame, CameraModel(contrast=0.35, sharpen=0.25, quality=88))
    held = {"claws": _claws(turned_deg), "metal": "yellow", "shank_deg": -turned_deg}
    settings = {"dispersion": True, "samples": 192, "seed": SEED, "gap_mm": 2.5, **held, **changes}
    return replace(view, **settings)  # type: ignore[arg-type]


def demo_shots() -> Iterator[Shot]:
    """Every picture of the demo job; V6-like pairs are posed alike so that they can be compared point by point."""
    stone = demo_stone()
    rng = np.random.default_rng([SEED, 2])
    dirt = tuple(draw_dirt(rng, stone.solid, 2.4))
    other = draw_twin("lookalike", np.random.default_rng([SEED, 3]), stone)
    loose = {"claws": (), "shank_deg": None, "gap_mm": 0.05}
    window = Lamp("window", 130.0, 12.0, colour=(0.92, 0.97, 1.05), card=WARM_CARD)
    wide = Frame((1280, 720), 13.0, (0.0, 0.0), 0.008, 0.0, 100.0)
    beside = Frame((SIZE, 800), 13.0, (0.0, -60.0), 0.010, 0.0, 100.0)
    violet = Lamp("uv", colour=(0.12, 0.03, 0.5), card=(0.15, 0.15, 0.2))
    dim = Frame((700, 700), 14.857, (0.0, 0.0), 0.008, 0.0, 100.0)
    views = [
        (stone, _view("received", 0.0, dirt=dirt, tilt_deg=(0.2, 0.1))),
        (stone, _view("cleaned", 0.6)),
        (stone, _view("loose", 24.0, seed=SEED + 2, **loose)),
        (stone, _view("pickup", 137.0, tilt_deg=(-0.15, 0.2), seed=SEED + 3)),
        (stone, _view("pickup_window", 137.4, tilt_deg=(0.9, -0.7), lamp=window, seed=SEED + 4)),
        (stone, _view("side", 0.0, tilt_deg=(-90.0, 0.0), frame=beside, gap_mm=5.0, seed=SEED + 5)),
        (
            stone,
            _view(
                "uv",
                24.0,
                lamp=violet,
                glow=(0.07, 0.26, 1.0),
                camera=CameraModel(exposure=0.42, blur_px=1.3, full_well=30000, quality=88),
                dispersion=False,
                samples=128,
                frame=dim,
                seed=SEED + 6,
                **loose,
            ),
        ),
        (other, _view("lookalike", 71.0, tilt_deg=(0.1, 0.25), seed=SEED + 7)),
        (stone, _view("camera", 0.6, frame=wide, seed=SEED + 8)),
    ]
    for one, view in views:
        yield Shot(
            view.name, one, view, "twin" if one is other else "plain", "demo" if one is other else "", "guided", 88
        )
