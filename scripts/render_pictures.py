"""Render a set of simulated pictures with their truth: python scripts/render_pictures.py tune --out pictures.

Variants: llvm_ad_rgb (processor; needs DRJIT_LIBLLVM_PATH), cuda_ad_rgb (graphics card), scalar_rgb (slow, needs nothing).
Work can be shared out: --part 0/4 takes every fourth stone.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from PIL import Image

from samestone.simulate.photos import Studio
from samestone.simulate.demo import demo_shots
from samestone.simulate.sets import SIZES, Shot, stone_shots

PALETTE = [0, 0, 0, 90, 90, 0, 0, 255, 0, 255, 0, 0, 0, 0, 255]


def save_mask(path: Path, mask: np.ndarray) -> None:
    """The class mask as a small palette PNG."""
    image = Image.fromarray(mask, mode="P")
    image.putpalette(PALETTE + [0] * (768 - len(PALETTE)))
    image.save(path, optimize=True)


def take(studio: Studio, shot: Shot, out: Path) -> dict[str, object]:
    """Render one shot into the folder and return its line of the index."""
    photo = studio.photograph(shot.stone, shot.view)
    path = out / shot.path
    path.parent.mkdir(parents=True, exist_ok=True)
    path.with_suffix(".jpg").write_bytes(photo.jpeg(shot.quality))
    path.with_suffix(".json").write_text(json.dumps(photo.truth))
    save_mask(path.with_suffix(".png"), photo.mask)
    line = {"picture": f"{shot.path}.jpg", "stone": shot.stone.name, "view": shot.view.name, "protocol": shot.protocol}
    return {
        **line,
        "role": shot.role,
        "of": shot.of,
        "rotation_deg": photo.truth["rotation_deg"],
        "lamp": shot.view.lamp.kind,
    }


def write_index(out: Path, lines: Iterable[dict[str, object]], name: str) -> None:
    """One JSON file per part; parts are read together."""
    (out / name).write_text(json.dumps(list(lines), indent=0))


def main(arguments: list[str]) -> int:
    """Render the wanted set, or a part of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("set", choices=[*sorted(SIZES), "demo"])
    parser.add_argument("--out", type=Path, default=Path("pictures"))
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--part", default="0/1")
    parser.add_argument("--stones", type=int, default=10**6, help="only the first N stones")
    wanted = parser.parse_args(arguments)
    part, parts = (int(x) for x in wanted.part.split("/"))
    out = wanted.out / wanted.set
    out.mkdir(parents=True, exist_ok=True)
    studio, lines, start = Studio(wanted.variant), [], time.perf_counter()
    for index in range(part, min(SIZES.get(wanted.set, 1), wanted.stones), parts):
        for shot in demo_shots() if wanted.set == "demo" else stone_shots(wanted.set, index):
            lines.append(take(studio, shot, out))
        print(f"{wanted.set} stone {index + 1}: {time.perf_counter() - start:.0f} s", flush=True)
    write_index(out, lines, f"index-{part}.json" if parts > 1 else "index.json")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
