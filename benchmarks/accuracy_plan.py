"""How well the expected gain of the next examination predicts what the examinations then say.

    .venv/bin/python -m benchmarks.accuracy_plan [results folder]

Every measurement is simulated with the uncertainty that its row states.
"""

from __future__ import annotations

import json
import platform
import sys
import time
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.remeasurement import LOOSE, SET, Bench, declare

from samestone.evidence.density import Kernels
from samestone.evidence.information import Given
from samestone.evidence.likelihood import Pairs, random_substitute
from samestone.evidence.observable import LN_D, LN_W, LN_Z, Array, E, T
from samestone.evidence.population import load_population

CASES: tuple[tuple[tuple[int, ...], tuple[int, ...], Bench], ...] = (
    ((LN_D, E), (LN_W,), SET),
    ((LN_D, E), (T,), SET),
    ((LN_D, E), (LN_Z,), SET),
    ((LN_D, E, LN_Z), (LN_W,), LOOSE),
    ((LN_W,), (LN_D, E), LOOSE),
    ((LN_W,), (LN_Z,), LOOSE),
    ((LN_W,), (T,), LOOSE),
    ((LN_W, LN_D, E), (LN_Z,), LOOSE),
    ((LN_W, LN_D, E), (T,), LOOSE),
    ((LN_W, LN_D, E, LN_Z), (T,), LOOSE),
)
NAMES = {LN_W: "weight", LN_D: "diameters", LN_Z: "depth", T: "table"}
DRAWS, STONES = 2000, 30


def named(columns: tuple[int, ...]) -> str:
    return ", ".join(NAMES[column] for column in columns if column in NAMES)


def simulated_gain(
    kernels: Kernels, columns: tuple[tuple[int, ...], tuple[int, ...]], x: Array, U: Array, rng: np.random.Generator,
    *, draws: int = DRAWS,
) -> float:  # fmt: skip
    """Mean of log10 LR with the wanted columns less that without, over stones that fit x in the known columns."""
    known, wanted = (list(part) for part in columns)
    given = Given(kernels, columns[0], x, U)
    rows, shares, _ = given.one
    table = kernels.population.ordered(known[0], tuple(range(7)))[1]
    m = table[:, rng.choice(np.arange(table.shape[1])[rows], size=draws, p=shares)].T
    H, at = kernels.H, np.ix_(known, known)
    G = np.linalg.solve(H[at] + U[at], H[known]).T
    theta = m + (x[known] - m[:, known]) @ G.T
    C = (H - G @ H[known])[:5, :5]
    theta[:, :5] += rng.normal(size=(draws, 5)) @ np.linalg.cholesky(C + 1e-15 * np.eye(5)).T
    noise = np.linalg.solve(U[at], U[np.ix_(known, wanted)]).T
    V = U[np.ix_(wanted, wanted)] - noise @ U[np.ix_(known, wanted)]
    X, Y = np.tile(x, (draws, 1)), theta.copy()
    X[:, wanted] = theta[:, wanted] + (x[known] - theta[:, known]) @ noise.T
    X[:, wanted] += rng.normal(size=(draws, len(wanted))) @ np.linalg.cholesky(V).T
    Y[:, :5] += rng.normal(size=(draws, 5)) @ np.linalg.cholesky(U[:5, :5] + 1e-18 * np.eye(5)).T
    spread = np.tile(U, (draws, 1, 1))
    every = tuple(sorted({*known, *wanted}))
    with_, without = (random_substitute(kernels, Pairs(c, X, spread, Y, spread)).log_lr for c in (every, columns[0]))
    return float((with_ - without).mean() / np.log(10))


def main(folder: Path) -> None:
    population = load_population()
    kernels = Kernels(population.reference, fast=True)
    rng = np.random.default_rng(11)
    rows: list[dict[str, Any]] = []
    for known, wanted, bench in CASES:
        pairs, seconds = [], []
        for values in population.test.values[rng.integers(len(population.test), size=STONES)]:
            x, U = (part[0] for part in declare(values[None], bench))
            x[:5] += np.linalg.cholesky(U[:5, :5] + 1e-18 * np.eye(5)) @ rng.normal(size=5)
            started = time.perf_counter()
            analytic = Given(kernels, known, x, U).gain(*wanted)
            seconds.append(time.perf_counter() - started)
            pairs.append((analytic, simulated_gain(kernels, (known, wanted), x, U, rng)))
        analytic_, simulated = np.array(pairs).T
        rows.append({
            "recorded": named(known), "next": named(wanted), "simulated": simulated.mean(),
            "expected": analytic_.mean(), "mean abs difference": np.abs(analytic_ - simulated).mean(),
            "correlation": np.corrcoef(analytic_, simulated)[0, 1], "ms, median": 1e3 * np.median(seconds),
        })  # fmt: skip
        print(rows[-1], flush=True)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "accuracy_plan.json").write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    head = list(rows[0])
    lines = [f"| {' | '.join(head)} |", "|---" * len(head) + "|"]
    lines += [f"| {' | '.join(v if isinstance(v, str) else f'{v:.3f}' for v in row.values())} |" for row in rows]
    text = (
        f"Made by `python -m benchmarks.accuracy_plan` on {date.today():%d %B %Y}, {platform.machine()}, 2 processors "
        f"shared with other work; {STONES} stones a row, {DRAWS} simulated pairs each.\n"
    )
    text = "\n".join([text, *lines, ""])
    (folder / "accuracy_plan.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "results")
