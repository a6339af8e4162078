"""A stray stone among a million and among ten million, beside other ways to find it, all in one run.

    .venv/bin/python -m benchmarks.speed_search [results folder]

The stones are drawn from the density of the reference stones and measured with simulated noise; the searches for a
stone's owner among few jobs use the stones kept for testing. Beside the grid: faiss IndexFlatL2, scipy's cKDTree, and
the time it takes just to read the index once, which no method that looks at every stone can beat.
"""

from __future__ import annotations

import json
import platform
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import faiss
import numpy as np
from benchmarks.remeasurement import LOOSE, declare, measure
from scipy.spatial import cKDTree

from samestone.evidence.density import _B, Kernels
from samestone.evidence.grid import GATE, STEPS, Grid, Lens
from samestone.evidence.likelihood import Pairs, random_substitute
from samestone.evidence.observable import Array
from samestone.evidence.population import Population, load_population
from samestone.evidence.weighing import weigh

ALL, COLUMNS = (0, 1, 2, 3, 4), (0, 1, 2, 3, 4)
PART, QUERIES, OWNERS = 1_000_000, 300, 200_000


def drawn(kernels: Kernels, n: int, rng: np.random.Generator) -> Array:
    """True values of n stones drawn from the kernel density."""
    seen = kernels.population.observables()[rng.integers(len(kernels.population), size=n)]
    seen = seen + (rng.normal(size=(n, 5)) * kernels.bandwidth) @ _B.T
    w, d, e, z, t = np.exp(seen[:, 0]), np.exp(seen[:, 1]), np.abs(seen[:, 2]), np.exp(seen[:, 3]), seen[:, 4]
    return np.stack([w, d * (1 - e / 2), d * (1 + e / 2), z, t], axis=1)


def covariance() -> Array:
    """Of one measurement in ct, mm, %."""
    own, common = LOOSE.parts()
    V = np.diag(own**2 + common**2)
    V[1:4, 1:4] += np.outer(common[1:4], common[1:4]) * (1 - np.eye(3))
    return V


def timed(ask: Callable[[Array], Any], points: Array, rounds: int = 3) -> dict[str, float]:
    """p50 and p95 over the points, in ms; of each point the best of some rounds: other work shares the machine."""
    best = np.full(len(points), np.inf)
    for _ in range(rounds):
        for i, point in enumerate(points):
            started = time.perf_counter()
            ask(point)
            best[i] = min(best[i], time.perf_counter() - started)
    p50, p95 = np.percentile(1e3 * best, [50, 95])
    return {"p50 ms": float(p50), "p95 ms": float(p95)}


def streaming(codes: Any, rounds: int = 9) -> float:
    """The least time, in ms, in which one thread reads the array once."""
    words = codes.reshape(-1).view(np.uint64)
    best = np.inf
    for _ in range(rounds):
        started = time.perf_counter()
        np.bitwise_or.reduce(words)
        best = min(best, time.perf_counter() - started)
    return 1e3 * best


