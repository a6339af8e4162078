"""How much more probable two measurements are if one stone gave both than if another stone, drawn at random, gave one.

The two-level model of Aitken and Lucy (Applied Statistics 53, 109-122, 2004) with its between-stone density as a kernel
density, and with a measurement covariance of its own for each record instead of one for all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from samestone.evidence.density import Kernels, whiten
from samestone.evidence.observable import Array, Rows


@dataclass(frozen=True, slots=True)
class Pairs:
    """n pairs of measurements: observables (n, 7) and covariances (n, 7, 7), compared in `columns`."""

    columns: tuple[int, ...]
    x: Array
    Ux: Array
    y: Array
    Uy: Array

    def cut(self, columns: tuple[int, ...] | None = None) -> tuple[Array, Array, Array, Array]:
        """x, Ux, y, Uy in the columns only."""
        c = list(columns or self.columns)
        at = np.ix_(range(len(self.x)), c, c)
        return self.x[:, c], self.Ux[at], self.y[:, c], self.Uy[at]

    def only(self, rows: Rows, columns: tuple[int, ...] | None = None) -> Pairs:
        return Pairs(columns or self.columns, self.x[rows], self.Ux[rows], self.y[rows], self.Uy[rows])

    def distance(self, columns: tuple[int, ...] | None = None) -> Array:
        """(x-y)' (Ux+Uy)^-1 (x-y) in some columns."""
        x, Ux, y, Uy = self.cut(columns)
        W, _ = whiten(Ux + Uy)
        squared: Array = np.square(np.einsum("nij,nj->ni", W, x - y)).sum(axis=1)
        return squared


@dataclass(frozen=True, slots=True)
class RandomSubstitute:
    """Natural logarithms: the ratio, p(x, y | same stone) and f(x), f(y); `apart_x`, `apart_y` say how unlike any
    reference stone each measurement is (the share of its density that no reference stone carries)."""

    log_lr: Array
    log_same: Array
    log_x: Array
    log_y: Array
    apart_x: Array
    apart_y: Array

    def only(self, rows: Rows) -> RandomSubstitute:
        parts = (self.log_lr, self.log_same, self.log_x, self.log_y, self.apart_x, self.apart_y)
        return RandomSubstitute(*(part[rows] for part in parts))


def merge(pairs: Pairs) -> tuple[Array, Array, Array]:
    """(ln N(x-y; 0, Ux+Uy), c, C): how well two measurements of one stone fit, and the one they make together."""
    x, Ux, y, Uy = pairs.cut()
    W, log_norm = whiten(Ux + Uy)
    away = np.einsum("nij,nj->ni", W, y - x)
    G = Ux @ W.transpose(0, 2, 1) @ W
    c = x + np.einsum("nij,nj->ni", G, y - x)
    C = Ux - G @ Ux
    return log_norm - 0.5 * np.square(away).sum(axis=1), c, (C + C.transpose(0, 2, 1)) / 2


def random_substitute(kernels: Kernels, pairs: Pairs) -> RandomSubstitute:
    """Natural log LR of each pair against a stone drawn at random from the population.

    G = Ux (Ux+Uy)^-1, c = x + G (y-x), C = Ux - G Ux;
    ln LR = ln N(x-y; 0, Ux+Uy) + ln f_C(c) - ln f_Ux(x) - ln f_Uy(y).
    """
    x, Ux, y, Uy = pairs.cut()
    n = len(x)
    log_together, c, C = merge(pairs)
    parts = kernels.log_parts(pairs.columns, np.concatenate([c, x, y]), np.concatenate([C, Ux, Uy]))
    log_f = parts.sum_log()
    log_same = log_together + log_f[:n]
    apart = np.exp(parts.apart - log_f)
    log_x, log_y = log_f[n : 2 * n], log_f[2 * n :]
    return RandomSubstitute(log_same - log_x - log_y, log_same, log_x, log_y, apart[n : 2 * n], apart[2 * n :])
