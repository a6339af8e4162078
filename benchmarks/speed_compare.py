"""How long a comparison takes, beside lir's two-level system in the same run.

OMP_NUM_THREADS=1 .venv/bin/python -m benchmarks.speed_compare [results folder]
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from pathlib import Path

import numpy as np
from benchmarks.remeasurement import LOOSE, Remeasured, measured_twice, record
from lir.lrsystems.two_level import TwoLevelModelNormalKDE

from samestone import evidence
from samestone.evidence.comparison import kernels_of
from samestone.evidence.density import Kernels
from samestone.evidence.likelihood import Pairs, random_substitute
from samestone.evidence.population import load_population
from samestone.evidence.weighing import weigh

COLUMNS = (0, 1, 2, 3, 4)


def quantiles(call: Callable[[int], object], n: int) -> dict[str, float]:
    """Milliseconds: median and 95 % point of n calls after ten that do not count."""
    times = []
    for i in range(n + 10):
        start = time.perf_counter()
        call(i)
        times.append(1000 * (time.perf_counter() - start))
    return {"p50 ms": float(np.median(times[10:])), "p95 ms": float(np.quantile(times[10:], 0.95))}


def beside_lir(pair: Remeasured) -> dict[str, dict[str, float]]:
    """The same model, parameters and stones in both: one covariance, no wide part."""
    stones = load_population().reference.part(slice(0, 25_000), "25,000 stones")
    kernels = Kernels(stones, apart=0.0)
    U = np.median(pair.Ux, axis=0)
    model = TwoLevelModelNormalKDE()
    model.n_sources, model.n_features_train, model.model_fitted = len(stones), 5, True
    model.means_per_source = stones.observables()[:, :5]
    model.mean_within_covars, model.kernel_bandwidth_sq, model.between_covars = U[:5, :5], 1.0, kernels.H[:5, :5]
    pairs = Pairs(COLUMNS, pair.x, np.broadcast_to(U, pair.Ux.shape), pair.y, np.broadcast_to(U, pair.Ux.shape))
    ours = quantiles(lambda i: random_substitute(kernels, pairs.only(np.arange(i, i + 1))), 400)
    theirs = quantiles(lambda i: model.transform(pair.x[i : i + 1, None, :5], pair.y[i : i + 1, None, :5]), 60)
    mine = random_substitute(Kernels(stones, apart=0.0, reach=60.0), pairs.only(np.arange(60))).log_lr / np.log(10)
    difference = np.abs(mine - model.transform(pair.x[:60, None, :5], pair.y[:60, None, :5])).max()
    return {"samestone, LR against a random stone": ours, "lir two-level, the same LR": theirs,
            "largest difference, log10": {"value": float(difference)}}  # fmt: skip


def _weigh_some(seed: int) -> int:
    """Half of the pairs of one stone, half of two."""
    rng = np.random.default_rng(seed)
    n = 5000
    values = load_population().values[rng.integers(0, len(load_population()), n)]
    pair = measured_twice(values, LOOSE, rng)
    order = np.where(np.arange(n) % 2 == 0, np.arange(n), np.roll(np.arange(n), 1))
    weigh(kernels_of(load_population(), True), Pairs(COLUMNS, pair.x, pair.Ux, pair.y[order], pair.Uy[order]), 1000)
    return n


def many() -> dict[str, dict[str, float]]:
    """Pairs per second on all processors: the numbers only, and the whole command with JSON in and out."""
    workers = len(os.sched_getaffinity(0))
    with ProcessPoolExecutor(workers) as pool:
        list(pool.map(_weigh_some, range(workers)))
        start = time.perf_counter()
        done = sum(pool.map(_weigh_some, range(100, 100 + 4 * workers)))
        numbers = done / (time.perf_counter() - start)
    rng = np.random.default_rng(1)
    pair = measured_twice(load_population().test.values[:10_000], LOOSE, rng)
    order = np.where(np.arange(10_000) % 2 == 0, np.arange(10_000), np.roll(np.arange(10_000), 1))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "pairs.jsonl"
        lines = (json.dumps({"a": record(pair.raw[0][i]), "b": record(pair.raw[1][order[i]])}) for i in range(10_000))
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        start = time.perf_counter()
        subprocess.run([Path(sys.executable).parent / "samestone", "compare", "--batch", file],
                       check=True, stdout=subprocess.DEVNULL)  # fmt: skip
        command = 10_000 / (time.perf_counter() - start)
    return {
        f"both likelihood ratios, {workers} processes": {"pairs per second": numbers},
        "samestone compare --batch, 10,000 lines, start included": {"pairs per second": command},
    }


def main(folder: Path) -> None:
    pair = measured_twice(load_population().test.values[:1000], LOOSE, np.random.default_rng(5))
    rows = beside_lir(pair)
    read = [evidence.read_examination(record(row)) for row in pair.raw[0][:500]]
    again = [evidence.read_examination(record(row)) for row in pair.raw[1][:500]]
    population = load_population()
    for how, fast in (("", False), (", compiled (fast=True)", True)):
        rows[f"whole comparison, two records read{how}"] = quantiles(
            lambda i, fast=fast: evidence.compare(read[i], again[i], population=population, fast=fast), 400
        )
    rows |= many()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "speed_compare.json").write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    lines = [f"| {name} | {', '.join(f'{k} {v:,.3g}' for k, v in row.items())} |" for name, row in rows.items()]
    (folder / "speed_compare.md").write_text(
        f"# Comparing: measured speed\n\nMade by `python -m benchmarks.speed_compare` on {date.today():%d %B %Y}, "
        f"{len(os.sched_getaffinity(0))} processors ({platform.machine()}), load {os.getloadavg()[0]:.1f} at the end."
        "\n\n"
        "| what | measured |\n|---|---|\n" + "\n".join(lines) + "\n",
        encoding="utf-8",
    )
    print("\n".join(lines))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "results")