def speeds(n: int, kernels: Kernels, rng: np.random.Generator) -> tuple[dict[str, Any], dict[str, float]]:
    """The table for n stones, and how often the right ones are found."""
    truth = np.concatenate([drawn(kernels, min(PART, n), rng) for _ in range(max(1, n // PART))])
    shown = np.concatenate([measure(part, LOOSE, rng) for part in np.array_split(truth, max(1, n // PART))])
    owners = rng.integers(n, size=OWNERS)
    every = measure(truth[owners], LOOSE, rng)
    points = every[:QUERIES]
    del truth
    grid, started = Grid(ALL), time.perf_counter()
    grid.add(shown, np.arange(n, dtype=np.int32))
    grid.sort()
    rows: dict[str, Any] = {}
    built = time.perf_counter() - started
    lens = Lens.of(ALL, 2 * covariance())
    grid.near(points[0], lens)
    grid.nearest(points[0], lens, 10)
    size = {"bytes a stone": grid.bytes / n, "build s": built}
    rows["grid, all in the gate"] = {**timed(lambda p: grid.near(p, lens), points), **size}
    rows["grid, nearest 10"] = {**timed(lambda p: grid.nearest(p, lens, 10), points), **size}
    rows["reading the index once, 1 thread"] = {"p50 ms": streaming(grid.codes), "bytes a stone": 10.0}
    found = quality(grid, lens, (every, owners, shown), kernels)
    white = np.ascontiguousarray((shown / STEPS) @ lens.whitener.T, dtype=np.float32)
    asked = (points / STEPS) @ lens.whitener.T
    del shown
    rows |= others(white, asked)
    return rows, found


def others(white: Any, asked: Array) -> dict[str, Any]:
    """The same questions to faiss and to a k-d tree."""
    faiss.omp_set_num_threads(1)
    started = time.perf_counter()
    flat = faiss.IndexFlatL2(5)
    flat.add(white)
    rows = {"faiss flat, nearest 10": {
        **timed(lambda p: flat.search(p[None].astype(np.float32), 10), asked[:20], 1),
        "bytes a stone": 20.0, "build s": time.perf_counter() - started,
    }}  # fmt: skip
    started = time.perf_counter()
    tree = cKDTree(white)
    build = time.perf_counter() - started
    rows["k-d tree, nearest 10"] = {**timed(lambda p: tree.query(p, k=10), asked, 1), "build s": build}
    rows["k-d tree, all in the gate"] = timed(lambda p: tree.query_ball_point(p, GATE**0.5), asked[:100], 1)
    return rows


def quality(grid: Grid, lens: Lens, stones: tuple[Array, Any, Array], kernels: Kernels) -> dict[str, float]:
    """Share of owners inside the gate, and of the ten best by LR that 200 and 400 nearest hold."""
    points, owners, shown = stones
    apart = np.square(((shown[owners] - points) / STEPS) @ lens.whitener.T).sum(axis=1)
    inside = (apart <= (GATE**0.5 + lens.blur) ** 2).mean()
    held = {200: 0, 400: 0}
    asked = points[:20]
    for point in asked:
        names = grid.near(point, lens)[0]
        best = set(names[np.argsort(-ratios(kernels, shown[names], point))[:10]].tolist())
        for most in held:
            near = grid.nearest(point, lens, most)[0]
            kept = near[np.argsort(-ratios(kernels, shown[near], point))[:10]]
            held[most] += len(best & set(kept.tolist())) / max(len(best), 1)
    return {
        f"own record inside the gate, of {len(owners):,}": float(inside),
        **{f"ten best by LR held by {most} nearest": total / len(asked) for most, total in held.items()},
    }


def ratios(kernels: Kernels, records: Array, point: Array) -> Array:
    """log LR of the measured point with each record."""
    x, Ux = declare(records, LOOSE)
    y, Uy = declare(np.tile(point, (len(records), 1)), LOOSE)
    return random_substitute(kernels, Pairs(COLUMNS, x, Ux, y, Uy)).log_lr


def among_jobs(population: Population, jobs: int, trials: int, rng: np.random.Generator) -> dict[str, float]:
    """A stray stone among jobs, half of the time of none of them: is the stated probability right?"""
    kernels = Kernels(population.reference, fast=True)
    test = population.test.values
    stated, right, rank, none = [], [], [], []
    for trial in range(trials):
        chosen = rng.choice(len(test), jobs + 1, replace=False)
        belongs = trial % 2 == 0
        records = measure(test[chosen[:jobs]], LOOSE, rng)
        point = measure(test[chosen[[0]] if belongs else chosen[[jobs]]], LOOSE, rng)[0]
        x, Ux = declare(records, LOOSE)
        y, Uy = declare(np.tile(point, (jobs, 1)), LOOSE)
        lr = 10.0 ** weigh(kernels, Pairs(COLUMNS, x, Ux, y, Uy), 1000).random
        weights = 0.5 / jobs * lr
        posterior = weights / (0.5 + weights.sum())
        best = int(np.argmax(posterior))
        stated.append(posterior[best])
        right.append(belongs and best == 0)
        none.append((0.5 / (0.5 + weights.sum()), not belongs))
        if belongs:
            rank.append(int((posterior > posterior[0]).sum()))
    return {
        "first of the list, owner among the jobs %": 100 * float(np.mean(np.array(rank) == 0)),
        "within the first ten %": 100 * float(np.mean(np.array(rank) < 10)),
        "mean probability stated for the first": float(np.mean(stated)),
        "share of those that were right": float(np.mean(right)),
        "mean probability stated for none": float(np.mean([p for p, _ in none])),
    }


def table_of(rows: dict[str, dict[str, float]]) -> list[str]:
    head = list(dict.fromkeys(key for line in rows.values() for key in line))
    cells = {name: " | ".join(f"{line[key]:.3g}" if key in line else "" for key in head) for name, line in rows.items()}
    return [
        f"| | {' | '.join(head)} |",
        "|---" * (len(head) + 1) + "|",
        *(f"| {k} | {v} |" for k, v in cells.items()),
        "",
    ]


def main(folder: Path) -> None:
    rng = np.random.default_rng(31)
    population = load_population()
    kernels = Kernels(population, fast=True)
    result: dict[str, Any] = {}
    text = [
        f"Made by `python -m benchmarks.speed_search` on {date.today():%d %B %Y}, {platform.machine()}, 2 processors "
        "shared with other work, one thread each; each query's best of three times. Measurements are simulated.", "",
    ]  # fmt: skip
    for n in (1_000_000, 10_000_000):
        rows, found = speeds(n, kernels, rng)
        result[str(n)] = {"speeds": rows, "found": found}
        text += [f"## {n:,} stones", "", *table_of(rows), *(f"* {k}: {v:.5f}" for k, v in found.items()), ""]
        print("\n".join(text[-len(rows) - 9 :]), flush=True)
    jobs = {f"{k:,} jobs": among_jobs(population, k, 600 if k < 5000 else 200, rng) for k in (30, 100, 1000, 10_000)}
    result["jobs"] = jobs
    text += ["## Among the jobs of a shop, half of the stray stones of none of them", "", *table_of(jobs)]
    print("\n".join(text[-6:]))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "speed_search.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    (folder / "speed_search.md").write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "results")
