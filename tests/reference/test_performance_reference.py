"""Measures of calibration, against independent implementations: lir 1.3, scikit-learn."""

from __future__ import annotations

import numpy as np
import pytest
from lir.data.models import LLRData
from lir.metrics import cllr as lir_cllr
from lir.metrics import cllr_min as lir_cllr_min
from lir.metrics.devpav import devpav
from sklearn.isotonic import IsotonicRegression
from sklearn.metrics import roc_curve

from samestone.evidence import performance
from samestone.evidence.observable import Array


@pytest.fixture(params=[0, 1, 2, 3])
def ratios(request: pytest.FixtureRequest) -> tuple[Array, Array]:
    """Ratios of one stone and of two, well or badly calibrated, with ties."""
    rng = np.random.default_rng(request.param)
    scale = (1.0, 0.5, 2.0, 1.0)[request.param]
    same, other = rng.normal(1, 1.2, 150) * scale, rng.normal(-1, 1.2, 400) * scale
    return (same, other) if request.param < 3 else (np.round(same, 1), np.round(other, 1))


def as_lir(same: Array, other: Array) -> LLRData:
    return LLRData(
        features=np.concatenate([same, other])[:, None],
        labels=np.concatenate([np.ones(len(same)), np.zeros(len(other))]),
    )


def test_cost_as_lir_has_it(ratios: tuple[Array, Array]) -> None:
    assert performance.cllr(*ratios) == pytest.approx(lir_cllr(as_lir(*ratios)), abs=1e-12)
    assert performance.cllr_min(*ratios) == pytest.approx(lir_cllr_min(as_lir(*ratios)), abs=1e-9)


def test_distance_from_calibration_as_lir_has_it(ratios: tuple[Array, Array]) -> None:
    labels = np.concatenate([np.ones(len(ratios[0])), np.zeros(len(ratios[1]))])
    expected = devpav(np.concatenate(ratios), labels)
    assert performance.calibration_distance(*ratios) == pytest.approx(expected, abs=1e-9)


def test_recalibration_as_isotonic_regression_has_it(ratios: tuple[Array, Array]) -> None:
    same, other = ratios
    weights = np.concatenate([np.full(len(same), 1 / len(same)), np.full(len(other), 1 / len(other))])
    truth = np.concatenate([np.ones(len(same)), np.zeros(len(other))])
    level = IsotonicRegression().fit_transform(np.concatenate(ratios), truth, sample_weight=weights)
    calibrated = 1 / (1 + 10.0 ** -performance.recalibrate(same, other))
    np.testing.assert_allclose(calibrated, level, atol=1e-9)


def test_equal_errors_lie_on_the_hull_of_the_curve(ratios: tuple[Array, Array]) -> None:
    """The hull's rate is at most that of any threshold, from scikit-learn's curve."""
    same, other = ratios
    truth = np.concatenate([np.ones(len(same)), np.zeros(len(other))])
    alarms, found, _ = roc_curve(truth, np.concatenate(ratios))
    rate = performance.equal_error_rate(same, other)
    assert 0 < rate <= np.maximum(alarms, 1 - found).min() + 1e-9
    # A point on the hull is a mixture of two thresholds: no threshold lies on its better side.
    slope = np.argsort(alarms)
    assert rate >= np.maximum(alarms[slope], 1 - found[slope]).min() - 0.05


def test_equal_errors_with_pairs_that_are_only_counted(ratios: tuple[Array, Array]) -> None:
    same, other = ratios
    kept = np.concatenate([other, np.full(3000, -60.0)])
    rate = performance.equal_error_rate(same, other, far=3000)
    assert rate == pytest.approx(performance.equal_error_rate(same, kept), abs=1e-12)
    assert rate < performance.equal_error_rate(same, other)


def test_cross_entropy_at_even_odds_is_the_cost(ratios: tuple[Array, Array]) -> None:
    """Ramos and Gonzalez-Rodriguez, Forensic Sci. Int. 230, 156-169, 2013: at odds 1 it is Cllr."""
    at_one = performance.empirical_cross_entropy(*ratios, np.array([0.0]))
    assert at_one[0] == pytest.approx(performance.cllr(*ratios), abs=1e-12)


def test_tail_identities_hold_for_ratios_that_mean_what_they_say() -> None:
    """Two normal distributions one unit apart: ln LR = x - 1/2 exactly."""
    rng = np.random.default_rng(4)
    same, other = (rng.normal(m, 1, 400_000) - 0.5 for m in (1, 0))
    ln10 = np.log(10)
    for k, row in performance.tail_identities(same / ln10, other / ln10, at=(0, 0.5, 1)).items():
        assert row["two_above"] == pytest.approx(row["two_above_expected"], rel=0.1), k
        assert row["one_below"] == pytest.approx(row["one_below_expected"], rel=0.1), k
    broken = performance.tail_identities(2 * same / ln10, 2 * other / ln10, at=(1,))[1]
    assert broken["two_above"] > 1.5 * broken["two_above_expected"]
