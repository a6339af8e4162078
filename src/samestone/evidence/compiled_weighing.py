"""The arithmetic of likelihood, lookalike and weighing, one pair after another, compiled.

The formulas and the order of the sums are those of the three modules, which say what each step means.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from samestone.evidence.compiled import five_columns, sum_one, whitened
from samestone.evidence.observable import Array, Rows

_LOG_2_PI = math.log(2 * math.pi)


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _whiten(S):  # type: ignore[no-untyped-def]
    """(W, c) with |W v|^2 = v' S^-1 v and c = ln of the normal density's constant; W is lower triangular."""
    k = S.shape[0]
    L, W = np.zeros((k, k)), np.zeros((k, k))
    c = -0.5 * k * _LOG_2_PI
    for i in range(k):
        for j in range(i):
            along = S[i, j]
            for m in range(j):
                along -= L[i, m] * L[j, m]
            L[i, j] = along / L[j, j]
        along = S[i, i]
        for m in range(i):
            along -= L[i, m] * L[i, m]
        if not along > 0:
            raise ValueError("a covariance is not positive definite")
        L[i, i] = math.sqrt(along)
        c -= math.log(L[i, i])
        W[i, i] = 1 / L[i, i]
        for j in range(i):
            along = 0.0
            for m in range(j, i):
                along += L[i, m] * W[m, j]
            W[i, j] = -along * W[i, i]
    return W, c


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _times(W, v):  # type: ignore[no-untyped-def]
    """W v for lower triangular W."""
    out = np.zeros(len(v))
    for i in range(len(v)):
        for j in range(i + 1):
            out[i] += W[i, j] * v[j]
    return out


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _square(v):  # type: ignore[no-untyped-def]
    total = 0.0
    for one in v:
        total += one * one
    return total


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _gram(W):  # type: ignore[no-untyped-def]
    """W' W: of a whitener, the inverse of its covariance."""
    k = W.shape[1]
    out = np.zeros((k, k))
    for i in range(k):
        for j in range(i + 1):
            along = 0.0
            for m in range(W.shape[0]):
                along += W[m, i] * W[m, j]
            out[i, j] = out[j, i] = along
    return out


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _picked(S, rows):  # type: ignore[no-untyped-def]
    k = len(rows)
    out = np.empty((k, k))
    for i in range(k):
        for j in range(k):
            out[i, j] = S[rows[i], rows[j]]
    return out


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _add_logs(one, other):  # type: ignore[no-untyped-def]
    high, low = max(one, other), min(one, other)
    if low == -np.inf:
        return high
    return high + math.log1p(math.exp(low - high))


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _log_f(model, rows, point, S):  # type: ignore[no-untyped-def]
    """(ln f_S(point), share of it that no reference stone carries); the table is ordered by the first of `rows`."""
    (table, keys), (H, mean, wide), (reach, farthest, apart) = model
    wider, c = _whiten(_picked(H, rows) + S)
    half = reach * math.sqrt(H[rows[0], rows[0]] + S[0, 0])
    window = np.searchsorted(keys, point[0] - half), np.searchsorted(keys, point[0] + half)
    total = sum_one(five_columns(table, rows), window, whitened(wider, point), farthest)
    near = -np.inf if total <= 0 else math.log(total) + c - math.log(len(keys)) + math.log1p(-apart)
    if apart == 0:
        return near, 0.0
    W, c = _whiten(_picked(wide, rows) + S)
    away = c - 0.5 * _square(_times(W, point - mean[rows])) + math.log(apart)
    both = _add_logs(near, away)
    return both, math.exp(away - both)


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _ratio(model, rows, pair):  # type: ignore[no-untyped-def]
    """(ln LR, ln p(x, y | one stone), ln f(x), ln f(y), unlike any stone) in some columns."""
    x, y = pair[0][rows], pair[2][rows]
    Ux, Uy = _picked(pair[1], rows), _picked(pair[3], rows)
    W, c = _whiten(Ux + Uy)
    away = _times(W, y - x)
    k = len(rows)
    half = np.zeros((k, k))  # W Ux
    for i in range(k):
        for j in range(k):
            for m in range(i + 1):
                half[i, j] += W[i, m] * Ux[m, j]
    middle = x.copy()
    for i in range(k):
        for m in range(k):
            middle[i] += half[m, i] * away[m]
    same = c - 0.5 * _square(away) + _log_f(model, rows, middle, Ux - _gram(half))[0]
    log_x, apart_x = _log_f(model, rows, x, Ux)
    log_y, apart_y = _log_f(model, rows, y, Uy)
    return same - log_x - log_y, same, log_x, log_y, max(apart_x, apart_y)


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _log_chosen(model, T, pair):  # type: ignore[no-untyped-def]
    """ln p(y | x, chosen with variances T of the first columns)."""
    x, _, y, Uy = pair
    k, m = len(x), len(T)
    every, matched = np.arange(k), np.arange(m)
    W, _ = _whiten(Uy)
    P = _gram(W)
    pull = np.zeros(k)
    for i in range(k):
        for j in range(k):
            pull[i] += P[i, j] * y[j]
    wide = np.zeros((m, m))
    for i in range(m):
        pull[i] += x[i] / T[i]
        P[i, i] += 1 / T[i]
        wide[i, i] = T[i]
    W, _ = _whiten(P)
    C = _gram(W)
    middle = np.zeros(k)
    for i in range(k):
        for j in range(k):
            middle[i] += C[i, j] * pull[j]
    W, c = _whiten(_picked(Uy, matched) + wide)
    chosen = c - 0.5 * _square(_times(W, y[:m] - x[:m]))
    chosen += _log_f(model, every, middle, C)[0]
    return chosen - _log_f(model, matched, x[:m], wide)[0]


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _look_alike(model, chosen, pair, drawn):  # type: ignore[no-untyped-def]
    variances, (matched_share, unmatched_share) = chosen
    if variances.shape[1] == 0:
        return drawn[0]
    other = drawn[3] + unmatched_share
    for T in variances:
        other = _add_logs(other, _log_chosen(model, T, pair) + matched_share)
    return drawn[1] - drawn[2] - other


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _rest(k, group):  # type: ignore[no-untyped-def]
    rest = np.empty(k, np.int64)
    n = 0
    for i in range(k):
        if i != group[0] and i != group[1]:
            rest[n] = i
            n += 1
    return rest[:n]


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _saved(P, v, group):  # type: ignore[no-untyped-def]
    i, j = group
    if i == j:
        return v[i] * v[i] / P[i, i]
    a, b, c = P[i, i], P[i, j], P[j, j]
    return (c * v[i] * v[i] - 2 * b * v[i] * v[j] + a * v[j] * v[j]) / (a * c - b * b)


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _allow_for_blunders(models, groups, pair, found):  # type: ignore[no-untyped-def]
    """`models` differ in the column that orders the stones; `found` = (ln LR of all, W of Ux+Uy, squared distance)."""
    log_all, W, distance = found
    blunder, fit, worth = models[2]
    if len(groups) < 2:
        return log_all
    total = log_all + math.log1p(-len(groups) * blunder)
    x, _, y, _ = pair
    away = _times(W, x - y)
    P, v = _gram(W), np.zeros(len(x))
    for i in range(len(x)):
        for m in range(i, len(x)):
            v[i] += W[m, i] * away[m]
    for group in groups:
        saved = _saved(P, v, group)
        if saved > worth and distance - saved < fit:
            model = models[1] if group[0] == 0 else models[0]
            reduced = _ratio(model, _rest(len(x), group), pair)[0]
            total = _add_logs(total, math.log(blunder) + reduced)
    return total


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _weigh_all(models, groups, pairs, substitutes, limits):  # type: ignore[no-untyped-def]
    """Rows of (ln LR random, ln LR look-alike, squared distance, unlike, ln LR, ln same, ln f(x), ln f(y))."""
    x, Ux, y, Uy = pairs
    far, negligible = limits
    variances, shares, log_stock = substitutes
    n, k = x.shape
    out = np.empty((n, 8))
    every = np.arange(k)
    for i in range(n):
        pair = (x[i], Ux[i], y[i], Uy[i])
        W, _ = _whiten(Ux[i] + Uy[i])
        distance = _square(_times(W, x[i] - y[i]))
        log_random = chosen = -np.inf
        unlike = 0.0
        out[i, 4:] = np.nan
        if distance < far:
            drawn = _ratio(models[0], every, pair)
            log_random = chosen = drawn[0]
            unlike = drawn[4]
            out[i, 4], out[i, 5], out[i, 6], out[i, 7] = drawn[0], drawn[1], drawn[2], drawn[3]
            if drawn[0] > negligible:
                chosen = _look_alike(models[0], (variances[i], shares), pair, drawn)
        log_random = _allow_for_blunders(models, groups, pair, (log_random, W, distance))
        out[i, 0], out[i, 1] = log_random, max(chosen, log_random - log_stock)
        out[i, 2], out[i, 3] = distance, unlike
    return out


def weigh_all(
    models: tuple[object, ...],
    groups: Rows,
    pairs: tuple[Array, Array, Array, Array],
    substitutes: tuple[Array, tuple[float, float], float],
    limits: tuple[float, float],
) -> Array:
    """(n, 8), see `_weigh_all`; `substitutes` = variances of the matched columns, log shares, log of the stock."""
    found: Array = _weigh_all(models, groups, tuple(np.ascontiguousarray(part) for part in pairs), substitutes, limits)
    return found
