"""How often, and how strongly, plans of marks say the right thing; stones and plans are simulated.

    .venv/bin/python -m benchmarks.accuracy_constellation [results folder]

Stones are drawn as data/characteristics.toml describes them, so that this measures the method and not the table.
"""

from __future__ import annotations

import json
import math
import platform
import sys
import time
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np

from samestone.evidence import performance
from samestone.evidence.constellation import Plan, Turn, compare_plans, rotate
from samestone.evidence.examination import CHARACTERISTICS, Characteristic
from samestone.evidence.observable import Array
from samestone.evidence.seeing import Seeing, kind_table, shipped_seeing

mpl.use("Agg")
import matplotlib.pyplot as plt

PAIRS = 400
FINE = {"placed_sigma": "0.015", "placed_offset": "0.012", "placed_scale": "0.005"}
Marks = list[tuple[int, float, float, float]]


def stone(n: int, seeing: Seeing, rng: np.random.Generator, clustered: bool = False) -> Marks:
    """n marks (kind, x, y, ln size); clustered: two thirds of them around one of two places."""
    kinds = kind_table(seeing)
    middles = rng.uniform(-0.5, 0.5, (2, 2))
    marks = []
    for _ in range(n):
        kind = int(rng.choice(len(CHARACTERISTICS), p=kinds.share))
        ring = kinds.edge[kind] and rng.random() < 0.9
        r, angle = math.sqrt(rng.uniform(0.85**2, 1.0) if ring else rng.random()), rng.uniform(0, 2 * math.pi)
        x, y = r * math.cos(angle), r * math.sin(angle)
        if clustered and rng.random() < 2 / 3:
            x, y = middles[rng.integers(2)] + rng.normal(0, 0.12, 2)
        marks.append((kind, x, y, math.log(0.03) + 0.8 * rng.normal()))
    return marks


def draw_plan(marks: Marks, seeing: Seeing, rng: np.random.Generator) -> Plan:
    """What an examination puts down: some marks missed, displaced, misnamed; some that are none."""
    kinds, number = kind_table(seeing), seeing.number
    offset, scale = rng.normal(0, number("placed_offset"), 2), 1 + number("placed_scale") * rng.normal()
    seen = []
    for kind, x, y, size in marks:
        if rng.random() < seeing.chance(np.array([math.exp(size)]))[0]:
            place = np.array([x, y]) * scale + offset + rng.normal(0, number("placed_sigma"), 2)
            seen.append((rng.choice(len(CHARACTERISTICS), p=kinds.named[kind]), *place, size))
    extra = [("false_marks", kinds.false)] + [("new_damage", kinds.damage)] * seeing.later
    for key, shares in extra:
        for _ in range(rng.poisson(number(key))):
            r, angle = math.sqrt(rng.random()), rng.uniform(0, 2 * math.pi)
            kind = rng.choice(len(CHARACTERISTICS), p=shares)
            seen.append((kind, r * math.cos(angle), r * math.sin(angle), math.log(0.03) + 0.8 * rng.normal()))
    noise = number("size_noise_ln")
    return Plan(
        tuple(
            Characteristic(
                CHARACTERISTICS[k], min(math.hypot(x, y), 1.1), math.degrees(math.atan2(y, x)) % 360,
                min(math.exp(s + noise * rng.normal()), 2.0),
            )
            for k, x, y, s in seen
        )
    )  # fmt: skip


