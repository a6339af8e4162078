"""What holds for any stones: symmetry, missing features, order, and likelihood ratios that keep their promise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.unit.evidence_record import changed, drop, reading

from samestone import evidence
from samestone.evidence.comparison import kernels_of
from samestone.evidence.density import Kernels
from samestone.evidence.likelihood import Pairs, random_substitute
from samestone.evidence.observable import covariances, observables
from samestone.evidence.weighing import weigh

POPULATION = evidence.load_population()
few = settings(max_examples=25, deadline=None)


def record(stone: int, noise: tuple[float, ...], without: tuple[str, ...] = ()) -> evidence.Examination:
    """A record of one of the reference stones, measured with some error."""

    def change(found: dict[str, object]) -> None:
        values = POPULATION.values[stone]
        names = ("weight_ct", "diameter_min_mm", "diameter_max_mm", "depth_mm", "table_percent")
        digits = (3, 2, 2, 2, 0)
        u = (0.001, 0.01, 0.01, 0.01, 0.5)
        shown = {n: round(float(v + e * s), d) for n, v, e, s, d in zip(names, values, noise, u, digits, strict=True)}
        shown["diameter_min_mm"] = min(shown["diameter_min_mm"], shown["diameter_max_mm"])
        for name, value in shown.items():
            reading(found, name)["indications"] = [f"{value:.3f}"]
        found.pop("characteristics")

    return evidence.read_examination(changed(change, drop(*without)))


stones = st.integers(0, len(POPULATION) - 1)
noises = st.tuples(*[st.floats(-2, 2)] * 5)


@few
@given(stones, stones, noises, noises)
def test_exchanging_two_records_leaves_the_random_ratio(
    a: int, b: int, one: tuple[float, ...], two: tuple[float, ...]
) -> None:
    first, second = record(a, one), record(b, two)
    there = evidence.compare(first, second, population=POPULATION).random.value
    back = evidence.compare(second, first, population=POPULATION).random.value
    assert there == pytest.approx(back, abs=2e-3)


@few
@given(stones, noises, noises, st.sampled_from(["weight_ct", "depth_mm", "table_percent", "diameter_min_mm"]))
def test_missing_on_one_side_is_missing(a: int, one: tuple[float, ...], two: tuple[float, ...], name: str) -> None:
    full, part = record(a, one), record(a, two, without=(name,))
    both = evidence.compare(record(a, one, without=(name,)), part, population=POPULATION)
    assert evidence.compare(full, part, population=POPULATION).random == both.random


@few
@given(stones, noises)
def test_verdicts_stay_within_their_bounds(a: int, one: tuple[float, ...]) -> None:
    verdict = evidence.compare(record(a, one), record(a, (0.0,) * 5), population=POPULATION)
    for weight in (verdict.random, verdict.look_alike):
        assert weight.lower <= weight.value <= weight.upper
    assert verdict.look_alike.value <= verdict.random.value + 1e-9
    assert verdict.ladder != "agrees"


def test_the_order_of_pairs_and_of_stones_does_not_matter() -> None:
    rng = np.random.default_rng(1)
    columns = (0, 1, 2, 3, 4)
    values = POPULATION.values[:40]
    u = np.tile([0.001, 0.01, 0.01, 0.01, 0.5], (40, 1))
    U = covariances(values, u, u * 0.4, np.tile([0, 1, 1, 1, 2], (40, 1)))
    x, y = observables(values), observables(values + rng.normal(size=values.shape) * u)
    pairs = Pairs(columns, x, U, y, U)
    order = rng.permutation(40)
    straight = weigh(kernels_of(POPULATION), pairs, 1000)
    mixed = weigh(kernels_of(POPULATION), pairs.only(order), 1000)
    assert np.allclose(straight.random[order], mixed.random, atol=1e-9)
    assert np.allclose(straight.look_alike[order], mixed.look_alike, atol=1e-9)
    turned = Kernels(POPULATION.part(rng.permutation(len(POPULATION)), "shuffled"))
    again = random_substitute(turned, pairs).log_lr
    assert np.allclose(random_substitute(kernels_of(POPULATION), pairs).log_lr, again, atol=1e-9)


def test_ratios_of_different_stones_keep_their_promise() -> None:
    """Tail identity for calibrated LR: P(LR > k | two stones) = E[1/LR; LR > k | one stone]. Simulated measurements."""
    rng = np.random.default_rng(2)
    columns, n = (1, 2, 3), 4000
    values = POPULATION.test.values[:n]
    u = np.tile([0.001, 0.01, 0.01, 0.01, 0.5], (n, 1))
    U = covariances(values, u, u * 0, np.tile([0, 1, 2, 3, 4], (n, 1)))
    x = observables(values + rng.normal(size=values.shape) * u)
    y = observables(values + rng.normal(size=values.shape) * u)
    kernels = Kernels(POPULATION.reference, fast=True)
    same = random_substitute(kernels, Pairs(columns, x, U, y, U)).log_lr
    observed = np.mean([
        (random_substitute(kernels, Pairs(columns, x, U, np.roll(y, k, 0), np.roll(U, k, 0))).log_lr > 0).mean()
        for k in range(1, 6)
    ])  # fmt: skip
    predicted = np.where(same > 0, np.exp(-same), 0).mean()
    assert 0.7 < observed / predicted < 1.5


def test_a_changed_population_is_refused() -> None:
    from importlib.resources import files

    from samestone.evidence.population import ChangedPopulation

    data = bytearray((files("samestone.evidence") / "data" / "population-1.npy").read_bytes())
    assert len(evidence.load_population(bytes(data))) == 43_207
    data[-1] ^= 1
    with pytest.raises(ChangedPopulation, match="install Samestone again"):
        evidence.load_population(bytes(data))


def test_leaving_a_property_out_saves_the_distance_that_the_shortcut_says() -> None:
    from samestone.evidence.density import invert
    from samestone.evidence.weighing import _saved

    rng = np.random.default_rng(8)
    factor = rng.normal(size=(30, 5, 5))
    U = np.zeros((30, 7, 7))
    U[:, :5, :5] = factor @ factor.transpose(0, 2, 1) + np.eye(5)
    x, y = rng.normal(size=(2, 30, 7))
    pairs = Pairs((0, 1, 2, 3, 4), x, U, y, U)
    precision = invert(2 * U[:, :5, :5])
    pull = np.einsum("nij,nj->ni", precision, (x - y)[:, :5])
    for group, rest in (([0], (1, 2, 3, 4)), ([1, 2], (0, 3, 4)), ([4], (0, 1, 2, 3))):
        assert np.allclose(_saved(precision, pull, group), pairs.distance() - pairs.distance(rest))
