"""Find the kernel widths and the share of stones apart that `samestone.evidence.density` uses.

    .venv/bin/python -m scripts.tune_population

Uses the reference split only: 20,000 of its stones make the density, the others, measured with simulated noise, are
predicted; what is maximised is their mean log density. Prints the widths; they are copied by hand.
"""

from __future__ import annotations

import numpy as np
from benchmarks.remeasurement import LOOSE, measured_twice

from samestone.evidence.density import BANDWIDTH, Kernels
from samestone.evidence.observable import LN_D, LN_W, LN_Z, E, T
from samestone.evidence.population import load_population

COLUMNS = (LN_W, LN_D, E, LN_Z, T)
TRAIN = 20_000


def main() -> None:
    reference = load_population().reference
    train = reference.part(slice(0, TRAIN), "training part")
    held = measured_twice(reference.values[TRAIN:], LOOSE, np.random.default_rng(3))
    points, S = held.x[:, COLUMNS], held.Ux[np.ix_(range(len(held.x)), COLUMNS, COLUMNS)]

    def score(widths: tuple[float, ...], apart: float = 1e-3) -> float:
        return float(Kernels(train, widths, apart, fast=True).log_density(COLUMNS, points, S).mean())

    best, found = score(BANDWIDTH), list(BANDWIDTH)
    for step in (1.25, 1.1, 1.05):
        improved = True
        while improved:
            improved = False
            for position in range(5):
                for factor in (step, 1 / step):
                    trial = found.copy()
                    trial[position] *= factor
                    if (value := score(tuple(trial))) > best + 1e-5:
                        best, found, improved = value, trial, True
        print(f"step {step}: mean ln f {best:.4f} at {[float(f'{h:.3g}') for h in found]}", flush=True)
    for apart in (0.0, 1e-4, 1e-3, 3e-3, 1e-2):
        print(f"apart {apart:g}: {score(tuple(found), apart):.4f}")
    print("half and double:", score(tuple(h / 2 for h in found)), score(tuple(h * 2 for h in found)))


if __name__ == "__main__":
    main()
