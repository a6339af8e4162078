"""Examinations of simulated stones: what a bench would write down, with the truth known."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from samestone.simulate.stones import Stone


@dataclass(frozen=True)
class Bench:
    """A bench's instruments: standard uncertainty and display step of gauge (mm), scale (ct) and table (percent)."""

    gauge_u_mm: float = 0.010
    scale_u_ct: float = 0.001
    table_u_percent: float = 0.5
    gauge_step: str = "0.01"
    scale_step: str = "0.001"
    table_step: str = "0.1"


def true_sizes(stone: Stone) -> dict[str, float]:
    """The stone's real sizes by the names of an examination's properties."""
    corners = stone.solid.corners()
    angles = np.radians(np.arange(0, 180, 0.25))
    reach = corners[:, :2] @ np.array([np.cos(angles), np.sin(angles)])
    widths = reach.max(axis=0) - reach.min(axis=0)
    mean = float(widths.min() + widths.max()) / 2
    return {
        "diameter_min_mm": float(widths.min()),
        "diameter_max_mm": float(widths.max()),
        "depth_mm": float(np.ptp(corners[:, 2])),
        "weight_ct": stone.weight_ct,
        "table_percent": stone.proportions.table * stone.proportions.diameter_mm / mean * 100,
    }


def _shown(value: float, step: str) -> str:
    return str((Decimal(repr(value)) / Decimal(step)).quantize(Decimal(1)) * Decimal(step))


def draw_examination(
    stone: Stone, bench: Bench, rng: np.random.Generator, *, setting: str = "loose", repeats: int = 3
) -> dict[str, Any]:
    """One `samestone-examination/1` record with measuring noise; a set stone is neither weighed nor measured in depth.

    Two tenths of an instrument's variance is one error common to all its readings in the record.
    """
    tools = {
        "mm": ("gauge", bench.gauge_u_mm, bench.gauge_step),
        "ct": ("scale", bench.scale_u_ct, bench.scale_step),
        "percent": ("microscope", bench.table_u_percent, bench.table_step),
    }
    shared = {unit: float(rng.normal(0, u * 0.2**0.5)) for unit, (_, u, _) in tools.items()}
    readings = []
    for name, value in true_sizes(stone).items():
        unit = name.rsplit("_", maxsplit=1)[-1]
        tool, u, step = tools[unit]
        if setting == "set" and name in {"depth_mm", "weight_ct"}:
            continue
        noise = rng.normal(0, u * 0.8**0.5, repeats)
        shown = [_shown(value + shared[unit] + float(e), step) for e in noise]
        readings.append({"property": name, "indications": shown, "instrument": tool})
    record: dict[str, Any] = {
        "format": "samestone-examination/1",
        "stone": {"cut": "round brilliant", "setting": setting},
        "instruments": [
            {
                "name": n,
                "kind": n,
                "unit": "%" if k == "percent" else k,
                "resolution": s,
                "u": repr(u),
                "declared": True,
            }
            for k, (n, u, s) in tools.items()
        ],
        "readings": readings,
        "characteristics": _characteristics(stone),
    }
    if setting == "set":
        record["not_examined"] = [{"what": w, "why": "set"} for w in ("depth_mm", "weight_ct")]
    return record


def _characteristics(stone: Stone) -> list[dict[str, str]]:
    radius = stone.proportions.diameter_mm / 2
    found = []
    for feature in stone.features:
        x, y, _ = feature.centre_mm
        found.append(
            {
                "kind": feature.kind,
                "r": f"{np.hypot(x, y) / radius:.3f}",
                "angle_deg": f"{np.degrees(np.arctan2(y, x)) % 360:.1f}",
                "size": f"{feature.size_mm / radius:.3f}",
            }
        )
    return found
