"""How often, and how strongly, sizes and weights say the right thing about stones kept for testing.

    .venv/bin/python -m benchmarks.accuracy_numbers [results folder]

Every re-measurement is simulated with the noise that its row states. Writes accuracy_numbers.json, .md and plots.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.remeasurement import FINE, LOOSE, SET, Bench, Remeasured, declare, measured_twice
from lir.data.models import LLRData
from lir.metrics import cllr as lir_cllr
from scipy.spatial import cKDTree

from samestone.evidence.bound import clip, pattern, validated
from samestone.evidence.density import Kernels
from samestone.evidence.likelihood import Pairs, merge
from samestone.evidence.observable import LN_D, LN_W, LN_Z, Array, E, T, observables
from samestone.evidence.performance import cllr, cllr_min, equal_error_rate
from samestone.evidence.population import load_population
from samestone.evidence.weighing import Weighed, weigh

ALL = (LN_W, LN_D, E, LN_Z, T)
SETS: dict[str, tuple[tuple[int, ...], Bench]] = {
    "diameters, in setting (u 0.02 mm)": ((LN_D, E), SET),
    "diameters, loose (u 0.01 mm)": ((LN_D, E), LOOSE),
    "weight": ((LN_W,), LOOSE),
    "diameters, depth": ((LN_D, E, LN_Z), LOOSE),
    "diameters, depth, table": ((LN_D, E, LN_Z, T), LOOSE),
    "weight, diameters": ((LN_W, LN_D, E), LOOSE),
    "weight, diameters, depth": ((LN_W, LN_D, E, LN_Z), LOOSE),
    "weight, diameters, depth, table": (ALL, LOOSE),
    "the same, fine gauges (u 0.005 mm, 0.25 %)": (ALL, FINE),
}
N = 6000
LN10 = np.log(10)


def every_pair(kernels: Kernels, columns: tuple[int, ...], pair: Remeasured) -> tuple[Array, Array, int]:
    """log10 LR of all (stone, stone), and of those pairs of two stones that could matter; and how many pairs there are.

    Of N (N-1) pairs those with a squared distance above 70 have an LR of next to nothing and are counted only.
    """
    at = np.ix_(range(len(pair.x)), columns, columns)
    log_x = kernels.log_density(columns, pair.x[:, columns], pair.Ux[at])
    log_y = kernels.log_density(columns, pair.y[:, columns], pair.Uy[at])

    def ratio(first: Array, second: Array) -> Array:
        pairs = Pairs(columns, pair.x[first], pair.Ux[first], pair.y[second], pair.Uy[second])
        log_together, c, C = merge(pairs)
        return (log_together + kernels.log_density(columns, c, C) - log_x[first] - log_y[second]) / LN10

    own = np.arange(len(pair.x))
    others = []
    for i in own:
        precision = np.linalg.inv(2 * pair.Ux[i][np.ix_(columns, columns)])
        difference = pair.y[:, columns] - pair.x[i, columns]
        near = np.flatnonzero((difference @ precision * difference).sum(axis=1) < 110)
        near = near[near != i]
        if len(near):
            one = np.full(len(near), i)
            pairs = Pairs(columns, pair.x[one], pair.Ux[one], pair.y[near], pair.Uy[near])
            others.append(np.stack([one, near])[:, pairs.distance() < 70])
    first, second = np.concatenate(others, axis=1)
    parts = np.array_split(np.arange(len(first)), 1 + len(first) // 200_000)
    near = np.concatenate([ratio(first[part], second[part]) for part in parts])
    return ratio(own, own), near, len(own) * (len(own) - 1)


def plain(kernels: Kernels, columns: tuple[int, ...], pair: Remeasured) -> Array:
    """log10 LR of pairs of one stone, without room for blunders."""
    found = weigh(kernels, Pairs(columns, pair.x, pair.Ux, pair.y, pair.Uy), 1000).working[:, 0]
    return np.where(np.isnan(found), -300, found)


def random_row(
    kernels: Kernels, columns: tuple[int, ...], pair: Remeasured, others: list[Remeasured]
) -> tuple[dict[str, Any], Array, Array]:
    """`others` are further measurements of the same stones: E[1/LR] rests on few of many pairs."""
    same, near, total = every_pair(kernels, columns, pair)
    more = np.concatenate([same, *(plain(kernels, columns, other) for other in others)])
    far = total - len(near)
    alarm = np.log1p(10.0**near).sum() / np.log(2) / total
    miss = np.log1p(10.0**-same).mean() / np.log(2)
    identities = {}
    for k in range(5):
        observed = (near > k).sum() / total
        predicted = np.where(more > k, 10.0**-more, 0).mean()
        identities[f"1e{k}"] = [float(observed), float(predicted), int((near > k).sum())]
    row = {
        "pairs of two stones": total,
        "Cllr": float(miss + alarm) / 2,
        "Cllr min": cllr_min(same, near, far=far),
        "EER %": 100 * equal_error_rate(same, near, far=far),
        "median log10 LR, one stone": float(np.median(same)),
        "5 % point": float(np.quantile(same, 0.05)),
        "LR < 1, one stone %": 100 * float((same < 0).mean()),
        "LR > 1, two stones %": 100 * float((near > 0).sum() / total),
        "P(LR > 100, two)": float((near > 2).sum() / total),
        "P(LR > 1e4, two)": float((near > 4).sum() / total),
        "largest, two": float(near.max()),
        "mean LR, two": float((10.0**near).sum() / total),
        "tail identities": identities,
    }
    return row, same, near


def shipped(kernels: Kernels, columns: tuple[int, ...], pair: Remeasured, rounds: int = 8) -> dict[str, float]:
    """As shipped: with room for blunders, clipped to the validated range."""
    lower, upper, _ = validated(columns, "random")
    n = len(pair.x)
    same = weigh(kernels, Pairs(columns, pair.x, pair.Ux, pair.y, pair.Uy), 1000).random
    other = np.concatenate([
        weigh(kernels, Pairs(columns, pair.x, pair.Ux, np.roll(pair.y, k, 0), np.roll(pair.Uy, k, 0)), 1000).random
        for k in range(1, rounds + 1)
    ])  # fmt: skip
    same, other = (np.array([clip(v, lower, upper) for v in values]) for values in (same, other))
    truth = np.concatenate([np.ones(n), np.zeros(len(other))])
    theirs = float(lir_cllr(LLRData(features=np.concatenate([same, other])[:, None], labels=truth)))
    return {
        "Cllr": cllr(same, other),
        "Cllr by lir": theirs,
        "Cllr min": cllr_min(same, other),
        "LR < 1, one stone %": 100 * float((same < 0).mean()),
        "LR > 1, two stones %": 100 * float((other > 0).mean()),
        "P(LR > 1e3, two)": float((other > 3).mean()),
    }


def blundered(pair: Remeasured, share: float, rng: np.random.Generator) -> Remeasured:
    """A share of the later records gets one blunder: 0.1 mm, or 0.010 ct."""
    values = pair.raw[1].copy()
    hit = np.flatnonzero(rng.random(len(values)) < share)
    column = rng.integers(0, 4, len(hit))
    size = np.where(column == 0, 0.010, 0.1) * rng.choice([-1, 1], len(hit))
    values[hit, column] += size
    y, Uy = declare(values, LOOSE)
    return Remeasured(pair.true, pair.x, pair.Ux, y, Uy, (pair.raw[0], values))


def misjudged(kernels: Kernels, values: Array, seed: int) -> dict[str, dict[str, float]]:
    rows = {}
    for actual in (1.0, 1.5, 2.0, 0.67):
        pair = measured_twice(values, LOOSE, np.random.default_rng(seed), actual)
        rows[f"true u = {actual:g} x declared"] = shipped(kernels, ALL, pair, 2)
    pair = measured_twice(values, LOOSE, np.random.default_rng(seed))
    for share in (0.01, 0.04):
        wrong = blundered(pair, share, np.random.default_rng(seed + 1))
        rows[f"{share:.0%} of the later records with a blunder"] = shipped(kernels, ALL, wrong, 2)
    return rows


def held(found: Weighed) -> dict[str, Array]:
    """Finite log10 LR."""
    return {side: np.clip(getattr(found, side), -300, 300) for side in ("random", "look_alike")}


RULES = ("as near as gauges tell", "nearest to the first record", "nearest for the spread of stones")
"""How the substitute is chosen: by true values over their u, by the values first recorded over their u, or by true
values over the standard deviation of all stones."""


def substitutes(pair: Remeasured, stock: int, by: tuple[int, ...], rule: str, rng: np.random.Generator) -> Array:
    """Values of the nearest other stone of a stock, drawn anew for each stone or each fortieth of them."""
    test = load_population().test.values
    pool = observables(test)
    spread = pool[:, by].std(axis=0) if rule == RULES[2] else np.sqrt(np.median(pair.Ux[:, by, by], axis=0) * 2)
    wanted = pair.x if rule == RULES[1] else pair.true
    chosen = []
    for part in np.array_split(np.arange(len(wanted)), 40 if stock > 30 else len(wanted)):
        shelf = rng.choice(len(pool), min(stock, len(pool)), replace=False)
        found = cKDTree(pool[np.ix_(shelf, by)] / spread).query(wanted[np.ix_(part, by)] / spread, k=2)[1]
        own = shelf[found[:, 0]] == part  # the stones to be substituted are the first of the test split
        chosen.append(shelf[np.where(own, found[:, 1] % len(shelf), found[:, 0])])
    return test[np.concatenate(chosen)]


def look_alikes(kernels: Kernels, values: Array, seed: int) -> list[dict[str, Any]]:
    """Substitutes from stocks of several sizes, judged by the look-alike LR of all five properties."""
    rng = np.random.default_rng(seed)
    pair = measured_twice(values, LOOSE, rng)
    cases = [(stock, by, RULES[0]) for stock in (2, 30, 1000, 12_000) for by in (ALL[:3], ALL[:4])]
    cases += [(12_000, by, rule) for rule in RULES[1:] for by in (ALL[:3], ALL[:4])]
    rows = []
    for stock, by, rule in cases:
        again = measured_twice(substitutes(pair, stock, by, rule, rng), LOOSE, rng)
        same = held(weigh(kernels, Pairs(ALL, pair.x, pair.Ux, pair.y, pair.Uy), stock))
        other = held(weigh(kernels, Pairs(ALL, pair.x, pair.Ux, again.y, again.Uy), stock))
        rows.append({
            "stock": stock, "chosen by": pattern(by).replace("+", ", "), "rule": rule,
            "Cllr of LR random": cllr(same["random"], other["random"]),
            "Cllr of LR look-alike": cllr(same["look_alike"], other["look_alike"]),
            "Cllr min": cllr_min(same["look_alike"], other["look_alike"]),
            "LR < 1, one stone %": 100 * float((same["look_alike"] < 0).mean()),
            "LR > 100, chosen %": 100 * float((other["look_alike"] > 2).mean()),
            "mean LR, chosen": float((10.0 ** other["look_alike"]).mean()),
        })  # fmt: skip
    return rows


def main(folder: Path) -> None:
    started = time.time()
    kernels = Kernels(load_population().reference, fast=True)
    stones = load_population().test.values[:N]
    result: dict[str, Any] = {"random": {}, "shipped": {}}
    curves = {}
    for seed, (name, (columns, bench)) in enumerate(SETS.items()):
        pair = measured_twice(stones, bench, np.random.default_rng(100 + seed))
        others = [measured_twice(stones, bench, np.random.default_rng(1000 + 20 * seed + k)) for k in range(9)]
        result["random"][name], same, near = random_row(kernels, columns, pair, others)
        result["shipped"][name] = shipped(kernels, columns, pair)
        curves[name] = (same, near, result["random"][name]["pairs of two stones"])
        print(f"{name}: Cllr {result['random'][name]['Cllr']:.4f}", flush=True)
    result["misjudged"] = misjudged(kernels, stones, 200)
    result["look_alikes"] = look_alikes(kernels, stones[:3000], 300)
    result["seconds"] = round(time.time() - started)
    from benchmarks.accuracy_numbers_report import draw, write_report

    folder.mkdir(parents=True, exist_ok=True)
    (folder / "accuracy_numbers.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    (folder / "accuracy_numbers.md").write_text(write_report(result), encoding="utf-8")
    draw(curves, result, folder)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "results")
