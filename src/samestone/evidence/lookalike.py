"""How much more probable two measurements are if one stone gave both than if a stone chosen to look alike gave one."""

from __future__ import annotations

import math

import numpy as np

from samestone.evidence.density import Kernels, invert, log_normal
from samestone.evidence.likelihood import Pairs, RandomSubstitute
from samestone.evidence.observable import LN_A, LN_B, LN_D, LN_W, LN_Z, Array, E

TOLERANCES = ((0.001, 0.010), (0.005, 0.020))
"""How closely a look-alike may have been matched, (ct, mm): as well as gauges can tell, or as a short search finds.

Held equally likely beforehand; chosen on the reference split (docs/method/evidence.md).
"""
UNMATCHED = 0.1
"""How likely, beforehand, that a stone said to be chosen is as any other (assumed)."""

STOCKS = (2, 30, 1000, 100_000)
"""Sizes of the stock a look-alike may have been chosen from: a pair, a bench, a shop, the trade."""


def look_alike(kernels: Kernels, pairs: Pairs, drawn: RandomSubstitute) -> Array:
    """Natural log LR against a stone whose size and weight were chosen to lie near x.

    A stone chosen with tolerance T has density proportional to p(theta) N(theta_S - x_S; 0, T) in the matched columns S
    (weight, diameters, depth). With P = Uy^-1 + A' T^-1 A, C = P^-1, c = C (Uy^-1 y + A' T^-1 x_S), A picking S:

    ln p(y | x, chosen) = ln N(y_S - x_S; 0, Uy_SS + T) + ln f_C(c) - ln f_T(x_S);

    over the tolerances, and UNMATCHED for "at random", LR = 1 / sum_k pi_k / LR_k.
    """
    variances = matched_variances(pairs.columns, pairs.x)
    n, _, m = variances.shape
    if not m:
        return drawn.log_lr
    matched, columns = list(range(m)), pairs.columns[:m]
    x, _, y, Uy = (np.concatenate([part] * len(TOLERANCES)) for part in pairs.cut())
    T = np.concatenate(list(variances.transpose(1, 0, 2)))
    wide = np.zeros((len(x), m, m))
    wide[:, range(m), range(m)] = T
    Py = invert(Uy)
    pull = np.einsum("nij,nj->ni", Py, y)
    pull[:, matched] += x[:, matched] / T
    P = Py
    P[:, matched, matched] += 1 / T
    C = invert(P)
    chosen = log_normal(y[:, matched] - x[:, matched], Uy[np.ix_(range(len(x)), matched, matched)] + wide)
    chosen += kernels.log_density(pairs.columns, np.einsum("nij,nj->ni", C, pull), C)
    chosen -= kernels.log_density(columns, x[:, matched], wide)
    log_same = drawn.log_same - drawn.log_x
    matched_share, unmatched_share = log_shares()
    every = np.concatenate([chosen.reshape(-1, n) + matched_share, drawn.log_y[None] + unmatched_share])
    log_other: Array = np.logaddexp.reduce(every, axis=0)
    return log_same - log_other


def log_shares() -> tuple[float, float]:
    """ln of how likely each tolerance is beforehand, and "at random"."""
    return math.log((1 - UNMATCHED) / len(TOLERANCES)), math.log(UNMATCHED)


_SIZE = (LN_W, LN_D, E, LN_Z, LN_A, LN_B)


def matched_variances(columns: tuple[int, ...], x: Array) -> Array:
    """(n, tolerances, m): variances of the m columns in which a look-alike is matched; they are the first of all."""
    matched = [column for column in columns if column in _SIZE]
    if tuple(matched) != columns[: len(matched)]:
        raise ValueError(f"columns {columns}: those of size and weight {matched} come first")
    out = np.empty((len(x), len(TOLERANCES), len(matched)))
    for position, tau in enumerate(TOLERANCES):
        of = size_variances(x, tau)
        for place, column in enumerate(matched):
            out[:, position, place] = of[column]
    return out


def size_variances(x: Array, tau: tuple[float, float]) -> dict[int, Array]:
    """Tolerances in ct and mm as variances of the columns of n stones x (n, 7) that a look-alike is matched in."""
    return {
        LN_W: np.square(tau[0] / np.exp(x[:, LN_W])),
        LN_D: np.square(tau[1] / np.exp(x[:, LN_D])) / 2,
        E: np.square(tau[1] / np.exp(x[:, LN_D])) * 2,
        LN_Z: np.square(tau[1] / np.exp(x[:, LN_Z])),
        LN_A: np.square(tau[1] / np.exp(x[:, LN_A])),
        LN_B: np.square(tau[1] / np.exp(x[:, LN_B])),
    }
