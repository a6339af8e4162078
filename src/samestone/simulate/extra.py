"""Small sets that each put one question: silhouettes, claws, focus, other cuts, crowded or empty pictures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from samestone.simulate.blemish import draw_dirt
from samestone.simulate.camera import CameraModel, Frame
from samestone.simulate.claws import draw_claws
from samestone.simulate.light import Lamp
from samestone.simulate.photos import View
from samestone.simulate.sets import SEEDS, Shot, guided_lamp
from samestone.simulate.stones import Stone, draw_stone

SEED = SEEDS["extra"]
APERTURES = (0.002, 0.01, 0.02, 0.03, 0.04, 0.06, 0.08, 0.10)
OFFSETS_MM = (0.0, 0.3, 0.6, 1.0, 1.5, 2.2, 3.0, 4.0)


def _frame(stone: Stone, across_px: float, size: tuple[int, int] = (640, 640), aperture: float = 0.008) -> Frame:
    d = stone.proportions.diameter_mm * max(1.0, stone.proportions.elongation**0.5)
    return Frame(size, d * 1000 / across_px, (0.0, 0.0), aperture, 0.0, 15 * d)


def _shot(path: str, stone: Stone, view: View, **changes: Any) -> Shot:
    seed = SEED + sum(ord(c) * 31**k for k, c in enumerate(path)) % 10**6
    settings = {"name": path.rsplit("/", maxsplit=1)[-1], "seed": seed, **changes}
    return Shot(path, stone, replace(view, **settings), "plain", "", path.split("/", maxsplit=1)[0], 90)


def true_angles(stone: Stone) -> dict[str, float]:
    """What a silhouette should find: means over the eight main facets and sizes over the mean girdle diameter."""
    solid, d = stone.solid, stone.proportions.diameter_mm
    slopes = np.degrees(np.arccos(np.abs(solid.normals[:, 2])))
    crown = [s for s, n in zip(slopes, solid.names, strict=True) if n.startswith("crown main")]
    pavilion = [s for s, n in zip(slopes, solid.names, strict=True) if n.startswith("pavilion main")]
    table = solid.polygons[0]
    reach = np.sort(np.hypot(table[:, 0], table[:, 1]))[-8:]
    corners = solid.corners()
    return {
        "crown_deg": round(float(np.mean(crown)), 3),
        "pavilion_deg": round(float(np.mean(pavilion)), 3),
        "table_percent": round(float(2 * reach.mean() / d * 100), 3),
        "depth_percent": round(float(np.ptp(corners[:, 2]) / d * 100), 3),
        "girdle_percent": round(stone.proportions.girdle * 100, 3),
        "diameter_mm": round(d, 4),
    }


def side_shots(stones: int = 16, turns: int = 8) -> Iterator[Shot]:
    """Back-lit silhouettes: eight azimuths over half a turn from any start, a little pitch and roll."""
    for k in range(stones):
        rng = np.random.default_rng([SEED, 1, k])
        stone = draw_stone(f"side{k + 1:02d}", rng)
        start = float(rng.uniform(0, 45))
        for j in range(turns):
            tilt = (-90 + float(rng.normal(0, 0.3)), float(rng.normal(0, 0.4)))
            frame = replace(_frame(stone, 840, (1024, 768)), shift_px=(float(rng.uniform(-20, 20)), -40.0))
            camera = CameraModel(exposure=0.75, quality=92)
            view = View("", start + j * 180 / turns, tilt, Lamp("backlight"), frame, camera, lying=False, samples=32)
            yield _shot(f"side/{stone.name}_{j}", stone, view)


def claw_shots(count: int = 20) -> Iterator[Shot]:
    """Set stones for claw widths: half under the dome, the rest under lamps that make it hard; some worn or broken."""
    lamps = ["dome"] * 10 + ["tent"] * 4 + ["ring"] * 3 + ["gooseneck"] * 3
    for k in range(count):
        rng = np.random.default_rng([SEED, 2, k])
        stone = draw_stone(f"claw{k + 1:02d}", rng)
        claws = tuple(draw_claws(rng, 6 if k % 3 == 2 else 4, damaged=k % 3))
        lamp = Lamp(lamps[k], float(rng.uniform(0, 360)), 11.0, card=(0.24, 0.26, 0.30))
        metal = ("yellow", "white", "rose")[k % 3]
        view = View(
            "",
            float(rng.uniform(0, 360)),
            (0.3, -0.2),
            lamp,
            _frame(stone, 560, (832, 832)),
            CameraModel(),
            claws=claws,
        )
        yield _shot(f"claws/{stone.name}", stone, view, metal=metal, gap_mm=3.0)


def focus_shots() -> Iterator[Shot]:
    """Six slices for each of four stones, and three stones from sharp to heavily blurred in two ways."""
    for k in range(7):
        rng = np.random.default_rng([SEED, 3, k])
        stone = draw_stone(f"focus{k + 1:02d}", rng)
        turn = float(rng.uniform(0, 360))
        base = View("", turn, (0.2, 0.1), guided_lamp("tune"), _frame(stone, 540), CameraModel())
        if k < 4:
            depth = stone.proportions.diameter_mm * 0.15
            yield _shot(f"stack/{stone.name}_sharp", stone, base, frame=replace(base.frame, aperture=0.001))
            for j, at in enumerate(np.linspace(depth, -2.4 * depth, 6)):
                yield _shot(
                    f"stack/{stone.name}_{j}", stone, base, frame=replace(base.frame, aperture=0.05, focus_mm=float(at))
                )
            continue
        for j, aperture in enumerate(APERTURES):
            yield _shot(f"blur/{stone.name}_a{j}", stone, base, frame=replace(base.frame, aperture=aperture))
        for j, off in enumerate(OFFSETS_MM):
            yield _shot(f"blur/{stone.name}_f{j}", stone, base, frame=replace(base.frame, aperture=0.02, focus_mm=off))


def shape_shots() -> Iterator[Shot]:
    """Ovals, step cuts and square stones: dirty, cleaned and again at pick-up, all guided."""
    for k, cut in enumerate(["oval"] * 4 + ["step"] * 4 + ["square"] * 4):
        rng = np.random.default_rng([SEED, 4, k])
        stone = draw_stone(f"{cut}{k % 4 + 1}", rng, cut=cut)
        dirt = tuple(draw_dirt(rng, stone.solid))
        for name, turn, dirty in (("V6", 10.0, dirt), ("V4", 10.6, ()), ("V5", float(rng.uniform(0, 360)), ())):
            view = View(
                "",
                turn,
                (float(rng.normal(0, 0.2)), 0.1),
                guided_lamp("tune"),
                _frame(stone, 500),
                CameraModel(),
                dirty,
            )
            yield _shot(f"shapes/{stone.name}_{name}", stone, view)


def odd_shots() -> Iterator[Shot]:
    """An empty card, and the two halves from which a picture with two stones is put together."""
    rng = np.random.default_rng([SEED, 5])
    one, two = draw_stone("odd1", rng), draw_stone("odd2", rng)
    for name, stone, shift in (("empty", one, 9000.0), ("left", one, -160.0), ("right", two, 160.0)):
        frame = replace(_frame(stone, 250), shift_px=(shift, 0.0))
        yield _shot(f"odd/{name}", stone, View("", 30.0, (0.1, 0.1), guided_lamp("tune"), frame, CameraModel()))


def extra_shots() -> list[Shot]:
    """All of them."""
    return [*side_shots(), *claw_shots(), *focus_shots(), *shape_shots(), *odd_shots()]
