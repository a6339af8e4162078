"""The kernel sums, compiled: worth its start-up for thousands of comparisons, not for one."""

from __future__ import annotations

import numpy as np
from numba import njit

from samestone.evidence.observable import Array, Rows

_FAST = {"contract", "reassoc", "nsz", "arcp"}


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc,unused-ignore]
def sum_one(columns, window, whitened, farthest):  # type: ignore[no-untyped-def]
    """Sum of exp(-s/2) over the stones of a window; s = |W (m - point)|^2, `whitened` = (W, W point).

    `columns` are five rows of a table; one that is lacking is another one without weight. The exponential is the Taylor
    series of exp(-s/128) to the ninth power, squared six times: exact to 1e-12 for s up to 20, to 1e-9 for s up to 51,
    beyond which stones are left out in any case.
    """
    W, offset = whitened
    first, last = window
    c0, c1, c2 = columns[0][first:last], columns[1][first:last], columns[2][first:last]
    c3, c4 = columns[3][first:last], columns[4][first:last]
    o0, o1, o2, o3, o4 = offset[0], offset[1], offset[2], offset[3], offset[4]
    w00, w10, w20, w30, w40 = W[0, 0], W[1, 0], W[2, 0], W[3, 0], W[4, 0]
    w11, w21, w31, w41 = W[1, 1], W[2, 1], W[3, 1], W[4, 1]
    w22, w32, w42, w33, w43, w44 = W[2, 2], W[3, 2], W[4, 2], W[3, 3], W[4, 3], W[4, 4]
    total = 0.0
    for row in range(last - first):
        v0, v1, v2, v3, v4 = c0[row], c1[row], c2[row], c3[row], c4[row]
        a = w00 * v0 - o0
        b = w10 * v0 + w11 * v1 - o1
        c = w20 * v0 + w21 * v1 + w22 * v2 - o2
        d = w30 * v0 + w31 * v1 + w32 * v2 + w33 * v3 - o3
        e = w40 * v0 + w41 * v1 + w42 * v2 + w43 * v3 + w44 * v4 - o4
        s = a * a + b * b + c * c + d * d + e * e
        t = min(s, 51.0) * (-1.0 / 128.0)
        p = 1 / 40320 + t * (1 / 362880)
        p = 1 / 5040 + t * p
        p = 1 / 720 + t * p
        p = 1 / 120 + t * p
        p = 1 / 24 + t * p
        p = 1 / 6 + t * p
        p = 0.5 + t * p
        p = 1.0 + t * p
        p = 1.0 + t * p
        p *= p
        p *= p
        p *= p
        p *= p
        p *= p
        p *= p
        total += p if s < farthest else 0.0
    return total


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def five_columns(table, rows):  # type: ignore[no-untyped-def]
    """Rows of a table, the last of them again where there are fewer than five."""
    k = len(rows) - 1
    return (
        table[rows[0]], table[rows[min(1, k)]], table[rows[min(2, k)]], table[rows[min(3, k)]], table[rows[min(4, k)]]
    )  # fmt: skip


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def whitened(W, point):  # type: ignore[no-untyped-def]
    """(W, W point), filled with zeros to five columns."""
    k = len(point)
    filled, offset = np.zeros((5, 5)), np.zeros(5)
    for i in range(k):
        for j in range(i + 1):
            filled[i, j] = W[i, j]
            offset[i] += W[i, j] * point[j]
    return filled, offset


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _sum_all(table, window, points, whitener, farthest):  # type: ignore[no-untyped-def]
    n, k = points.shape
    out = np.empty(n)
    columns = five_columns(table, np.arange(k))
    for i in range(n):
        lens = whitened(whitener[i], points[i])
        out[i] = sum_one(columns, (window[0][i], window[1][i]), lens, farthest)
    return out


