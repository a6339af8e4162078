"""Find how far a log10 LR of sizes and weights may go: empirical lower and upper bounds on stones kept for testing.

    .venv/bin/python -m scripts.validate_bounds

writes src/samestone/evidence/data/bounds-1.json. Every re-measurement is simulated with the noise the model assumes.
Method: Vergeer, van Es, de Jongh, Alberink, Stoel, Science & Justice 56, 482-491, 2016, as implemented in lir.
"""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
from benchmarks.remeasurement import LOOSE, measured_twice
from lir.algorithms.bayeserror import elub
from scipy.spatial import cKDTree

from samestone.evidence.bound import pattern
from samestone.evidence.density import Kernels
from samestone.evidence.likelihood import Pairs
from samestone.evidence.observable import Array, choose_columns
from samestone.evidence.population import Population, load_population
from samestone.evidence.weighing import weigh

TARGET = Path(__file__).parents[1] / "src" / "samestone" / "evidence" / "data" / "bounds-1.json"
SEED, N, STOCK = 7, 15_000, 1000
ROUNDS = 6
"""Pairs of different stones for each pair of one stone: the upper bound rests on the different ones."""


def patterns() -> list[tuple[int, ...]]:
    """Every set of columns that a record can give; one diameter alone stands for either."""
    diameters = ((), ("diameter_min_mm", "diameter_max_mm"), ("diameter_min_mm",))
    others = ("weight_ct", "depth_mm", "table_percent")
    return [
        choose_columns({*d, *some})
        for d in diameters
        for k in range(len(others) + 1)
        for some in itertools.combinations(others, k)
        if d or some
    ]


def like(true: Array, columns: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """For each stone the nearest in size and weight among STOCK others drawn at random."""
    size = [c for c in columns if c != 4]
    if not size:
        return rng.permutation(len(true))
    scaled = true[:, size] / np.array([0.0015, 0.0015, 0.002, 0.002, 1, 0.002, 0.002])[size]
    chosen = np.empty(len(true), int)
    for part in np.array_split(rng.permutation(len(true)), 50):
        stock = np.setdiff1d(rng.permutation(len(true))[: STOCK + len(part)], part)[:STOCK]
        chosen[part] = stock[cKDTree(scaled[stock]).query(scaled[part])[1]]
    return chosen


def bounds(same: Array, other: Array) -> list[float]:
    """(lower, upper) of log10 LR, kept within what n pairs of each kind can support."""
    values = np.clip(np.concatenate([same, other]), -300, 300)
    truth = np.concatenate([np.ones(len(same)), np.zeros(len(other))])
    lower, upper = elub(values.copy(), truth, add_misleading=1)
    return [round(float(np.floor(abs(lower) * 100) / -100), 2), round(float(np.floor(upper * 100) / 100), 2)]


def main() -> None:
    population: Population = load_population()
    kernels = Kernels(population.reference, fast=True)
    rng = np.random.default_rng(SEED)
    values = population.test.values[rng.permutation(len(population.test))[:N]]
    pair = measured_twice(values, LOOSE, rng)
    table: dict[str, dict[str, list[float]]] = {"random": {}, "look_alike": {}}
    for columns in patterns():
        same = weigh(kernels, Pairs(columns, pair.x, pair.Ux, pair.y, pair.Uy), STOCK)
        others = {
            "random": [np.roll(np.arange(N), k) for k in range(1, ROUNDS + 1)],
            "look_alike": [like(pair.true, columns, rng)],
        }
        for against, rounds in others.items():
            found = [weigh(kernels, Pairs(columns, pair.x, pair.Ux, pair.y[o], pair.Uy[o]), STOCK) for o in rounds]
            different = np.concatenate([getattr(part, against) for part in found])
            table[against][pattern(columns)] = bounds(getattr(same, against), different)
        print(pattern(columns), table["random"][pattern(columns)], table["look_alike"][pattern(columns)], flush=True)
    TARGET.write_text(json.dumps({"n": N, "stock": STOCK, **table}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
