"""How much more probable two plans of marks are if both are of one stone than if they are of two.

True marks are a Poisson process over the outline, of unknown number; each plan shows each of them with a probability
that grows with its size, displaced, perhaps misnamed, among false marks; the second plan is turned by an unknown angle.
With p_k the probability that plan k shows a mark, T(v) the density of true marks of the kind named at v, c_k that of
false ones, lambda the number of marks:

    a_k = lambda p_k T + c_k                                         density of what plan k shows
    u_1 = lambda p_1 (1 - p_2) T + c_1,  u_2 likewise                 of what it shows and the other does not
    w_ij(phi) = lambda p_1 p_2 J_ij N(x_i - R(-phi) y_j; 0, s_i^2 + s_j^2) / (u_1i u_2j)
    K(phi, lambda) = exp(lambda E[p_1 p_2]) prod_i u_1i/a_1i prod_j u_2j/a_2j sum over matchings prod w_ij
    LR = mean_lambda[A_1 A_2 mean_phi K] / (mean_lambda[A_1] mean_lambda[A_2]),  A_k = exp(-lambda E[p_k]) prod a_k

J_ij is the density of true marks that are named so by both and seen in both sizes. Poisson thinning as in Forbes,
Lauritzen and Moller, Fingerprint analysis with marked point processes, arXiv 1407.5809; matching under rotation as in
Green and Mardia, Biometrika 93, 235-254, 2006.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from samestone.evidence.examination import Characteristic
from samestone.evidence.matching import log_sum_matchings
from samestone.evidence.observable import Array, Rows
from samestone.evidence.seeing import Seeing, mean_chance, shipped_seeing

GATE = 4.0
"""Marks further apart than this many standard deviations of their distance are no pair."""
FINENESS = 1.0
"""Step of the turn, in standard deviations of a placement at the girdle."""
NEGLECT = 1e-3
"""Share of the sum over turns that may be left out."""


@dataclass(frozen=True, slots=True)
class Turn:
    """How the second plan may be turned against the first: by any angle, or probably by little.

    With probability `free` by any angle, otherwise normal around 0 with `sd_deg`.
    """

    free: float = 1.0
    sd_deg: float = 10.0


@dataclass(frozen=True, slots=True)
class Plan:
    """The marks of one examination, and the arcs (from, to), counter-clockwise in degrees, that a claw hid."""

    marks: tuple[Characteristic, ...]
    hidden: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """log10 LR of two plans, and the reading of them that fits best: `pairs` of positions, turned by `turn_deg`."""

    log10_lr: float
    turn_deg: float
    mirrored: bool
    pairs: tuple[tuple[int, int], ...]


def compare_plans(
    before: Plan,
    after: Plan,
    *,
    turn: Turn | None = None,
    seeing: tuple[Seeing, Seeing] | None = None,
    fast: bool = False,
) -> Comparison:
    """log10 LR of two plans; `seeing` says how well each examination sees and places (shipped figures if not given).

    `fast` compiles the sums first, which pays from some dozen pairs of plans on. Neither limited nor made robust: see
    `samestone.evidence.mark` for what enters a verdict.
    """
    first, second = seeing or (shipped_seeing(), shipped_seeing(later=True))
    table = _Table(before, after, first, second)
    angles, prior = _turns(turn or Turn(), first)
    log_terms, best = [], (-math.inf, 0.0, False)
    for mirrored in (False, True):
        share = first.mirrored if mirrored else 1 - first.mirrored
        if share == 0:
            continue
        log_sum, log_top, turned = _sum_turns(table, angles, prior, mirrored, fast)
        log_terms.append(math.log(share) + log_sum)
        best = max(best, (math.log(share) + log_top, turned, mirrored))
    log_lr = float(np.logaddexp.reduce(log_terms)) - table.log_apart()
    _, turned, mirrored = best
    return Comparison(log_lr / math.log(10), math.degrees(turned), mirrored, table.best_pairs(turned, mirrored))


def _turns(turn: Turn, seeing: Seeing) -> tuple[Array, Array]:
    """A grid of turns and the prior share of each."""
    n = math.ceil(2 * math.pi / (FINENESS * float(seeing.sigma(np.ones(1))[0])))
    angles = 2 * math.pi * np.arange(n) / n
    near = np.exp(-0.5 * np.square(np.rad2deg((angles + math.pi) % (2 * math.pi) - math.pi) / turn.sd_deg))
    return angles, turn.free / n + (1 - turn.free) * near / near.sum()


def _width(arcs: Sequence[tuple[float, float]]) -> float:
    """Share of the circle that arcs cover; where they overlap it is counted twice, up to the whole."""
    return min(1.0, sum((stop - start) % 360 for start, stop in arcs) / 360)


class _Table:
    """What of two plans does not depend on the turn; the last axis of every array runs over lambda."""

    def __init__(self, before: Plan, after: Plan, first: Seeing, second: Seeing) -> None:
        self.plans = before, after
        self.rates = np.array(first.rates)
        self.log_prior = np.log(first.rate_shares)
        self.one, self.two = first.look(before.marks), second.look(after.marks)
        p = first.chance(self.one.size), second.chance(self.two.size)
        q = second.chance(self.one.size), first.chance(self.two.size)
        n = self.rates
        seen = [1 - first.share_hidden(_width(plan.hidden)) for plan in self.plans]
        # That the claws of one examination lie where those of the other lay is left aside.
        both = mean_chance(first, second) * seen[0] * seen[1]
        self.mean = mean_chance(first) * seen[0], mean_chance(second) * seen[1], both
        self.a = [(p[k] * s.true)[:, None] * n + s.false[:, None] for k, s in enumerate((self.one, self.two))]
        self.u = [
            (p[k] * (1 - q[k]) * s.true)[:, None] * n + s.false[:, None] for k, s in enumerate((self.one, self.two))
        ]
        self.pair = first.joint(self.one, self.two) * p[0][:, None] * p[1]
        self.spread = np.square(first.sigma(self.one.r))[:, None] + np.square(second.sigma(self.two.r))
        self.near = np.abs(self.one.r[:, None] - self.two.r) < GATE * np.sqrt(self.spread)

    def log_alone(self, k: int) -> Array:
        """ln A_k for each lambda."""
        out: Array = -self.rates * self.mean[k] + np.log(self.a[k]).sum(axis=0)
        return out

    def log_apart(self) -> float:
        """ln of the two plans' probability if they are of two stones."""
        return float(sum(np.logaddexp.reduce(self.log_prior + self.log_alone(k)) for k in (0, 1)))

    def log_front(self, angles: Array, mirrored: bool) -> Array:
        """ln of prior, A_1, A_2 and K without its matchings: (turns, lambda)."""
        front = self.log_prior + self.log_alone(0) + self.log_alone(1) + self.rates * self.mean[2]
        lone = [np.log(self.u[k] / self.a[k]) for k in (0, 1)]
        out = np.tile(front, (len(angles), 1))
        for k in (0, 1):
            if self.plans[1 - k].hidden and len(lone[k]):
                out += (~self.covered(k, angles, mirrored)).astype(float) @ lone[k]
            else:
                out += lone[k].sum(axis=0)
        return out

    def covered(self, k: int, angles: Array, mirrored: bool) -> NDArrayBool:
        """Whether each mark of plan k lies where the other plan could not see: (turns, marks)."""
        side, arcs = (self.one, self.two)[k], self.plans[1 - k].hidden
        if not arcs:
            return np.zeros((len(angles), len(side.r)), bool)
        # Into the frame of the other plan: the first is the second turned back by phi, and mirrored if so.
        flip = -1.0 if mirrored else 1.0
        theirs = flip * (side.angle + angles[:, None]) if k == 0 else flip * side.angle - angles[:, None]
        degrees = np.rad2deg(theirs) % 360
        hidden = np.zeros(degrees.shape, bool)
        for start, stop in arcs:
            hidden |= (degrees - start) % 360 <= (stop - start) % 360
        return hidden & (side.r > side.hidden_from)

    def edges(self, angles: Array, mirrored: bool) -> tuple[Rows, Rows, Rows, Array]:
        """Pairs that may be one mark: (turn, row, column, weight for each lambda), in that order."""
        i, j = np.nonzero(self.near)
        two = -self.two.angle if mirrored else self.two.angle
        between = (two[j] - self.one.angle[i]) - angles[:, None]
        r, s = self.one.r[i], self.two.r[j]
        squared = (r * r + s * s - 2 * r * s * np.cos(between)) / self.spread[i, j]
        at, which = np.nonzero(squared < GATE**2)
        i, j = i[which], j[which]
        if any(plan.hidden for plan in self.plans):
            open_ = ~(self.covered(0, angles, mirrored)[at, i] | self.covered(1, angles, mirrored)[at, j])
            at, which, i, j = at[open_], which[open_], i[open_], j[open_]
        density = self.pair[i, j] * np.exp(-0.5 * squared[at, which]) / (2 * math.pi * self.spread[i, j])
        weights = density[:, None] * self.rates / (self.u[0][i] * self.u[1][j])
        return at, i, j, weights

    def compiled_terms(self, angles: Array, front: Array, mirrored: bool) -> Array:
        """The same as `_terms`."""
        from samestone.evidence.compiled_turns import compiled_terms

        two = -self.two.angle if mirrored else self.two.angle
        hidden = self.covered(0, angles, mirrored), self.covered(1, angles, mirrored)
        r, s, between = self.one.r[:, None], self.two.r, two - self.one.angle[:, None]
        squared = (r * r + s * s) / self.spread, *(2 * r * s / self.spread * f(between) for f in (np.cos, np.sin))
        fixed = squared, self.spread, self.near, self.pair, (self.rates, *self.u)
        return compiled_terms(angles, front, fixed, hidden, (GATE, NEGLECT))

    def best_pairs(self, turned: float, mirrored: bool) -> tuple[tuple[int, int], ...]:
        """Marks that are sooner one than two at this turn, the weightiest first."""
        _, i, j, weights = self.edges(np.array([turned]), mirrored)
        worth = weights.mean(axis=1)
        pairs: list[tuple[int, int]] = []
        for edge in np.argsort(-worth, kind="stable"):
            row, column = int(i[edge]), int(j[edge])
            if worth[edge] > 1 and all(row != a and column != b for a, b in pairs):
                pairs.append((row, column))
        return tuple(sorted(pairs))


