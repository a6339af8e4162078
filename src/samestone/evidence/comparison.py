"""Two records of a stone, compared."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from samestone.evidence import bound, wording
from samestone.evidence.category import judge_categories
from samestone.evidence.density import Kernels
from samestone.evidence.examination import Examination
from samestone.evidence.ladder import climb, goes_beyond
from samestone.evidence.likelihood import Pairs
from samestone.evidence.mark import judge_marks
from samestone.evidence.measurement import COVERED, Comparable, comparable, measured_findings
from samestone.evidence.narrowing import Narrowing, narrow
from samestone.evidence.observable import LN_D, LN_W, LN_Z, Array, E, T, observe
from samestone.evidence.population import Population
from samestone.evidence.stone import judge_names
from samestone.evidence.verdict import Block, Verdict, Weight
from samestone.evidence.weighing import weigh

STOCK = 1000
"""Stones among which a look-alike could have been chosen, unless the asker says otherwise: a shop's stock."""

REPOLISHED = {LN_W: 0.03, LN_D: 0.015, E: 0.010, LN_Z: 0.020, T: 2.0}
"""Standard uncertainty that a declared repolish adds to each column of the later record (assumed)."""


@dataclass(frozen=True, slots=True)
class Case:
    """A pair of records, what of their readings can be compared, and further evidence judged elsewhere."""

    before: Examination
    after: Examination
    readings: Comparable
    extra: tuple[Block, ...] = ()


@dataclass(frozen=True, slots=True)
class Numbers:
    """What sizes and weights say of one case."""

    columns: tuple[int, ...]
    random: float
    look_alike: float
    distance: float
    outside: bool
    narrowing: Narrowing | None
    working: Mapping[str, float]


def compare(
    before: Examination,
    after: Examination,
    *,
    population: Population,
    stock: int = STOCK,
    blocks: Sequence[Block] = (),
    fast: bool = False,
) -> Verdict:
    """Say how strongly two records support that they are of one stone.

    `stock` is the number of stones among which a look-alike could have been chosen; `blocks` is further evidence that
    another room has judged (photographs); `fast` compiles first, for a program that compares many times. log10 LR =
    sum of blocks, each clipped to the range it was validated in, then
    limited by the process error. Refuses a stock below 2.
    """
    case = Case(before, after, comparable(before, after), tuple(blocks))
    return compare_cases([case], population=population, stock=stock, fast=fast)[0]


def compare_cases(
    cases: Sequence[Case], *, population: Population, stock: int = STOCK, fast: bool = False
) -> list[Verdict]:
    """Many comparisons at once; `fast` compiles the inner sums first, which pays from some hundred pairs on."""
    if stock < 2:
        raise ValueError(f"stock is {stock}, expected at least 2: a stone chosen from one is not chosen")
    numbers = weigh_cases(kernels_of(population, fast), cases, stock)
    return [conclude(case, n, population, stock, fast=fast) for case, n in zip(cases, numbers, strict=True)]


@lru_cache(maxsize=8)
def kernels_of(population: Population, fast: bool = False) -> Kernels:
    """The density model of a population, made once."""
    return Kernels(population, fast=fast)


def weigh_cases(kernels: Kernels, cases: Sequence[Case], stock: int) -> list[Numbers | None]:
    """The numbers of each case, those with the same columns together; None where nothing can be compared."""
    together: dict[tuple[tuple[int, ...], bool], list[int]] = {}
    for position, case in enumerate(cases):
        if case.readings.columns and COVERED in (case.before.cut, case.after.cut):
            repolished = "repolish" in case.after.declared_changes
            together.setdefault((case.readings.columns, repolished), []).append(position)
    numbers: list[Numbers | None] = [None] * len(cases)
    for (columns, repolished), positions in together.items():
        sides = [cases[i].readings.was for i in positions] + [cases[i].readings.is_ for i in positions]
        (x, y), (Ux, Uy) = (np.split(part, 2) for part in observe(sides, fast=kernels.fast))
        if repolished:
            Uy[:, list(REPOLISHED), list(REPOLISHED)] += np.square(list(REPOLISHED.values()))
        found = weigh(kernels, Pairs(columns, x, Ux, y, Uy), stock)
        narrowed = narrow(kernels.population, columns, x, Ux, fast=kernels.fast)
        for row, i in enumerate(positions):
            numbers[i] = Numbers(
                columns,
                float(found.random[row]),
                float(found.look_alike[row]),
                float(found.distance[row]),
                bool(found.apart[row]),
                narrowed[row],
                _working(found.distance[row], found.working[row]),
            )
    return numbers


def _working(distance: float, figures: Array) -> dict[str, float]:
    names = ("log10_lr_without_blunders", "ln_p_together", "ln_f_before", "ln_f_after")
    finite = {name: round(float(v), 4) for name, v in zip(names, figures, strict=True) if math.isfinite(v)}
    return {"squared_distance": round(float(distance), 3), **finite}


