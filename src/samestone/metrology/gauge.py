"""The gauge study: several people measure the same things several times; how much of the scatter is the measuring?

Terms and limits as in the AIAG Measurement Systems Analysis manual: repeatability EV, reproducibility AV, together GRR,
part variation PV, total TV; per cent of TV good up to 10, marginal up to 30; at least 5 distinct categories.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from samestone.metrology.instrument import Instrument

Array = npt.NDArray[np.float64]

POOL_ABOVE = 0.05
"""An interaction whose p is above is pooled with the repeatability (the manual's choice)."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One indication: whose, of what."""

    part: str
    appraiser: str
    value: float


@dataclass(frozen=True, slots=True)
class Spread:
    """The result of one method, standard deviations in the unit of the readings."""

    ev: float
    av: float
    interaction: float
    pv: float

    @property
    def grr(self) -> float:
        """Repeatability and reproducibility (with the interaction) together."""
        return math.sqrt(self.ev**2 + self.av**2 + self.interaction**2)

    @property
    def tv(self) -> float:
        """Total variation, parts included."""
        return math.hypot(self.grr, self.pv)

    @property
    def percent_grr(self) -> float:
        """100 GRR/TV; up to 10 good, up to 30 marginal, above bad."""
        return 100 * self.grr / self.tv

    @property
    def contribution_percent(self) -> float:
        """100 GRR^2/TV^2, the share of the variance."""
        return 100 * self.grr**2 / self.tv**2

    @property
    def categories(self) -> int:
        """Number of distinct categories ndc = whole part of sqrt(2) PV/GRR; at least 5 wanted (capped at 1000)."""
        return int(min(1000.0, math.sqrt(2) * self.pv / self.grr)) if self.grr else 1000

    @property
    def rating(self) -> str:
        """good, marginal or bad, by `percent_grr`."""
        return "good" if self.percent_grr <= 10 else "marginal" if self.percent_grr <= 30 else "bad"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the analysis of variance; `f` and `p` are None where nothing is tested."""

    source: str
    squares: float
    dof: int
    f: float | None = None
    p: float | None = None

    @property
    def mean_square(self) -> float:
        """squares/dof, 0 where there are no degrees of freedom."""
        return self.squares / self.dof if self.dof else 0.0


@dataclass(frozen=True)
class Study:
    """A balanced study: values[appraiser, part, trial], both methods, the table of the analysis of variance."""

    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    values: Array
    by_range: Spread
    by_variance: Spread
    table: tuple[Line, ...]
    pooled: bool
    dof: int

    def plot(self, unit: str = "") -> str:
        """Draw the study as one SVG."""
        from samestone.metrology.plot import plot_study

        return plot_study(self, unit)

    def as_instrument(self, name: str, kind: str, unit: str, resolution: float) -> Instrument:
        """The instrument as these people use it: u = GRR, u_common = AV, without the display's step.

        Scatter that the step swallows is taken as the step's own, step/sqrt(12).

        The people of a shop are all the people there are, so their differences are fixed, and the degrees of freedom
        are those of the repeatability; a new person has to take part in a new study.
        """
        step = resolution**2 / 12
        own = max(step, self.by_variance.ev**2 + self.by_variance.interaction**2 - step)
        common = self.by_variance.av
        return Instrument(name, kind, unit, resolution, math.hypot(math.sqrt(own), common), common, float(self.dof))


def study_gauge(trials: Sequence[Trial]) -> Study:
    """Evaluate a balanced gauge study by average and range and by analysis of variance.

    Refuses fewer than two parts or two trials, values that are not finite, cells of unequal size (naming the first)
    and readings without any scatter. With one appraiser the reproducibility is 0.
    """
    parts, appraisers, values = _arrange(trials)
    if np.ptp(values) == 0:
        raise ValueError("all readings are equal; the display is too coarse to study this instrument")
    table, by_variance, pooled, dof = _analyse(values)
    return Study(parts, appraisers, values, _average_and_range(values), by_variance, table, pooled, dof)


def _arrange(trials: Sequence[Trial]) -> tuple[tuple[str, ...], tuple[str, ...], Array]:
    cells: defaultdict[tuple[str, str], list[float]] = defaultdict(list)
    for trial in trials:
        if not math.isfinite(trial.value):
            raise ValueError(f"part {trial.part}, {trial.appraiser}: {trial.value} is not a finite number")
        cells[trial.appraiser, trial.part].append(trial.value)
    appraisers = tuple(dict.fromkeys(trial.appraiser for trial in trials))
    parts = tuple(dict.fromkeys(trial.part for trial in trials))
    if len(parts) < 2:
        raise ValueError(f"{len(parts)} part(s); a study needs at least two, better ten, across the range in use")
    expected = len(cells[appraisers[0], parts[0]])
    for appraiser in appraisers:
        for part in parts:
            found = len(cells[appraiser, part])
            if found != expected:
                raise ValueError(
                    f"part {part}, {appraiser}: {found} reading(s), expected {expected} as in every other cell; "
                    "measure what is missing"
                )
    if expected < 2:
        raise ValueError("one reading of each part by each appraiser; measure each at least twice, better three times")
    return parts, appraisers, np.array([[cells[a, p] for p in parts] for a in appraisers])


def _average_and_range(values: Array) -> Spread:
    appraisers, parts, trials = values.shape
    ev = float(np.ptp(values, axis=2).mean()) / d2(trials)
    av = 0.0
    if appraisers > 1:
        raw = float(np.ptp(values.mean(axis=(1, 2)))) / d2_star(appraisers)
        av = math.sqrt(max(0.0, raw**2 - ev**2 / (parts * trials)))
    pv = float(np.ptp(values.mean(axis=(0, 2)))) / d2_star(parts)
    return Spread(ev, av, 0.0, pv)


def _analyse(values: Array) -> tuple[tuple[Line, ...], Spread, bool, int]:
    a, p, r = values.shape
    grand = values.mean()
    by_appraiser, by_part, by_cell = values.mean(axis=(1, 2)), values.mean(axis=(0, 2)), values.mean(axis=2)
    person = Line("appraiser", float(p * r * ((by_appraiser - grand) ** 2).sum()), a - 1)
    part = Line("part", float(a * r * ((by_part - grand) ** 2).sum()), p - 1)
    cell = by_cell - by_appraiser[:, None] - by_part[None, :] + grand
    both = Line("interaction", float(r * (cell**2).sum()), (a - 1) * (p - 1))
    rest = Line("repeatability", float(((values - by_cell[:, :, None]) ** 2).sum()), a * p * (r - 1))
    both = _tested(both, rest)
    pooled = both.p is None or both.p > POOL_ABOVE
    error = Line("repeatability, pooled", both.squares + rest.squares, both.dof + rest.dof) if pooled else both
    ev2 = error.mean_square if pooled else rest.mean_square
    spread = Spread(
        ev=math.sqrt(ev2),
        av=_root((person.mean_square - error.mean_square) / (p * r)) if a > 1 else 0.0,
        interaction=0.0 if pooled else _root((both.mean_square - rest.mean_square) / r),
        pv=_root((part.mean_square - error.mean_square) / (a * r)),
    )
    total = Line("total", float(((values - grand) ** 2).sum()), values.size - 1)
    table = (_tested(part, error), _tested(person, error), both, rest, total)
    return table, spread, pooled, error.dof if pooled else rest.dof


def _root(variance: float) -> float:
    return math.sqrt(max(0.0, variance))


def _tested(line: Line, error: Line) -> Line:
    if line.dof == 0 or error.mean_square == 0:
        return line
    from scipy.special import fdtrc

    f = line.mean_square / error.mean_square
    return Line(line.source, line.squares, line.dof, f, float(fdtrc(line.dof, error.dof, f)))


def compare_groups(groups: Sequence[Sequence[float]]) -> tuple[Line, Line]:
    """One-way analysis of variance (instrument against instrument): the line between groups with F and p, and within.

    Deviations are taken from the mean before squaring, so that readings which agree in their first digits lose none.
    """
    if len(groups) < 2 or min(len(group) for group in groups) < 1 or sum(map(len, groups)) <= len(groups):
        raise ValueError("compare at least two groups, at least one of them with a repeat")
    every = [x for group in groups for x in group]
    shift = every[0]
    centred = [[x - shift for x in group] for group in groups]
    grand = math.fsum(x for group in centred for x in group) / len(every)
    means = [math.fsum(group) / len(group) for group in centred]
    between = math.fsum(len(group) * (mean - grand) ** 2 for group, mean in zip(centred, means, strict=True))
    within = math.fsum((x - mean) ** 2 for group, mean in zip(centred, means, strict=True) for x in group)
    rest = Line("within", within, len(every) - len(groups))
    return _tested(Line("between", between, len(groups) - 1), rest), rest


@cache
def d2(n: int) -> float:
    """Mean range of n standard normal values (integral of 1 - F^n - (1-F)^n); n of at least 2.

    >>> round(1 / d2(3), 4)
    0.5908
    """
    return _range_moments(n)[0]


@cache
def d2_star(n: int) -> float:
    """sqrt(d2^2 + d3^2): divides a single range of n means where the study has only one.

    >>> round(1 / d2_star(3), 4)
    0.5231
    """
    mean, square = _range_moments(n)
    return math.sqrt(square) if square > mean**2 else mean


@cache
def _range_moments(n: int) -> tuple[float, float]:
    """Mean and mean square of the range, by the density of the range n(n-1) f(x) f(x+r) (F(x+r)-F(x))^(n-2)."""
    from scipy.special import ndtr

    if n < 2:
        raise ValueError(f"a range needs at least two values, found {n}")
    nodes, weights = np.polynomial.legendre.leggauss(160)
    x = 9.0 * nodes
    r = 7.5 * (nodes + 1)
    low, high = x[:, None], x[:, None] + r[None, :]
    density: Any = np.exp(-(low**2 + high**2) / 2) / (2 * math.pi) * (ndtr(high) - ndtr(low)) ** (n - 2)
    of_range = n * (n - 1) * (9.0 * weights) @ density
    mean = float((of_range * r * 7.5 * weights).sum())
    square = float((of_range * r**2 * 7.5 * weights).sum())
    return mean, square
