"""Figures of the evidence room against published ones."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import beta, chi2

from samestone.evidence import category, measurement, narrowing, weighing
from samestone.evidence.bound import limit_process
from samestone.evidence.comparison import _ONE_IN_A_MILLION
from samestone.evidence.observable import covariances, observables
from samestone.evidence.wording import verbal


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (1, "no support for one proposition over the other"),
        (2, "weak support"),
        (9.9, "weak support"),
        (10, "moderate support"),
        (99, "moderate support"),
        (100, "moderately strong support"),
        (999, "moderately strong support"),
        (1_000, "strong support"),
        (9_999, "strong support"),
        (10_000, "very strong support"),
        (999_999, "very strong support"),
        (1e6, "extremely strong support"),
    ],
)
def test_verbal_scale(ratio: float, words: str) -> None:
    """ENFSI guideline for evaluative reporting in forensic science, 2015 (authorities/enfsi, quoted from memory)."""
    assert verbal(math.log10(ratio)).startswith(words)
    if ratio > 2:
        assert verbal(-math.log10(ratio)) == f"{words} for the second proposition"


def test_a_quarter_to_a_third_of_diamonds_glow_and_mostly_blue() -> None:
    """Moses et al., Gems & Gemology 33 (4) 244-259, 1997: 65 % without, 97 % of the others blue, 38 % of those faint.

    A quarter to a third of diamonds glow: common practice, no source; the study says 35 %.
    """
    table = category.tables()["uv_long_wave"]
    share = [float(s) for s in table["share"]]
    assert sum(share) == pytest.approx(1)
    assert share[0] == 0.65
    assert 0.25 <= 1 - share[0] <= 0.35
    assert share[1] / (1 - share[0]) == pytest.approx(0.38, abs=0.005)
    colours = [float(s) for s in table["colour_share"]]
    assert sum(colours) == pytest.approx(1)
    assert colours[table["colours"].index("blue")] == 0.97


@pytest.mark.parametrize("name", ["uv_long_wave", "girdle_finish", "culet"])
def test_an_observer_says_something_about_every_state(name: str) -> None:
    table = category.tables()[name]
    assert sum(float(s) for s in table["share"]) == pytest.approx(1)
    for row in table["confusion"]:
        assert sum(float(p) for p in row) == pytest.approx(1)


@pytest.mark.parametrize("name", ["uv_long_wave", "girdle_finish", "culet"])
def test_categories_favour_two_stones_as_often_as_they_should(name: str) -> None:
    """Good and Turing: the expectation of LR over pairs of different stones is 1."""
    table = category.tables()[name]
    share = np.array([float(s) for s in table["share"]])
    confusion = np.array([[float(p) for p in row] for row in table["confusion"]])
    said = share @ confusion
    ratios = [[category.likelihood_ratio(share, confusion, i, j) for j in range(len(share))] for i in range(len(share))]
    assert said @ np.array(ratios) @ said == pytest.approx(1)


def test_uncertainty_of_the_observables_agrees_with_simulation() -> None:
    """First order propagation (JCGM 100:2008, 5.2.2) against Monte Carlo (JCGM 101:2008), 400,000 draws."""
    rng = np.random.default_rng(4)
    stone = np.array([1.032, 6.467, 6.503, 4.003, 57.0])
    u, common = np.array([0.001, 0.02, 0.02, 0.02, 0.58]), np.array([0.0, 0.012, 0.012, 0.012, 0.0])
    instrument = np.array([0, 1, 1, 1, 2])
    n = 400_000
    draws = stone + rng.normal(size=(n, 5)) * u + (rng.normal(size=(n, 3)) * 1.0)[:, instrument] * common
    expected = np.cov(observables(draws).T)
    found = covariances(stone[None], u[None], common[None], instrument[None])[0]
    scale = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    assert np.abs((found - expected) / scale).max() < 0.01


def test_limits_come_from_chi_square() -> None:
    """scipy.stats.chi2."""
    for k in range(1, 6):
        assert narrowing._LIMIT[k - 1] == pytest.approx(chi2.ppf(0.99, k), abs=5e-4)
        assert pytest.approx(chi2.isf(1e-6, k), abs=5e-3) == _ONE_IN_A_MILLION[k - 1]
    assert chi2.sf(measurement.DOUBTFUL**2, 1) == pytest.approx(1 / 370, rel=0.01)


@pytest.mark.parametrize(("count", "of"), [(0, 43_207), (1, 43_207), (17, 43_207), (803, 43_207), (5, 9), (9, 9)])
def test_upper_limit_of_a_share(count: int, of: int) -> None:
    """Clopper and Pearson, Biometrika 26, 404-413, 1934, by the beta distribution of scipy."""
    expected = beta.ppf(0.95, count + 1, of - count) if count < of else 1.0
    assert narrowing.share_at_most(count, of) == pytest.approx(expected, rel=1e-8)


def test_the_process_limits_what_can_be_said() -> None:
    """With e = 1e-4 no comparison exceeds (1-e)/e, whatever the findings."""
    assert limit_process(50) == pytest.approx(math.log10(9_999), abs=1e-9)
    assert limit_process(-50) == pytest.approx(-math.log10(9_999), abs=1e-9)
    assert limit_process(0) == pytest.approx(0)
    assert weighing.BLUNDER > 0
