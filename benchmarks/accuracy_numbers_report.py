"""The tables and plots of `accuracy_numbers`."""

from __future__ import annotations

import platform
from datetime import date
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np

mpl.use("Agg")
import matplotlib.pyplot as plt

INK, SAME, OTHER = "#20242b", "#1f6f5c", "#b4532a"


def _cell(value: object) -> str:
    if value is None:
        return "–"
    return f"{value:.3g}" if isinstance(value, float) else f"{value:,}" if isinstance(value, int) else str(value)


def _table(rows: dict[str, dict[str, Any]], first: str) -> str:
    keys = [key for key, value in next(iter(rows.values())).items() if not isinstance(value, dict)]
    lines = [f"| {first} | {' | '.join(keys)} |", "|---" * (len(keys) + 1) + "|"]
    lines += [f"| {name} | {' | '.join(_cell(row[key]) for key in keys)} |" for name, row in rows.items()]
    return "\n".join(lines)


def write_report(result: dict[str, Any]) -> str:
    """Markdown, with the date and the machine."""
    tails = {
        name: {k: (v[0] / v[1] if v[1] > 0 and v[2] >= 10 else None) for k, v in row["tail identities"].items()}
        for name, row in result["random"].items()
    }
    alike = {
        f"{row['stock']:,} stones, by {row['chosen by']}, {row['rule']}": {
            key: value for key, value in row.items() if key not in ("stock", "chosen by", "rule")
        }
        for row in result["look_alikes"]
    }
    return "\n\n".join([
        "# Sizes and weights: measured accuracy",
        f"Made by `python -m benchmarks.accuracy_numbers` on {date.today():%d %B %Y}, {platform.machine()}, "
        f"Python {platform.python_version()}, in {result['seconds']} s. **Every re-measurement is simulated** with the "
        "stated uncertainties (rounded to the display; 40 % of u common to one instrument's readings); the stones are "
        "those kept for testing, the density is made of the reference split.",
        "## Against a stone drawn at random: the plain likelihood ratio", _table(result["random"], "compared"),
        "## Tail identities: P(LR > k given two stones) over E[1/LR; LR > k given one]",
        "1 is perfect; – with fewer than ten events. The expectation rests on ten measurements of each stone.",
        _table(tails, "compared"),
        "## As shipped: with room for blunders, clipped to the validated range", _table(result["shipped"], "compared"),
        "## When something is wrong with the readings (all five properties, as shipped)",
        _table(result["misjudged"], "case"),
        "## Against a stone chosen to look alike (all five properties compared)", _table(alike, "chosen from"),
    ]) + "\n"  # fmt: skip


def draw(curves: dict[str, Any], result: dict[str, Any], folder: Path) -> None:
    """Tippett curves and tail identities as SVG."""
    mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "samestone", "font.size": 9, "axes.edgecolor": INK})
    shown = [name for name in curves if name.startswith(("diameters, in", "weight, diameters, depth"))]
    figure, axes = plt.subplots(1, len(shown), figsize=(3.6 * len(shown), 3), sharey=True, constrained_layout=True)
    for axis, name in zip(axes, shown, strict=True):
        same, near, total = curves[name]
        grid = np.linspace(-4, 6, 201)
        axis.plot(grid, [(same > g).mean() for g in grid], color=SAME, label="one stone")
        axis.plot(grid, [(near > g).sum() / total for g in grid], color=OTHER, label="two stones")
        axis.axvline(0, color=INK, lw=0.6)
        axis.set_title(name, fontsize=9)
        axis.set_xlabel("log10 LR")
    axes[0].set_ylabel("share above")
    axes[0].legend(frameon=False)
    figure.suptitle("Tippett plot, simulated re-measurement", fontsize=9)
    figure.savefig(folder / "accuracy_numbers_tippett.svg", metadata={"Date": None})
    figure, axis = plt.subplots(figsize=(6, 3.2), constrained_layout=True)
    for name, row in result["random"].items():
        points = [(k, v[0] / v[1]) for k, v in enumerate(row["tail identities"].values()) if v[2] >= 10 and v[1] > 0]
        axis.plot(*zip(*points, strict=True), marker="o", ms=3, label=name)
    axis.axhspan(0.7, 1.5, color=SAME, alpha=0.12, lw=0)
    axis.set(xlabel="log10 k", ylabel="observed / predicted", yscale="log", ylim=(0.5, 4), xticks=range(5))
    axis.legend(frameon=False, fontsize=7, ncols=2)
    axis.set_title("Tail identities, simulated re-measurement; shaded: 0.7 to 1.5", fontsize=9)
    figure.savefig(folder / "accuracy_numbers_tails.svg", metadata={"Date": None})
