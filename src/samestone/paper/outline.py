"""The girdle of a cut seen from above: schematic, its length from 6 to 12 o'clock, its girdle radius 1."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from samestone.paper.drawing import Point

_STEPS = 96
_USUAL_RATIO = {"oval": 1.35, "emerald": 1.4, "radiant": 1.25, "baguette": 2.4, "cushion": 1.08, "marquise": 2.0,
                "pear": 1.5, "heart": 1.0, "trillion": 0.95, "cabochon": 1.3}  # fmt: skip
_WORDS = {"brilliant": "round", "step": "emerald", "square": "princess", "navette": "marquise", "drop": "pear",
          "triangle": "trillion"}  # fmt: skip
"""Length over width as commonly seen in the trade (common practice, no source); it is drawn, never measured with."""


def family(cut: str) -> str:
    """The outline that stands for a cut; `other` (a dashed circle) for a word that is not known."""
    words = cut.lower()
    for name in (*_OUTLINES, *_WORDS):
        if name in words:
            return _WORDS.get(name, name)
    return "other"


def outline(name: str, ratio: float = 0.0) -> list[Point]:
    """Corners counter-clockwise in a frame with y up; a quarter of length plus width is 1."""
    ratio = ratio if ratio > 0 else _USUAL_RATIO.get(name, 1.0)
    half_width = 2 / (1 + ratio)
    half_length = ratio * half_width
    curve = _OUTLINES.get(name, _ellipse)(half_width / half_length)
    return list(
        zip(_spread([x for x, _ in curve], half_width), _spread([y for _, y in curve], half_length), strict=True)
    )


def _spread(values: Sequence[float], half: float) -> list[float]:
    """Moved and stretched to reach from -half to half."""
    low, high = min(values), max(values)
    return [half * (2 * (value - low) / (high - low) - 1) for value in values]


def reach(points: Sequence[Point], angle_deg: float) -> float:
    """Distance of the outline from the centre in a direction."""
    direction = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    best = 0.0
    for (ax, ay), (bx, by) in zip(points, [*points[1:], points[0]], strict=True):
        ex, ey = bx - ax, by - ay
        cross = direction[0] * ey - direction[1] * ex
        if abs(cross) < 1e-12:
            continue
        along = (ax * ey - ay * ex) / cross
        share = (ax * direction[1] - ay * direction[0]) / cross
        if -1e-9 <= share <= 1 + 1e-9:
            best = max(best, along)
    return best


def _turn(at: Callable[[float], Point]) -> list[Point]:
    return [at(2 * math.pi * k / _STEPS) for k in range(_STEPS)]


def _ellipse(_: float) -> list[Point]:
    return _turn(lambda t: (math.cos(t), math.sin(t)))


def _cushion(_: float) -> list[Point]:
    """|x|^4 + |y|^4 = 1."""
    return _turn(lambda t: (_root(math.cos(t)), _root(math.sin(t))))


def _root(value: float) -> float:
    return math.copysign(math.sqrt(abs(value)), value)


def _rectangle(_: float) -> list[Point]:
    return [(1, -1), (1, 1), (-1, 1), (-1, -1)]


def _cut_corners(aspect: float) -> list[Point]:
    """Corners cut at 45 degrees by 0.28 of the half width; `aspect` is width over length."""
    a, b = 1 - 0.28, 1 - 0.28 * aspect
    return [(1, -b), (1, b), (a, 1), (-a, 1), (-1, b), (-1, -b), (-a, -1), (a, -1)]


def _marquise(aspect: float) -> list[Point]:
    """Two circular arcs that meet at 6 and 12 o'clock."""
    right = _arc(1 / aspect)
    return right + [(-x, -y) for x, y in right]


def _arc(half: float) -> list[Point]:
    """The arc on the right from (0, -1) to (0, 1) through (1, 0), where the half length is `half` half widths."""
    radius = (half**2 + 1) / 2
    end = math.asin(min(1.0, half / radius))
    if half < 1:
        end = math.pi - end
    angles = [end * (2 * k / 24 - 1) for k in range(24)]
    return [(radius * math.cos(a) - radius + 1, radius * math.sin(a) / half) for a in angles]


def _pear(aspect: float) -> list[Point]:
    """Half a circle at 6 o'clock, two arcs to a point at 12."""
    length = 2 / aspect
    tip = length - 1
    radius = (tip**2 + 1) / 2
    end = math.asin(min(1.0, tip / radius))
    rising = [(radius * math.cos(end * k / 24) - radius + 1, radius * math.sin(end * k / 24)) for k in range(25)]
    below = [(math.cos(a), math.sin(a)) for a in (math.pi * (1 + k / 32) for k in range(33))]
    return rising + [(-x, y) for x, y in reversed(rising[:-1])] + below[1:-1]


def _heart(_: float) -> list[Point]:
    """Two half circles above a rounded point at 6 o'clock, cleft at 12."""

    def at(t: float) -> Point:
        y = 13 * math.cos(t) - 5 * math.cos(2 * t) - 2 * math.cos(3 * t) - math.cos(4 * t)
        return -16 * math.sin(t) ** 3, y

    return _turn(at)


def _trillion(_: float) -> list[Point]:
    """A triangle with bowed sides, one corner at 12 o'clock."""
    corners = [(math.cos(math.radians(a)), math.sin(math.radians(a))) for a in (90, 210, 330)]
    points = []
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        for s in (k / 16 for k in range(16)):
            bow = s * (1 - s)
            x, y = ax + (bx - ax) * s, ay + (by - ay) * s
            points.append((x + bow * (ax + bx), y + bow * (ay + by)))
    return points


_OUTLINES: dict[str, Callable[[float], list[Point]]] = {
    "round": _ellipse,
    "oval": _ellipse,
    "princess": _rectangle,
    "emerald": _cut_corners,
    "radiant": _cut_corners,
    "baguette": _rectangle,
    "cushion": _cushion,
    "marquise": _marquise,
    "pear": _pear,
    "heart": _heart,
    "trillion": _trillion,
    "cabochon": _ellipse,
}
