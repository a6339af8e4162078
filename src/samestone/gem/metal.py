"""Metal: densities of alloys by mixture, and the gram balance of a repair."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from samestone.gem.table import read_table

CLOSES_WITHIN = 2.0
"""Standard uncertainties that a balance may be out before it is said not to close."""
_U_WEIGHING_G = 0.01
Way = Literal["in", "added", "out", "removed"]


@dataclass(frozen=True, slots=True)
class Item:
    """One weighing of a repair: what, on which side, grams with the standard uncertainty of that weighing.

    "in" and "added" (solder, metal, a new stone) came to the bench; "out" and "removed" (a stone kept apart, old
    prongs, filings) left it.
    """

    what: str
    way: Way
    grams: float
    u: float = _U_WEIGHING_G


@dataclass(frozen=True, slots=True)
class Balance:
    """What is missing after a repair: `missing_g` = in + added - out - removed, its u, and whether that closes."""

    missing_g: float
    u: float
    closes: bool
    sentence: str


def alloy_names() -> tuple[str, ...]:
    """Every alloy in the table."""
    return tuple(read_table("metals")["alloys"])


def mixture_density(parts: Mapping[str, float]) -> float:
    """Density in g/cm3 of an alloy whose volumes add up: sum(w) / sum(w / rho); parts by mass in any unit.

    Real alloys deviate by up to about 2 %. Refuses unknown elements and parts that are not above 0.

    >>> round(mixture_density({"gold": 583, "silver": 104, "copper": 313}), 2)
    13.33
    """
    elements = read_table("metals")["elements"]
    for name, part in parts.items():
        if name not in elements or name == "source":
            raise ValueError(f"element {name!r}, expected one of {', '.join(e for e in elements if e != 'source')}")
        if not (math.isfinite(part) and part > 0):
            raise ValueError(f"{name} has a part of {part:g}, expected a number above 0")
    if not parts:
        raise ValueError("no parts; give the mass of each element")
    return sum(parts.values()) / math.fsum(part / float(elements[name]) for name, part in parts.items())


def alloy_density(name: str) -> float:
    """Density in g/cm3 of an alloy: as printed where it is, else by mixture; refuses a name not in the table."""
    alloys = read_table("metals")["alloys"]
    if name not in alloys:
        raise ValueError(f"alloy {name!r}, expected one of {', '.join(alloys)}")
    entry = alloys[name]
    return float(entry["printed"]) if "printed" in entry else mixture_density(entry["parts"])


def recast_grams(grams: float, cast_in: str, model: str) -> float:
    """Mass of the same volume in another alloy: grams rho(cast_in)/rho(model)."""
    return grams * alloy_density(cast_in) / alloy_density(model)


def fineness_per_mille(karat: float) -> float:
    """Parts of gold in a thousand: karat 1000/24; refuses what is not above 0 and up to 24."""
    if not 0 < karat <= 24:
        raise ValueError(f"{karat:g} karat; expected above 0 and up to 24")
    return karat * 1000 / 24


def balance_repair(items: Sequence[Item]) -> Balance:
    """Hold what came to the bench against what left it.

    u^2 = sum u_i^2; it closes where the difference is within 2 u. Refuses a balance without an "in" and an "out", and
    grams that are negative. How much polishing takes has no citable figure: what is missing is stated, not explained.
    """
    for item in items:
        if not (math.isfinite(item.grams) and item.grams >= 0 and item.u > 0):
            raise ValueError(f"{item.what}: {item.grams} g with u {item.u} g; expected grams of at least 0, u above 0")
    for way in ("in", "out"):
        if not any(item.way == way for item in items):
            raise ValueError(f"nothing was weighed {way}; weigh the piece before and after")
    missing = math.fsum(item.grams if item.way in ("in", "added") else -item.grams for item in items)
    u = math.sqrt(math.fsum(item.u**2 for item in items))
    closes = abs(missing) <= CLOSES_WITHIN * u
    limit = f"{CLOSES_WITHIN * u:.2f} g"
    if closes:
        sentence = f"closes: {missing:+.2f} g within {limit}"
    elif missing > 0:
        sentence = f"does not close: {missing:.2f} g missing, more than {limit}; weigh the filings again"
    else:
        sentence = f"does not close: {-missing:.2f} g too much, more than {limit}; was all that was added noted?"
    return Balance(missing, u, closes, sentence)
