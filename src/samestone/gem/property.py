"""The measured properties of a stone: unit, plausible range, step, and what a value outside usually means."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from samestone.metrology import Problem


@dataclass(frozen=True, slots=True)
class Property:
    """A number that can be measured on a stone; `low` to `high` is what a faceted stone in jewellery can be."""

    name: str
    label: str
    unit: str
    low: float
    high: float
    resolution: float
    slips: tuple[tuple[float, str], ...] = ()
    """(factor, what happened): dividing a wrong value by the factor would bring it into range."""


_INCH = (1 / 25.4, "it looks like inches; 1 inch is 25.4 mm")
_POINT_LOST = (1000.0, "the decimal point seems to be missing")
_POINT_OFF = (10.0, "the decimal point seems to be one place off")
_GRAM = (0.2, "it looks like grams; 1 g is 5 ct")
_POINTS = (100.0, "it looks like points; 100 points are 1 ct")

PROPERTIES: Mapping[str, Property] = {
    p.name: p
    for p in (
        Property("diameter_min_mm", "smallest diameter", "mm", 0.8, 40.0, 0.01, (_POINT_LOST, _POINT_OFF, _INCH)),
        Property("diameter_max_mm", "largest diameter", "mm", 0.8, 40.0, 0.01, (_POINT_LOST, _POINT_OFF, _INCH)),
        Property("depth_mm", "depth", "mm", 0.4, 30.0, 0.01, (_POINT_LOST, _POINT_OFF, _INCH)),
        Property("weight_ct", "weight", "ct", 0.002, 200.0, 0.001, (_POINT_LOST, _POINTS, _POINT_OFF, _GRAM)),
        Property("table_percent", "table", "%", 40.0, 85.0, 1.0, ((0.01, "it looks like a fraction, not per cent"),)),
    )
}


_WIDEST_OVAL = 1.2
"""A round stone whose largest diameter exceeds the smallest by more was mistyped (common practice, no source)."""
_LONGEST = 6.0
"""Length over width of any other outline (common practice, no source)."""
_DEPTH_RATIO = (0.2, 1.1)
"""Depth over mean diameter of any faceted stone (common practice, no source)."""
_FACTOR = (0.0025, 0.0165)
"""ct / (d^2 h) in mm: a diamond brilliant's 0.0061 at the specific gravities of light glass (2.2) and of gadolinium
gallium garnet (7.1), with a third either way for the shape."""


def check_values(values: Mapping[str, float], *, round_outline: bool = True) -> tuple[Problem, ...]:
    """Say what cannot be true of a stone with these values, by property name; empty is good news.

    Each value on its own first (range, units mixed up); only if all pass, against one another: diameters swapped, depth
    against diameter, weight against size. `round_outline` is false for an outline that is long by design.
    """
    problems = [problem for name, value in values.items() if (problem := _check_one(name, value))]
    return tuple(problems) if problems else tuple(_check_together(values, _WIDEST_OVAL if round_outline else _LONGEST))


def _check_one(name: str, value: float) -> Problem | None:
    known = PROPERTIES.get(name)
    if known is None:
        return Problem(name, "an unknown property", f"one of {', '.join(PROPERTIES)}", "correct the name")
    expected = f"{known.low:g} to {known.high:g} {known.unit}"
    if not math.isfinite(value):
        return Problem(name, str(value), expected, "give a number")
    if known.low <= value <= known.high:
        return None
    found = f"{value:g} {known.unit}"
    if name == "table_percent" and value > known.high:
        wider = "wider than the girdle" if value >= 100 else "larger than any table"
        return Problem(name, f"{found}, {wider}", expected, "give the table in per cent of the mean girdle diameter")
    if value < 0:
        return Problem(name, found, expected, "a size cannot be negative; read it again")
    hint = next((text for factor, text in known.slips if known.low <= value / factor <= known.high), "read it again")
    return Problem(name, found, expected, hint)


def _check_together(values: Mapping[str, float], widest: float) -> Iterator[Problem]:
    low, high = values.get("diameter_min_mm"), values.get("diameter_max_mm")
    if low is not None and high is not None:
        if low > high:
            yield Problem(
                "diameter_min_mm",
                f"{low:g} mm, above diameter_max_mm {high:g} mm",
                "the smaller of the two",
                "swap the two diameters or read them again",
            )
            return
        if high > widest * low:
            yield Problem(
                "diameter_max_mm",
                f"{high:g} mm against a smallest diameter of {low:g} mm",
                f"at most {widest:g} times the smallest",
                "read both again; a stone that is not round has another cut",
            )
            return
    across = [d for d in (low, high) if d is not None]
    if across:
        yield from _check_against_diameter(values, math.prod(across) ** (1 / len(across)))


def _check_against_diameter(values: Mapping[str, float], diameter: float) -> Iterator[Problem]:
    depth, weight = values.get("depth_mm"), values.get("weight_ct")
    if depth is not None and not _DEPTH_RATIO[0] <= depth / diameter <= _DEPTH_RATIO[1]:
        yield Problem(
            "depth_mm",
            f"{depth:g} mm, {100 * depth / diameter:.0f} % of the diameter",
            f"{_DEPTH_RATIO[0] * 100:g} to {_DEPTH_RATIO[1] * 100:g} % of the diameter",
            "read depth and diameters again",
        )
        return
    if weight is None:
        return
    least, most = (depth, depth) if depth is not None else (_DEPTH_RATIO[0] * diameter, _DEPTH_RATIO[1] * diameter)
    lightest, heaviest = _FACTOR[0] * diameter**2 * least, _FACTOR[1] * diameter**2 * most
    if not lightest <= weight <= heaviest:
        slips = PROPERTIES["weight_ct"].slips
        hint = next(
            (text for factor, text in slips if lightest <= weight / factor <= heaviest), "weigh and measure again"
        )
        yield Problem(
            "weight_ct", f"{weight:g} ct", f"{lightest:.3g} to {heaviest:.3g} ct for a stone of this size", hint
        )
