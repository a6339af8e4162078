"""Render the sets of simulated pictures with their truth: python -m scripts.render_pictures [SET].

Without a set: all of them, which takes a night on two cores and ten minutes on two graphics cards. What is there is
kept, so the work can be stopped and taken up again. Variants: llvm_ad_rgb (processor), cuda_ad_rgb (graphics card),
scalar_rgb (slow, needs nothing). Work can be shared out: --part 0/4 takes every fourth stone.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from samestone.simulate.camera import jpeg
from samestone.simulate.demo import demo_shots
from samestone.simulate.extra import extra_shots, true_angles
from samestone.simulate.photos import Studio
from samestone.simulate.plates import GLYPHS, Letters, Ruling, draw_finger, draw_letters, draw_ruling
from samestone.simulate.sets import SIZES, Shot, stone_shots

PALETTE = [0, 0, 0, 90, 90, 0, 0, 255, 0, 255, 0, 0, 0, 0, 255]
TRACED = (*SIZES, "extra", "demo")
FLAT_SEED = 5501


def save_mask(path: Path, mask: Any) -> None:
    """The class mask as a small palette PNG."""
    image = Image.fromarray(mask, mode="P")
    image.putpalette(PALETTE + [0] * (768 - len(PALETTE)))
    image.save(path, optimize=True)


def take(studio: Studio, shot: Shot, out: Path) -> None:
    """Render one shot into the folder: picture, truth, mask; one that is there is left alone."""
    path = out / shot.path
    if path.with_suffix(".json").exists():
        return
    photo = studio.photograph(shot.stone, shot.view)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.with_suffix(".jpg").write_bytes(photo.jpeg(shot.quality))
    save_mask(path.with_suffix(".png"), photo.mask)
    truth = {**photo.truth, "angles": true_angles(shot.stone)} if shot.protocol == "side" else photo.truth
    path.with_suffix(".json").write_text(json.dumps(truth))


def line_of(shot: Shot) -> dict[str, object]:
    """A shot's line in the set's index."""
    view, pose = shot.view, [round(t, 4) for t in shot.view.tilt_deg]
    return {
        "picture": f"{shot.path}.jpg",
        "stone": shot.stone.name,
        "role": shot.role,
        "of": shot.of,
        "view": view.name,
        "protocol": shot.protocol,
        "lamp": view.lamp.kind,
        "make": shot.make,
        "claws": len(view.claws),
        "rotation_deg": round(view.rotation_deg % 360, 4),
        "tilt_deg": pose,
    }


def batches(name: str) -> list[Callable[[], Iterable[Shot]]]:
    """The set's work in pieces that can be shared out, one per stone where there are many."""
    if name in SIZES:
        return [partial(stone_shots, name, index) for index in range(SIZES[name])]
    return [partial(list, [shot]) for shot in (demo_shots() if name == "demo" else extra_shots())]


def render(name: str, out: Path, variant: str, part: tuple[int, int]) -> None:
    """Render one set, or every n-th piece of it."""
    studio, start = Studio(variant), time.perf_counter()
    mine = batches(name)[part[0] :: part[1]]
    for done, piece in enumerate(mine, 1):
        for shot in piece():
            take(studio, shot, out)
        print(f"{name}: {done} of {len(mine)}, {time.perf_counter() - start:.0f} s", flush=True)


def save_flat(path: Path, values: Any, truth: dict[str, object]) -> None:
    """A drawn picture and its truth beside it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    colour = values if values.ndim == 3 else np.repeat(values[..., None], 3, axis=2)
    path.with_suffix(".jpg").write_bytes(jpeg(colour, 92))
    path.with_suffix(".json").write_text(json.dumps({"simulated": True, **truth}))


def draw_rulings(out: Path, count: int = 24) -> None:
    """Stage micrometers: two thirds easy; the rest blurred, distorted or too fine to be resolved."""
    for k in range(count):
        rng = np.random.default_rng([FLAT_SEED, 1, k])
        hard = k % 3 == 2
        ruling = Ruling(
            um_per_px=float(np.exp(rng.uniform(np.log(0.44), np.log(2.3 if hard else 1.4)))),
            angle_deg=float(rng.uniform(-20, 20)),
            blur_px=float(rng.uniform(1.5, 3.0) if hard else rng.uniform(0.6, 1.2)),
            barrel=float(rng.uniform(-0.004, 0.004)) if k % 2 else 0.0,
            keystone=float(rng.uniform(-0.003, 0.003)) if hard else 0.0,
        )
        save_flat(out / "scale" / f"scale{k + 1:02d}", draw_ruling(ruling, rng), asdict(ruling))


def draw_inscriptions(out: Path, count: int = 40) -> None:
    """Ten digits each, from clear to unreadable."""
    for k in range(count):
        rng = np.random.default_rng([FLAT_SEED, 2, k])
        letters = Letters(
            "".join(rng.choice(list(GLYPHS), 10)),
            cap_px=float(rng.uniform(9, 40)),
            contrast=float(rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(0.04), np.log(0.30)))),
            slope_deg=float(rng.uniform(-4, 4)),
            blur_px=float(rng.uniform(0.6, 1.8)),
        )
        save_flat(out / "inscription" / f"letters{k + 1:02d}", draw_letters(letters, rng), asdict(letters))


def draw_oddities(out: Path) -> None:
    """What is no single stone: a finger, a black frame, plain grey, and two stones put together from two halves."""
    rng = np.random.default_rng([FLAT_SEED, 3])
    save_flat(out / "odd" / "finger", draw_finger(rng), {"what": "finger"})
    save_flat(out / "odd" / "black", np.clip(rng.normal(0.01, 0.006, (640, 640)), 0, 1), {"what": "black frame"})
    save_flat(out / "odd" / "grey", np.clip(rng.normal(0.55, 0.02, (640, 640)), 0, 1), {"what": "no stone"})
    halves = [out / "odd" / "left.jpg", out / "odd" / "right.jpg"]
    if all(half.exists() for half in halves):
        left, right = (np.asarray(Image.open(half), dtype=np.float64) / 255 for half in halves)
        save_flat(out / "odd" / "two_stones", np.hstack([left[:, :320], right[:, 320:]]), {"what": "two stones"})


def find_llvm() -> None:
    """Point drjit at a compiler library it can use: versions 14 and 15 crash or are refused."""
    found = sorted(Path("/usr/lib").glob("*-linux-gnu/libLLVM.so.1[6-9]*"))
    if "DRJIT_LIBLLVM_PATH" not in os.environ and found:
        os.environ["DRJIT_LIBLLVM_PATH"] = str(found[-1])


def main(arguments: list[str]) -> int:
    """Render the wanted sets and write their indexes."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("set", nargs="?", choices=[*TRACED, "flat", "all"], default="all")
    parser.add_argument("--out", type=Path, default=Path("pictures"))
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--part", default="0/1")
    parser.add_argument("--index", action="store_true", help="write the index and render nothing")
    wanted = parser.parse_args(arguments)
    part = tuple(int(x) for x in wanted.part.split("/"))
    find_llvm()
    for name in TRACED if wanted.set == "all" else [wanted.set]:
        if name == "flat":
            continue
        out = wanted.out / name
        out.mkdir(parents=True, exist_ok=True)
        (out / "index.json").write_text(json.dumps([line_of(s) for piece in batches(name) for s in piece()], indent=0))
        if not wanted.index:
            render(name, out, wanted.variant, (part[0], part[1]))
    if wanted.set in {"all", "flat"}:
        extra = wanted.out / "extra"
        draw_rulings(extra)
        draw_inscriptions(extra)
        draw_oddities(extra)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
