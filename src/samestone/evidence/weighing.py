"""Sizes and weights of many pairs, weighed together: random and chosen substitutes, with room for a blunder."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from samestone.evidence.density import Kernels, invert
from samestone.evidence.likelihood import Pairs, random_substitute
from samestone.evidence.lookalike import log_shares, look_alike, matched_variances
from samestone.evidence.observable import LN_A, LN_B, LN_D, LN_W, LN_Z, Array, E, T

BLUNDER = 0.001
"""How often one property of a pair is misread, miswritten or mistyped (assumed); such a reading says nothing."""

_FAR = 150.0
"""Squared distance of a pair beyond which its LR is below any bound (e^-75)."""
_FIT = 60.0
_WORTH_DROPPING = 4.0
"""Less than this saved by leaving a property out cannot matter: exp(2) BLUNDER is below 1 %."""
_GROUPS = ((LN_W,), (LN_D, E), (LN_A,), (LN_B,), (LN_Z,), (T,))
_NEGLIGIBLE = math.log(1e-6)


@dataclass(frozen=True, slots=True)
class Weighed:
    """log10 LR against a random and a chosen substitute, squared distance, and whether x or y is unlike any reference
    stone (their share of density that no reference stone carries is above nine tenths).

    `working` (n, 4): log10 LR without room for blunders, ln p(x, y | one stone), ln f(x), ln f(y); nan where a pair is
    too far apart for any of them to matter.
    """

    random: Array
    look_alike: Array
    distance: Array
    apart: NDArray[np.bool_]
    working: Array


def weigh(kernels: Kernels, pairs: Pairs, stock: int) -> Weighed:
    """Weigh n pairs that are compared in the same columns.

    With probability BLUNDER a property of the pair is a blunder and carries no information, so that
    LR = (1 - m BLUNDER) LR_all + BLUNDER sum_k LR_without_k over its m properties. Against a chosen substitute the
    larger of the mixture over tolerances and LR / stock: no choice among `stock` stones makes the density of the chosen
    one larger than stock times that of a random one.
    """
    return _weigh_compiled(kernels, pairs, stock) if kernels.fast else _weigh(kernels, pairs, stock)


def _weigh(kernels: Kernels, pairs: Pairs, stock: int) -> Weighed:
    n = len(pairs.x)
    distance = pairs.distance()
    log_random = np.full(n, -np.inf)
    log_chosen = np.full(n, -np.inf)
    apart = np.zeros(n, bool)
    working = np.full((n, 4), np.nan)
    near = np.flatnonzero(distance < _FAR)
    if len(near):
        drawn = random_substitute(kernels, close := pairs.only(near))
        log_random[near] = drawn.log_lr
        apart[near] = np.maximum(drawn.apart_x, drawn.apart_y) > 0.9
        log_chosen[near] = drawn.log_lr
        working[near] = np.stack([drawn.log_lr / math.log(10), drawn.log_same, drawn.log_x, drawn.log_y], axis=1)
        worth = drawn.log_lr > _NEGLIGIBLE
        if worth.any():
            some = np.flatnonzero(worth)
            log_chosen[near[some]] = look_alike(kernels, close.only(some), drawn.only(some))
    log_random = _allow_for_blunders(kernels, pairs, distance, log_random)
    log_chosen = np.maximum(log_chosen, log_random - math.log(stock))
    return Weighed(log_random / math.log(10), log_chosen / math.log(10), distance, apart, working)


def _weigh_compiled(kernels: Kernels, pairs: Pairs, stock: int) -> Weighed:
    """The same sums, pair by pair; the last digits may differ."""
    from samestone.evidence.compiled_weighing import weigh_all

    columns = pairs.columns
    groups = [[columns.index(c) for c in group if c in columns] for group in _GROUPS if set(group) & set(columns)]
    models = _models(kernels, columns, columns[min(len(groups[0]), len(columns) - 1)])
    substitutes = matched_variances(columns, pairs.x), log_shares(), math.log(stock)
    ends = np.array([(group[0], group[-1]) for group in groups])
    found = weigh_all(models, ends, pairs.cut(), substitutes, (_FAR, _NEGLIGIBLE))
    working = found[:, 4:].copy()
    working[:, 0] /= math.log(10)
    return Weighed(found[:, 0] / math.log(10), found[:, 1] / math.log(10), found[:, 2], found[:, 3] > 0.9, working)


@lru_cache(maxsize=128)
def _models(kernels: Kernels, columns: tuple[int, ...], second: int) -> tuple[object, ...]:
    """The density in the columns with the stones ordered by the first of them, the same ordered by another, figures."""
    at = np.ix_(columns, columns)
    parts = np.ascontiguousarray(kernels.H[at]), kernels.mean[list(columns)], np.ascontiguousarray(kernels.wide[at])
    figures = (float(kernels.reach), float(kernels.farthest), float(kernels.apart))
    (keys, table), (second_keys, second_table) = (kernels.population.ordered(c, columns) for c in (columns[0], second))
    one, other = ((table, keys), parts, figures), ((second_table, second_keys), parts, figures)
    return one, other, (BLUNDER, _FIT, _WORTH_DROPPING)


def _allow_for_blunders(kernels: Kernels, pairs: Pairs, distance: Array, log_all: Array) -> Array:
    groups = [[c for c in group if c in pairs.columns] for group in _GROUPS if set(group) & set(pairs.columns)]
    if len(groups) < 2:
        return log_all
    total = log_all + math.log1p(-len(groups) * BLUNDER)
    x, Ux, y, Uy = pairs.cut()
    precision = invert(Ux + Uy)
    pull = np.einsum("nij,nj->ni", precision, x - y)
    for group in groups:
        saved = _saved(precision, pull, [pairs.columns.index(column) for column in group])
        rows = np.flatnonzero((saved > _WORTH_DROPPING) & (distance - saved < _FIT))
        if len(rows):
            rest = tuple(column for column in pairs.columns if column not in group)
            reduced = random_substitute(kernels, pairs.only(rows, rest)).log_lr
            total[rows] = np.logaddexp(total[rows], math.log(BLUNDER) + reduced)
    return total


def _saved(precision: Array, pull: Array, group: list[int]) -> Array:
    """What the squared distance loses when one or two columns are left out: v' (P_gg)^-1 v with v = P (x-y)."""
    if len(group) == 1:
        one = group[0]
        single: Array = np.square(pull[:, one]) / precision[:, one, one]
        return single
    i, j = group
    a, b, c = precision[:, i, i], precision[:, i, j], precision[:, j, j]
    v, w = pull[:, i], pull[:, j]
    double: Array = (c * v * v - 2 * b * v * w + a * w * w) / (a * c - b * b)
    return double
