"""How much the next measurement of a stone is expected to say, given those that were made.

For a calibrated ratio the expected log LR of one stone is the mutual information of its two measurements. With
c = the two measurements of a property together, d = their difference, which is independent of the stone,

    gain = h(x | x_O) + h(y | y_O) - h(c | c_O) - h(d | d_O),

all entropies given the properties O that were measured before. The first three are entropies of a mixture of normals,
one for each reference stone, weighted by how well it fits O; they are taken on a grid.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from samestone.evidence.density import Kernels, whiten
from samestone.evidence.observable import Array

FINENESS = 4
"""Steps of the grid in one standard deviation of a component."""
FARTHEST = 25.0
"""Reference stones further from the best, in squared distance, are left out: exp(-12.5) is 4e-6."""
FEWEST = 10
"""Reference stones that are asked at least, however far they are."""


class Given:
    """A stone of which some columns were measured: x (7) with covariance U (7, 7) in the columns `known`.

    Both examinations measure with U. `held` (7) replaces the variances of known columns by tolerances, where not nan:
    those in which a stone was chosen to look alike.
    """

    def __init__(
        self, kernels: Kernels, known: tuple[int, ...], x: Array, U: Array, *, held: Array | None = None
    ) -> None:
        self.known, self.x, self.U, self.held = list(known), x, U, held
        self.kernels = kernels
        self.one = self._posterior(self._hold(U))
        self.both = self._posterior(self._hold(U / 2))

    def gain(self, *wanted: int) -> float:
        """Expected log10 LR of further columns, taken as independent of one another given those known."""
        return sum(self._gain(column) for column in wanted) / math.log(10)

    def estimate(self) -> Array:
        """The 7 columns as the reference stones that fit have them on average."""
        rows, weights, _ = self.one
        out: Array = weights @ self._table()[:, rows].T
        return out

    def _gain(self, column: int) -> float:
        noise = 2 * self.U
        variance = noise[column, column]
        if self.known and self.held is None:
            across = noise[column, self.known]
            variance -= across @ np.linalg.solve(noise[np.ix_(self.known, self.known)], across)
        return (
            2 * self._entropy(column, self.one)
            - self._entropy(column, self.both)
            - 0.5 * math.log(2 * math.pi * math.e * variance)
        )

    def _table(self) -> Array:
        """Columns x stones, in the order of the first known column."""
        return self.kernels.population.ordered(self.known[0] if self.known else 0, tuple(range(7)))[1]

    def _hold(self, U: Array) -> Array:
        if self.held is None:
            return U
        out = U.copy()
        for column in self.known:
            if not math.isnan(self.held[column]):
                out[column, :] = out[:, column] = 0.0
                out[column, column] = self.held[column]
        return out

    def _posterior(self, S: Array) -> Posterior:
        """Reference stones that fit a measurement with covariance S, their shares, and H + S."""
        table, D = self._table(), self.kernels.H + S
        if not self.known:
            every = slice(0, table.shape[1])
            return every, np.full(table.shape[1], 1 / table.shape[1]), D
        keys, point = table[self.known[0]], self.x[self.known]
        half = self.kernels.reach * math.sqrt(D[self.known[0], self.known[0]])
        first, last = np.searchsorted(keys, (point[0] - half, point[0] + half)).tolist()
        if last - first < FEWEST:
            first, last = max(0, first - FEWEST), last + FEWEST
        W, _ = whiten(D[np.ix_(self.known, self.known)])
        squared = np.square(W @ (table[self.known, first:last] - point[:, None])).sum(axis=0)
        squared -= squared.min()
        near = np.flatnonzero(squared < FARTHEST)
        weights = np.exp(-0.5 * squared[near])
        return near + first, weights / weights.sum(), D

    def _entropy(self, column: int, given: Posterior) -> float:
        """h of a measurement of `column`, given the measurements of the known columns."""
        rows, weights, D = given
        means, variance = self._table()[column, rows], D[column, column]
        if self.known:
            slope = np.linalg.solve(D[np.ix_(self.known, self.known)], D[self.known, column])
            means = means + slope @ (self.x[self.known, None] - self._table()[np.ix_(self.known, rows)])
            variance -= slope @ D[self.known, column]
        return _mixture_entropy(means, weights, math.sqrt(variance))


Posterior = tuple[Any, Array, Array]


def _mixture_entropy(means: Array, weights: Array, sd: float) -> float:
    """Differential entropy of sum_i weights_i N(means_i, sd^2): binned linearly, smoothed, summed."""
    step = sd / FINENESS
    first = means.min()
    position = (means - first) / step
    cell = position.astype(np.int64)
    part = position - cell
    size = int(cell.max()) + 2
    mass = np.bincount(cell, weights * (1 - part), size) + np.bincount(cell + 1, weights * part, size)
    # Linear binning spreads each component by step^2 part (1 - part), 1/6 on average.
    width = math.sqrt(FINENESS**2 - 1 / 6)
    taps = np.arange(-6 * FINENESS, 6 * FINENESS + 1)
    bell = np.exp(-0.5 * np.square(taps / width))
    density = np.convolve(mass, bell / bell.sum()) / step
    density = density[density > 0]
    return float(-(density * np.log(density)).sum() * step)
