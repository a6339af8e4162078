"""Which examination is worth its time next: expected gain in log10 LR, per minute at the bench."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Literal

import numpy as np

from samestone.evidence import bound
from samestone.evidence.comparison import kernels_of
from samestone.evidence.density import Kernels
from samestone.evidence.examination import PROPERTY_UNIT, Examination, Measured
from samestone.evidence.information import Given
from samestone.evidence.lookalike import TOLERANCES, size_variances
from samestone.evidence.measurement import COVERED
from samestone.evidence.observable import LN_D, LN_W, LN_Z, Array, E, T, choose_columns, observe
from samestone.evidence.population import Population
from samestone.evidence.word import chances_of_words, judge_words

WORTH_IT = 0.1
"""Expected log10 LR below which an examination is not worth its time."""

MEASURED: Mapping[str, tuple[tuple[str, ...], tuple[int, ...]]] = {
    "diameters": (("diameter_min_mm", "diameter_max_mm"), (LN_D, E)),
    "depth": (("depth_mm",), (LN_Z,)),
    "weight": (("weight_ct",), (LN_W,)),
    "table": (("table_percent",), (T,)),
}
"""Examinations that measure: the properties and the columns that each adds."""

Against = Literal["random", "look_alike"]


@dataclass(frozen=True, slots=True)
class NextExamination:
    """What could be examined next, both times: expected log10 LR if it is one stone, and what it costs.

    `random` against a stone drawn at random, `look_alike` against one chosen for its size and weight. `needs` says what
    must be done first, or is empty; `assumed` says that the gain does not come from data.
    """

    what: str
    random: float
    look_alike: float
    minutes: float
    needs: str
    assumed: bool

    def per_minute(self, against: Against) -> float:
        gain: float = getattr(self, against)
        return gain / self.minutes

    def as_json(self) -> dict[str, Any]:
        return {
            "what": self.what,
            "expected_log10_lr": {"random": round(self.random, 3), "look_alike": round(self.look_alike, 3)},
            "minutes": self.minutes,
            "per_minute": {
                "random": round(self.per_minute("random"), 3),
                "look_alike": round(self.per_minute("look_alike"), 3),
            },
            "needs": self.needs,
            "assumed": self.assumed,
        }


def next_examinations(
    examination: Examination, *, population: Population, against: Against = "random"
) -> tuple[NextExamination, ...]:
    """Examinations that the record lacks and that are worth their time, the best per minute first; empty: stop.

    Leaves out what is expected to add less than 0.1 to log10 LR, and what the record says could not be looked at, but
    for the weight of a set stone: unsetting helps. Sizes and weight are planned for round brilliants
    only, which the reference stones are.
    """
    found = [*_measured(examination, population), *_seen(examination), *_pictured(examination)]
    hidden = {entry.what for entry in examination.not_examined} - {"weight_ct"}
    worth = [item for item in found if getattr(item, against) >= WORTH_IT and not hidden & _parts(item.what)]
    return tuple(sorted(worth, key=lambda item: -item.per_minute(against)))


def _parts(what: str) -> set[str]:
    """The words that a record uses for an examination."""
    return set(MEASURED[what][0]) if what in MEASURED else {what}


@lru_cache(maxsize=1)
def bench_times() -> dict[str, Any]:
    """Minutes, needs and default uncertainties that ship with the program, numbers as strings."""
    return tomllib.loads((files("samestone.evidence") / "data" / "bench-time.toml").read_text(encoding="utf-8"))


def _offer(what: str, examination: Examination, random: float, look_alike: float) -> NextExamination:
    row = bench_times()[what]
    unset = "minutes_set" in row and examination.setting == "set"
    minutes = float(row["minutes_set" if unset else "minutes"])
    needs = row["needs"] if what != "weight" or unset else ""
    return NextExamination(what, random, look_alike, minutes, needs, "gain" in row)


# --- measured ---------------------------------------------------------------------------------------------------------


def _measured(examination: Examination, population: Population) -> Iterator[NextExamination]:
    usable = {name: m for name, m in examination.readings.items() if not m.unusable}
    wanted = {what: row for what, row in MEASURED.items() if not usable.keys() & set(row[0])}
    if not wanted or examination.cut != COVERED:
        return
    kernels = kernels_of(population)
    known = choose_columns(set(usable))
    x, U = _planned(examination, usable, kernels, known)
    plain = Given(kernels, known, x, U)
    chosen = _chosen(kernels, known, x, U)
    for what, (_, columns) in wanted.items():
        gain = _within(plain.gain(*columns), known + columns, "random")
        alike = _within(chosen.gain(*columns), known + columns, "look_alike") if columns == (T,) else 0.0
        yield _offer(what, examination, gain, min(gain, alike))


def _within(gain: float, columns: tuple[int, ...], against: str) -> float:
    """No more than the range in which such comparisons were validated can carry."""
    return min(max(gain, 0.0), bound.validated(tuple(sorted(columns)), against)[1])


def _planned(
    examination: Examination, usable: Mapping[str, Measured], kernels: Kernels, known: tuple[int, ...]
) -> tuple[Array, Array]:
    """Columns and covariance with every property filled in: as measured, or as is likely, with the planned u."""
    values = dict(zip(PROPERTY_UNIT, (1.0, 6.5, 6.5, 4.0, 57.0), strict=True))
    for attempt in range(2):
        filled = {name: usable.get(name) or _plan_reading(examination, name, values[name]) for name in PROPERTY_UNIT}
        x, U = observe([filled])
        if attempt == 0:
            likely = Given(kernels, known, x[0], U[0]).estimate()
            values = _values_of(np.where(np.isin(np.arange(7), known), x[0], likely))
    return x[0], U[0]


def _values_of(columns: Array) -> dict[str, float]:
    d, e = math.exp(columns[LN_D]), columns[E]
    low, high = d * (1 - e / 2), d * (1 + e / 2)
    values = (math.exp(columns[LN_W]), low, high, math.exp(columns[LN_Z]), float(columns[T]))
    return dict(zip(PROPERTY_UNIT, values, strict=True))


def _plan_reading(examination: Examination, name: str, value: float) -> Measured:
    """A reading as the record's own instrument of that unit would give it, or one with the planned u."""
    unit = PROPERTY_UNIT[name]
    for instrument in examination.instruments.values():
        if instrument.unit == unit and instrument.u > 0:
            own = math.sqrt(instrument.u**2 - instrument.u_common**2 + instrument.resolution**2 / 12)
            u = math.hypot(own, instrument.u_common)
            return Measured(value, u, own, instrument.u_common, 1, instrument.name)
    row = bench_times()["instruments"][unit]
    u = float(row["u_set" if examination.setting == "set" else "u"])
    common = float(row["common"]) * u
    return Measured(value, u, math.sqrt(u**2 - common**2), common, 1, f"planned {unit}")


