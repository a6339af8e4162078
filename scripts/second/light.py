"""What the stone stands in: radiance by direction, for five lamps and a card below. Own shapes, nothing from images."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

KINDS = ("dome", "ring", "gooseneck", "darkfield", "window")
DOME, RING, GOOSENECK, DARKFIELD, WINDOW = range(5)
CARD_BELOW = -1.25
# A lamp is a row of numbers: kind, level, surround, lens (cosines of inner and outer edge), lens level,
# x and y of the gradient, gradient by height, three colour factors, card level, azimuth, seven of the kind's own and
# the phase of what stands about in the room.
LENGTH = 22
OWN, ROOM = 14, 21
# without reference counts: nothing is allocated on the way, and counts shared by two threads slow both down
quick = njit(cache=True, fastmath=True, error_model="numpy", _nrt=False)


def draw_dome(rng: Any) -> Any:
    """One make of dome: its hole, its brightness, its colour."""
    hole = rng.uniform(6, 14)
    lamp = common(rng, DOME, hole, rng.uniform(0.3, 1.2))
    lamp[1], lamp[2], lamp[5] = 1.0, 0.0, rng.uniform(0.01, 0.08)
    lamp[6:8] = rng.uniform(-0.12, 0.12, 2)
    lamp[8] = rng.uniform(-0.45, 0.35)
    lamp[12] = rng.choice([0.85, 0.4, 0.05])
    lamp[OWN] = np.cos(np.radians(rng.uniform(80, 92)))  # where the dome ends
    return lamp


def common(rng: Any, kind: int, lens_deg: float, soft_deg: float) -> Any:
    lamp = np.zeros(LENGTH)
    warm = rng.normal() * 0.04
    lamp[0], lamp[3], lamp[4] = kind, np.cos(np.radians(lens_deg - soft_deg)), np.cos(np.radians(lens_deg + soft_deg))
    lamp[9:12] = 1 + warm, 1.0, 1 - warm
    return lamp


def draw_lamp(rng: Any, kind: str, dome: Any) -> Any:
    """A lamp of a kind; a dome is always the shop's own."""
    if kind == "dome":
        return dome.copy()
    lamp = common(rng, KINDS.index(kind), rng.uniform(4, 8), 0.8)
    lamp[5] = rng.uniform(0.01, 0.05)
    lamp[6:8], lamp[8] = rng.uniform(-0.3, 0.3, 2), rng.uniform(-0.2, 0.4)
    lamp[12] = rng.choice([0.85, 0.4, 0.05])
    turn = rng.uniform(0, 2 * np.pi)
    lamp[13], lamp[ROOM] = np.degrees(turn), rng.uniform(0, 2 * np.pi)
    if kind == "ring":
        low = rng.uniform(14, 26)
        lamp[1], lamp[2] = rng.uniform(2.5, 5), rng.uniform(0.15, 0.35)
        lamp[OWN : OWN + 3] = low, low + rng.uniform(9, 16), rng.choice([0, 16, 24, 36])
    elif kind == "gooseneck":
        lamp[1], lamp[2] = rng.uniform(7, 14), rng.uniform(0.2, 0.4)
        for k, azimuth in enumerate((turn, turn + np.pi + rng.normal() * 0.35)):
            away = np.radians(rng.uniform(35, 55))
            lamp[OWN + 3 * k : OWN + 3 * k + 3] = direction(away, azimuth)
        lamp[OWN + 6] = np.cos(np.radians(rng.uniform(7, 12)))
    elif kind == "darkfield":
        lamp[1], lamp[2], lamp[12] = rng.uniform(1.5, 3), rng.uniform(0.03, 0.09), 0.02
        lamp[OWN : OWN + 2] = np.cos(np.radians(rng.uniform(58, 70))), np.cos(np.radians(rng.uniform(100, 125)))
    else:
        lamp[1], lamp[2] = rng.uniform(2.5, 5), rng.uniform(0.2, 0.45)
        away = np.radians(rng.uniform(30, 50))
        lamp[OWN : OWN + 3] = direction(away, turn)
        lamp[OWN + 3 : OWN + 6] = rng.uniform(0.35, 0.6), rng.uniform(0.3, 0.5), rng.choice([0, 0.03])
    return lamp


def direction(away: float, azimuth: float) -> tuple[float, float, float]:
    return float(np.sin(away) * np.cos(azimuth)), float(np.sin(away) * np.sin(azimuth)), float(np.cos(away))


