"""How many stones of the population could not be told apart from this one, after each check."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from samestone.evidence.density import whiten
from samestone.evidence.observable import LN_A, LN_B, LN_D, LN_W, LN_Z, Array, E, Rows, T, covariances
from samestone.evidence.population import Population

_STEPS = (
    ("diameters", (LN_D, E)),
    ("smallest diameter", (LN_A,)),
    ("largest diameter", (LN_B,)),
    ("depth", (LN_Z,)),
    ("weight", (LN_W,)),
    ("table", (T,)),
)
"""In the order in which a stone is usually examined; the last two need it unset, or a microscope."""

_LIMIT = (6.635, 9.210, 11.345, 13.277, 15.086)
"""Upper 1 % points of chi-square with 1 to 5 degrees of freedom."""

_PRINTED = np.array([[0.01, 0.01, 0.01, 0.01, 1.0]]) / math.sqrt(12)
"""Standard uncertainty of the reference stones' own values, which were printed to 0.01 ct, 0.01 mm and 1 %."""


@dataclass(frozen=True, slots=True)
class Narrowing:
    """`left[i]` is (what was checked, stones still not told apart) of `of` stones; `share_at_most` bounds the share.

    `share_at_most` is the upper 95 % limit of Clopper and Pearson (Biometrika 26, 404, 1934).
    """

    of: int
    left: tuple[tuple[str, int], ...]
    share_at_most: float

    def as_json(self) -> dict[str, Any]:
        return {
            "of": self.of,
            "left": [{"after": what, "left": count} for what, count in self.left],
            "share_at_most": float(f"{self.share_at_most:.3g}"),
        }


def narrow(
    population: Population, columns: tuple[int, ...], x: Array, U: Array, *, fast: bool = False
) -> list[Narrowing]:
    """Count, after each further check, the reference stones that a stone cannot be told from; for n stones.

    A stone m stays as long as (x-m)' S^-1 (x-m) in the columns checked so far is within the upper 1 % point of
    chi-square, S = 2 U + R: the stone measured again, and the steps R of the reference's own printed values. Once out
    it stays out; the stone itself stays in 95 times of 100 at least. `x` is (n, 7), `U` (n, 7, 7).
    """
    steps = [(name, [c for c in wanted if c in columns]) for name, wanted in _STEPS]
    steps = [(name, wanted) for name, wanted in steps if wanted]
    order = tuple(c for _, wanted in steps for c in wanted)
    S = (2 * U + _printed(x, fast))[np.ix_(range(len(x)), order, order)]
    W, _ = whiten(S)
    keys, table = population.ordered(order[0], order)
    points = np.ascontiguousarray(x[:, order])
    ends = np.cumsum([len(wanted) for _, wanted in steps])
    half = np.sqrt(_LIMIT[ends[0] - 1] * S[:, 0, 0])
    window = np.searchsorted(keys, points[:, 0] - half), np.searchsorted(keys, points[:, 0] + half)
    if fast:
        from samestone.evidence.compiled import counts_left

        counts = counts_left(table, window, points, W, (ends, np.array(_LIMIT)[ends - 1]))
    else:
        counts = _counts_left(table, window, points, W, ends)
    of, names = len(population), [name for name, _ in steps]
    return [
        Narrowing(of, tuple(zip(names, left, strict=True)), share_at_most(left[-1], of)) for left in counts.tolist()
    ]


def _counts_left(table: Array, window: tuple[Rows, Rows], points: Array, W: Array, ends: Rows) -> Rows:
    counts = np.empty((len(points), len(ends)), np.int64)
    limits = np.array(_LIMIT)[ends - 1]
    for i, point in enumerate(points):
        along = np.square(W[i] @ (table[:, window[0][i] : window[1][i]] - point[:, None]))
        squared = np.cumsum(along, axis=0)[ends - 1]
        alive = np.logical_and.accumulate(squared <= limits[:, None], axis=0)
        counts[i] = alive.sum(axis=1)
    return counts


def _printed(x: Array, fast: bool) -> Array:
    w, d, z = np.exp(x[:, LN_W]), np.exp(x[:, LN_D]), np.exp(x[:, LN_Z])
    stones = np.stack([w, d * (1 - x[:, E] / 2), d * (1 + x[:, E] / 2), z, x[:, T]], axis=1)
    n = len(stones)
    parts = stones, np.repeat(_PRINTED, n, 0), np.zeros((n, 5))
    if fast:
        from samestone.evidence.compiled import all_covariances

        return all_covariances(*parts, np.zeros((n, 5)))
    return covariances(*parts, np.tile(np.arange(5), (n, 1)))


@lru_cache(maxsize=1 << 16)
def share_at_most(count: int, of: int) -> float:
    """The upper 95 % limit (one-sided) of a share of which `count` in `of` were found; Clopper and Pearson.

    The root of P(at most count | of, share) = 0.05, by Newton's method on its logarithm; the sum is kept in logarithms.

    >>> round(share_at_most(0, 43207) * 43207, 2)
    3.0
    """
    if count >= of:
        return 1.0
    share = min(1 - 1e-9, (count + 1.645 * math.sqrt(count + 1) + 1.4) / of)
    for _ in range(40):
        at_most, exactly = _at_most(count, of, share)
        step = at_most * math.log(at_most / 0.05) * (1 - share) / ((of - count) * exactly)
        share = min(1 - 1e-12, max(share + step, share / 2))
        if abs(step) < 1e-10 * share:
            break
    return share


def _at_most(count: int, of: int, share: float) -> tuple[float, float]:
    """P(X <= count) and P(X = count) for X ~ Binomial(of, share): the terms downwards until they no longer matter."""
    term = (
        math.lgamma(of + 1) - math.lgamma(count + 1) - math.lgamma(of - count + 1)
        + count * math.log(share) + (of - count) * math.log1p(-share)
    )  # fmt: skip
    total, exactly = 0.0, math.exp(term)
    part = exactly
    for k in range(count, -1, -1):
        total += part
        if part < total * 1e-12:
            break
        part *= k * (1 - share) / ((of - k + 1) * share)
    return total, exactly
