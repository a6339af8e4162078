"""The kernel sums, compiled: worth its start-up for thousands of comparisons, not for one."""

from __future__ import annotations

import numpy as np
from numba import njit

from samestone.evidence.observable import Array, Rows

_CHUNK = 512
"""Stones taken together: their distances stay in the nearest cache, and the inner loops run on whole vectors."""


@njit(cache=True, nogil=True, fastmath={"contract", "reassoc", "nsz", "arcp"})  # type: ignore[misc,unused-ignore]
def _sum_exponentials(squared, farthest):  # type: ignore[no-untyped-def]
    """Sum of exp(-s/2): the Taylor series of exp(-s/128) to the eleventh power, squared six times.

    Exact to 1e-12 for s up to 51, beyond which stones are left out in any case.
    """
    total = 0.0
    for row in range(squared.size):
        s = squared[row]
        t = min(s, 51.0) * (-1.0 / 128.0)
        p = 1 / 3628800 + t * (1 / 39916800)
        p = 1 / 362880 + t * p
        p = 1 / 40320 + t * p
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


@njit(cache=True, nogil=True, fastmath={"contract", "reassoc", "nsz", "arcp"})  # type: ignore[misc,unused-ignore]
def _sum_all(table, window, points, whitener, farthest):  # type: ignore[no-untyped-def]
    n, k = points.shape
    start, stop = window
    out = np.empty(n)
    squared_chunk = np.empty(_CHUNK)
    along_chunk = np.empty(_CHUNK)
    for i in range(n):
        total = 0.0
        for first in range(start[i], stop[i], _CHUNK):
            last = min(first + _CHUNK, stop[i])
            squared = squared_chunk[: last - first]
            along = along_chunk[: last - first]
            squared[:] = 0.0
            for j in range(k):
                offset = 0.0
                for m in range(j + 1):
                    offset -= whitener[i, j, m] * points[i, m]
                along[:] = offset
                for m in range(j + 1):
                    factor = whitener[i, j, m]
                    column = table[m, first:last]
                    for row in range(along.size):
                        along[row] += factor * column[row]
                for row in range(along.size):
                    squared[row] += along[row] * along[row]
            total += _sum_exponentials(squared, farthest)
        out[i] = total
    return out


def kernel_sums(table: Array, window: tuple[Rows, Rows], points: Array, whitener: Array, farthest: float) -> Array:
    """Sum of exp(-distance^2 / 2) over the stones of each point's window, (k, N) coordinates in `table`."""
    if farthest > 51:
        raise ValueError(f"compiled sums reach to a squared distance of 51, {farthest:g} was asked for")
    sums: Array = _sum_all(table, window, np.ascontiguousarray(points), np.ascontiguousarray(whitener), farthest)
    return sums


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _count_all(table, window, points, whitener, steps):  # type: ignore[no-untyped-def]
    n, k = points.shape
    ends, limits = steps
    counts = np.zeros((n, ends.size), np.int64)
    v = np.empty(k)
    for i in range(n):
        for row in range(window[0][i], window[1][i]):
            squared = 0.0
            done = 0
            for step in range(ends.size):
                for j in range(done, ends[step]):
                    v[j] = table[j, row] - points[i, j]
                    along = 0.0
                    for m in range(j + 1):
                        along += whitener[i, j, m] * v[m]
                    squared += along * along
                done = ends[step]
                if squared > limits[step]:
                    break
                counts[i, step] += 1
    return counts


def counts_left(
    table: Array, window: tuple[Rows, Rows], points: Array, whitener: Array, steps: tuple[Rows, Array]
) -> Rows:
    """For each point the stones that stay within the limit of every step: (columns done, largest squared distance)."""
    counts: Rows = _count_all(table, window, points, np.ascontiguousarray(whitener), steps)
    return counts
