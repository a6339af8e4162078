"""A shop's weeks: jobs that come in, go to the bench and go home, a few of them with another stone by mistake.

What mistakes are common is not known from any published count; the rates here are inputs, not findings.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from samestone.simulate.record import Bench, draw_examination
from samestone.simulate.stones import Stone, draw_stone, draw_twin


@dataclass(frozen=True)
class Job:
    """One simulated job: both records, and the truth of what went home (same, mistaken, look-alike)."""

    number: int
    week: int
    truth: str
    setting: str
    before: dict[str, Any]
    after: dict[str, Any]


def _returned(rng: np.random.Generator, stone: Stone, number: int, truth: str) -> Stone:
    if truth == "mistaken":
        return draw_stone(f"other {number}", rng)
    return draw_twin(f"look-alike {number}", rng, stone) if truth == "look-alike" else stone


def draw_weeks(
    rng: np.random.Generator,
    bench: Bench,
    *,
    weeks: int,
    jobs_a_week: float = 12.0,
    mistaken: float = 0.0,
    look_alike: float = 0.0,
) -> Iterator[Job]:
    """Jobs of so many weeks in order; `mistaken` and `look_alike` are the chances that another stone comes back."""
    if weeks < 1 or not 0 <= mistaken + look_alike <= 1:
        raise ValueError(
            f"weeks {weeks}, mistaken {mistaken}, look_alike {look_alike}: give weeks >= 1 and chances in 0..1"
        )
    number = 0
    for week in range(1, weeks + 1):
        for _ in range(int(rng.poisson(jobs_a_week))):
            number += 1
            stone = draw_stone(
                f"stone {number}", rng, richness=str(rng.choice(["ordinary", "very clean"], p=[0.85, 0.15]))
            )
            chance = rng.random()
            truth = "mistaken" if chance < mistaken else "look-alike" if chance < mistaken + look_alike else "same"
            setting = str(rng.choice(["set", "loose"], p=[0.7, 0.3]))
            back = _returned(rng, stone, number, truth)
            before = draw_examination(stone, bench, rng, setting=setting)
            yield Job(number, week, truth, setting, before, draw_examination(back, bench, rng, setting=setting))
