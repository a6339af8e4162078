"""The reference stones: how sizes, weights and tables are spread among round diamonds."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from samestone.evidence.observable import Array, observables

SHIPPED = "c3bc8c28f519a13dc9ac015b2b3e9973f26beb0c71782cf6a07a35720e946f8b"
"""SHA-256 of population-1.npy."""


class ChangedPopulation(ValueError):
    """The file with the reference stones is not the one that this version was tested with."""


@dataclass(frozen=True, eq=False)
class Population:
    """Stones as rows of (weight_ct, diameter_min_mm, diameter_max_mm, depth_mm, table_percent)."""

    name: str
    digest: str
    values: Array
    about: Mapping[str, Any]

    def __len__(self) -> int:
        return len(self.values)

    @property
    def reference(self) -> Population:
        """The stones that tuning may use."""
        return self.part(slice(0, int(self.about["reference"])), "reference split")

    @property
    def test(self) -> Population:
        """The stones that are kept for testing."""
        return self.part(slice(int(self.about["reference"]), None), "test split")

    def part(self, rows: slice | NDArray[np.intp], name: str) -> Population:
        """A population of some of the stones, under a name that says so."""
        return Population(f"{self.name}, {name}", self.digest, self.values[rows], self.about)

    @lru_cache(maxsize=32)  # noqa: B019 - populations live as long as the program
    def ordered(self, column: int, columns: tuple[int, ...]) -> tuple[Array, Array]:
        """Observables of all stones, ordered by one column: (that column, the wanted columns x stones)."""
        seen = self.observables()
        order = np.argsort(seen[:, column], kind="stable")
        return np.ascontiguousarray(seen[order, column]), np.ascontiguousarray(seen[order][:, columns].T)

    @lru_cache(maxsize=1)  # noqa: B019
    def observables(self) -> Array:
        return observables(self.values)


def load_population(data: bytes | None = None) -> Population:
    """The shipped reference stones, or the same file from elsewhere; refused if a single byte differs.

    43,207 round diamonds after removing what cannot be and what is listed twice; see `about` and docs/method.
    """
    if data is not None:
        return _read(data)
    return _shipped()


@lru_cache(maxsize=1)
def _shipped() -> Population:
    return _read((files("samestone.evidence") / "data" / "population-1.npy").read_bytes())


def _read(data: bytes) -> Population:
    digest = hashlib.sha256(data).hexdigest()
    if digest != SHIPPED:
        raise ChangedPopulation(
            f"population-1.npy: found SHA-256 {digest[:16]}…, expected {SHIPPED[:16]}…; install Samestone again"
        )
    about = json.loads((files("samestone.evidence") / "data" / "population-1.json").read_text(encoding="utf-8"))
    steps = np.array([float(step) for step in about["steps"]])
    return Population(about["name"], digest, np.load(io.BytesIO(data), allow_pickle=False) * steps, about)


def without(population: Population, rows: Sequence[int]) -> Population:
    """The population without some stones: leave-one-out."""
    keep = np.ones(len(population), bool)
    keep[list(rows)] = False
    return population.part(np.flatnonzero(keep), f"without {len(rows)}")
