"""The measured properties of a stone: unit, plausible range, step, and what a value outside usually means."""

from __future__ import annotations

import math
from collections.abc import Mapping
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
_GRAM = (0.2, "it looks like grams; 1 g is 5 ct")
_POINTS = (100.0, "it looks like points; 100 points are 1 ct")

PROPERTIES: Mapping[str, Property] = {
    p.name: p
    for p in (
        Property("diameter_min_mm", "smallest diameter", "mm", 0.8, 40.0, 0.01, (_POINT_LOST, _INCH)),
        Property("diameter_max_mm", "largest diameter", "mm", 0.8, 40.0, 0.01, (_POINT_LOST, _INCH)),
        Property("depth_mm", "depth", "mm", 0.4, 30.0, 0.01, (_POINT_LOST, _INCH)),
        Property("weight_ct", "weight", "ct", 0.002, 200.0, 0.001, (_POINT_LOST, _POINTS, _GRAM)),
        Property("table_percent", "table", "%", 40.0, 85.0, 1.0, ((0.01, "it looks like a fraction, not per cent"),)),
    )
}


def check_values(values: Mapping[str, float]) -> tuple[Problem, ...]:
    """Say what cannot be true of a stone with these values, by property name; empty is good news."""
    raise NotImplementedError
