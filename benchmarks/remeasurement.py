"""Stones of the population measured again: the noise is simulated, with the uncertainties that the model assumes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from samestone.evidence.observable import PROPERTIES, Array, covariances, observables


@dataclass(frozen=True)
class Bench:
    """Standard uncertainties of one indication in the order weight, diameters, depth, table; `n` indications each."""

    u: tuple[float, ...]
    common: tuple[float, ...]
    resolution: tuple[float, ...] = (0.001, 0.01, 0.01, 0.01, 1.0)
    n: int = 1

    def parts(self) -> tuple[Array, Array]:
        """(independent, common) standard uncertainties of the mean."""
        u, common, step = np.array(self.u), np.array(self.common), np.array(self.resolution)
        return np.sqrt((u**2 - common**2 + step**2 / 12) / self.n), common


LOOSE = Bench((0.001, 0.010, 0.010, 0.010, 0.5), (0.0004, 0.004, 0.004, 0.004, 0.2))
SET = Bench((0.001, 0.020, 0.020, 0.020, 0.5), (0.0004, 0.008, 0.008, 0.008, 0.2))
FINE = Bench((0.001, 0.005, 0.005, 0.005, 0.25), (0.0004, 0.002, 0.002, 0.002, 0.1))
INSTRUMENT = np.array([0, 1, 1, 1, 2])
DIGITS = (3, 2, 2, 2, 0)
INSTRUMENTS = [
    {"name": "gauge", "kind": "gauge", "unit": "mm", "resolution": "0.01", "u": "0.010", "u_common": "0.004"},
    {"name": "scale", "kind": "scale", "unit": "ct", "resolution": "0.001", "u": "0.001"},
    {"name": "reticle", "kind": "reticle", "unit": "%", "resolution": "1", "u": "0.5"},
]


@dataclass(frozen=True)
class Remeasured:
    """True observables, two measurements of each stone, and the covariances that their records declare."""

    true: Array
    x: Array
    Ux: Array
    y: Array
    Uy: Array
    raw: tuple[Array, Array]


def measure(values: Array, bench: Bench, rng: np.random.Generator, actual: float = 1.0) -> Array:
    """Values with noise: independent per reading, common per instrument, rounded to the display.

    `actual` scales the true noise against what is declared.
    """
    u, common, step = np.array(bench.u), np.array(bench.common), np.array(bench.resolution)
    own = np.sqrt(u**2 - common**2)
    shared = rng.normal(size=(len(values), 3))[:, INSTRUMENT] * common * actual
    total = np.zeros_like(values)
    for _ in range(bench.n):
        shown = values + shared + rng.normal(size=values.shape) * own * actual
        total += np.rint(shown / step) * step
    return total / bench.n


def declare(values: Array, bench: Bench) -> tuple[Array, Array]:
    """Observables and the covariances that a record with these uncertainties declares."""
    independent, common = (np.tile(part, (len(values), 1)) for part in bench.parts())
    instrument = np.tile(INSTRUMENT, (len(values), 1))
    return observables(values), covariances(values, independent, common, instrument)


def measured_twice(values: Array, bench: Bench, rng: np.random.Generator, actual: float = 1.0) -> Remeasured:
    """Two independent measurements of each stone."""
    one, two = measure(values, bench, rng, actual), measure(values, bench, rng, actual)
    return Remeasured(observables(values), *declare(one, bench), *declare(two, bench), (one, two))


def record(row: Array) -> dict[str, object]:
    """A record with one indication per property."""
    shown = dict(zip(PROPERTIES, (f"{v:.{d}f}" for v, d in zip(row, DIGITS, strict=True)), strict=True))
    low, high = sorted((shown["diameter_min_mm"], shown["diameter_max_mm"]), key=float)
    shown |= {"diameter_min_mm": low, "diameter_max_mm": high}
    tool = {"weight_ct": "scale", "table_percent": "reticle"}
    return {
        "format": "samestone-examination/1",
        "stone": {"cut": "round brilliant", "setting": "loose"},
        "instruments": INSTRUMENTS,
        "readings": [
            {"property": name, "indications": [value], "instrument": tool.get(name, "gauge")}
            for name, value in shown.items()
        ],
    }
