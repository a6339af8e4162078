"""Reading stretches of an index, compiled: distances of many stones in blocks that stay in the nearest cache."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

BLOCK = 512
GONE = -1
FIRST_RADIUS, WIDER = 0.8, 1.6
"""The first circle in which the nearest are looked for, in whitened units, and how much each next one is wider."""


@njit(cache=True, nogil=True, fastmath=True)  # type: ignore[misc,unused-ignore]
def _distances(codes, part, lens, limit, out):  # type: ignore[no-untyped-def]
    """Squared whitened distances of `part` = (first, how many) stones to `out`; how many are within the limit."""
    k, (W, point), (first, n) = codes.shape[0] - 1, lens, part
    c0, c1, c2 = codes[0, first:], codes[min(1, k), first:], codes[min(2, k), first:]
    c3, c4 = codes[min(3, k), first:], codes[min(4, k), first:]
    p0, p1, p2, p3, p4 = point[0], point[1], point[2], point[3], point[4]
    # A lacking column is another one without weight.
    # W is read once: for all the compiler knows, writing to `out` could change W.
    w00, w10, w20, w30, w40 = W[0, 0], W[1, 0], W[2, 0], W[3, 0], W[4, 0]
    w11, w21, w31, w41 = W[1, 1], W[2, 1], W[3, 1], W[4, 1]
    w22, w32, w42, w33, w43, w44 = W[2, 2], W[3, 2], W[4, 2], W[3, 3], W[4, 3], W[4, 4]
    for row in range(n):
        v0 = np.float32(c0[row]) - p0
        v1 = np.float32(c1[row]) - p1
        v2 = np.float32(c2[row]) - p2
        v3 = np.float32(c3[row]) - p3
        v4 = np.float32(c4[row]) - p4
        a = w00 * v0
        b = w10 * v0 + w11 * v1
        c = w20 * v0 + w21 * v1 + w22 * v2
        d = w30 * v0 + w31 * v1 + w32 * v2 + w33 * v3
        e = w40 * v0 + w41 * v1 + w42 * v2 + w43 * v3 + w44 * v4
        out[row] = a * a + b * b + c * c + d * d + e * e
    near = np.int32(0)
    for row in range(n):
        near += np.int32(out[row] <= limit)
    return near


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _in_steps(point, steps):  # type: ignore[no-untyped-def]
    out = np.zeros(5, np.float32)
    for k in range(point.size):
        out[k] = point[k] / steps[k]
    return out


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _lines(layout, lens, middle, radius):  # type: ignore[no-untyped-def]
    """The rectangle of cells that may hold a stone within the radius: first and last line, first and last column."""
    _, picks, sd, _ = lens
    out = np.zeros(4, np.int64)
    for key in range(2):
        at = 0.0
        for k in range(5):
            at += picks[key, k] * middle[k]
        half = radius * sd[key] + 0.5
        first, count, side = layout[key], layout[2 + key], layout[4 + key]
        out[2 * key] = max(0.0, math.floor((at - half) / side) - first)
        out[2 * key + 1] = min(count, math.floor((at + half) / side) - first + 1)
    return out


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _run(line, lines, starts, layout):  # type: ignore[no-untyped-def]
    """Stones of one line of cells; of the line after the last, the tail that is not sorted."""
    if line == lines[1] or lines[3] <= lines[2]:
        return np.int64(layout[6]), np.int64(layout[7])
    across = np.int64(layout[3])
    return np.int64(starts[line * across + lines[2]]), np.int64(starts[line * across + lines[3]])


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def gather(stones, lens, point, gate):  # type: ignore[no-untyped-def]
    """Numbers and squared distances of the stones within the gate."""
    codes, names, starts, layout = stones
    middle = _in_steps(point, lens[3])
    lines = _lines(layout, lens, middle, math.sqrt(gate))
    lines[1] = max(lines[0], lines[1])
    room = 0
    for line in range(lines[0], lines[1] + 1):
        first, last = _run(line, lines, starts, layout)
        room += last - first
    found, squared = np.empty(room + 1, np.int32), np.empty(room + 1, np.float32)
    distance = np.empty(BLOCK, np.float32)
    count, limit = 0, np.float32(gate)
    for line in range(lines[0], lines[1] + 1):
        start, stop = _run(line, lines, starts, layout)
        for first in range(start, stop, BLOCK):
            n = min(BLOCK, stop - first)
            if _distances(codes, (first, n), (lens[0], middle), limit, distance) == 0:
                continue
            for row in range(n):
                # Written always, counted if near: no branch to guess wrongly.
                found[count] = names[first + row]
                squared[count] = distance[row]
                count += (distance[row] <= limit) & (names[first + row] != GONE)
        if lines[3] <= lines[2]:
            break
    return found[:count], squared[:count].astype(np.float64)


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _keep(place, name, value, found, squared):  # type: ignore[no-untyped-def]
    """Put a stone where it belongs among those found, which are ordered by distance."""
    while place > 0 and squared[place - 1] > value:
        squared[place], found[place] = squared[place - 1], found[place - 1]
        place -= 1
    squared[place], found[place] = value, name


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def _nearest_within(radius, stones, query, found, squared):  # type: ignore[no-untyped-def]
    (codes, names, starts, layout), (lens, middle) = stones, query
    lines = _lines(layout, lens, middle, radius)
    lines[1] = max(lines[0], lines[1])
    distance = np.empty(BLOCK, np.float32)
    count, limit, most = 0, np.float32(radius * radius), found.size
    for line in range(lines[0], lines[1] + 1):
        start, stop = _run(line, lines, starts, layout)
        for first in range(start, stop, BLOCK):
            n = min(BLOCK, stop - first)
            if _distances(codes, (first, n), (lens[0], middle), limit, distance) == 0:
                continue
            for row in range(n):
                if distance[row] <= limit and names[first + row] != GONE:
                    _keep(min(count, most - 1), names[first + row], distance[row], found, squared)
                    count = min(count + 1, most)
                    if count == most:
                        limit = squared[most - 1]
        if lines[3] <= lines[2]:
            break
    return count


@njit(cache=True, nogil=True)  # type: ignore[misc,unused-ignore]
def gather_nearest(stones, lens, point, limits):  # type: ignore[no-untyped-def]
    """The nearest stones, `limits` = (how many, gate), by distance: in a small circle first, then in wider ones."""
    middle = _in_steps(point, lens[3])
    most, farthest = int(limits[0]), math.sqrt(limits[1])
    found, squared = np.empty(most, np.int32), np.empty(most, np.float32)
    radius = min(FIRST_RADIUS, farthest)
    while True:
        count = _nearest_within(radius, stones, (lens, middle), found, squared)
        if count == most or radius >= farthest:
            return found[:count], squared[:count].astype(np.float64)
        radius = min(radius * WIDER, farthest)
