"""Draw the flat test pictures: stage micrometers, inscriptions, a finger, a black frame."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np

from samestone.simulate.camera import jpeg
from samestone.simulate.plates import GLYPHS, Letters, Ruling, draw_finger, draw_letters, draw_ruling

SEED = 5501


def save(path: Path, values: np.ndarray, truth: dict[str, object], quality: int = 92) -> None:
    """A picture and its truth beside it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    colour = values if values.ndim == 3 else np.repeat(values[..., None], 3, axis=2)
    path.with_suffix(".jpg").write_bytes(jpeg(colour, quality))
    path.with_suffix(".json").write_text(json.dumps({"simulated": True, **truth}))


def rulings(out: Path, count: int = 24) -> None:
    """Two thirds easy; the rest blurred, distorted or too fine to be resolved."""
    for k in range(count):
        rng = np.random.default_rng([SEED, 1, k])
        hard = k % 3 == 2
        ruling = Ruling(
            um_per_px=float(np.exp(rng.uniform(np.log(0.44), np.log(2.3 if hard else 1.4)))),
            angle_deg=float(rng.uniform(-20, 20)),
            blur_px=float(rng.uniform(1.5, 3.0) if hard else rng.uniform(0.6, 1.2)),
            barrel=float(rng.uniform(-0.004, 0.004)) if k % 2 else 0.0,
            keystone=float(rng.uniform(-0.003, 0.003)) if hard else 0.0,
        )
        save(out / "scale" / f"scale{k + 1:02d}", draw_ruling(ruling, rng), asdict(ruling))


def inscriptions(out: Path, count: int = 40) -> None:
    """Ten digits each, from clear to unreadable."""
    for k in range(count):
        rng = np.random.default_rng([SEED, 2, k])
        letters = Letters(
            "".join(rng.choice(list(GLYPHS), 10)),
            cap_px=float(rng.uniform(9, 40)),
            contrast=float(rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(0.04), np.log(0.30)))),
            slope_deg=float(rng.uniform(-4, 4)),
            blur_px=float(rng.uniform(0.6, 1.8)),
        )
        save(out / "inscription" / f"letters{k + 1:02d}", draw_letters(letters, rng), asdict(letters))


def oddities(out: Path) -> None:
    """What is no stone at all; two stones are put together from two rendered halves when these are there."""
    rng = np.random.default_rng([SEED, 3])
    save(out / "odd" / "finger", draw_finger(rng), {"what": "finger"})
    save(out / "odd" / "black", np.clip(rng.normal(0.01, 0.006, (640, 640)), 0, 1), {"what": "black frame"})
    save(out / "odd" / "grey", np.clip(rng.normal(0.55, 0.02, (640, 640)), 0, 1), {"what": "no stone"})
    left, right = out / "odd" / "left.jpg", out / "odd" / "right.jpg"
    if left.exists() and right.exists():
        from PIL import Image

        a, b = (np.asarray(Image.open(p), dtype=np.float64) / 255 for p in (left, right))
        save(out / "odd" / "two_stones", np.hstack([a[:, :320], b[:, 320:]]), {"what": "two stones"})


def main(arguments: list[str]) -> int:
    """Draw everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("pictures/extra"))
    out = parser.parse_args(arguments).out
    rulings(out)
    inscriptions(out)
    oddities(out)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
