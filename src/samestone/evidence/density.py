"""How often stones of this size, weight and table occur: a kernel density over the reference stones.

The density of true stones is p = (1-eps) mean_i N(m_i, H) + eps N(mu, 9 C), the second part for stones unlike any in
the reference. Seen through a measurement with covariance S every covariance grows by S; what was not measured is left
out of m, H and S.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from samestone.evidence.observable import Array, Rows
from samestone.evidence.population import Population

BANDWIDTH = (0.0063, 0.0078, 0.0019, 0.0094, 0.95)
"""Kernel widths in (ln w, r, e, q, t), r = ln w - 2 ln d - ln z and q = ln z - ln d, which vary almost independently.

Found by scripts/tune_population.py: largest mean log density of noisy held-out stones of the reference split.
"""
APART = 1e-3
"""eps, the share of stones unlike any in the reference."""

_B = np.array(
    [
        [1, 0, 0, 0, 0],
        [1 / 3, -1 / 3, 0, -1 / 3, 0],
        [0, 0, 1, 0, 0],
        [1 / 3, -1 / 3, 0, 2 / 3, 0],
        [0, 0, 0, 0, 1],
        [1 / 3, -1 / 3, -1 / 2, -1 / 3, 0],
        [1 / 3, -1 / 3, 1 / 2, -1 / 3, 0],
    ]
)
"""The observables (ln w, ln d, e, ln z, t, ln a, ln b) from (ln w, r, e, q, t); ln a and ln b to first order in e."""

REACH = 6.0
"""Reference stones further than this many standard deviations in the ordering column are left out.

So are those at a squared distance above 1.4 times its square: exp(-25) is 1.4e-11. Together < 1e-5 in log10 LR.
"""


@dataclass(frozen=True, eq=False)
class Kernels:
    """The density model of one population."""

    population: Population
    bandwidth: tuple[float, ...] = BANDWIDTH
    apart: float = APART
    fast: bool = False
    """Sum with compiled code; for many points. The same sums, the last digits may differ."""
    reach: float = REACH
    H: Array = field(init=False)
    mean: Array = field(init=False)
    wide: Array = field(init=False)

    @property
    def farthest(self) -> float:
        return 1.4 * self.reach**2

    def __post_init__(self) -> None:
        seen = self.population.observables()
        object.__setattr__(self, "H", _B @ np.diag(np.square(self.bandwidth)) @ _B.T)
        object.__setattr__(self, "mean", seen.mean(axis=0))
        object.__setattr__(self, "wide", 9 * np.cov(seen.T))

    def log_density(self, columns: tuple[int, ...], points: Array, S: Array) -> Array:
        """ln f_S at points (n, k) in the given columns, each with its own covariance S (n, k, k)."""
        return self.log_parts(columns, points, S).sum_log()

    def log_parts(self, columns: tuple[int, ...], points: Array, S: Array) -> Parts:
        """The two parts of `log_density`: near reference stones, and apart from all of them."""
        at = np.ix_(columns, columns)
        whitener, log_norm = whiten(self.H[at] + S)
        keys, table = self.population.ordered(columns[0], columns)
        half = self.reach * np.sqrt(self.H[columns[0], columns[0]] + S[:, 0, 0])
        window = np.searchsorted(keys, points[:, 0] - half), np.searchsorted(keys, points[:, 0] + half)
        if self.fast:
            from samestone.evidence.compiled import kernel_sums

            sums = kernel_sums(table, window, points, whitener, self.farthest)
        else:
            sums = _sums(table, window, points, whitener, self.farthest)
        with np.errstate(divide="ignore"):
            near = np.log(sums) + (log_norm - math.log(len(keys)) + math.log1p(-self.apart))
        if self.apart == 0:
            return Parts(near, np.full(len(near), -np.inf))
        apart = log_normal(points - self.mean[list(columns)], self.wide[at] + S) + math.log(self.apart)
        return Parts(near, apart)


@dataclass(frozen=True, slots=True)
class Parts:
    """Natural logarithms of two densities that are to be added."""

    near: Array
    apart: Array

    def sum_log(self) -> Array:
        return np.logaddexp(self.near, self.apart)


def whiten(S: Array) -> tuple[Array, Array]:
    """(W, c) with |W v|^2 = v' S^-1 v and c = ln of the normal density's constant, for covariances (n, k, k)."""
    L = np.asarray(np.linalg.cholesky(S), np.float64)
    k = S.shape[-1]
    c = -np.log(L[..., range(k), range(k)]).sum(axis=-1) - 0.5 * k * math.log(2 * math.pi)
    return _invert_lower(L), c


def invert(S: Array) -> Array:
    """The inverse of covariances (n, k, k)."""
    W, _ = whiten(S)
    return W.transpose(0, 2, 1) @ W


def _invert_lower(L: Array) -> Array:
    """Inverse of lower triangular matrices; for many small ones substitution is far quicker than the general way."""
    if L.size < 1000:
        return np.asarray(np.linalg.inv(L), np.float64)
    W = np.zeros_like(L)
    k = L.shape[-1]
    for i in range(k):
        W[..., i, i] = 1 / L[..., i, i]
        for j in range(i):
            along = (L[..., i, j:i] * W[..., j:i, j]).sum(axis=-1)
            W[..., i, j] = -along * W[..., i, i]
    return W


def log_normal(v: Array, S: Array) -> Array:
    """ln N(v; 0, S) for vectors (n, k) and covariances (n, k, k)."""
    W, c = whiten(S)
    squared: Array = np.square(np.einsum("nij,nj->ni", W, v)).sum(axis=1)
    return c - 0.5 * squared


def _sums(table: Array, window: tuple[Rows, Rows], points: Array, whitener: Array, farthest: float) -> Array:
    """Sum of exp(-distance^2 / 2) over the stones in each point's window, (k, N) coordinates in `table`."""
    start, stop = window
    low, high = int(start.min()), int(stop.max())
    if high - low <= 2 * int((stop - start).max()):
        return _sums_together(table[:, low:high], (start - low, stop - low), points, whitener, farthest)
    total = np.empty(len(points))
    for i in range(len(points)):
        here, one = table[:, start[i] : stop[i]], slice(i, i + 1)
        total[i] = _sums_together(here, (start[one] * 0, stop[one]), points[one], whitener[one], farthest)[0]
    return total


def _sums_together(table: Array, window: tuple[Rows, Rows], points: Array, whitener: Array, farthest: float) -> Array:
    n, k = points.shape
    # Outside this box a stone is further than the cut-off from every point: |W v|^2 >= v_j^2 / S_jj.
    reach = np.sqrt(farthest * np.square(_invert_lower(whitener)).sum(axis=2))
    low, high = (points - reach).min(axis=0), (points + reach).max(axis=0)
    rows = np.flatnonzero(((table[1:] > low[1:, None]) & (table[1:] < high[1:, None])).all(axis=0))
    table = table[:, rows]
    offset = np.einsum("nij,nj->ni", whitener, points)
    along = whitener.reshape(n * k, k) @ table - offset.reshape(n * k, 1)
    squared = np.square(along).reshape(n, k, -1).sum(axis=1)
    counted = (squared < farthest) & (rows >= window[0][:, None]) & (rows < window[1][:, None])
    sums: Array = np.where(counted, np.exp(-0.5 * squared), 0.0).sum(axis=1)
    return sums
