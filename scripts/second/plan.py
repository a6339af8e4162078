"""The set's plan: which stones there are, of what role, in which shop, and how each picture is taken."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scripts.second.camera import Camera, draw_camera
from scripts.second.features import Mark, draw_claws, draw_dirt, draw_features
from scripts.second.light import KINDS, draw_dome, draw_lamp
from scripts.second.stone import Stone, cut, draw_proportions

SHOPS = 4
SEED = 20_26
VIEWS = ("V1", "V2", "V3", "V4", "V5", "V6")
DIRTY = ("V1", "V6")
FREE_TILT, GUIDED_TILT = 2.5, 0.4


@dataclass(frozen=True)
class Shop:
    """One make of dome, one camera."""

    dome: Any
    camera: Camera


@dataclass(frozen=True)
class Specimen:
    """A stone of the set."""

    name: str
    role: str
    of: str
    shop: int
    stone: Stone
    features: list[Mark]
    claws: list[dict[str, Any]]
    colours: bool  # every diamond disperses; only a third are drawn so, for it takes a pass per colour


@dataclass(frozen=True)
class Take:
    """One picture to take: rotation counter-clockwise as seen, tilts about the picture's x and y axes."""

    view: str
    lamp_kind: str
    lamp: Any
    rotation_deg: float
    tilt_deg: tuple[float, float]
    place: tuple[float, float]
    diameter_px: float
    dirt: list[Mark]


def generator(*words: int) -> Any:
    return np.random.default_rng([SEED, *words])


def roles(count: int) -> list[tuple[str, int]]:
    """Role of every stone and the number of the one it is a copy of (-1: none); copies come last, as their models."""
    twins = clones = count // 8
    clean = count // 7
    plain = count - twins - clones - clean
    listed = [("plain", -1)] * plain + [("clean", -1)] * clean
    models = [(2 * k) % plain for k in range(twins - 2)], [(2 * k + 1) % plain for k in range(clones - 2)]
    last = plain + clean
    return (
        listed
        + [("twin", m) for m in (*models[0], last - 1, last - 3)][:twins]
        + [("clone", m) for m in (*models[1], last - 2, last - 4)][:clones]
    )


def shop_of(number: int) -> Shop:
    rng = generator(1, number)
    return Shop(draw_dome(rng), draw_camera(rng))


def specimen(number: int, count: int) -> Specimen:
    """Stone `number` (from 0) of a set of `count`."""
    listed = roles(count)
    role, model = listed[number]
    origin = model if model >= 0 else number
    proportions = draw_proportions(generator(2, origin))
    errors = generator(3, origin if role == "clone" else number)
    own = generator(4, number)
    stone = cut(proportions, errors, own if own.random() < 0.12 else None)
    features = draw_features(own, stone, listed[origin][0] == "clean")
    set_in_claws = 7 * number % 16 < 4  # a quarter, in every shop
    claws = draw_claws(own, stone, int(own.choice([4, 6]))) if set_in_claws else []
    of = f"G{model + 1:03d}" if model >= 0 else ""
    return Specimen(f"G{number + 1:03d}", role, of, origin % SHOPS, stone, features, claws, origin % 3 == 1)


def takes(number: int, made: Specimen, shop: Shop) -> list[Take]:
    """The six pictures of a stone."""
    rng = generator(5, number)
    first, later = rng.choice(KINDS, 2, replace=False)
    lamps = {kind: draw_lamp(rng, kind, shop.dome) for kind in (first, later, "dome")}
    kinds = (first, first, later, "dome", "dome", "dome")
    sizes = dict(zip(("V1", "V2", "V3"), rng.uniform(560, 620, 3), strict=True))
    guided_size = rng.uniform(560, 620)
    planned: list[Take] = []
    for view, kind in zip(VIEWS, kinds, strict=True):
        tilt, size = (FREE_TILT, sizes[view]) if view in sizes else (GUIDED_TILT, guided_size)
        lean, to = tilt * np.sqrt(rng.random()), rng.uniform(0, 2 * np.pi)
        size = min(size, shop.camera.side - 56)
        offset = 15 * np.sqrt(rng.random()) * np.array([np.cos(a := rng.uniform(0, 2 * np.pi)), np.sin(a)])
        offset = np.clip(offset, -(shop.camera.side - size) / 2 + 18, (shop.camera.side - size) / 2 - 18)
        take = Take(
            view=view,
            lamp_kind=str(kind),
            lamp=lamps[kind],
            rotation_deg=float(rng.uniform(0, 360)),
            tilt_deg=(float(lean * np.cos(to)), float(lean * np.sin(to))),
            place=(float(offset[0]), float(offset[1])),
            diameter_px=float(size),
            dirt=draw_dirt(rng, made.stone) if view in DIRTY else [],
        )
        if view == "V6":
            take = replace(take, rotation_deg=(planned[3].rotation_deg + rng.uniform(-1.5, 1.5)) % 360)
        planned.append(take)
    return planned
