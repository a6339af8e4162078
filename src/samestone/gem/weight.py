"""The weight of a stone estimated from its measurements, with an interval."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from samestone.gem.table import read_table

DIAMOND_SG = 3.515
_BOX_CT_MM3 = 0.005
"""1 mm3 of SG 1 weighs 1 mg = 0.005 ct."""
_BLOCKED_PERCENT = 15.0
"""95 % half width where part of the outline is hidden by the setting (common practice, no source)."""
_EXTRA_CUTS = ("round_models", "girdle", "coloured")


@dataclass(frozen=True, slots=True)
class Size:
    """What was measured: length and width (for a round the larger and the smaller diameter), depth; mm.

    `u_mm` is the standard uncertainty of each, `u_common_mm` the part of it that they share. `table_percent` of the
    mean diameter. `girdle` in the words of the multiplier table; `blocked` where the setting hides part of the outline.
    """

    length_mm: float
    width_mm: float
    depth_mm: float
    table_percent: float | None = None
    girdle: str = "medium"
    blocked: bool = False
    u_mm: float = 0.02
    u_common_mm: float = 0.008


@dataclass(frozen=True, slots=True)
class Estimate:
    """An estimated weight: `low_ct` to `high_ct` holds 95 of 100 stones; `error_percent` is its half width."""

    weight_ct: float
    low_ct: float
    high_ct: float
    error_percent: float
    factor: float
    route: str
    source: str
    notes: tuple[str, ...] = ()


def cut_names() -> tuple[str, ...]:
    """The keys of the cuts that can be estimated."""
    return tuple(key for key in read_table("cuts") if key not in _EXTRA_CUTS)


def estimate_weight(cut: str, size: Size, *, specific_gravity: float = DIAMOND_SG, plain: bool = False) -> Estimate:
    """Estimate a weight by the trade's formula for the cut, or the closer model where it is a round brilliant.

    ct = SG/3.515 k P g, P the product of lengths in mm, g the girdle's multiplier. For rounds ln k is linear in table
    and depth percentage where they are known; `plain` keeps the trade's 0.0061. The interval adds the formula's own
    error, the gauge's (lengths of one gauge share their zero error) and, where arcs are blocked, 15 %. Sources stand
    in the table of cuts. Refuses an unknown cut, lengths that cannot be, a girdle word that is not in the table.

    >>> round(estimate_weight("round_brilliant", Size(6.71, 6.67, 4.10)).weight_ct, 2)
    1.12
    """
    data = _cut(cut)
    _refuse_size(cut, size)
    factor, error, route, source = _factor(cut, data, size, plain)
    multiplier = _girdle_multiplier(size)
    weight = factor * _product(data["product"], size) * multiplier * specific_gravity / DIAMOND_SG
    gauge = 1.96 * 100 * _relative_gauge_u(data["product"], size)
    whole = math.hypot(_BLOCKED_PERCENT if size.blocked else error, gauge)
    return Estimate(
        weight_ct=weight,
        low_ct=weight * (1 - whole / 100),
        high_ct=weight * (1 + whole / 100),
        error_percent=whole,
        factor=factor,
        route=route,
        source=source,
        notes=tuple(_notes(cut, data, size)),
    )


def estimate_by_table(cut: str, size: Size, specific_gravity: float) -> Estimate:
    """Estimate a coloured stone by the trade's rounder table, ct = factor x SG x product, as a cross-check."""
    coloured = read_table("cuts")["coloured"]
    if cut not in cut_names() or cut not in coloured:
        raise ValueError(f"cut {cut!r} is not in the table of coloured stones")
    _refuse_size(cut, size)
    factor, error = coloured[cut] * specific_gravity, coloured["error_percent"]
    weight = factor * _product(_cut(cut)["product"], size)
    low, high = weight * (1 - error / 100), weight * (1 + error / 100)
    return Estimate(weight, low, high, error, factor, "the trade's table of coloured stones", coloured["source"])


def weight_from_volume(volume_mm3: float, specific_gravity: float = DIAMOND_SG) -> float:
    """Carats of a volume: 0.005 SG V."""
    return _BOX_CT_MM3 * specific_gravity * volume_mm3


def implied_gravity(cut: str, size: Size, weight_ct: float) -> tuple[float, float, float]:
    """The specific gravity that this size and weight imply: value and the 95 % interval of the formula."""
    as_diamond = estimate_weight(cut, size)
    value = DIAMOND_SG * weight_ct / as_diamond.weight_ct
    return value, DIAMOND_SG * weight_ct / as_diamond.high_ct, DIAMOND_SG * weight_ct / as_diamond.low_ct


def _cut(cut: str) -> Mapping[str, Any]:
    if cut not in cut_names():
        raise ValueError(f"cut {cut!r}, expected one of {', '.join(cut_names())}")
    found: Mapping[str, Any] = read_table("cuts")[cut]
    return found