def kernel_sums(table: Array, window: tuple[Rows, Rows], points: Array, whitener: Array, farthest: float) -> Array:
    """Sum of exp(-distance^2 / 2) over the stones of each point's window, (k, N) coordinates in `table`."""
    if farthest > 51:
        raise ValueError(f"compiled sums reach to a squared distance of 51, {farthest:g} was asked for")
    sums: Array = _sum_all(table, window, np.ascontiguousarray(points), np.ascontiguousarray(whitener), farthest)
    return sums


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc,unused-ignore]
def _count_one(columns, window, lens, limits):  # type: ignore[no-untyped-def]
    """Stones whose squared distance by the first columns, the first two, three, … is within the limits so far."""
    W, offset = lens
    first, last = window
    c0, c1, c2 = columns[0][first:last], columns[1][first:last], columns[2][first:last]
    c3, c4 = columns[3][first:last], columns[4][first:last]
    o0, o1, o2, o3, o4 = offset[0], offset[1], offset[2], offset[3], offset[4]
    l0, l1, l2, l3, l4 = limits[0], limits[1], limits[2], limits[3], limits[4]
    w00, w10, w20, w30, w40 = W[0, 0], W[1, 0], W[2, 0], W[3, 0], W[4, 0]
    w11, w21, w31, w41 = W[1, 1], W[2, 1], W[3, 1], W[4, 1]
    w22, w32, w42, w33, w43, w44 = W[2, 2], W[3, 2], W[4, 2], W[3, 3], W[4, 3], W[4, 4]
    n0 = n1 = n2 = n3 = n4 = 0
    for row in range(last - first):
        v0, v1, v2, v3, v4 = c0[row], c1[row], c2[row], c3[row], c4[row]
        a = w00 * v0 - o0
        b = w10 * v0 + w11 * v1 - o1
        c = w20 * v0 + w21 * v1 + w22 * v2 - o2
        d = w30 * v0 + w31 * v1 + w32 * v2 + w33 * v3 - o3
        e = w40 * v0 + w41 * v1 + w42 * v2 + w43 * v3 + w44 * v4 - o4
        s = a * a
        stays = s <= l0
        n0 += stays
        s += b * b
        stays &= s <= l1
        n1 += stays
        s += c * c
        stays &= s <= l2
        n2 += stays
        s += d * d
        stays &= s <= l3
        n3 += stays
        s += e * e
        stays &= s <= l4
        n4 += stays
    return n0, n1, n2, n3, n4


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _count_all(table, window, points, whitener, steps):  # type: ignore[no-untyped-def]
    n, k = points.shape
    ends, limits = steps
    columns = five_columns(table, np.arange(k))
    after = np.full(5, 1e300)
    for step in range(ends.size):
        after[ends[step] - 1] = limits[step]
    counts = np.zeros((n, ends.size), np.int64)
    for i in range(n):
        lens = whitened(whitener[i], points[i])
        found = _count_one(columns, (window[0][i], window[1][i]), lens, after)
        for step in range(ends.size):
            counts[i, step] = found[ends[step] - 1]
    return counts


def counts_left(
    table: Array, window: tuple[Rows, Rows], points: Array, whitener: Array, steps: tuple[Rows, Array]
) -> Rows:
    """For each point the stones that stay within the limit of every step: (columns done, largest squared distance)."""
    counts: Rows = _count_all(table, window, points, np.ascontiguousarray(whitener), steps)
    return counts


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _covariances(values, independent, common, instrument):  # type: ignore[no-untyped-def]
    n = values.shape[0]
    out = np.zeros((n, 7, 7))
    J, V, half = np.zeros((7, 5)), np.zeros((5, 5)), np.zeros((7, 5))
    for i in range(n):
        w, a, b, z = values[i, 0], values[i, 1], values[i, 2], values[i, 3]
        d = (a + b) / 2
        e = (b - a) / d
        J[0, 0], J[1, 1], J[1, 2] = 1 / w, 1 / (2 * d), 1 / (2 * d)
        J[2, 1], J[2, 2] = -(1 + e / 2) / d, (1 - e / 2) / d
        J[3, 3], J[4, 4], J[5, 1], J[6, 2] = 1 / z, 1.0, 1 / a, 1 / b
        for j in range(5):
            for m in range(5):
                V[j, m] = common[i, j] * common[i, m] if instrument[i, j] == instrument[i, m] else 0.0
            V[j, j] += independent[i, j] ** 2
        for j in range(7):
            for m in range(5):
                along = 0.0
                for q in range(5):
                    along += J[j, q] * V[q, m]
                half[j, m] = along
        for j in range(7):
            for m in range(j + 1):
                along = 0.0
                for q in range(5):
                    along += half[j, q] * J[m, q]
                out[i, j, m] = out[i, m, j] = along
    return out


def all_covariances(values: Array, independent: Array, common: Array, instrument: Array) -> Array:
    """`observable.covariances`, one stone after another."""
    U: Array = _covariances(values, independent, common, instrument)
    return U
