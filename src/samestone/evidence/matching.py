"""The sum over all ways of pairing marks: a mark has at most one partner, and may have none.

For weights w_ij between rows i and columns j: sum over matchings M of prod_{(i,j) in M} w_ij, the empty one being 1.
"""

from __future__ import annotations

import numpy as np

from samestone.evidence.observable import Array, Rows

MOST = 10
"""Columns that may be open at once; edges to further ones are left out, and the sum is then a lower bound."""


def log_sum_matchings(rows: Rows, columns: Rows, weights: Array) -> Array:
    """ln of the sum over matchings of edges (rows[e], columns[e]) with `weights` (edges, cases), for each case.

    >>> float(np.exp(log_sum_matchings(np.array([0, 0]), np.array([0, 1]), np.array([[2.0], [3.0]])))[0])
    6.0
    """
    total = np.zeros(weights.shape[1])
    for part in _parts(rows.tolist(), columns.tolist()):
        total += np.log1p(weights[part[0][0]]) if len(part) == len(part[0]) == 1 else _log_part(part, columns, weights)
    return total


def _parts(rows: list[int], columns: list[int]) -> list[list[list[int]]]:
    """Connected parts: the edges of each of their rows, a row after the rows that led to it."""
    of_row: dict[int, list[int]] = {}
    of_column: dict[int, list[int]] = {}
    for edge, (row, column) in enumerate(zip(rows, columns, strict=True)):
        of_row.setdefault(row, []).append(edge)
        of_column.setdefault(column, []).append(edge)
    parts, seen = [], set()
    for start in sorted(of_row, key=lambda row: len(of_row[row])):
        if start in seen:
            continue
        seen.add(start)
        part, waiting = [], [start]
        while waiting:
            edges = of_row[waiting.pop(0)]
            part.append(edges)
            for row in sorted({rows[other] for edge in edges for other in of_column[columns[edge]]} - seen):
                seen.add(row)
                waiting.append(row)
        parts.append(part)
    return parts


def _log_part(part: list[list[int]], columns: Rows, weights: Array) -> Array:
    """Row by row; a state says which of the columns that later rows may still want are taken."""
    last = {int(columns[edge]): step for step, edges in enumerate(part) for edge in edges}
    slots: dict[int, int] = {}
    free = list(range(MOST))
    states, log_scale = np.ones((1, weights.shape[1])), np.zeros(weights.shape[1])
    for step, edges in enumerate(part):
        for column in [int(columns[edge]) for edge in edges]:
            if column not in slots and free:
                slots[column] = free.pop(0)
        states = _widen(states, max(slots.values(), default=-1) + 1)
        grown = states.copy()
        for edge in edges:
            if (slot := slots.get(int(columns[edge]))) is not None:
                untaken = np.flatnonzero(~np.arange(len(states)) >> slot & 1)
                grown[untaken | 1 << slot] += states[untaken] * weights[edge]
        for column in [column for column in slots if last[column] == step]:
            grown = _forget(grown, slots[column])
            free.append(slots.pop(column))
        free.sort()
        largest = grown.max(axis=0)
        states = grown / largest
        log_scale += np.log(largest)
    log_sum: Array = log_scale + np.log(states[0])
    return log_sum


def _widen(states: Array, bits: int) -> Array:
    more = (1 << bits) - len(states)
    return np.concatenate([states, np.zeros((more, states.shape[1]))]) if more > 0 else states


def _forget(states: Array, slot: int) -> Array:
    """Nobody wants this column any more: whether it was taken no longer matters."""
    taken = np.flatnonzero(np.arange(len(states)) >> slot & 1)
    states[taken ^ 1 << slot] += states[taken]
    states[taken] = 0.0
    return states
