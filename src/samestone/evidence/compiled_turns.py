"""The sum over turns and matchings, compiled: for many plans, or plans of many marks."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from samestone.evidence.matching import MOST
from samestone.evidence.observable import Array

SLIGHT = 1e-6
"""Pairs of less weight than this are left out: none can change a sum by more than this share."""


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _edges_at(turn, fixed, hidden, gate):  # type: ignore[no-untyped-def]
    """Pairs within the gate at one turn, by row: rows, columns and the weight for each lambda."""
    (level, along, across), spread, near, pair, (rates, u, v) = fixed
    n, m = level.shape
    rows, columns, weights = np.empty(n * m, np.int64), np.empty(n * m, np.int64), np.empty((n * m, rates.size))
    cosine, sine = math.cos(turn), math.sin(turn)
    count = 0
    for i in range(n):
        if hidden[0][i]:
            continue
        for j in range(m):
            squared = level[i, j] - cosine * along[i, j] - sine * across[i, j]
            if not near[i, j] or hidden[1][j] or squared >= gate * gate:
                continue
            density = pair[i, j] * math.exp(-0.5 * squared) / (2 * math.pi * spread[i, j])
            largest = 0.0
            for c in range(rates.size):
                weights[count, c] = density * rates[c] / (u[i, c] * v[j, c])
                largest = max(largest, weights[count, c])
            if largest > SLIGHT:
                rows[count], columns[count] = i, j
                count += 1
    return rows[:count], columns[:count], weights[:count]


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _log_star_products(mine, weights, marks):  # type: ignore[no-untyped-def]
    sums = np.ones((marks, weights.shape[1]))
    for e in range(mine.size):
        sums[mine[e]] += weights[e]
    out = np.zeros(weights.shape[1])
    for first in range(0, marks, 16):
        product = sums[first].copy()
        for i in range(first + 1, min(first + 16, marks)):
            product *= sums[i]
        out += np.log(product)
    return out


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _visit(start, rows, columns, seen, part):  # type: ignore[no-untyped-def]
    """Rows connected to `start`, each after one that led to it, written to `part`; how many."""
    part[0], count, at = start, 1, 0
    seen[start] = True
    while at < count:
        for e in range(rows.size):
            if rows[e] == part[at]:
                for f in range(rows.size):
                    if columns[f] == columns[e] and not seen[rows[f]]:
                        seen[rows[f]] = True
                        part[count] = rows[f]
                        count += 1
        at += 1
    return count


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _take(states, edges, slots, columns, weights):  # type: ignore[no-untyped-def]
    """One row takes one of its columns or none; from full to empty, so that no state takes from one it changed."""
    for mask in range(len(states) - 1, 0, -1):
        for e in edges:
            slot = slots[columns[e]]
            if slot >= 0 and mask >> slot & 1:
                for c in range(weights.shape[1]):
                    states[mask, c] += states[mask ^ (1 << slot), c] * weights[e, c]


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _forget(states, bits, slot):  # type: ignore[no-untyped-def]
    for mask in range(1 << bits):
        if mask >> slot & 1:
            states[mask ^ (1 << slot)] += states[mask]
            states[mask] = 0.0


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _open_slots(states, bits, edges, slots, columns):  # type: ignore[no-untyped-def]
    """Give each column of a row a slot, the lowest that is free; how many slots there are now."""
    for e in edges:
        if slots[columns[e]] >= 0:
            continue
        for slot in range(MOST):
            if not np.any(slots == slot):
                slots[columns[e]] = slot
                if slot >= bits:
                    states[1 << bits : 2 << slot] = 0.0
                    bits = slot + 1
                break
    return bits


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _log_part(part, starts, columns, weights, room):  # type: ignore[no-untyped-def]
    """Row by row, as `matching._log_part`."""
    states, slots, last = room
    for step in range(part.size):
        for e in range(starts[part[step]], starts[part[step] + 1]):
            last[columns[e]] = step
    slots[:], bits, states[0], log_scale = -1, 0, 1.0, 0.0
    for step in range(part.size):
        edges = range(starts[part[step]], starts[part[step] + 1])
        bits = _open_slots(states, bits, edges, slots, columns)
        _take(states[: 1 << bits], edges, slots, columns, weights)
        for e in edges:
            if last[columns[e]] == step and slots[columns[e]] >= 0:
                _forget(states, bits, slots[columns[e]])
                slots[columns[e]] = -1
        largest = states[: 1 << bits].max()
        if largest > 1e100:
            states[: 1 << bits] /= largest
            log_scale += math.log(largest)
    return np.log(states[0]) + log_scale


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _log_matchings(edges, n, m, states):  # type: ignore[no-untyped-def]
    """As `matching.log_sum_matchings`; edges ordered by row; `states` is room to work in."""
    rows, columns, weights = edges
    total = np.zeros(weights.shape[1])
    starts = np.searchsorted(rows, np.arange(n + 1))
    seen, part = np.zeros(n, np.bool_), np.empty(n, np.int64)
    room = states, np.empty(m, np.int64), np.empty(m, np.int64)
    for start in np.argsort(starts[1:] - starts[:-1]):
        if seen[start] or starts[start] == starts[start + 1]:
            continue
        count = _visit(start, rows, columns, seen, part)
        total += _log_part(part[:count], starts, columns, weights, room)
    return total


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _log_sum(values):  # type: ignore[no-untyped-def]
    top = values.max()
    return top + math.log(np.exp(values - top).sum())


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def log_terms(angles, front, fixed, hidden, limits):  # type: ignore[no-untyped-def]
    """ln of each turn's term of the sum; the smallest are bounds, as `limits` = (gate, negligible share) allow."""
    gate, neglect = limits
    (n, m), turns = fixed[1].shape, angles.size
    out = np.empty(turns)
    states = np.zeros((1 << MOST, front.shape[1]))
    for t in range(turns):
        rows, columns, weights = _edges_at(angles[t], fixed, (hidden[0][t], hidden[1][t]), gate)
        bound = np.minimum(_log_star_products(rows, weights, n), _log_star_products(columns, weights, m))
        out[t] = _log_sum(front[t] + bound)
    order = np.argsort(-out)
    left = np.cumsum(np.exp(out[order[::-1]] - out[order[0]]))[::-1]
    settled, top = 0.0, out[order[0]]
    for k in range(turns):
        if left[k] < neglect * settled:
            break
        t = order[k]
        rows, columns, weights = _edges_at(angles[t], fixed, (hidden[0][t], hidden[1][t]), gate)
        out[t] = _log_sum(front[t] + _log_matchings((rows, columns, weights), n, m, states))
        settled += math.exp(out[t] - top)
    return out


def compiled_terms(*parts: object) -> Array:
    """`log_terms` for callers that know no compiler."""
    terms: Array = log_terms(*parts)
    return terms