def _refuse_size(cut: str, size: Size) -> None:
    for name in ("length_mm", "width_mm", "depth_mm"):
        value = getattr(size, name)
        if not (math.isfinite(value) and 0.4 <= value <= 60):
            hint = "; it looks like inches (1 inch is 25.4 mm)" if 0 < value < 0.4 else ""
            raise ValueError(f"{name} is {value:g}, expected 0.4 to 60 mm{hint}")
    if size.width_mm > size.length_mm:
        raise ValueError(f"width {size.width_mm:g} mm is above length {size.length_mm:g} mm; swap the two")
    if cut == "round_brilliant" and size.length_mm > 1.2 * size.width_mm:
        raise ValueError(
            f"diameters {size.length_mm:g} and {size.width_mm:g} mm are not those of a round; measure again"
        )
    if size.depth_mm > 1.3 * size.width_mm:
        raise ValueError(f"depth {size.depth_mm:g} mm is far above width {size.width_mm:g} mm; check which is which")
    if size.table_percent is not None and not 20 <= size.table_percent < 100:
        wide = ", wider than the girdle" if size.table_percent >= 100 else ""
        raise ValueError(f"table is {size.table_percent:g} %{wide}; expected 20 to 99 % of the mean girdle diameter")
    if not 0 <= size.u_common_mm <= size.u_mm:
        raise ValueError(f"u_common_mm {size.u_common_mm:g} is not a part of u_mm {size.u_mm:g}")


def _product(kind: str, size: Size) -> float:
    if kind.startswith("mean"):
        return ((size.length_mm + size.width_mm) / 2) ** 2 * size.depth_mm
    return size.length_mm * size.width_mm * size.depth_mm


def _factor(cut: str, data: Mapping[str, Any], size: Size, plain: bool) -> tuple[float, float, str, str]:
    error = float(data["error_percent"])
    if cut == "round_brilliant" and not plain:
        models = read_table("cuts")["round_models"]
        model = models["table_and_depth" if size.table_percent is not None else "depth"]
        depth = 100 * size.depth_mm / ((size.length_mm + size.width_mm) / 2)
        if 50 <= depth <= 72:
            power = model["a"] + model["b"] * ((size.table_percent or 57) - 57) + model["c"] * (depth - 61.8)
            known = "table and depth" if size.table_percent is not None else "depth"
            return math.exp(power), float(model["error_percent"]), f"round model on {known}", model["source"]
    if "by_ratio" in data:
        ratio = size.length_mm / size.width_mm
        return _between(data["by_ratio"], ratio), error, f"factor by length to width {ratio:.2f}", data["source"]
    if "factor_sg" in data:
        return float(data["factor_sg"]) * DIAMOND_SG, error, data["product"], data["source"]
    return float(data["factor"]), error, data["product"], data["source"]


def _between(pairs: Sequence[Sequence[float]], at: float) -> float:
    """Linear between the table's lines, constant beyond its ends."""
    if at <= pairs[0][0]:
        return pairs[0][1]
    for (x0, y0), (x1, y1) in pairwise(pairs):
        if at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return pairs[-1][1]


def _girdle_multiplier(size: Size) -> float:
    girdle = read_table("cuts")["girdle"]
    if size.girdle not in girdle["multiplier"]:
        raise ValueError(f"girdle {size.girdle!r}, expected one of {', '.join(girdle['multiplier'])}")
    column = sum(size.width_mm > limit for limit in girdle["limits_mm"])
    return float(girdle["multiplier"][size.girdle][column])


def _relative_gauge_u(kind: str, size: Size) -> float:
    """Relative u of the product; independent parts by length, the common part moves all lengths together."""
    if kind.startswith("mean"):
        mean = (size.length_mm + size.width_mm) / 2
        slopes = (1 / mean, 1 / mean, 1 / size.depth_mm)
    else:
        slopes = (1 / size.length_mm, 1 / size.width_mm, 1 / size.depth_mm)
    own = math.sqrt(size.u_mm**2 - size.u_common_mm**2)
    return math.hypot(own * math.sqrt(sum(slope**2 for slope in slopes)), size.u_common_mm * sum(slopes))


def _notes(cut: str, data: Mapping[str, Any], size: Size) -> list[str]:
    notes = []
    ratio = size.length_mm / size.width_mm
    if cut == "oval" and ratio > 1.6:
        notes.append(
            f"length to width {ratio:.2f}: the mean-diameter formula runs high for long ovals (+6 % at 1.5, +14 % at 2)"
        )
    if "by_ratio" in data and not data["by_ratio"][0][0] <= ratio <= data["by_ratio"][-1][0]:
        notes.append(f"length to width {ratio:.2f} lies outside the table; its last factor was used")
    depth = 100 * size.depth_mm / size.width_mm
    if cut == "round_brilliant" and not 50 <= depth <= 72:
        notes.append(f"depth {depth:.0f} % lies outside the model; the plain factor was used")
    if size.blocked:
        notes.append("part of the outline is hidden by the setting: the estimate is within 15 %")
    if data.get("status") == "memory":
        notes.append("the factor is from memory")
    return notes