def _chosen(kernels: Kernels, known: tuple[int, ...], x: Array, U: Array) -> Given:
    """The same stone against one chosen for its size and weight: these are as good as known."""
    held = np.full(7, math.nan)
    for column, variance in size_variances(x[None], TOLERANCES[0]).items():
        held[column] = variance[0]
    return Given(kernels, known, x, U, held=held)


# --- seen -------------------------------------------------------------------------------------------------------------


def _seen(examination: Examination) -> Iterator[NextExamination]:
    looked_at = {name for name, reaction in examination.reactions.items() if not reaction.unusable}
    looked_at |= examination.observations.keys()
    for what in ("uv_long_wave", "girdle_finish", "culet", "inscription"):
        if what not in looked_at:
            yield _offer(what, examination, *gain_of_words(what))


@lru_cache(maxsize=8)
def gain_of_words(what: str) -> tuple[float, float]:
    """Expected log10 LR, against both substitutes, of a thing named in words by two observers.

    Sum over pairs of words of their chance for one stone, times what the pair says (clipped as in a verdict).
    """
    random = look_alike = 0.0
    for first, second, chance in chances_of_words(what):
        block = judge_words(what, first, second)[1]
        if block is not None:
            random += chance * block.random
            look_alike += chance * block.look_alike
    return random, look_alike


def _pictured(examination: Examination) -> Iterator[NextExamination]:
    missing: Sequence[str] = ["characteristics"] if examination.characteristics is None else []
    for what in (*missing, "photographs"):
        gain = float(bench_times()[what]["gain"])
        yield _offer(what, examination, gain, gain)
