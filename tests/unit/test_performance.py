"""A shop's own calibration, from stones that it examined twice."""

from __future__ import annotations

import json

import numpy as np
import pytest
from tests.unit.test_search import read

from samestone import evidence


def repeats(n: int, worse: float = 1.0) -> list[tuple[evidence.Examination, evidence.Examination]]:
    """Stones kept for testing, measured twice; `worse` times the noise that the records declare."""
    rng = np.random.default_rng(6)
    u = np.array([0.001, 0.006, 0.006, 0.006, 0.4]) * worse
    population = evidence.load_population()
    values = population.test.values[rng.integers(len(population.test), size=n)]
    first, second = (values + rng.normal(size=values.shape) * u for _ in range(2))
    for part in (first, second):
        part[:, 1:3].sort(axis=1)
    return [(read(a), read(b)) for a, b in zip(first, second, strict=True)]


def test_repeats_show_how_good_the_ratios_are() -> None:
    population = evidence.load_population()
    found = evidence.performance.calibrate_shop(repeats(14), population=population)
    assert (found.stones, len(found.same), len(found.other)) == (14, 14, 14 * 13)
    shown = found.as_json()
    assert shown["cllr"] < 0.1
    assert found.missed[0] == 0 and 0.1 < found.missed[2] < 0.3
    assert shown["tippett"]["one_stone"][0] >= shown["tippett"]["two_stones"][0]
    assert json.dumps(shown)


def test_an_understated_uncertainty_shows() -> None:
    population = evidence.load_population()
    good, bad = (evidence.performance.calibrate_shop(repeats(14, worse), population=population) for worse in (1.0, 5.0))
    assert bad.as_json()["cllr"] > 3 * good.as_json()["cllr"]


def test_few_repeats_are_refused() -> None:
    with pytest.raises(evidence.performance.TooFewRepeats, match="found 9"):
        evidence.performance.calibrate_shop(repeats(9), population=evidence.load_population())
