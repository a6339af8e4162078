"""Rows as the record that the science reads."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from samestone import evidence
from samestone.shop.casefile import examination_record
from samestone.shop.finding import begin_examination, finish_examination, record_finding
from samestone.shop.models import (
    NONE_SEEN,
    Examination,
    Finding,
    Instrument,
    InstrumentCheck,
    Mark,
    Member,
    NotExamined,
    Observation,
    Reaction,
    Reading,
    Stone,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def examination(stone: Stone, at: dt.datetime, owner: Member) -> Examination:
    return begin_examination(stone, "take-in", at=at, by=owner)


@pytest.fixture
def record(examination: Examination, at: dt.datetime, owner: Member) -> Any:
    def write(table: type[Finding], **fields: Any) -> Any:
        return record_finding(table, examination, at=at, by=owner, **fields)

    return write


def read(record: Any, name: str, *indications: str, instrument: str = "gauge") -> Reading:
    tool = Instrument.objects.get(name=instrument, retired_at=None)
    row: Reading = record(Reading, property=name, indications=list(indications), instrument=tool)
    return row


def test_a_full_examination_is_a_record_that_evidence_reads(examination: Examination, record: Any) -> None:
    read(record, "diameter_min_mm", "6.67", "6.66", "6.67")
    read(record, "diameter_max_mm", "6.71", "6.71", "6.70")
    read(record, "table_percent", "57.0", "57.5", "57.0", instrument="microscope")
    record(NotExamined, what="depth_mm", why="set")
    record(Reaction, test="uv_long_wave", strength="medium", colour="blue")
    record(Reaction, test="thermal_probe", result="diamond")
    record(Observation, what="girdle_finish", value="polished")
    record(Mark, category="characteristic", kind="crystal", r="0.31", angle_deg="112", size="0.02")
    record(Mark, category="damage", kind="chip", r="0.97", angle_deg="30")
    written = examination_record(examination)
    assert written["stone"] == {"cut": "round brilliant", "setting": "set"}
    assert written["readings"][0] == {
        "property": "diameter_min_mm",
        "indications": ["6.67", "6.66", "6.67"],
        "instrument": "gauge",
    }
    assert written["characteristics"] == [{"kind": "crystal", "r": "0.31", "angle_deg": "112", "size": "0.02"}]
    assert written["not_examined"] == [{"what": "depth_mm", "why": "set"}]
    evidence.read_examination(written)


def test_nothing_seen_is_said_and_not_looked_for_is_left_out(examination: Examination, record: Any) -> None:
    assert "characteristics" not in examination_record(examination)
    record(Observation, what="characteristics", value=NONE_SEEN)
    written = examination_record(examination)
    assert written["characteristics"] == []
    assert written["observations"] == []


def test_what_is_read_later_is_no_longer_a_blind_spot(examination: Examination, record: Any) -> None:
    record(NotExamined, what="depth_mm", why="set")
    read(record, "depth_mm", "4.10")
    assert examination_record(examination)["not_examined"] == []


def check_gauge(at: dt.datetime, by: Member, *, passed: bool) -> None:
    tool = Instrument.objects.get(name="gauge", retired_at=None)
    InstrumentCheck.objects.create(instrument=tool, at=at, by=by, kind="gauge blocks", passed=passed)


def test_a_suspect_reading_counts_neither_way(
    examination: Examination, record: Any, at: dt.datetime, owner: Member
) -> None:
    read(record, "diameter_min_mm", "6.67")
    check_gauge(at - dt.timedelta(days=1), owner, passed=True)
    assert len(examination_record(examination)["readings"]) == 1
    check_gauge(at + dt.timedelta(days=1), owner, passed=False)
    written = examination_record(examination)
    assert written["readings"] == []
    [blind] = written["not_examined"]
    assert blind["what"] == "diameter_min_mm"
    assert blind["why"] == "the gauge failed its check (gauge blocks, 3 Mar 2026)"
    evidence.read_examination(written)


def test_a_reading_repeated_in_another_look_stands_in_for_the_suspect_one(
    examination: Examination, record: Any, at: dt.datetime, owner: Member
) -> None:
    read(record, "diameter_min_mm", "6.76")
    record(Reaction, test="uv_long_wave", strength="medium", colour="blue")
    finish_examination(examination, at=at, by=owner)
    check_gauge(at + dt.timedelta(days=1), owner, passed=False)
    check_gauge(at + dt.timedelta(days=2), owner, passed=True)
    later = at + dt.timedelta(days=3)
    again = begin_examination(examination.stone, "take-in", at=later, by=owner)
    assert examination_record(again)["readings"] == []
    tool = Instrument.objects.get(name="gauge", retired_at=None)
    fields = {"property": "diameter_min_mm", "indications": ["6.67"], "instrument": tool}
    record_finding(Reading, again, at=later, by=owner, **fields)
    for look in (examination, finish_examination(again, at=later, by=owner)):
        written = examination_record(look)
        assert [row["indications"] for row in written["readings"]] == [["6.67"]]
        assert written["not_examined"] == []
        assert written["reactions"] == [{"test": "uv_long_wave", "strength": "medium", "colour": "blue"}]


def test_a_gauge_with_a_new_uncertainty_keeps_both(examination: Examination, record: Any, at: dt.datetime) -> None:
    read(record, "diameter_min_mm", "6.67")
    old = Instrument.objects.get(name="gauge")
    old.retired_at = at
    old.save()
    Instrument.objects.create(name="gauge", kind="gauge", unit="mm", resolution="0.01", u="0.008", since=at)
    read(record, "diameter_max_mm", "6.71")
    written = examination_record(examination)
    assert [(row["name"], row["u"]) for row in written["instruments"]] == [("gauge", "0.02"), ("gauge (2)", "0.008")]
    evidence.read_examination(written)
