"""Render a set of simulated pictures with their truth: python scripts/render_pictures.py tune --out pictures.

Variants: llvm_ad_rgb (processor; needs DRJIT_LIBLLVM_PATH), cuda_ad_rgb (graphics card), scalar_rgb (slow).
Work can be shared out: --part 0/4 takes every fourth stone.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
from PIL import Image

from samestone.simulate.demo import demo_shots
from samestone.simulate.extra import extra_shots, true_angles
from samestone.simulate.photos import Studio
from samestone.simulate.sets import SIZES, Shot, stone_shots

PALETTE = [0, 0, 0, 90, 90, 0, 0, 255, 0, 255, 0, 0, 0, 0, 255]


def save_mask(path: Path, mask: np.ndarray) -> None:
    """The class mask as a small palette PNG."""
    image = Image.fromarray(mask, mode="P")
    image.putpalette(PALETTE + [0] * (768 - len(PALETTE)))
    image.save(path, optimize=True)


def take(studio: Studio, shot: Shot, out: Path) -> None:
    """Render one shot into the folder: picture, truth, mask."""
    photo = studio.photograph(shot.stone, shot.view)
    path = out / shot.path
    path.parent.mkdir(parents=True, exist_ok=True)
    path.with_suffix(".jpg").write_bytes(photo.jpeg(shot.quality))
    truth = {**photo.truth, "angles": true_angles(shot.stone)} if shot.protocol == "side" else photo.truth
    path.with_suffix(".json").write_text(json.dumps(truth))
    save_mask(path.with_suffix(".png"), photo.mask)


def line_of(shot: Shot) -> dict[str, object]:
    """A shot's line in the set's index."""
    view = {
        "view": shot.view.name,
        "protocol": shot.protocol,
        "lamp": shot.view.lamp.kind,
        "claws": len(shot.view.claws),
    }
    pose = {
        "rotation_deg": round(shot.view.rotation_deg % 360, 4),
        "tilt_deg": [round(t, 4) for t in shot.view.tilt_deg],
    }
    return {"picture": f"{shot.path}.jpg", "stone": shot.stone.name, "role": shot.role, "of": shot.of, **view, **pose}


def batches(name: str) -> list[Callable[[], Iterable[Shot]]]:
    """The set's work in pieces that can be shared out, one per stone where there are many."""
    if name == "demo":
        return [demo_shots]
    if name == "extra":
        return [lambda shot=shot: [shot] for shot in extra_shots()]  # type: ignore[misc]
    return [lambda k=k: stone_shots(name, k) for k in range(SIZES[name])]  # type: ignore[misc]


def main(arguments: list[str]) -> int:
    """Render the wanted set, or a part of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("set", choices=[*sorted(SIZES), "extra", "demo"])
    parser.add_argument("--out", type=Path, default=Path("pictures"))
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--part", default="0/1")
    parser.add_argument("--skip", type=int, default=0, help="leave out the first N stones")
    parser.add_argument("--index", action="store_true", help="write the set's index and render nothing")
    wanted = parser.parse_args(arguments)
    part, parts = (int(x) for x in wanted.part.split("/"))
    out = wanted.out / wanted.set
    out.mkdir(parents=True, exist_ok=True)
    work = batches(wanted.set)[wanted.skip :]
    if wanted.index:
        (out / "index.json").write_text(json.dumps([line_of(shot) for piece in work for shot in piece()], indent=0))
        return 0
    studio, start = Studio(wanted.variant), time.perf_counter()
    for done, piece in enumerate(work[part::parts], 1):
        for shot in piece():
            take(studio, shot, out)
        print(
            f"{wanted.set} part {part}: {done} of {len(work[part::parts])}, {time.perf_counter() - start:.0f} s",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