def pairs_of(
    counts: Array, seeing: tuple[Seeing, Seeing], rng: np.random.Generator, *, turn: Turn | None = None,
    clustered: bool = False,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """log10 LR of stones with themselves and with the next one, and processor seconds of each comparison."""
    stones = [stone(int(n), seeing[0], rng, clustered) for n in counts]
    first = [draw_plan(marks, seeing[0], rng) for marks in stones]
    second = [draw_plan(marks, seeing[1], rng) for marks in stones]
    by = rng.normal(0, turn.sd_deg, len(stones)) if turn else rng.uniform(0, 360, len(stones))
    second = [replace(plan, marks=rotate(plan.marks, angle)) for plan, angle in zip(second, by, strict=True)]
    out: list[list[float]] = [[], [], []]
    for i, plan in enumerate(second):
        for kind, other in ((0, first[i]), (1, first[i - 1])):
            started = time.process_time()
            out[kind].append(compare_plans(other, plan, turn=turn, seeing=seeing, fast=True).log10_lr)
            out[2].append(time.process_time() - started)
    return np.array(out[0]), np.array(out[1]), np.array(out[2])


def row(same: Array, other: Array, seconds: Array) -> dict[str, Any]:
    return {
        "Cllr": performance.cllr(same, other),
        "Cllr_min": performance.cllr_min(same, other),
        "EER %": 100 * performance.equal_error_rate(same, other),
        "median log10 LR, one stone": float(np.median(same)),
        "mean, one stone, within -1.7 to 3": float(np.clip(same, -1.7, 3).mean()),
        "LR < 1, one stone %": 100 * float((same < 0).mean()),
        "LR > 1, two stones %": 100 * float((other > 0).mean()),
        "LR > 100, two stones %": 100 * float((other > 2).mean()),
        "processor ms p50": 1e3 * float(np.percentile(seconds, 50)),
        "processor ms p95": 1e3 * float(np.percentile(seconds, 95)),
    }


def table_of(rows: dict[str, dict[str, Any]]) -> list[str]:
    head = list(next(iter(rows.values())))
    return [
        f"| | {' | '.join(head)} |", "|---" * (len(head) + 1) + "|",
        *(f"| {name} | {' | '.join(f'{value:.3g}' for value in line.values())} |" for name, line in rows.items()), "",
    ]  # fmt: skip


def main(folder: Path) -> None:
    rng = np.random.default_rng(21)
    hand = shipped_seeing(), shipped_seeing(later=True)
    fine = tuple(Seeing({**hand[0].table, **FINE}, later) for later in (False, True))
    compare_plans(Plan(()), Plan(()), fast=True)
    rows: dict[str, dict[str, Any]] = {}
    curves = {}
    for label, seeing in (("by hand", hand), ("fine", fine)):
        for n in (2, 3, 4, 6, 8, 12, 20):
            found = pairs_of(np.full(PAIRS, n), seeing, rng)  # type: ignore[arg-type]
            rows[f"{n} marks, placed {label}"] = row(*found)
            curves[n, label] = found
            print(f"{n} {label}: {rows[f'{n} marks, placed {label}']}", flush=True)
    for n in (3, 6, 12):
        rows[f"{n} marks, by hand, turn known to 10 degrees"] = row(
            *pairs_of(np.full(PAIRS, n), hand, rng, turn=Turn(0.2, 10))
        )
    for n in (6, 12):
        rows[f"{n} marks, by hand, in clusters"] = row(*pairs_of(np.full(PAIRS, n), hand, rng, clustered=True))
    drawn = rng.poisson(rng.choice(hand[0].rates, p=hand[0].rate_shares, size=5000))
    same, other, seconds = pairs_of(drawn, hand, rng)
    rows["as many as stones have"] = row(same, other, seconds)
    tails = performance.tail_identities(same, other, at=(0, 1, 2))
    write(folder, rows, tails, curves)


def write(folder: Path, rows: dict[str, Any], tails: dict[float, dict[str, float]], curves: dict[Any, Any]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    result = {"rows": rows, "tails": {str(k): v for k, v in tails.items()}}
    (folder / "accuracy_constellation.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    text = [
        f"Made by `python -m benchmarks.accuracy_constellation` on {date.today():%d %B %Y}, {platform.machine()}, 2 "
        f"processors shared with other work; {PAIRS} pairs of one stone and {PAIRS} of two a row. **Stones and plans "
        "are simulated** as the table of characteristics says.", "", *table_of(rows),
        "Tail identities, as many marks as stones have, 5,000 pairs of each kind:", "",
        *table_of({f"k = {10**k:g}": v for k, v in tails.items()}),
    ]  # fmt: skip
    (folder / "accuracy_constellation.md").write_text("\n".join(text), encoding="utf-8")
    mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "samestone", "font.size": 9})
    figure, axes = plt.subplots(1, 3, figsize=(9, 2.8), sharey=True, constrained_layout=True)
    grid = np.linspace(-4, 8, 241)
    for axis, n in zip(axes, (3, 6, 12), strict=True):
        same, other, _ = curves[n, "by hand"]
        axis.plot(grid, performance.shares_above(same, grid), color="#1f6f5c", label="one stone")
        axis.plot(grid, performance.shares_above(other, grid), color="#b4532a", ls="--", label="two stones")
        axis.axvline(0, color="#20242b", lw=0.6)
        axis.set(title=f"{n} marks", xlabel="log10 LR")
    axes[0].set_ylabel("share above")
    axes[0].legend(frameon=False)
    figure.suptitle("Plans placed by hand, turn unknown; simulated", fontsize=9)
    figure.savefig(folder / "accuracy_constellation_tippett.svg", metadata={"Date": None})


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "results")
