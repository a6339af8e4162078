"""Learn how much edges and marks say of a turn: python -m scripts.fit_turns SET [--stones C001-C240] [--workers 2]

For every free pair of one stone in a rendered set (scripts/render_pictures.py): the candidate turns, how well edges and
marks correlate at each, and which is right. A conditional logit with a small ridge gives the log-odds per unit of
correlation, EDGE and MARKS in imaging/registration.py.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.optimize import minimize
from scripts.calibrate_photos import SAME, protocol_of
from scripts.photo_packs import read_index, wanted

NEAR_DEG = 2.0
RIDGE = 1.0
Candidates = tuple[Any, Any]  # correlations, n x 2, and which of the n are right


def pairs_of_stone(job: tuple[str, str]) -> list[Candidates]:
    """The free pairs of one stone that have a right candidate."""
    from samestone.imaging.photo import open_photo
    from samestone.imaging.registration import candidate_turns
    from samestone.imaging.study import Study

    cv2.setNumThreads(1)
    folder, stone = job
    lines = {view: line for (name, view), line in read_index(Path(folder)).items() if name == stone}
    free = {view: line for view, line in lines.items() if protocol_of(view) == "free"}
    studies = {view: Study(open_photo((Path(folder) / line["picture"]).read_bytes())) for view, line in free.items()}
    found = []
    for u, v in SAME:
        if u in studies and v in studies and studies[u].usable and studies[v].usable:
            angles, edges, marks = candidate_turns(studies[u].pattern, studies[v].pattern)
            error = np.array(angles) - (free[v]["rotation_deg"] - free[u]["rotation_deg"])
            found.append((np.column_stack([edges, marks]), np.abs((error + 180) % 360 - 180) < NEAR_DEG))
    return [(numbers, right) for numbers, right in found if right.any()]


def fit(pairs: list[Candidates]) -> Any:
    """Weights, none negative, that make the right candidates most probable; ridge on standardised numbers."""
    spread = np.concatenate([numbers for numbers, _ in pairs]).std(axis=0)

    def cost(weights: Any) -> tuple[float, Any]:
        total, slope = RIDGE * weights @ weights, 2 * RIDGE * weights
        for numbers, right in pairs:
            scaled = numbers / spread
            odds = scaled @ weights
            chance = np.exp(odds - odds.max())
            chance /= chance.sum()
            hit = chance[right].sum()
            total -= np.log(hit)
            slope = slope + scaled.T @ (chance - chance * right / hit)
        return total, slope

    return minimize(cost, np.ones(2), jac=True, method="L-BFGS-B", bounds=[(0, None)] * 2).x / spread


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder")
    parser.add_argument("--stones", default="")
    parser.add_argument("--workers", type=int, default=2)
    choice = parser.parse_args()
    stones = sorted({stone for stone, _ in read_index(Path(choice.folder)) if wanted(stone, choice.stones)})
    with ProcessPoolExecutor(choice.workers) as pool:
        found = list(pool.map(pairs_of_stone, [(choice.folder, stone) for stone in stones]))
    pairs = [pair for part in found for pair in part]
    edge, marks = fit(pairs)
    print(f"{len(pairs)} pairs with a right candidate: EDGE {edge:.1f}, MARKS {marks:.1f}")


if __name__ == "__main__":
    main()
