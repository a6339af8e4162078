"""A stray stone among many records: a shortlist with the probability of each, and of none of them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from samestone.evidence.comparison import STOCK, Case, compare_cases
from samestone.evidence.examination import PROPERTY_UNIT, Examination, Measured
from samestone.evidence.grid import Grid, Lens
from samestone.evidence.measurement import comparable
from samestone.evidence.observable import Array
from samestone.evidence.population import Population, load_population
from samestone.evidence.verdict import Verdict

NONE = 0.5
"""Probability, before looking, that the stone belongs to none of the records (assumed; the asker may say otherwise)."""
CLOSEST = 200
"""Records that are compared in full: the nearest in size and weight."""
CLOSEST_BUT_ONE = 40
"""Records that are compared in full because they are near in all but one property, which may have been misread."""

_PROPERTIES = tuple(PROPERTY_UNIT)
_GROUPS = ((0,), (1, 2), (3,), (4,))


@dataclass(frozen=True, slots=True)
class Candidate:
    """A record that the stone may belong to: its probability, log10 LR before any limit, and the full comparison."""

    id: str
    posterior: float
    log10_lr: float
    verdict: Verdict

    def as_json(self) -> dict[str, Any]:
        findings = {
            outcome: [f.what for f in self.verdict.findings if f.outcome == outcome]
            for outcome in ("agrees", "doubtful", "disagrees", "not_compared")
        }
        return {"id": self.id, "posterior": _short(self.posterior), "log10_lr": round(self.log10_lr, 3), **findings}


@dataclass(frozen=True, slots=True)
class SearchResult:
    """A shortlist among `of` records. `none` and `others` are the probabilities of none of them, and of those not
    listed; `blank` counts records that share no measured property with the stone: nothing speaks for or against."""

    of: int
    candidates: tuple[Candidate, ...]
    none: float
    others: float
    blank: int

    def as_json(self) -> dict[str, Any]:
        return {
            "format": "samestone-search/1",
            "of": self.of,
            "candidates": [candidate.as_json() for candidate in self.candidates],
            "none_of_them": _short(self.none),
            "others": _short(self.others),
            "nothing_compared": self.blank,
            "note": "a shortlist to look at: sizes and weights alone assign no stone",
        }


def _short(share: float) -> float:
    return float(f"{share:.4g}")


@dataclass(eq=False)
class _Shelf:
    """Records of one cut that measured the same properties, and the largest uncertainties among them."""

    columns: tuple[int, ...]
    grid: Grid = field(init=False)
    independent: Array = field(init=False)
    common: Array = field(init=False)

    def __post_init__(self) -> None:
        self.grid = Grid(self.columns)
        self.independent, self.common = np.zeros(5), np.zeros(5)

    def lens(self, query: _Measurement, used: tuple[int, ...]) -> Lens:
        at = list(used)
        S = _covariance(self.independent, self.common)[np.ix_(at, at)] + query.covariance[np.ix_(at, at)]
        return Lens.of(self.columns, S, used)


@dataclass(frozen=True, slots=True)
class _Measurement:
    """Usable readings in the order of the properties; nan where there is none."""

    columns: tuple[int, ...]
    values: Array
    independent: Array
    common: Array

    @classmethod
    def of(cls, readings: Mapping[str, Measured]) -> _Measurement:
        table = np.full((3, 5), math.nan)
        for k, name in enumerate(_PROPERTIES):
            if (m := readings.get(name)) is not None and not m.unusable:
                table[:, k] = m.value, m.u_independent, m.u_common
        return cls(tuple(np.flatnonzero(~np.isnan(table[0])).tolist()), *table)

    @property
    def covariance(self) -> Array:
        return _covariance(self.independent, self.common)


def _covariance(independent: Array, common: Array) -> Array:
    """Lengths share the zero error of one gauge."""
    V = np.diag(np.square(independent) + np.square(common))
    for i in (1, 2, 3):
        for j in (1, 2, 3):
            if i != j:
                V[i, j] = common[i] * common[j]
    return V


class StrayIndex:
    """Records of stones, kept current as they come and go, in which a stray stone is searched."""

    def __init__(self, population: Population | None = None) -> None:
        self.population = population or load_population()
        self._records: dict[int, tuple[str, Examination]] = {}
        self._numbers: dict[str, int] = {}
        self._shelves: dict[tuple[str, tuple[int, ...]], _Shelf] = {}
        self._next = 0

    def __len__(self) -> int:
        return len(self._records)

    def __contains__(self, name: object) -> bool:
        return name in self._numbers

    @property
    def is_large(self) -> bool:
        """Whether a search needs code that is compiled, once on each machine."""
        return any(shelf.grid.is_large for shelf in self._shelves.values())

    def add(self, name: str, examination: Examination) -> None:
        """Add a record, or put it in the place of the earlier one of the same name."""
        if name in self._numbers:
            self.remove(name)
        measured = _Measurement.of(examination.readings)
        number, self._next = self._next, self._next + 1
        self._records[number] = name, examination
        self._numbers[name] = number
        shelf = self._shelves.setdefault((examination.cut, measured.columns), _Shelf(measured.columns))
        if measured.columns:
            at = list(measured.columns)
            shelf.grid.add(measured.values[None, at], np.array([number], np.int32))
            shelf.independent[at] = np.maximum(shelf.independent[at], measured.independent[at])
            shelf.common[at] = np.maximum(shelf.common[at], measured.common[at])

    def remove(self, name: str) -> None:
        """Take a record out; a name that is not there is refused with KeyError."""
        number = self._numbers.pop(name)
        _, examination = self._records.pop(number)
        measured = _Measurement.of(examination.readings)
        if measured.columns:
            self._shelves[examination.cut, measured.columns].grid.remove(number)

    def search(
        self, examination: Examination, limit: int = 10, *, none: float = NONE, stock: int = STOCK
    ) -> SearchResult:
        """The `limit` most probable records; every record is as probable as any other before looking.

        P(i | stone) = pi_i LR_i / (pi_none + sum_j pi_j LR_j), pi_i = (1 - none) / records; LR of records that are far
        in size and weight is 0. Refuses a `none` that is not between 0 and 1. Never an assignment: who looks decides.
        """
        if not 0 < none < 1:
            raise ValueError(f"none is {none}, expected more than 0 and less than 1")
        near, blank = self._near(examination)
        records = [self._records[number] for number in sorted(near)]
        cases = [Case(record, examination, comparable(record, examination)) for _, record in records]
        verdicts = compare_cases(cases, population=self.population, stock=stock)
        ratios = np.array([_log10_lr(verdict) for verdict in verdicts])
        prior = (1 - none) / max(len(self), 1)
        weights = prior * 10.0 ** np.clip(ratios, -300, 300)
        total = none + weights.sum() + prior * blank
        order = np.lexsort((np.arange(len(weights)), -weights))[:limit].tolist()
        listed = tuple(
            Candidate(records[i][0], float(weights[i] / total), float(ratios[i]), verdicts[i]) for i in order
        )
        share = none / total if len(self) else 1.0
        others = max(0.0, 1.0 - share - sum(candidate.posterior for candidate in listed))
        return SearchResult(len(self), listed, float(share), float(others) if len(self) else 0.0, blank)

    def _near(self, examination: Examination) -> tuple[set[int], int]:
        """Numbers of the records worth a full comparison, and how many share no measured property with the stone."""
        query = _Measurement.of(examination.readings)
        near: set[int] = set()
        blank: list[int] = []
        for (cut, columns), shelf in self._shelves.items():
            if cut != examination.cut:
                continue
            shared = tuple(k for k in columns if k in query.columns)
            if shared:
                near |= set(_ask(shelf, query, shared))
            else:
                blank += [n for n, (_, e) in self._records.items() if e.cut == cut and _pattern(e) == columns]
        if len(blank) <= CLOSEST:
            return near | set(blank), 0
        return near, len(blank)


def _pattern(examination: Examination) -> tuple[int, ...]:
    return _Measurement.of(examination.readings).columns


def _ask(shelf: _Shelf, query: _Measurement, shared: tuple[int, ...]) -> Iterator[int]:
    """The nearest in all shared columns, and those near in all but one group of them."""
    point = np.nan_to_num(query.values[list(shelf.columns)])
    yield from shelf.grid.nearest(point, shelf.lens(query, shared), CLOSEST)[0].tolist()
    groups = [group for group in _GROUPS if set(group) & set(shared)]
    for group in groups if len(groups) > 1 else []:
        rest = tuple(k for k in shared if k not in group)
        yield from shelf.grid.nearest(point, shelf.lens(query, rest), CLOSEST_BUT_ONE)[0].tolist()


def _log10_lr(verdict: Verdict) -> float:
    """The sum of the blocks, sizes and weight unlimited so that records can be ranked."""
    outside = "outside_population" in verdict.flags
    return math.fsum(
        block.raw if block.what == "size_and_weight" and not outside else block.random for block in verdict.blocks
    )
