"""What a stone should weigh by its measurements, by two routes, beside what the scale says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from samestone import gem
from samestone.shop.models import Stone
from samestone.shop.records.stone import Known, hidden_arcs

_CUTS = {"round brilliant": "round_brilliant", "triangle": "triangle"}


@dataclass(frozen=True)
class WeightPage:
    """Formula and solid, the loose weight, what they do not agree on, and the solid's picture (SVG)."""

    formula: Any
    solid: Any
    weighed_ct: float | None
    weighed: str
    warnings: tuple[str, ...]
    picture: str


def cut_key(cut: str) -> str:
    """The name of a cut in gem's table; empty where it has none."""
    name = _CUTS.get(cut, cut.replace(" ", "_"))
    return name if name in gem.weight.cut_names() else ""


def specific_gravity(material: str) -> str:
    """The middle of the material's range; diamond's where the material is not in the table."""
    for known in gem.material.materials():
        if known.key == material:
            low, high = known.specific_gravity
            return f"{gem.weight.DIAMOND_SG:g}" if material == "diamond" else f"{(low + high) / 2:.3g}"
    return f"{gem.weight.DIAMOND_SG:g}"


def initial_sizes(stone: Stone, known: Mapping[str, Known]) -> dict[str, Any]:
    """What the page starts with: the newest readings of the stone."""
    names = {"length": "diameter_max_mm", "width": "diameter_min_mm", "depth": "depth_mm", "table": "table_percent"}
    values = {field: f"{known[name].value:.2f}" for field, name in names.items() if name in known}
    return {
        **values,
        "cut": cut_key(stone.cut),
        "girdle": "medium",
        "gravity": specific_gravity(stone.material),
        "blocked": hidden_arcs(stone),
    }


def estimate(typed: Mapping[str, Any], known: Mapping[str, Known]) -> WeightPage:
    """Both routes from what was typed; raises `ValueError` for sizes that cannot be."""
    lengths = [one for name, one in known.items() if name.endswith("_mm")]
    u = max((one.u for one in lengths), default=0.02)
    common = min(u, max((one.u_common for one in lengths), default=0.008))
    size = gem.weight.Size(
        float(typed["length"]),
        float(typed["width"]),
        float(typed["depth"]),
        float(typed["table"]) if typed["table"] else None,
        typed["girdle"],
        typed["blocked"],
        u,
        common,
    )
    cut, gravity = typed["cut"], float(typed["gravity"])
    formula = gem.weight.estimate_weight(cut, size, specific_gravity=gravity)
    built = cut in gem.shape.solid_cuts()
    solid = gem.shape.estimate_by_solid(cut, size, specific_gravity=gravity) if built else None
    weighed = known.get("weight_ct")
    return WeightPage(
        formula=formula,
        solid=solid,
        weighed_ct=weighed.value if weighed else None,
        weighed=gem.carat.written(Decimal(f"{weighed.value:.3f}")) if weighed else "",
        warnings=gem.shape.compare_routes(formula, solid, weighed.value if weighed else None),
        picture=gem.shape.draw_cut(cut, size, f"{cut.replace('_', ' ')}, built from its measurements") if built else "",
    )
