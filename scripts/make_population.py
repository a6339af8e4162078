"""Make the reference stones that `samestone.evidence` ships from the open `diamonds` table of the plotnine package.

    .venv/bin/python -m scripts.make_population

writes population-1.npy (one row a stone, unsigned 16-bit) and population-1.json (where it is from, what was removed,
digest). The same versions of plotnine and numpy give the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from plotnine.data import diamonds

TARGET = Path(__file__).parents[1] / "src" / "samestone" / "evidence" / "data"
SEED = 20250711
REFERENCE = 28_000
"""Rows of the shuffled file that tuning may use; the rest is for testing."""

STEPS = {
    "weight_ct": 1e-4,
    "diameter_min_mm": 1e-3,
    "diameter_max_mm": 1e-3,
    "depth_mm": 1e-3,
    "table_percent": 1e-2,
}


def impossible(table: pd.DataFrame) -> dict[str, pd.Series]:
    """What is wrong with a row, first reason first."""
    mean = (table.low + table.high) / 2
    printed_depth = 100 * table.z / mean
    factor = table.carat / (table.low * table.high * table.z)
    return {
        "a dimension of zero": (table.low <= 0) | (table.z <= 0),
        "recorded and recomputed depth differ by more than 1 %": (printed_depth - table.depth).abs() > 1,
        "diameters differ by more than 3 % in a round stone": (table.high - table.low) / mean > 0.03,
        "weight does not fit the size (factor outside 0.0055 to 0.0072)": ~factor.between(0.0055, 0.0072),
        "table above 80 %": table.table > 80,
    }


def clean(table: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, int]]:
    """Remove impossible rows, then every stone listed more than once; count each."""
    table = table.assign(low=table[["x", "y"]].min(axis=1), high=table[["x", "y"]].max(axis=1))
    removed: dict[str, int] = {}
    with np.errstate(divide="ignore", invalid="ignore"):
        for reason in impossible(table):
            wrong = impossible(table)[reason]
            removed[reason] = int(wrong.sum())
            table = table[~wrong]
    again = table.duplicated(["carat", "low", "high", "z", "table", "depth", "color", "clarity"])
    removed["the same stone listed again"] = int(again.sum())
    return table[~again], removed


def spread(table: pd.DataFrame, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Draw each printed value once, evenly within the cell that its last digit stands for.

    Carats: 0.001 below to 0.009 above what is printed (only a 9 in the third place is rounded up: common practice).
    """

    def within(low: float, high: float) -> Callable[[pd.Series], np.ndarray]:
        return lambda column: column.to_numpy(float) + rng.uniform(low, high, len(column))

    low, high = within(-0.005, 0.005)(table.low), within(-0.005, 0.005)(table.high)
    return {
        "weight_ct": within(-0.001, 0.009)(table.carat),
        "diameter_min_mm": np.minimum(low, high),
        "diameter_max_mm": np.maximum(low, high),
        "depth_mm": within(-0.005, 0.005)(table.z),
        "table_percent": within(-0.5, 0.5)(table.table),
    }


def main() -> None:
    rng = np.random.default_rng(SEED)
    stones, removed = clean(diamonds)
    values = spread(stones, rng)
    columns = [np.rint(values[name] / step).astype(np.uint16) for name, step in STEPS.items()]
    rows = np.stack(columns, axis=1)[rng.permutation(len(stones))]
    file = io.BytesIO()
    np.save(file, rows)
    (TARGET / "population-1.npy").write_bytes(file.getvalue())
    about = {
        "name": "round-diamonds-1",
        "stones": len(rows),
        "reference": REFERENCE,
        "sha256": hashlib.sha256(file.getvalue()).hexdigest(),
        "columns": list(STEPS),
        "steps": [f"{step:g}" for step in STEPS.values()],
        "source": "the open table `diamonds` as packaged by plotnine (plotnine.data.diamonds), 53,940 rows of round "
        "brilliant diamonds offered for sale; first published with the R package ggplot2",
        "rows_read": len(diamonds),
        "removed": removed,
        "spread": f"each printed value drawn once, evenly within its last digit, seed {SEED}; "
        "there is no real information below 0.01 ct, 0.01 mm, 1 % of table",
        "split": f"rows are shuffled; the first {REFERENCE} are for tuning, the others for testing",
        "known_faults": "weights heap at full and half carats; about two thousand near-duplicates (same grades, sizes "
        "within 0.01 mm) could not be told from chance and remain",
    }
    (TARGET / "population-1.json").write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")
    print(json.dumps({"stones": len(rows), "removed": removed}, indent=1))


if __name__ == "__main__":
    main()