@quick
def step(low, high, value):
    """Smooth step from 0 at `low` to 1 at `high`."""
    t = min(1.0, max(0.0, (value - low) / (high - low)))
    return t * t * (3 - 2 * t)


@quick
def ring_level(lamp, d):
    away = np.degrees(np.arccos(min(1.0, d[2])))
    inside = step(lamp[14] - 1, lamp[14] + 1, away) * (1 - step(lamp[15] - 1, lamp[15] + 1, away))
    if lamp[16] > 0:
        inside *= 0.55 + 0.45 * np.cos(lamp[16] * np.arctan2(d[1], d[0]))
    return lamp[1] * inside


@quick
def window_level(lamp, d):
    """A rectangle with soft edges, upright towards its own direction, parted by a bar or not."""
    ahead = lamp[14] * d[0] + lamp[15] * d[1] + lamp[16] * d[2]
    if ahead < 0.1:
        return 0.0
    side = np.hypot(lamp[14], lamp[15])
    u = (lamp[14] * d[1] - lamp[15] * d[0]) / side / ahead
    v = (side * d[2] - lamp[16] * (lamp[14] * d[0] + lamp[15] * d[1]) / side) / ahead
    inside = (1 - step(lamp[17] - 0.03, lamp[17] + 0.03, abs(u))) * (1 - step(lamp[18] - 0.03, lamp[18] + 0.03, abs(v)))
    if lamp[19] > 0:
        inside *= step(lamp[19], lamp[19] + 0.03, abs(u))
    return lamp[1] * inside


@quick
def lit(lamp, d):
    """What a lamp of a kind adds to its surround."""
    kind = lamp[0]
    if kind == DOME:
        return lamp[1] * step(lamp[14] - 0.03, lamp[14] + 0.03, d[2])
    if kind == RING:
        return ring_level(lamp, d)
    if kind == GOOSENECK:
        a = d[0] * lamp[14] + d[1] * lamp[15] + d[2] * lamp[16]
        b = d[0] * lamp[17] + d[1] * lamp[18] + d[2] * lamp[19]
        edge = lamp[20]
        return lamp[1] * (step(edge - 0.006, edge + 0.006, a) + 0.85 * step(edge - 0.006, edge + 0.006, b))
    if kind == DARKFIELD:
        below_top = 1 - step(lamp[14] - 0.04, lamp[14] + 0.04, d[2])
        return lamp[1] * below_top * step(lamp[15] - 0.04, lamp[15] + 0.04, d[2])
    return window_level(lamp, d)


@quick
def card(lamp, p, d):
    """The card below, shaded where the stone stands."""
    t = (CARD_BELOW - p[2]) / min(d[2], -1e-3)
    x, y = p[0] + t * d[0], p[1] + t * d[1]
    lightness = lamp[12] * (0.75 if lamp[0] == DOME else 0.35)
    return lightness * (1 - 0.55 * np.exp(-(x * x + y * y) / 1.3))


@quick
def radiance(lamp, p, d):
    """Red, green, blue radiance that comes to place p (stone's radii) from direction d (world, z to the viewer)."""
    if lamp[0] < 0:  # the white furnace of the tests
        return 1.0, 1.0, 1.0
    level = lit(lamp, d)
    if d[2] > 0:
        room = 1 + 0.6 * np.sin(4 * d[0] + lamp[21]) * np.sin(5 * d[1] + 2 * lamp[21])  # no room is evenly grey
        level = (level + lamp[2] * room) * max(0.05, 1 + lamp[6] * d[0] + lamp[7] * d[1] + lamp[8] * (d[2] - 0.5))
        hole = step(lamp[4], lamp[3], d[2])
        level = level * (1 - hole) + lamp[5] * hole
    else:
        level += card(lamp, p, d)
    return level * lamp[9], level * lamp[10], level * lamp[11]


def ambient(lamp: Any) -> Any:
    """Mean radiance from above, what a small rough body shows."""
    rng = np.random.default_rng(0)
    d = rng.normal(size=(3000, 3))
    d /= np.linalg.norm(d, axis=1)[:, None]
    d[:, 2] = np.abs(d[:, 2])
    return np.mean([radiance(lamp, (0.0, 0.0, 0.0), (x, y, z)) for x, y, z in d], axis=0)