def conclude(case: Case, numbers: Numbers | None, population: Population, stock: int, *, fast: bool = False) -> Verdict:
    """From numbers, categories and further blocks to a verdict."""
    before, after = case.before, case.after
    question: wording.Question = "same_as_paper" if "paper" in (before.kind, after.kind) else "same_stone"
    findings = [*measured_findings(case.readings, after.declared_changes), *judge_names(before, after)]
    blocks = [_number_block(numbers)] if numbers else []
    for finding, block in (*judge_categories(before, after), *judge_marks(before, after, fast=fast)):
        findings.append(finding)
        blocks += [block] if block else []
    blocks += case.extra
    flags = _flags(before, after, numbers)
    unchecked = [f.what for f in findings if f.outcome == "not_compared" and f.was is not None]
    random, look_alike = _total(blocks, "random", numbers), _total(blocks, "look_alike", numbers)
    beyond = goes_beyond(blocks)
    outcomes = [(finding.what, finding.outcome) for finding in findings]
    outside = "outside_population" in flags
    ladder = climb(
        findings,
        random=random.value,
        beyond=beyond,
        jointly=_jointly(numbers),
        unchecked=bool(unchecked),
        outside=outside,
    )
    if ladder == "disagrees" and random.value > 0:
        flags["lone_disagreement"] = _LONE
    return Verdict(
        question=question,
        ladder=ladder,
        sentence=wording.sentence(question, ladder, outcomes, unchecked, beyond=beyond, outside=outside),
        random=random,
        look_alike=look_alike,
        stock=stock,
        findings=tuple(findings),
        blocks=tuple(blocks),
        narrowing=numbers.narrowing if numbers else None,
        unchecked=tuple(unchecked),
        flags=flags,
        population=describe(population),
    )  # fmt: skip


@lru_cache(maxsize=8)
def describe(population: Population) -> Mapping[str, str | int]:
    """Name, number of stones and digest."""
    return {"name": population.name, "stones": len(population), "sha256": population.digest}


def _number_block(numbers: Numbers) -> Block:
    lower, upper, n = bound.validated(numbers.columns, "random")
    _, upper_chosen, _ = bound.validated(numbers.columns, "look_alike")
    if numbers.outside:
        lower, upper, n = max(lower, -bound.OUTSIDE), min(upper, bound.OUTSIDE), 0
    upper_chosen = min(upper, upper_chosen)
    raw = bound.clip(numbers.random, -300.0, 300.0)
    return Block(
        "size_and_weight",
        bound.clip(raw, lower, upper),
        bound.clip(numbers.look_alike, lower, upper_chosen),
        lower,
        upper,
        raw,
        n,
        False,
        f"compared jointly: {bound.pattern(numbers.columns).replace('+', ', ')}",
        numbers.working,
    )


def _total(blocks: Sequence[Block], against: str, numbers: Numbers | None) -> Weight:
    lower, upper = bound.process_limits()
    low = math.fsum(block.lower for block in blocks)
    high = math.fsum(block.upper for block in blocks)
    if against == "look_alike" and numbers and not numbers.outside:
        high += min(0.0, bound.validated(numbers.columns, "look_alike")[1] - blocks[0].upper)
    value = bound.limit_process(math.fsum(getattr(block, against) for block in blocks))
    return Weight(value, max(lower, low), min(upper, high))


def _jointly(numbers: Numbers | None) -> bool:
    """Whether sizes and weight differ, taken together, more than once in a million times for one stone."""
    return numbers is not None and numbers.distance > _ONE_IN_A_MILLION[len(numbers.columns) - 1]


_ONE_IN_A_MILLION = (23.93, 27.63, 30.66, 33.38, 35.89)
"""Upper 1e-6 points of chi-square with 1 to 5 degrees of freedom."""


def _flags(before: Examination, after: Examination, numbers: Numbers | None) -> dict[str, str]:
    flags = {**before.flags, **after.flags}
    if COVERED not in (before.cut, after.cut):
        flags["outside_population"] = f"the reference holds {COVERED}s only: sizes and weight count neither way"
    elif numbers is not None and numbers.outside:
        flags["outside_population"] = "no reference stone resembles this one: sizes and weight say little"
    for change in after.declared_changes:
        flags[f"declared_{change}"] = _DECLARED[change]
    return flags


_LONE = (
    "all but one thing agree: it was misread, or this is another stone that agrees by chance or choice; the ratio "
    "allows for a misreading until it is repeated"
)

_DECLARED = {
    "repolish": "repolished as declared: sizes and weight may have fallen a little",
    "recut": "recut as declared: sizes and weight are not compared, but may not have grown",
    "new_head": "a new head as declared: other arcs of the girdle may be hidden now",
}
