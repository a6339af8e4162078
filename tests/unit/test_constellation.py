"""Plans of marks: sums over pairings, turns, hidden arcs, damage, and what of it enters a verdict."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from tests.unit.evidence_record import changed

from samestone import evidence
from samestone.evidence.constellation import Plan, Turn, compare_plans, rotate
from samestone.evidence.examination import Characteristic
from samestone.evidence.matching import log_sum_matchings
from samestone.evidence.observable import Array
from samestone.evidence.seeing import kind_table, mean_chance, shipped_seeing

MARKS = (
    Characteristic("crystal", 0.31, 112.0, 0.02),
    Characteristic("feather", 0.72, 201.0, 0.08),
    Characteristic("pinpoint", 0.5, 15.0, 0.015),
    Characteristic("natural", 0.97, 300.0, 0.05),
)
OTHERS = (
    Characteristic("crystal", 0.62, 20.0, 0.04),
    Characteristic("cloud", 0.2, 250.0, 0.1),
    Characteristic("needle", 0.8, 120.0, 0.03),
    Characteristic("pinpoint", 0.44, 330.0, 0.02),
)


def brute_force(weights: Array) -> float:
    """Every matching, one by one."""

    def rest(row: int, taken: int) -> float:
        if row == len(weights):
            return 1.0
        free = [j for j in range(weights.shape[1]) if not taken >> j & 1]
        return rest(row + 1, taken) + sum(weights[row, j] * rest(row + 1, taken | 1 << j) for j in free)

    return rest(0, 0)


def test_sum_over_matchings_is_that_of_all_of_them() -> None:
    rng = np.random.default_rng(1)
    for _ in range(60):
        shape = rng.integers(1, 7, 2)
        weights = np.where(rng.random(shape) < 0.5, np.exp(rng.normal(0, 2, shape)), 0.0)
        rows, columns = np.nonzero(weights)
        found = log_sum_matchings(rows, columns, weights[rows, columns][:, None] * [1.0, 3.0])
        assert found[0] == pytest.approx(math.log(brute_force(weights)), abs=1e-12)
        assert found[1] == pytest.approx(math.log(brute_force(3 * weights)), abs=1e-12)


def test_one_mark_each_against_direct_integration() -> None:
    """The density written out for one mark and one mark, integrated over the turn by scipy."""
    a, b = Characteristic("crystal", 0.5, 40.0), Characteristic("crystal", 0.55, 130.0)
    seeing, later = shipped_seeing(), shipped_seeing(later=True)
    kinds, k = kind_table(seeing), 0
    r = np.array([0.5, 0.55])
    where = kinds.density(r)
    p, pp = mean_chance(seeing), mean_chance(seeing, later)
    true = (where * (kinds.named[:, k] * kinds.share)).sum(axis=1)
    false = where[:, k] * seeing.number("false_marks") * kinds.false[k]
    false[1] += where[1, k] * seeing.number("new_damage") * kinds.damage[k]
    both = (kinds.density(r.mean(keepdims=True))[0] * kinds.share * kinds.named[:, k] ** 2).sum()
    variance = float(np.square(seeing.sigma(r)).sum())

    def paired(turn: float) -> float:
        squared = r @ r - 2 * r[0] * r[1] * math.cos(math.radians(90) - turn)
        return math.exp(-squared / (2 * variance)) / (2 * math.pi * variance)

    mean_paired = quad(paired, 0, 2 * math.pi, points=[math.pi / 2])[0] / (2 * math.pi)
    top = first = second = 0.0
    for rate, share in zip(seeing.rates, seeing.rate_shares, strict=True):
        alone = [math.exp(-rate * p) * (rate * p * true[i] + false[i]) for i in (0, 1)]
        lone = [rate * p * (1 - p) * true[i] + false[i] for i in (0, 1)]
        top += share * math.exp(-rate * (2 * p - pp)) * (lone[0] * lone[1] + rate * p * p * both * mean_paired)
        first, second = first + share * alone[0], second + share * alone[1]
    # The mirrored reading of one mark is as good as the other.
    found = compare_plans(Plan((a,)), Plan((b,))).log10_lr
    assert found == pytest.approx(math.log10(top / (first * second)), abs=2e-3)


@pytest.mark.parametrize("turn", [0.0, 47.0, 180.0, 311.0])
def test_a_turned_plan_is_found_again(turn: float) -> None:
    plain = compare_plans(Plan(MARKS), Plan(MARKS))
    turned = compare_plans(Plan(MARKS), Plan(rotate(MARKS, turn)))
    assert turned.log10_lr == pytest.approx(plain.log10_lr, abs=0.02)
    assert turned.pairs == ((0, 0), (1, 1), (2, 2), (3, 3))
    assert (turned.turn_deg - turn + 180) % 360 - 180 == pytest.approx(0, abs=2)
    assert compare_plans(Plan(MARKS), Plan(OTHERS)).log10_lr < -0.5


def test_a_known_turn_says_more_than_an_unknown_one() -> None:
    known = Turn(free=0.2, sd_deg=10)
    unknown = compare_plans(Plan(MARKS), Plan(MARKS)).log10_lr
    assert compare_plans(Plan(MARKS), Plan(MARKS), turn=known).log10_lr > unknown + 0.5
    turned = compare_plans(Plan(MARKS), Plan(rotate(MARKS, 90)), turn=known).log10_lr
    assert unknown - 1 < turned < unknown


def test_compiled_and_plain_sums_agree() -> None:
    arcs = ((80.0, 130.0),)
    for before, after in (
        (Plan(MARKS), Plan(rotate(MARKS, 33))),
        (Plan(MARKS, arcs), Plan(OTHERS, arcs)),
        (Plan(()),) * 2,
    ):
        plain, fast = (compare_plans(before, after, fast=fast).log10_lr for fast in (False, True))
        assert fast == pytest.approx(plain, abs=2e-3)


def test_what_a_claw_hides_is_not_missing() -> None:
    without = MARKS[:3]
    known = Turn(free=0.05, sd_deg=3)
    seen = compare_plans(Plan(MARKS), Plan(without), turn=known).log10_lr
    hidden = compare_plans(Plan(MARKS), Plan(without, ((280.0, 320.0),)), turn=known).log10_lr
    assert hidden > seen + 0.3


def test_new_damage_speaks_less_against_than_a_new_crystal() -> None:
    chip, crystal = (Characteristic(kind, 0.98, 77.0, 0.04) for kind in ("chip", "crystal"))
    damaged, grown = (compare_plans(Plan(MARKS), Plan((*MARKS, new))).log10_lr for new in (chip, crystal))
    assert damaged > grown + 0.2


# --- in a verdict ----------------------------------------------------------------------------------------------------


def record(marks: tuple[Characteristic, ...] | None, **more: Any) -> evidence.Examination:
    made = changed()
    made.pop("characteristics")
    if marks is not None:
        made["characteristics"] = [
            {"kind": m.kind, "r": f"{m.r:.3f}", "angle_deg": f"{m.angle_deg:.1f}"}
            | ({} if m.size is None else {"size": f"{m.size:.3f}"})
            for m in marks
        ]
    return evidence.read_examination({**made, **more})


def verdict(before: tuple[Characteristic, ...] | None, after: tuple[Characteristic, ...] | None, **more: Any) -> Any:
    return evidence.compare(record(before), record(after, **more), population=evidence.load_population())


def block(found: Any) -> Any:
    return next((b for b in found.blocks if b.what == "characteristics"), None)


def test_the_same_marks_reach_the_top_rung() -> None:
    found = verdict(MARKS, rotate(MARKS, 64))
    assert found.ladder == "agrees"
    assert block(found).look_alike >= 2
    assert "4 of 4 found again, the plan turned by 6" in block(found).why


def test_other_marks_do_not_agree_and_do_not_accuse() -> None:
    found = verdict(MARKS, OTHERS)
    assert found.ladder == "not_enough"
    assert next(f for f in found.findings if f.what == "characteristics").outcome == "doubtful"


def test_not_looked_for_is_no_disagreement() -> None:
    found = verdict(MARKS, None)
    assert block(found) is None
    assert found.unchecked == ("characteristics",)
    assert verdict(None, MARKS).unchecked == ()


def test_looked_for_and_nothing_seen_counts() -> None:
    assert block(verdict(MARKS, ())).random < -0.5
    assert 0 < block(verdict((), ())).random < 1


def test_after_a_repolish_only_what_lies_inside_is_compared() -> None:
    inside = MARKS[:3]
    work = {"declared_changes": ["repolish"]}
    assert block(verdict(MARKS, inside, **work)).raw > block(verdict(MARKS, inside)).raw + 0.5
    assert block(verdict(MARKS, MARKS, declared_changes=["recut"])) is None
