"""The girdle's outline of a stone, seen from above: its sides, and the stations where facets meet it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
_SIDES = 96


@dataclass(frozen=True)
class Side:
    """A straight line that touches the outline: a point on it and its outward unit normal."""

    point: Array
    normal: Array

    @property
    def support(self) -> float:
        """Distance of the line from the centre."""
        return float(self.point @ self.normal)


@dataclass(frozen=True)
class Outline:
    """A convex closed curve as many sides; `stations` alternate main, half, main … around it."""

    sides: tuple[Side, ...]
    stations: tuple[Side, ...]


def round_outline(diameter_mm: float) -> Outline:
    """A circle; the sides enclose its area exactly."""
    return oval_outline(diameter_mm, diameter_mm)


def oval_outline(length_mm: float, width_mm: float) -> Outline:
    """An ellipse."""
    return _traced(lambda t: (length_mm / 2 * math.cos(t), width_mm / 2 * math.sin(t)),
                   lambda t: (math.cos(t) / length_mm, math.sin(t) / width_mm))  # fmt: skip


def cushion_outline(length_mm: float, width_mm: float, power: float = 4.0) -> Outline:
    """A superellipse |2x/L|^power + |2y/W|^power = 1, between an ellipse (2) and a rectangle; stepped by its normal."""
    half_length, half_width, dual = length_mm / 2, width_mm / 2, power / (power - 1)

    def point(t: float) -> tuple[float, float]:
        """Where the normal points to t: the support function's gradient."""
        a, b = half_length * math.cos(t), half_width * math.sin(t)
        support = (abs(a) ** dual + abs(b) ** dual) ** (1 / dual)
        return (
            half_length * math.copysign((abs(a) / support) ** (dual - 1), a),
            half_width * math.copysign((abs(b) / support) ** (dual - 1), b),
        )

    return _traced(point, lambda t: (math.cos(t), math.sin(t)), shift=0.0)


def marquise_outline(length_mm: float, width_mm: float) -> Outline:
    """Two circular arcs that meet in a point at each end of the length."""
    half, side = length_mm / 2, width_mm / 2
    radius = (half**2 + side**2) / (2 * side)
    reach = math.asin(min(1.0, half / radius))

    def at(t: float) -> float:
        """Angle on the upper or lower arc, from the middle of the side; t = 0 and pi are the points."""
        return reach * (1 - 2 * (t % math.pi) / math.pi)

    def point(t: float) -> tuple[float, float]:
        sign = 1 if t % (2 * math.pi) < math.pi else -1
        return sign * radius * math.sin(at(t)), sign * (radius * math.cos(at(t)) - radius + side)

    def normal(t: float) -> tuple[float, float]:
        sign = 1 if t % (2 * math.pi) < math.pi else -1
        if abs(math.sin(t)) < 1e-9:
            return math.cos(t), 0.0
        return sign * math.sin(at(t)), sign * math.cos(at(t))

    return _traced(point, normal)


def pear_outline(length_mm: float, width_mm: float) -> Outline:
    """Half a circle at one end, two arcs to a point at the other; the centre lies where the halves meet, shifted to the
    middle of the length."""
    round_part, tip = width_mm / 2, length_mm - width_mm / 2
    radius = (tip**2 + round_part**2) / (2 * round_part)
    reach = math.asin(min(1.0, tip / radius))
    shift = length_mm / 2 - tip

    def point(t: float) -> tuple[float, float]:
        t = (t + math.pi) % (2 * math.pi) - math.pi
        if abs(t) >= math.pi / 2:
            return shift + round_part * math.cos(t), round_part * math.sin(t)
        turn = reach * (1 - 2 * abs(t) / math.pi)
        return shift + radius * math.sin(turn), math.copysign(radius * math.cos(turn) - radius + round_part, t)

    def normal(t: float) -> tuple[float, float]:
        t = (t + math.pi) % (2 * math.pi) - math.pi
        if abs(t) < 1e-9:
            return 1.0, 0.0
        if abs(t) >= math.pi / 2:
            return math.cos(t), math.sin(t)
        turn = reach * (1 - 2 * abs(t) / math.pi)
        return math.sin(turn), math.copysign(math.cos(turn), t)

    return _traced(point, normal)


def _traced(
    point: Callable[[float], tuple[float, float]], normal: Callable[[float], tuple[float, float]], shift: float = 0.5
) -> Outline:
    """Sides that touch the curve at equal steps, pulled in so that they enclose the curve's own area."""
    stations = tuple(_side(point(t), normal(t)) for t in _steps(16, 0.0))
    sides = [_side(point(t), normal(t)) for t in _steps(_SIDES, shift)]
    fine = np.array([point(t) for t in _steps(64 * _SIDES, 0.5)])
    target = _polygon_area(fine)
    shrink = math.sqrt(target / _polygon_area(_corners(sides)))
    return Outline(tuple(Side(side.point * shrink, side.normal) for side in sides), stations)


def _steps(count: int, shift: float) -> list[float]:
    return [2 * math.pi * (index + shift) / count for index in range(count)]


def _side(point: tuple[float, float], normal: tuple[float, float]) -> Side:
    n = np.array(normal)
    return Side(np.array(point), n / np.linalg.norm(n))


def _corners(sides: Sequence[Side]) -> Array:
    """Where neighbouring sides meet."""
    corners = []
    for one, two in zip(sides, [*sides[1:], sides[0]], strict=True):
        matrix = np.array([one.normal, two.normal])
        if abs(np.linalg.det(matrix)) > 1e-9:
            corners.append(np.linalg.solve(matrix, [one.support, two.support]))
    return np.array(corners)


def _polygon_area(corners: Array) -> float:
    x, y = corners.T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)
