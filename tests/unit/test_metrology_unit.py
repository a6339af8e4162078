"""Readings, diary, studies: small cases worked by hand."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta

import pytest

from samestone import metrology
from samestone.metrology import diary, gauge, repeats
from samestone.metrology.diary import Check

DAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


def at(day: float) -> datetime:
    return DAY + timedelta(days=day)


def make_gauge(**changes: float) -> metrology.Instrument:
    return metrology.Instrument(
        "gauge", "gauge", "mm", **({"resolution": 0.01, "u": 0.010, "u_common": 0.004} | changes)
    )


def test_only_the_independent_part_falls_with_repeats() -> None:
    one, four = (metrology.take_reading([6.47] * n, make_gauge()) for n in (1, 4))
    assert four.u_common == one.u_common == 0.004
    assert four.u_independent == pytest.approx(one.u_independent / 2)
    assert one.u == pytest.approx(math.sqrt(0.01**2 + 0.01**2 / 12))


def test_a_coarse_display_does_not_average_out() -> None:
    coarse = metrology.Instrument("gauge", "gauge", "mm", resolution=0.1, u=0.01)
    assert metrology.take_reading([6.5] * 100, coarse).u >= 0.1 / math.sqrt(12)


def test_scatter_beyond_the_instrument_is_flagged() -> None:
    assert metrology.take_reading([6.47, 6.46, 6.48], make_gauge()).flags == ()
    assert metrology.take_reading([6.47, 6.46, 6.58], make_gauge()).flags == ("scatter",)


@pytest.mark.parametrize("indications", [[], [float("nan")], [6.47, float("inf")]])
def test_a_reading_refuses_what_is_not_there(indications: list[float]) -> None:
    with pytest.raises(ValueError, match="indications"):
        metrology.take_reading(indications, make_gauge())


@pytest.mark.parametrize("changes", [{"u": -0.01}, {"u_common": 0.02}, {"dof": 0}, {"resolution": float("nan")}])
def test_an_instrument_refuses_what_cannot_be(changes: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="instrument 'gauge'"):
        make_gauge(**changes)


def test_a_failed_check_makes_readings_suspect_since_the_last_good_one() -> None:
    checks = [Check(at(0), True), Check(at(7), True), Check(at(14), False, 0.09), Check(at(15), True)]
    assert diary.standing_at(at(-1), checks) == "unchecked"
    assert diary.standing_at(at(3), checks) == "confirmed"
    assert diary.standing_at(at(8), checks) == "suspect"
    assert diary.standing_at(at(14.5), checks) == "suspect"
    assert diary.standing_at(at(16), checks) == "open"
    assert diary.suspect_since(checks) == at(7)
    assert diary.suspect_since(checks[:2]) is None
    assert diary.suspect_since([Check(at(4), False)]) == at(4)


def test_a_failure_without_any_good_check_before_it_reaches_back_to_the_first_reading() -> None:
    assert diary.standing_at(at(-30), [Check(at(0), False)]) == "suspect"


def test_a_zero_within_two_steps_passes() -> None:
    assert diary.check_zero([0.01, 0.0], make_gauge()).passed
    assert not diary.check_zero([0.05, 0.05, 0.05], make_gauge()).passed


def test_one_gauge_block_is_refused() -> None:
    with pytest.raises(ValueError, match="two sizes"):
        diary.check_blocks([(5.0, 0.0002, [5.0])], make_gauge())


def test_a_known_weight() -> None:
    scale = metrology.Instrument("scale", "scale", "ct", 0.001, 0.001, dof=30)
    assert diary.check_weight(10, "F1", [50.001, 50.001], scale).passed
    assert not diary.check_weight(10, "F1", [50.006, 50.006], scale).passed
    with pytest.raises(ValueError, match="M1"):
        diary.check_weight(10, "M1", [50.0], scale)
    with pytest.raises(ValueError, match="3 g"):
        diary.check_weight(3, "F1", [15.0], scale)


def test_a_probe_must_know_both_known_stones_and_not_the_claw() -> None:
    assert diary.check_probe(["diamond"] * 3, ["not diamond"] * 3, "diamond").passed
    assert not diary.check_probe(["diamond"] * 3, ["not diamond", "diamond", "not diamond"], "diamond").passed
    with pytest.raises(ValueError, match="three usable"):
        diary.check_probe(["diamond", "metal", "diamond"], ["not diamond"] * 3, "diamond")


def test_lamp_and_camera() -> None:
    assert diary.check_lamp(100, 100, "medium", "strong").passed
    assert not diary.check_lamp(100, 100, "faint", "strong").passed
    assert not diary.check_lamp(150, 100, "strong", "strong").passed
    assert diary.check_camera(5.01, 0.01, 5.0, 0.01).passed
    assert not diary.check_camera(5.1, 0.01, 5.0, 0.01).passed


def test_drift_of_a_gauge_that_wears_and_of_one_that_does_not() -> None:
    wears = [Check(at(30 * n), True, 0.002 * n + 0.0003 * (-1) ** n) for n in range(12)]
    found = diary.drift(wears)
    assert found.per_year == pytest.approx(0.002 / 30 * 365.25, rel=0.05)
    assert found.significant
    steady = [Check(at(30 * n), True, 0.003 * (-1) ** n) for n in range(12)]
    assert not diary.drift(steady).significant
    with pytest.raises(ValueError, match="four"):
        diary.drift(wears[:3])


def test_repeats_split_into_sitting_and_between_sittings() -> None:
    # Two sittings 0.04 apart, +-0.01 within: s_within^2 = 0.0002, MS_between = 2 * 2 * 0.02^2 = 0.0016,
    # u_common^2 = (0.0016 - 0.0002)/2 = 0.0007.
    values = ((1, 5.01), (1, 4.99), (2, 5.05), (2, 5.03))
    found = repeats.find_repeatability([repeats.Repeat("a", s, x) for s, x in values], resolution=0.0)
    assert found.u_independent**2 == pytest.approx(0.0002)
    assert found.u_common**2 == pytest.approx(0.0007)
    assert (found.dof_independent, found.dof_common, found.n) == (2, 1, 4)


def test_repeats_without_repeats_are_refused() -> None:
    with pytest.raises(ValueError, match="twice"):
        repeats.find_repeatability([repeats.Repeat("a", 1, 5.0), repeats.Repeat("b", 1, 6.0)], 0.01)


def trials(values: dict[tuple[str, str], list[float]]) -> list[gauge.Trial]:
    return [gauge.Trial(part, person, x) for (part, person), cell in values.items() for x in cell]


def test_a_study_refuses_an_unbalanced_table_by_its_cell() -> None:
    cells = {("1", "A"): [1.0, 1.1], ("2", "A"): [2.0, 2.1], ("1", "B"): [1.0, 1.2], ("2", "B"): [2.0]}
    with pytest.raises(ValueError, match=r"part 2, B: 1 reading"):
        gauge.study_gauge(trials(cells))
    with pytest.raises(ValueError, match="two, better ten"):
        gauge.study_gauge(trials({("1", "A"): [1.0, 1.1]}))
    with pytest.raises(ValueError, match="equal"):
        gauge.study_gauge(trials({("1", "A"): [1.0, 1.0], ("2", "A"): [1.0, 1.0]}))


def test_an_interaction_is_kept_where_it_is_there() -> None:
    cells = {
        (str(p), who): [p + lean * (-1) ** p + 0.001, p + lean * (-1) ** p - 0.001]
        for p in range(1, 7)
        for who, lean in (("A", 0.2), ("B", -0.2))
    }
    study = gauge.study_gauge(trials(cells))
    assert not study.pooled
    # SS = 2 trials x 12 cells x 0.2^2 = 0.96 on 5 degrees of freedom; (0.192 - 2e-6)/2 trials = 0.3098^2.
    assert study.by_variance.interaction == pytest.approx(0.3098, abs=0.0001)


def test_a_study_becomes_an_instrument_and_a_picture() -> None:
    cells = {
        (str(p), who): [6 + p / 10 + shift + n / 1000 for n in (-9, 0, 9)]
        for p in range(10)
        for who, shift in (("A", 0.0), ("B<", 0.01))
    }
    study = gauge.study_gauge(trials(cells))
    instrument = study.as_instrument("gauge", "gauge", "mm", 0.01)
    assert instrument.standing == "measured"
    assert instrument.u_common == pytest.approx(0.01 / math.sqrt(2), rel=0.1)
    assert instrument.u == pytest.approx(math.hypot(instrument.u_common, instrument.u_independent))
    picture = ET.fromstring(study.plot("mm"))
    assert len(picture.findall(".//{http://www.w3.org/2000/svg}circle")) == 31  # 30 readings of A and the legend
    assert "B<" in "".join(picture.itertext())
