"""The next examination: expected gain against simulation, and what is offered."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from benchmarks.accuracy_plan import CASES, simulated_gain
from benchmarks.remeasurement import declare
from sklearn.metrics import mutual_info_score
from tests.unit.evidence_record import changed, drop

from samestone import evidence
from samestone.evidence.density import Kernels
from samestone.evidence.information import Given
from samestone.evidence.plan import gain_of_words
from samestone.evidence.word import chances_of_words


def offers(*dropped: str, against: Any = "random", **more: Any) -> dict[str, Any]:
    record = {**changed(drop(*dropped)), **more}
    found = evidence.find.next_examinations(
        evidence.read_examination(record), population=evidence.load_population(), against=against
    )
    return {item.what: item for item in found}


@pytest.mark.parametrize("case", [0, 4, 9])
def test_expected_gain_is_the_mean_of_simulated_ratios(case: int) -> None:
    """Its own standard error is 0.02 with 600 pairs."""
    known, wanted, bench = CASES[case]
    population = evidence.load_population()
    kernels = Kernels(population)
    values = population.test.values[100 + case][None]
    x, U = (part[0] for part in declare(values, bench))
    simulated = simulated_gain(kernels, (known, wanted), x, U, np.random.default_rng(case), draws=600)
    assert Given(kernels, known, x, U).gain(*wanted) == pytest.approx(simulated, abs=0.08)


@pytest.mark.parametrize("what", ["girdle_finish", "culet"])
def test_gain_of_words_is_their_mutual_information(what: str) -> None:
    """scikit-learn's mutual information of the table of pairs; limits take a little away."""
    words = sorted({first for first, _, _ in chances_of_words(what)})
    table = np.zeros((len(words), len(words)))
    for first, second, chance in chances_of_words(what):
        table[words.index(first), words.index(second)] += round(chance * 1e8)
    expected = mutual_info_score(None, None, contingency=table) / np.log(10)
    assert gain_of_words(what)[0] == pytest.approx(expected, abs=0.02)


def test_what_is_recorded_is_not_offered_again() -> None:
    assert offers().keys() == {"culet", "photographs"}
    assert offers("weight_ct").keys() == {"weight", "culet", "photographs"}


def test_a_look_alike_chosen_by_size_and_weight_shares_them() -> None:
    found = offers("weight_ct", "table_percent", against="look_alike")
    assert "weight" not in found
    assert found["table"].look_alike > 0.2


def test_weighing_a_set_stone_takes_unsetting() -> None:
    loose = offers("weight_ct")["weight"]
    set_ = offers("weight_ct", stone={"cut": "round brilliant", "setting": "set"})["weight"]
    assert set_.minutes > 10 * loose.minutes
    assert "out of its setting" in set_.needs


def test_what_could_not_be_looked_at_is_not_offered() -> None:
    hidden = [{"what": what, "why": "set"} for what in ("weight_ct", "depth_mm", "culet")]
    set_ = {"cut": "round brilliant", "setting": "set"}
    assert offers("weight_ct", "depth_mm", not_examined=hidden, stone=set_).keys() == {"weight", "photographs"}


def test_other_cuts_are_offered_no_sizes() -> None:
    found = offers("weight_ct", stone={"cut": "oval brilliant", "setting": "loose"})
    assert "weight" not in found
    assert "photographs" in found
