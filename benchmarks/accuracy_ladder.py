"""How often another stone reaches the top sentence, its numbers copied, and how often the stone itself does.

    .venv/bin/python -m benchmarks.accuracy_ladder [results folder]

Stones' sizes are those kept for testing; re-measurements, what is seen and plans of marks are simulated as
data/categories.toml and data/characteristics.toml describe them, so that this measures the rule and not the tables.
"""

from __future__ import annotations

import json
import platform
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.accuracy_constellation import Marks, draw_plan, stone, table_of
from benchmarks.remeasurement import LOOSE, measure, record

from samestone.evidence.category import tables
from samestone.evidence.comparison import Case, compare_cases
from samestone.evidence.constellation import rotate
from samestone.evidence.examination import Examination, Reaction
from samestone.evidence.measurement import comparable
from samestone.evidence.observable import Array
from samestone.evidence.performance import share_range
from samestone.evidence.population import load_population
from samestone.evidence.record import read_examination
from samestone.evidence.seeing import Seeing, kind_table, shipped_seeing
from samestone.evidence.verdict import Verdict

N = 5000
CHOSEN_AMONG = 30
ANYTHING, MARKS = (1.0, 1.5), (1.5, 2.0)
"""log10 LR at which anything beyond size, or marks, would carry the top sentence under looser rules."""
States = dict[str, int]
"""The true state of each category, by position; "hue" is that of the fluorescence."""


def draw_states(rng: np.random.Generator) -> States:
    table = tables()
    found = {what: draw(table[what]["share"], rng) for what in ("uv_long_wave", "girdle_finish", "culet")}
    inscribed = rng.random() > float(table["inscription"]["share_without"])
    return {**found, "hue": draw(table["uv_long_wave"]["colour_share"], rng),
            "inscription": int(rng.integers(1, 10**9)) if inscribed else 0}  # fmt: skip


def draw(shares: Sequence[str], rng: np.random.Generator) -> int:
    p = np.array(shares, float)
    return int(rng.choice(len(p), p=p / p.sum()))


def look(states: States, rng: np.random.Generator) -> tuple[dict[str, Reaction], dict[str, str]]:
    """What an observer calls the states."""
    table = tables()
    seen = {}
    for what in ("uv_long_wave", "girdle_finish", "culet"):
        seen[what] = table[what]["states"][draw(table[what]["confusion"][states[what]], rng)]
    uv = table["uv_long_wave"]
    rightly = rng.random() < float(uv["colour_named_rightly"])
    colour = uv["colours"][states["hue"] if rightly else rng.integers(len(uv["colours"]))]
    strength = seen.pop("uv_long_wave")
    missed = rng.random() < float(table["inscription"]["missed"])
    seen["inscription"] = str(states["inscription"]) if states["inscription"] and not missed else "none seen"
    return {"uv_long_wave": Reaction(strength, "" if strength == "none" else colour)}, seen


def examine(readings: Examination, seen: tuple[States, Marks], seeing: Seeing, rng: np.random.Generator) -> Examination:
    reactions, observations = look(seen[0], rng)
    marks = rotate(draw_plan(seen[1], seeing, rng).marks, rng.uniform(0, 360))
    return replace(readings, reactions=reactions, observations=observations, characteristics=marks)


def moved(marks: Marks, seeing: Seeing, rng: np.random.Generator) -> Marks:
    """As many marks of the same kinds and sizes, elsewhere."""
    edge = kind_table(seeing).edge
    found = []
    for kind, _, _, size in marks:
        r = np.sqrt(rng.uniform(0.85**2, 1.0) if edge[kind] and rng.random() < 0.9 else rng.random())
        angle = rng.uniform(0, 2 * np.pi)
        found.append((kind, float(r * np.cos(angle)), float(r * np.sin(angle)), size))
    return found


def judge(pairs: Sequence[tuple[Examination, Examination]]) -> list[Verdict]:
    population = load_population()
    cases = [Case(a, b, comparable(a, b)) for a, b in pairs]
    return [verdict for part in range(0, len(cases), 500)
            for verdict in compare_cases(cases[part : part + 500], population=population, fast=True)]  # fmt: skip


def carried(verdict: Verdict) -> dict[str, float]:
    """What each thing beyond size brings, where nothing else keeps the verdict from the top."""
    stopped = verdict.unchecked or verdict.ladder not in ("agrees", "agrees_some_unchecked")
    return {} if stopped else {b.what: b.look_alike for b in verdict.blocks if b.beyond_size}