NDArrayBool = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


def _sum_turns(table: _Table, angles: Array, prior: Array, mirrored: bool, fast: bool) -> tuple[float, float, float]:
    """(ln of the sum over turns and lambda, ln of its largest term, that turn)."""
    front = table.log_front(angles, mirrored) + np.log(prior)[:, None]
    log_terms = table.compiled_terms(angles, front, mirrored) if fast else _terms(table, angles, front, mirrored)
    top = int(np.argmax(log_terms))
    return float(np.logaddexp.reduce(log_terms)), float(log_terms[top]), float(angles[top])


def _terms(table: _Table, angles: Array, front: Array, mirrored: bool) -> Array:
    """ln of the term of each turn.

    prod_i (1 + sum_j w_ij) bounds the sum over matchings, and is the sum where no column has two rows; the true sum is
    taken only where the bound leaves more than NEGLECT of the whole open.
    """
    at, i, j, weights = table.edges(angles, mirrored)
    bounds, exact = [], np.zeros(len(angles), bool)
    for mine, theirs in ((i, j), (j, i)):
        order = np.lexsort((mine, at))
        bound, _ = _star_products(at[order], mine[order], weights[order], len(angles))
        _, shared = _star_products(at[np.lexsort((theirs, at))], theirs[np.lexsort((theirs, at))], weights, len(angles))
        bounds.append(bound)
        exact |= ~shared
    log_terms: Array = np.logaddexp.reduce(front + np.minimum(*bounds), axis=1)
    _settle(log_terms, exact, front, (at, i, j, weights))
    return log_terms


