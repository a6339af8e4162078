"""Likelihood ratios against numerical integration and against an independent implementation."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from lir.data.models import LLRData
from lir.lrsystems.two_level import TwoLevelModelNormalKDE
from lir.metrics import cllr as lir_cllr
from scipy import integrate, stats

from samestone.evidence.compiled import all_covariances
from samestone.evidence.density import Kernels
from samestone.evidence.likelihood import Pairs, random_substitute
from samestone.evidence.narrowing import narrow, share_at_most
from samestone.evidence.observable import Array, covariances, observables
from samestone.evidence.population import Population, load_population
from samestone.evidence.weighing import weigh


@pytest.fixture(scope="module")
def some_stones() -> Population:
    """Two thousand stones: the independent implementation goes through all of them for each pair."""
    return load_population().part(np.arange(0, 40_000, 20), "a sample")


def simulated(stones: Population, n: int, seed: int) -> tuple[Array, Array, Array]:
    """Observables of pairs of measurements, half of one stone and half of two, and one covariance for all."""
    rng = np.random.default_rng(seed)
    U = np.diag([0.0012, 0.0011, 0.0019, 0.0015, 0.58, 0.0014, 0.0014]) ** 2
    U[1, 3] = U[3, 1] = 0.4 * 0.0011 * 0.0015
    seen = stones.observables()
    first = rng.integers(len(seen), size=n)
    second = np.where(np.arange(n) % 2 == 0, first, rng.integers(len(seen), size=n))
    noise = rng.multivariate_normal(np.zeros(7), U, size=(2, n))
    return seen[first] + noise[0], seen[second] + noise[1], U


PATTERNS = [
    columns
    for k in range(1, 6)
    for columns in itertools.combinations((0, 1, 2, 3, 4), k)
    if (1 in columns) == (2 in columns)
]


@pytest.mark.parametrize("columns", PATTERNS, ids=str)
def test_two_level_model_agrees_with_lir_in_every_pattern_of_missing_features(
    some_stones: Population, columns: tuple[int, ...]
) -> None:
    """lir 1.3.1, TwoLevelModelNormalKDE (Bolck et al., Forensic Science International 191, 42-51, 2009)."""
    n = 70
    x, y, U = simulated(some_stones, n, seed=sum(columns) + len(columns))
    kernels = Kernels(some_stones, apart=0.0, reach=60.0)
    at = np.ix_(columns, columns)
    model = TwoLevelModelNormalKDE()
    model.n_sources, model.n_features_train = len(some_stones), len(columns)
    model.means_per_source = some_stones.observables()[:, columns]
    model.mean_within_covars = U[at]
    model.kernel_bandwidth_sq, model.between_covars = 1.0, kernels.H[at]
    model.model_fitted = True
    theirs = model.transform(x[:, None, columns], y[:, None, columns])
    every = np.broadcast_to(U, (n, 7, 7))
    ours = random_substitute(kernels, Pairs(columns, x, every, y, every)).log_lr / math.log(10)
    comparable = np.isfinite(theirs) & (theirs > -60)
    assert comparable.sum() >= n // 2
    assert np.abs(ours - theirs)[comparable].max() <= 1e-9


@pytest.mark.parametrize("ratio", [0.3, 1.0, 4.0])
def test_one_dimension_agrees_with_numerical_integration(some_stones: Population, ratio: float) -> None:
    """scipy.integrate.quad over the true value; the two records are known differently well."""
    kernels = Kernels(some_stones, apart=1e-3, reach=60.0)
    weights = some_stones.observables()[:, 0]
    h, mean, wide = math.sqrt(kernels.H[0, 0]), kernels.mean[0], math.sqrt(kernels.wide[0, 0])

    def between(theta: float) -> float:
        near = float(stats.norm.pdf(theta, weights, h).mean())
        return (1 - 1e-3) * near + 1e-3 * float(stats.norm.pdf(theta, mean, wide))

    ux, uy = 0.002, 0.002 * ratio
    for x, y in ((0.0311, 0.0300), (-0.5, -0.4962), (0.402, 0.41)):
        limits = (min(x, y) - 12 * max(ux, uy), max(x, y) + 12 * max(ux, uy))

        def integral(*seen: tuple[float, float], limits: tuple[float, float] = limits) -> float:
            def inside(theta: float) -> float:
                return between(theta) * math.prod(float(stats.norm.pdf(v, theta, u)) for v, u in seen)

            peaks = [v for v, _ in seen]
            return float(integrate.quad(inside, *limits, points=peaks, epsabs=0, epsrel=1e-11, limit=200)[0])

        expected = math.log10(integral((x, ux), (y, uy)) / integral((x, ux)) / integral((y, uy)))
        pair = Pairs((0,), *(np.full((1, *shape), value) for shape, value in (
            ((7,), x), ((7, 7), ux**2), ((7,), y), ((7, 7), uy**2))))  # fmt: skip
        found = random_substitute(kernels, pair).log_lr[0] / math.log(10)
        assert found == pytest.approx(expected, abs=1e-9)


def test_leaving_distant_stones_out_changes_nothing_that_is_printed() -> None:
    stones = load_population()
    x, y, U = simulated(stones, 60, seed=5)
    every = np.broadcast_to(U, (60, 7, 7))
    pairs = Pairs((0, 1, 2, 3, 4), x, every, y, every).only(np.arange(0, 60, 2))
    short = random_substitute(Kernels(stones), pairs).log_lr
    long = random_substitute(Kernels(stones, reach=60.0), pairs).log_lr
    assert np.abs(short - long).max() / math.log(10) < 1e-5


def test_compiled_and_plain_sums_agree() -> None:
    stones = load_population()
    x, y, U = simulated(stones, 200, seed=6)
    every = np.broadcast_to(U, (200, 7, 7))
    for columns in ((0, 1, 2, 3, 4), (1, 2), (3,), (0, 6, 4)):
        pairs = Pairs(columns, x, every, y, every)
        plain = random_substitute(Kernels(stones), pairs)
        compiled = random_substitute(Kernels(stones, fast=True), pairs)
        assert np.abs(plain.log_x - compiled.log_x).max() < 1e-9
        assert np.abs(plain.log_y - compiled.log_y).max() < 1e-9


@pytest.mark.parametrize("columns", [(0, 1, 2, 3, 4), (1, 2, 3), (0, 6, 4), (4,)], ids=str)
def test_compiled_and_plain_weighing_agree(columns: tuple[int, ...]) -> None:
    """One stone, one stone with a blunder, two stones: everything that weighing gives, written twice."""
    stones = load_population().part(np.arange(0, 40_000, 8), "a sample")
    x, y, U = simulated(stones, 60, seed=12)
    y[:20, 0] += 0.01
    y[::3] = x[::3] + (y[::3] - x[::3]).clip(-0.02, 0.02)
    every = np.tile(U, (60, 1, 1))
    pairs = Pairs(columns, x, every, y, every)
    plain, compiled = weigh(Kernels(stones), pairs, 500), weigh(Kernels(stones, fast=True), pairs, 500)
    for part in ("random", "look_alike", "distance"):
        np.testing.assert_allclose(getattr(compiled, part), getattr(plain, part), rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(compiled.working, plain.working, rtol=1e-9, atol=1e-9)
    assert np.array_equal(compiled.apart, plain.apart)
    assert np.isfinite(plain.working).any()


def test_compiled_and_plain_covariances_and_counts_agree() -> None:
    stones = load_population().part(np.arange(0, 40_000, 8), "a sample")
    rng = np.random.default_rng(3)
    u = rng.uniform(0.2, 1.0, (30, 5)) * [0.001, 0.01, 0.01, 0.01, 0.5]
    numbers = np.tile([0, 1, 1, 1, 2], (30, 1))
    plain = covariances(stones.values[:30], u, 0.4 * u, numbers)
    np.testing.assert_allclose(
        all_covariances(stones.values[:30], u, 0.4 * u, numbers.astype(float)), plain, rtol=1e-12
    )
    for columns in ((0, 1, 2, 3, 4), (5, 4), (0,)):
        slow, fast = (
            narrow(stones, columns, observables(stones.values[:30]), plain, fast=fast) for fast in (False, True)
        )
        assert fast == slow
        assert slow[0].left[-1][1] >= 1


def test_upper_limit_of_a_share_agrees_with_scipy() -> None:
    """Clopper and Pearson's upper limit is a quantile of the beta distribution."""
    for of in (5, 50, 43_207):
        for count in {0, 1, 3, min(30, of - 1), of // 2, of - 1}:
            assert share_at_most(count, of) == pytest.approx(stats.beta.ppf(0.95, count + 1, of - count), rel=1e-9)


def test_cllr_agrees_with_lir() -> None:
    """Brümmer and du Preez, Computer Speech and Language 20, 230-275, 2006, as implemented in lir."""
    from samestone.evidence.performance import cllr

    rng = np.random.default_rng(9)
    same, other = rng.normal(1.5, 1.2, 400), rng.normal(-1.7, 1.4, 700)
    truth = np.concatenate([np.ones(400), np.zeros(700)])
    theirs = lir_cllr(LLRData(features=np.concatenate([same, other])[:, None], labels=truth))
    assert cllr(same, other) == pytest.approx(theirs, abs=1e-12)


def test_least_cllr_agrees_with_lir() -> None:
    from lir.metrics import cllr_min as lir_cllr_min

    from samestone.evidence.performance import cllr_min

    rng = np.random.default_rng(10)
    same, other = rng.normal(1.5, 1.2, 500), rng.normal(-1.7, 1.4, 500)
    truth = np.concatenate([np.ones(500), np.zeros(500)])
    theirs = lir_cllr_min(LLRData(features=np.concatenate([same, other])[:, None], labels=truth))
    assert cllr_min(same, other) == pytest.approx(theirs, abs=1e-6)
    with_far = np.concatenate([other, np.full(5000, -50.0)])
    assert cllr_min(same, other, far=5000) == pytest.approx(cllr_min(same, with_far), abs=1e-9)