def row(verdicts: Sequence[Verdict]) -> dict[str, Any]:
    """Shares in per cent: of those at the top, and of those that would be there under looser rules."""
    top = sum(v.ladder == "agrees" for v in verdicts)
    low, high = share_range(top, len(verdicts))
    found = [carried(v) for v in verdicts]
    best = np.array([max(brings.values(), default=0.0) for brings in found])
    marks = np.array([brings.get("characteristics", 0.0) for brings in found])
    return {
        "pairs": len(verdicts), "top sentence %": 100 * top / len(verdicts),
        "95 % from": 100 * low, "to": 100 * high,
        **{f"if anything of {at:g} sufficed %": 100 * float((best >= at).mean()) for at in ANYTHING},
        **{f"if marks of {at:g} sufficed %": 100 * float((marks >= at).mean()) for at in MARKS},
        "not enough %": 100 * sum(v.ladder == "not_enough" for v in verdicts) / len(verdicts),
        "disagrees %": 100 * sum(v.ladder == "disagrees" for v in verdicts) / len(verdicts),
    }  # fmt: skip


def readings_of(values: Array, rng: np.random.Generator) -> list[Examination]:
    return [read_examination(record(row)) for row in measure(values, LOOSE, rng)]


def main(folder: Path) -> None:
    rng = np.random.default_rng(61)
    values = load_population().test.values[rng.permutation(len(load_population().test))[:N]]
    first_look, later_look = shipped_seeing(), shipped_seeing(later=True)
    numbers, again = readings_of(values, rng), readings_of(values, rng)

    def draw_marks() -> Marks:
        return stone(int(rng.poisson(rng.choice(first_look.rates, p=first_look.rate_shares))), first_look, rng)

    states, marks = [draw_states(rng) for _ in range(N)], [draw_marks() for _ in range(N)]
    first = [examine(numbers[i], (states[i], marks[i]), first_look, rng) for i in range(N)]

    def against(readings: Sequence[Examination], seen: Callable[[int], tuple[States, Marks]]) -> list[Verdict]:
        return judge([(first[i], examine(readings[i], seen(i), later_look, rng)) for i in range(N)])

    def unmarked(record: Examination) -> Examination:
        return replace(record, characteristics=None)

    def named_only(record: Examination) -> Examination:
        return replace(record, observations={"inscription": "12345678"})

    def chosen() -> Iterator[Verdict]:
        for i in range(N // 10):
            stock = judge([(first[i], examine(numbers[i], (states[i], draw_marks()), later_look, rng))
                           for _ in range(CHOSEN_AMONG)])  # fmt: skip
            yield max(stock, key=lambda v: next(b.look_alike for b in v.blocks if b.what == "characteristics"))

    rows = {
        "the stone itself": row(against(again, lambda i: (states[i], marks[i]))),
        "numbers copied, nothing else looked at": row(judge([(one, one) for one in numbers])),
        "numbers and inscription copied": row(judge([(named_only(one),) * 2 for one in numbers])),
        "fluorescence, finish, culet and inscription copied too, marks not looked for": row(
            judge(
                [
                    (unmarked(first[i]), unmarked(examine(numbers[i], (states[i], []), later_look, rng)))
                    for i in range(N)
                ]
            )
        ),
        "numbers copied, another stone": row(against(numbers, lambda i: (states[i - 1], marks[i - 1]))),
        "all but the marks copied": row(against(numbers, lambda i: (states[i], marks[i - 1]))),
        "all that, and the marks, in other places": row(
            against(numbers, lambda i: (states[i], moved(marks[i], first_look, rng)))
        ),
        f"all but the marks copied, of {CHOSEN_AMONG} the one with the likest marks": row(list(chosen())),
    }
    for name, found in rows.items():
        print(name, {key: round(value, 2) for key, value in found.items()}, flush=True)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "accuracy_ladder.json").write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    table = {name: {key: value for key, value in found.items() if key != "pairs"} for name, found in rows.items()}
    text = [
        f"Made by `python -m benchmarks.accuracy_ladder` on {date.today():%d %B %Y}, {platform.machine()}. Loose round "
        "brilliants, everything examined both times. **What is measured and seen is simulated** as the tables say. "
        f"{N:,} pairs a row, {N // 10} in the last. \"Copied\" numbers are those of the first record to the last "
        "digit. The columns with \"if\" show what looser rules would let through.", "", *table_of(table),
    ]  # fmt: skip
    (folder / "accuracy_ladder.md").write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "results")
