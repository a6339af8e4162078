"""Published figures of metrology at their printed precision; the source stands beside each."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from samestone import metrology
from samestone.metrology import budget, diary, gauge, mass, repeats

AUTHORITIES = Path(__file__).parents[2] / "authorities"


def rows(name: str) -> list[dict[str, str]]:
    lines = (AUTHORITIES / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


# JCGM 100:2008 (GUM), table 1 of 4.4.3: twenty temperatures; mean 100.145, s 1.489, s of the mean 0.333 degrees.
GUM_4_4_3 = (
    "96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07 "
    "100.33 100.42 100.68 100.95 101.11 101.20 101.57 101.84 102.36 102.72"
)


def test_gum_4_4_3_repeated_indications() -> None:
    values = [float(x) for x in GUM_4_4_3.split()]
    found = repeats.find_repeatability([repeats.Repeat("bath", 1, x) for x in values], resolution=0.0)
    assert found.u == pytest.approx(1.489, abs=5e-4)
    assert found.dof == 19
    thermometer = metrology.Instrument("thermometer", "thermometer", "C", 0.0, found.u, dof=found.dof)
    reading = metrology.take_reading(values, thermometer)
    assert reading.value == pytest.approx(100.145, abs=5e-4)
    assert reading.u == pytest.approx(0.333, abs=5e-4)
    assert reading.dof == pytest.approx(19)


def test_gum_h_1_end_gauge() -> None:
    # GUM H.1: l = 50.000838 mm, u_c = 32 nm, effective dof 16, t99 = 2.92, U99 = 93 nm.
    length_nm = 50.000623e6
    found = metrology.combine(
        [
            budget.Part("standard", 25.0, 1.0, 18),
            budget.Part("comparator", 9.7, 1.0, 25.6),
            budget.Part("difference of expansion", 0.58e-6, length_nm * 0.1, 50),
            budget.Part("difference of temperature", 0.029, length_nm * 11.5e-6, 2),
        ]
    )
    assert length_nm + 215 == pytest.approx(50.000838e6)
    assert round(found.u) == 32
    assert int(found.dof) == 16
    assert found.coverage(0.99) == pytest.approx(2.92, abs=5e-3)
    assert found.expanded(0.99) == pytest.approx(93, abs=0.6)  # the guide multiplies its rounded 32 nm


def test_coverage_factors_of_the_guide() -> None:
    # GUM table G.2: t95 for 1, 10, 20, infinite degrees of freedom.
    for dof, printed in ((1, 12.71), (10, 2.23), (20, 2.09), (float("inf"), 1.960)):
        assert budget.Combined(1.0, dof, ()).coverage(0.95) == pytest.approx(printed, abs=5e-3)


def test_nist_sirstv() -> None:
    # NIST Statistical Reference Datasets, SiRstv, certified values.
    groups: dict[str, list[float]] = {}
    for row in rows("instrument-comparison-nist.csv"):
        groups.setdefault(row["instrument"], []).append(float(row["value"]))
    between, within = gauge.compare_groups(list(groups.values()))
    assert between.squares == pytest.approx(5.11462616000000e-02, rel=1e-9)
    assert within.squares == pytest.approx(2.16636560000000e-01, rel=1e-9)
    assert between.f == pytest.approx(1.18046237440255, rel=1e-9)
    assert within.mean_square**0.5 == pytest.approx(1.04076068334656e-01, rel=1e-9)
    assert between.squares / (between.squares + within.squares) == pytest.approx(1.90999039051129e-01, rel=1e-9)


@pytest.fixture(scope="module")
def study() -> gauge.Study:
    return gauge.study_gauge(
        [gauge.Trial(row["part"], row["appraiser"], float(row["value"])) for row in rows("gauge-study-aiag.csv")]
    )


def test_aiag_analysis_of_variance(study: gauge.Study) -> None:
    # AIAG Measurement Systems Analysis, the example of 3 appraisers, 10 parts, 3 trials.
    squares = {line.source: line.squares for line in study.table}
    assert squares == pytest.approx(
        {"part": 88.3619, "appraiser": 3.1673, "interaction": 0.3590, "repeatability": 2.7589, "total": 94.6471},
        abs=6e-5,
    )
    assert study.pooled
    found = study.by_variance
    assert found.ev == pytest.approx(0.199933, abs=1e-6)
    assert found.av == pytest.approx(0.226838, abs=1e-6)
    assert found.grr == pytest.approx(0.302373, abs=2e-6)
    assert found.pv == pytest.approx(1.042327, abs=1e-6)
    assert found.tv == pytest.approx(1.0853, abs=5e-5)
    assert found.percent_grr == pytest.approx(27.86, abs=5e-3)
    assert found.contribution_percent == pytest.approx(7.76, abs=5e-3)
    assert found.categories == 4
    assert found.rating == "marginal"


def test_aiag_average_and_range(study: gauge.Study) -> None:
    # The manual rounds the mean range first, so its last digit is 1 to 5 units off.
    found = study.by_range
    assert found.ev == pytest.approx(0.20188, abs=1e-4)
    assert found.av == pytest.approx(0.22963, abs=1e-4)
    assert found.grr == pytest.approx(0.30575, abs=1e-4)
    assert found.pv == pytest.approx(1.10456, abs=2e-4)
    assert found.tv == pytest.approx(1.14610, abs=2e-4)
    assert found.percent_grr == pytest.approx(26.68, abs=1e-2)
    assert found.categories == 5


def test_aiag_constants() -> None:
    # AIAG tables: K1 (2, 3 trials), K2 (2, 3 appraisers), K3 (2 to 10 parts).
    assert [round(1 / gauge.d2(n), 4) for n in (2, 3)] == [0.8862, 0.5908]
    k3 = [0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146]
    assert [round(1 / gauge.d2_star(n), 4) for n in range(2, 11)] == k3


def test_range_constants_by_simulation() -> None:
    normal = np.random.default_rng(20).standard_normal((400_000, 5))
    spread = np.ptp(normal, axis=1)
    assert gauge.d2(5) == pytest.approx(spread.mean(), abs=0.006)
    assert gauge.d2_star(5) == pytest.approx(np.sqrt((spread**2).mean()), abs=0.006)


def test_oiml_r76_permitted_errors() -> None:
    # OIML R 76-1, table 6, class II: 0.5 e up to 5000 e, 1 e up to 20000 e, 1.5 e up to 100000 e; in service twice.
    for load, permitted in ((5_000, 0.5), (5_001, 1.0), (20_000, 1.0), (20_001, 1.5), (100_000, 1.5)):
        assert mass.permitted_scale_error_mg(load, 1.0) == permitted
        assert mass.permitted_scale_error_mg(load, 1.0, in_service=True) == 2 * permitted
    with pytest.raises(ValueError, match="100000"):
        mass.permitted_scale_error_mg(100_001, 1.0)


def test_oiml_r111_classes_against_a_carat_scale() -> None:
    # OIML R 111-1, table 1: 10 g is 0.06, 0.20, 0.6, 2.0 mg in E2, F1, F2, M1.
    found = [mass.permitted_weight_error_mg(10, c) for c in ("E2", "F1", "F2", "M1")]
    assert found == [0.06, 0.20, 0.6, 2.0]
    assert mass.refuse_coarse_weight(10, "F1", 0.001) == ()
    (problem,) = mass.refuse_coarse_weight(10, "M1", 0.001)
    assert "0.0100 ct" in problem.found
    assert problem.remedy == "use class F1"


def test_the_check_of_a_stated_u_has_its_published_power() -> None:
    # Power of the one-sided 5 % chi-square test at a true ratio of 1.5 and 20 degrees of freedom: 0.83 (computed).
    rng = np.random.default_rng(7)

    def share(ratio: float) -> float:
        draws = rng.normal(0, ratio * 0.01, size=(1500, 10, 3))
        return float(np.mean([repeats.check_stated_u(draw, 0.01, 0.0).understated for draw in draws.tolist()]))

    assert share(1.5) == pytest.approx(0.83, abs=0.03)
    assert share(1.0) == pytest.approx(0.05, abs=0.017)


def test_enough_degrees_of_freedom() -> None:
    assert metrology.Instrument("g", "gauge", "mm", 0.01, 0.01, dof=20).standing == "measured"
    assert metrology.Instrument("g", "gauge", "mm", 0.01, 0.01, dof=19).standing == "unsupported"
    assert metrology.Instrument("g", "gauge", "mm", 0.01, 0.03, declared=True).standing == "declared"


def test_declared_defaults_cover_what_is_common() -> None:
    # JCGM 100:2008, 4.3.7: a bound a with equal chances inside has u = a/sqrt(3). Bounds: common practice, no source.
    for kind, bound in (("gauge", 0.03), ("scale", 0.005), ("table gauge", 2.0)):
        found = metrology.Instrument.assume(kind, "x")
        assert bound / 3**0.5 <= found.u <= 1.2 * bound / 3**0.5
        assert found.standing == "declared"
    with pytest.raises(ValueError, match="ruler"):
        metrology.Instrument.assume("ruler", "x")


def test_a_gauge_block_that_reads_too_large_fails_and_a_sound_gauge_passes() -> None:
    # Common practice, no source: a gauge that reads 5.09 on a 5.00 block is out; a hundredth or two is not.
    worn = metrology.Instrument("gauge", "gauge", "mm", 0.01, 0.015, 0.006, declared=True)
    out = diary.check_blocks([(1.0, 0.0002, [1.0, 1.0]), (5.0, 0.0002, [5.09, 5.09, 5.09])], worn)
    assert not out.passed
    assert out.deviation == pytest.approx(0.09)
    assert "+0.09 mm" in out.sentence
    assert diary.check_blocks([(1.0, 0.0002, [1.01]), (5.0, 0.0002, [5.02])], worn).passed
