"""Stones whose truth is known: proportions, every facet's error, every feature inside; twins and clones of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from samestone.simulate.blemish import Feature, draw_natural
from samestone.simulate.cutting import CUTS, Floats, Proportions, Solid, solid_from_planes

DIAMOND_DENSITY = 3.515  # g/cm3; the value most mineralogy handbooks give


@dataclass(frozen=True)
class Stone:
    """A simulated stone; frame as in cutting."""

    name: str
    cut: str
    proportions: Proportions
    facet_errors: Floats
    solid: Solid
    features: tuple[Feature, ...]
    nicks: tuple[tuple[float, float], ...] = ()  # azimuth in degrees, width in mm, on the girdle's upper edge

    @property
    def weight_ct(self) -> float:
        """Weight of a diamond of exactly this shape."""
        total = 0.0
        for polygon in self.solid.polygons:
            if len(polygon) >= 3:
                a, b, c = polygon[0], polygon[1:-1], polygon[2:]
                total += float(np.abs(np.cross(b, c) @ a).sum()) / 6
        return total * DIAMOND_DENSITY / 200


def draw_proportions(rng: np.random.Generator, diameter_mm: float | None = None) -> Proportions:
    """What commonly reaches a bench: mid-range angles with a tail; common practice, no source."""
    return Proportions(
        diameter_mm=float(rng.uniform(4.2, 7.6)) if diameter_mm is None else diameter_mm,
        table=float(np.clip(rng.normal(0.575, 0.025), 0.52, 0.66)),
        crown_deg=float(np.clip(rng.normal(34.4, 1.1), 31, 37.5)),
        pavilion_deg=float(np.clip(rng.normal(40.9, 0.45), 39.8, 42.2)),
        girdle=float(rng.uniform(0.012, 0.045)),
        star=float(rng.uniform(0.44, 0.62)),
        lower_half=float(rng.uniform(0.72, 0.85)),
        culet=float(rng.choice([0.003, 0.006, 0.02], p=[0.6, 0.3, 0.1])),
        elongation=1.0 + float(rng.uniform(0.0, 0.012)),
    )


def draw_kinds(rng: np.random.Generator, richness: str) -> list[str]:
    """Kinds of natural features for a very clean or an ordinary stone."""
    if richness == "very clean":
        return ["pinpoint"] * int(rng.integers(1, 3))
    kinds = [
        str(k)
        for k in rng.choice(
            ["crystal", "needle", "feather", "cloud"], int(rng.integers(2, 8)), p=[0.5, 0.17, 0.2, 0.13]
        )
    ]
    return kinds + ["pinpoint"] * int(rng.integers(1, 6))


def draw_errors(rng: np.random.Generator, spread_deg: float | None = None) -> Floats:
    """A cutter's errors for up to 64 facets, azimuth and slope, in degrees."""
    spread = float(rng.uniform(0.1, 0.5)) if spread_deg is None else spread_deg
    return rng.normal(0.0, spread, (64, 2))


def make_stone(name: str, rng: np.random.Generator, proportions: Proportions, errors: Floats, **choices: str) -> Stone:
    """A stone of these proportions and errors with features drawn for it; choices: cut, richness."""
    cut = choices.get("cut", "round")
    solid = CUTS[cut](proportions, errors)
    nicks: tuple[tuple[float, float], ...] = ()
    if rng.random() < 0.3:
        nicks = ((float(rng.uniform(0, 360)), float(rng.uniform(0.12, 0.35))),)
        solid = _nick(solid, proportions, nicks)
    features = draw_natural(rng, solid, draw_kinds(rng, choices.get("richness", "ordinary")))
    return Stone(name, cut, proportions, errors, solid, tuple(features), nicks)


def _nick(solid: Solid, p: Proportions, nicks: tuple[tuple[float, float], ...]) -> Solid:
    normals, offsets, names = solid.normals, solid.offsets, solid.names
    for azimuth, width in nicks:
        a = np.radians(azimuth)
        n = np.array([0.8 * np.cos(a), 0.8 * np.sin(a), 0.6])
        rim = np.array([np.cos(a), np.sin(a), 0]) * p.diameter_mm / 2 + [0, 0, p.girdle * p.diameter_mm / 2]
        depth = (width / 2) ** 2 / p.diameter_mm + 0.004
        normals, offsets = np.vstack([normals, n]), np.append(offsets, n @ rim - depth * 1.6)
        names = (*names, "nick")
    return solid_from_planes(normals, offsets, names)


def draw_stone(name: str, rng: np.random.Generator, *, richness: str = "ordinary", cut: str = "round") -> Stone:
    """Any stone: proportions, errors and features all its own."""
    proportions = draw_proportions(rng)
    if cut == "oval":
        proportions = replace(proportions, elongation=float(rng.uniform(1.25, 1.5)))
    if cut in {"step", "square"}:
        proportions = replace(
            proportions, table=float(rng.uniform(0.58, 0.68)), elongation=float(rng.uniform(1.0, 1.35))
        )
    return make_stone(name, rng, proportions, draw_errors(rng), cut=cut, richness=richness)


def draw_twin(name: str, rng: np.random.Generator, of: Stone, *, richness: str = "ordinary") -> Stone:
    """Cut to the same proportions, but with its own facet errors and features."""
    spread = float(np.std(of.facet_errors))
    return make_stone(name, rng, of.proportions, draw_errors(rng, spread), cut=of.cut, richness=richness)


def draw_clone(name: str, rng: np.random.Generator, of: Stone, *, richness: str = "ordinary") -> Stone:
    """The worst case: every facet error copied as well; only the features differ."""
    solid = CUTS[of.cut](of.proportions, of.facet_errors)
    features = draw_natural(rng, solid, draw_kinds(rng, richness))
    return Stone(name, of.cut, of.proportions, of.facet_errors, solid, tuple(features))
