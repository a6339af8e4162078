"""Specific gravity by weighing in air and in water."""

from __future__ import annotations

import math
from dataclasses import dataclass

WATER_MAX_KG_M3 = 999.974950
AIR_KG_M3 = 1.2


@dataclass(frozen=True, slots=True)
class SpecificGravity:
    """Specific gravity (density over that of water at 4 degrees) with its standard uncertainty."""

    value: float
    u: float


def water_density_kg_m3(celsius: float) -> float:
    """Density of air-free water at 101 325 Pa.

    rho = 999.974950 [1 - (t - 3.983035)^2 (t + 301.797) / (522528.9 (t + 69.34881))], 0 to 40 degrees Celsius (Tanaka,
    Girard, Davis, Peuto, Bignell, Metrologia 38, 2001, 301); refuses other temperatures.

    >>> round(water_density_kg_m3(20), 4)
    998.2067
    """
    if not 0 <= celsius <= 40:
        raise ValueError(f"water at {celsius:g} degrees Celsius; expected 0 to 40, better room temperature")
    t = celsius
    return WATER_MAX_KG_M3 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def specific_gravity(in_air: float, in_water: float, celsius: float, *, u: float) -> SpecificGravity:
    """Specific gravity from two weighings in the same unit, each with standard uncertainty u.

    rho = (Wa (rho_water - rho_air))/(Wa - Ww) + rho_air: both the water's temperature and the buoyancy of the air are
    in it. u(SG) = SG/(Wa (Wa - Ww)) sqrt(Ww^2 + Wa^2) u. Refuses weights that are not 0 <= Ww < Wa. Distilled
    water with a drop of detergent; brush the bubbles off; below 1 ct a scale of 0.01 ct is too coarse.

    >>> round(specific_gravity(2.00, 1.50, 4.0, u=0.001).value, 3)
    3.996
    """
    if not (math.isfinite(in_air) and 0 <= in_water < in_air):
        raise ValueError(f"in air {in_air:g}, in water {in_water:g}; expected the weight in water below that in air")
    if not u > 0:
        raise ValueError(f"u is {u:g}; state the standard uncertainty of one weighing, above 0")
    water = water_density_kg_m3(celsius)
    loss = in_air - in_water
    density = in_air / loss * (water - AIR_KG_M3) + AIR_KG_M3
    value = density / WATER_MAX_KG_M3
    return SpecificGravity(value, value / (in_air * loss) * math.hypot(in_water, in_air) * u)