def _settle(log_terms: Array, exact: NDArrayBool, front: Array, edges: tuple[Rows, Rows, Rows, Array]) -> None:
    """Replace the largest bounds by sums over matchings, until what is left of bounds does not matter."""
    at, i, j, weights = edges
    starts = np.searchsorted(at, np.arange(len(log_terms) + 1))
    for turn in np.argsort(-np.where(exact, -np.inf, log_terms), kind="stable"):
        if exact[turn]:
            break
        one = slice(starts[turn], starts[turn + 1])
        log_terms[turn] = np.logaddexp.reduce(front[turn] + log_sum_matchings(i[one], j[one], weights[one]))
        exact[turn] = True
        open_ = log_terms[~exact]
        if not len(open_):
            break
        settled = np.logaddexp.reduce(log_terms[exact])
        if np.logaddexp.reduce(open_) < settled + math.log(NEGLECT):
            break


def _star_products(at: Rows, mine: Rows, weights: Array, turns: int) -> tuple[Array, NDArrayBool]:
    """For each turn ln prod over marks of (1 + sum of its weights), and whether any mark has two partners."""
    product = np.zeros((turns, weights.shape[1]))
    shared = np.zeros(turns, bool)
    if not len(at):
        return product, shared
    new = np.flatnonzero(np.r_[True, (np.diff(at) != 0) | (np.diff(mine) != 0)])
    stars = np.log1p(np.add.reduceat(weights, new, axis=0))
    turn_of = at[new]
    first = np.flatnonzero(np.r_[True, np.diff(turn_of) != 0])
    product[turn_of[first]] = np.add.reduceat(stars, first, axis=0)
    counts = np.diff(np.r_[new, len(at)])
    shared[turn_of[counts > 1]] = True
    return product, shared


def rotate(marks: Sequence[Characteristic], by_deg: float) -> tuple[Characteristic, ...]:
    """The same marks in a frame turned by an angle, counter-clockwise."""
    return tuple(Characteristic(m.kind, m.r, (m.angle_deg + by_deg) % 360, m.size) for m in marks)
