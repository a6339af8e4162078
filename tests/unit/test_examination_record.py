"""The record: what is read, and what is refused with the field that is wrong."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from tests.unit.evidence_record import RECORD, changed

from samestone import evidence

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "format" / "examination-1.schema.json").read_text(encoding="utf-8")
)


def test_a_complete_record_is_read_and_fits_the_published_schema() -> None:
    jsonschema.Draft202012Validator(SCHEMA).validate(RECORD)
    examination = evidence.read_examination(RECORD)
    assert examination.setting == "loose"
    assert examination.readings["weight_ct"].value == 1.032
    assert examination.readings["diameter_min_mm"].value == pytest.approx((6.47 + 6.46 + 6.47) / 3)
    assert examination.reactions["uv_long_wave"].colour == "blue"
    assert examination.characteristics is not None
    assert examination.characteristics[0].angle_deg == 112


def put(path: str, value: object) -> Callable[[dict[str, Any]], None]:
    """Set, or with `...` delete, what stands at a dotted path."""

    def change(record: dict[str, Any]) -> None:
        *way, last = path.split(".")
        place: Any = record
        for step in way:
            place = place[int(step) if step.isdigit() else step]
        key: Any = int(last) if last.isdigit() else last
        if value is ...:
            del place[key]
        else:
            place[key] = value

    return change


REFUSALS: list[tuple[str, object, str, str]] = [
    ("format", "examination/2", "format", "samestone-examination/1"),
    ("stone", ..., "stone", "required"),
    ("colour", "D", "colour", "unknown key"),
    ("readings.0.indcations", [], "readings[0].indcations", "unknown key"),
    ("readings.0.indications", [6.47], "readings[0].indications[0]", "quotation marks"),
    ("readings.0.indications", ["NaN"], "readings[0].indications[0]", "decimal string"),
    ("readings.0.indications", ["1e3"], "readings[0].indications[0]", "decimal string"),
    ("readings.0.indications", ["6,47"], "readings[0].indications[0]", "decimal string"),
    ("readings.0.indications", ["-6.47"], "readings[0].indications[0] (diameter_min_mm)", "negative"),
    ("readings.0.indications", ["0.255"], "readings[0].indications[0] (diameter_min_mm)", "inch"),
    ("readings.0.indications", [], "readings[0].indications", "1 to 100"),
    ("readings.0.indications", ["6.60"], "diameter_min_mm", "swap"),
    ("readings.3.indications", ["1032"], "weight_ct", "decimal point"),
    ("readings.3.indications", ["0.206"], "weight_ct", "grams"),
    ("readings.4.indications", ["0.57"], "table_percent", "fraction"),
    ("readings.4.indications", ["104"], "table_percent", "wider than the girdle"),
    ("readings.1.property", "diameter_min_mm", "readings[1].property", "a second time"),
    ("readings.1.property", "width", "readings[1].property", "diameter_max_mm"),
    ("readings.0.instrument", "caliper", "readings[0].instrument", "listed instrument"),
    ("readings.0.instrument", "scale", "readings[0].instrument", "mm"),
    ("instruments.1.name", "gauge", "instruments[1].name", "its own name"),
    ("instruments.0.u", "0", "instruments[0].u", "more than 0"),
    ("instruments.0.u", 0.01, "instruments[0].u", "quotation marks"),
    ("instruments.0.u_common", "0.02", "instruments[0].u_common", "at most u"),
    ("instruments.0.resolution", "-1", "instruments[0].resolution", "at least 0"),
    ("not_examined", [{"what": "depth_mm", "why": "set"}], "not_examined[0].what", "examined or not examined"),
    ("not_examined", [{"what": "girdle_arc", "why": "claw"}], "not_examined[0]", "from_deg"),
    ("reactions.0.strength", "bright", "reactions[0].strength", "very strong"),
    ("reactions.0.result", "diamond", "reactions[0].result", "strength and colour"),
    ("reactions.1.test", "uv_long_wave", "reactions[1].test", "a second time"),
    ("observations.0.value", "shiny", "observations[0].value", "faceted"),
    ("observations.1.value", "line\u2028break", "observations[1].value", "line of text"),
    ("characteristics.0.r", "2.1", "characteristics[0].r", "girdle radii"),
    ("characteristics.0.angle_deg", "1000", "characteristics[0].angle_deg", "360"),
    ("declared_changes", ["repolish", "repolish"], "declared_changes[1]", "a second time"),
    ("declared_changes", "repolish", "declared_changes", "array"),
    ("photographs", [{"view": "face up", "sha256": "abc"}], "photographs[0].sha256", "64"),
]


@pytest.mark.parametrize(("path", "value", "field", "says"), REFUSALS, ids=lambda v: str(v)[:40])
def test_what_is_refused_names_the_field_and_the_way_out(path: str, value: object, field: str, says: str) -> None:
    record = changed(put(path, value))
    with pytest.raises(evidence.BadRecord) as refusal:
        evidence.read_examination(record)
    assert field in refusal.value.field
    assert says in str(refusal.value)
    assert refusal.value.found
    assert refusal.value.remedy


def test_noise_may_exchange_two_diameters() -> None:
    record = changed(put("readings.0.indications", ["6.51"]), put("readings.1.indications", ["6.50"]))
    assert evidence.read_examination(record).readings["diameter_min_mm"].value == 6.51
    coarse = changed(
        put("readings.0.indications", ["6.54"]), put("readings.1.indications", ["6.50"]), put("instruments.0.u", "0.02")
    )
    assert evidence.read_examination(coarse).readings["diameter_min_mm"].value == 6.54
    with pytest.raises(evidence.BadRecord, match="swap"):
        evidence.read_examination(
            changed(put("readings.0.indications", ["6.60"]), put("readings.1.indications", ["6.50"]))
        )


def test_two_diameters_written_in_the_wrong_boxes_are_taken_the_other_way_and_that_is_said() -> None:
    record = evidence.read_examination(
        changed(put("readings.0.indications", ["6.54"]), put("readings.1.indications", ["6.50"]))
    )
    assert record.readings["diameter_min_mm"].value == 6.50
    assert record.readings["diameter_max_mm"].value == 6.54
    assert "diameters_exchanged" in record.flags


def test_noise_never_makes_a_record_of_a_round_stone_invalid() -> None:
    """A stone as good as round, both diameters read with the declared u."""
    rng = np.random.default_rng(4)
    for low, high in 6.5 + 0.010 * rng.normal(size=(400, 2)):
        record = changed(put("readings.0.indications", [f"{low:.2f}"]), put("readings.1.indications", [f"{high:.2f}"]))
        assert evidence.read_examination(record).kind == "stone"


def test_an_instrument_with_too_few_degrees_of_freedom_carries_no_evidence() -> None:
    few = evidence.read_examination(changed(put("instruments.0.dof", "7")))
    assert "20 degrees of freedom" in few.readings["diameter_min_mm"].unusable
    enough = evidence.read_examination(changed(put("instruments.0.dof", "24")))
    assert not enough.readings["diameter_min_mm"].unusable


def test_scattered_indications_make_a_reading_unusable_not_wrong() -> None:
    record = changed(put("readings.2.indications", ["4.00", "4.12", "4.00"]))
    assert "measure again" in evidence.read_examination(record).readings["depth_mm"].unusable


def test_a_suspect_instrument_spoils_its_readings() -> None:
    examination = evidence.read_examination(changed(put("instruments.0.suspect", "block of 5.00 read 5.09")))
    assert examination.readings["depth_mm"].unusable == "block of 5.00 read 5.09"
    assert not examination.readings["weight_ct"].unusable


def test_a_paper_needs_no_instruments_and_its_weight_stands_for_a_range() -> None:
    record = {
        "format": "samestone-examination/1",
        "kind": "paper",
        "stone": {"cut": "round brilliant"},
        "readings": [{"property": "weight_ct", "indications": ["1.03"]}],
    }
    weight = evidence.read_examination(record).readings["weight_ct"]
    assert weight.value == pytest.approx(1.034)
    assert weight.u == pytest.approx((0.001**2 + 0.01**2 / 12) ** 0.5)


def test_reading_a_record_does_not_change_it() -> None:
    record = copy.deepcopy(RECORD)
    evidence.read_examination(record)
    assert record == RECORD
