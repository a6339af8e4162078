"""How far a log10 LR may go: the range in which each kind of evidence was validated, and the limit of any process."""

from __future__ import annotations

import json
import math
from functools import lru_cache
from importlib.resources import files
from typing import Any

from samestone.evidence.observable import LN_A, LN_B, LN_D, LN_W, LN_Z, T

PROCESS_ERROR = 1e-4
"""How often records are mixed up, one way or the other (assumed until a shop has audited its own): e."""

OUTSIDE = 1.0
"""|log10 LR| of size and weight for a stone unlike the reference stones: never more than weak support (assumed)."""

_NAMES = {LN_W: "weight", LN_D: "diameters", LN_A: "diameter", LN_B: "diameter", LN_Z: "depth", T: "table"}


def pattern(columns: tuple[int, ...]) -> str:
    """The name of a set of columns in the table of bounds.

    >>> pattern((0, 1, 2, 3))
    'weight+diameters+depth'
    """
    return "+".join(_NAMES[column] for column in columns if column in _NAMES)


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    text = (files("samestone.evidence") / "data" / "bounds-1.json").read_text(encoding="utf-8")
    table: dict[str, Any] = json.loads(text)
    return table


def validated(columns: tuple[int, ...], against: str) -> tuple[float, float, int]:
    """(lower, upper, n) of log10 LR for sizes and weights compared in these columns; `against` random or look_alike.

    Made by scripts/validate_bounds.py: the empirical lower and upper bounds of Vergeer et al. (Science & Justice 56,
    482-491, 2016), on simulated re-measurements of n stones kept for testing and n pairs of different ones.
    """
    lower, upper = _table()[against].get(pattern(columns), (-1.0, 1.0))
    return lower, upper, _table()["n"]


def clip(value: float, lower: float, upper: float) -> float:
    return max(lower, min(upper, value))


def limit_process(log10_lr: float) -> float:
    """LR' = ((1-e) LR + e) / ((1-e) + e LR): no comparison is stronger than the process that produced the records.

    >>> round(limit_process(9.0), 3), round(limit_process(2.0), 3)
    (4.0, 1.996)
    """
    e = PROCESS_ERROR
    lr = 10.0 ** clip(log10_lr, -300, 300)
    return math.log10(((1 - e) * lr + e) / ((1 - e) + e * lr))


def process_limits() -> tuple[float, float]:
    """Lower and upper limit of `limit_process`."""
    most = math.log10((1 - PROCESS_ERROR) / PROCESS_ERROR)
    return -most, most
