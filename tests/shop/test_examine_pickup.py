"""Examining again, judging, looking for the agreed marks, handing over: actions on a real database."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from django.test import Client

from samestone import evidence
from samestone.shop import ledger
from samestone.shop.casefile import examination_record
from samestone.shop.examine import actions as examine
from samestone.shop.examine import question
from samestone.shop.examine.forms import ReadingsForm
from samestone.shop.finding import ExaminationFinished, begin_examination, record_finding
from samestone.shop.intake import actions as intake
from samestone.shop.life import NotPossibleNow
from samestone.shop.models import Examination, Instrument, Job, Mark, Member, Stone
from samestone.shop.passage import move_job
from samestone.shop.pickup import actions as pickup
from samestone.shop.pickup import queries
from samestone.shop.pickup.verdict import CannotCompare

pytestmark = pytest.mark.django_db

READINGS = {"diameter_min_mm": "6.67", "diameter_max_mm": "6.71", "depth_mm": "4.10", "table_percent": "57.5"}


def look(stone: Stone, occasion: str, at: dt.datetime, by: Member, **changed: str) -> Examination:
    """One examination with every kind of finding."""
    examination = begin_examination(stone, occasion, at=at, by=by)
    for what, value in {**READINGS, **changed}.items():
        kind = "microscope" if what == "table_percent" else "gauge"
        tool = Instrument.objects.get(kind=kind)
        examine.record_readings(examination, {what: [value] * 3}, instrument=tool, at=at, by=by)
    examine.record_reaction(examination, "uv_long_wave", strength="medium", colour="blue", at=at, by=by)
    examine.record_observation(examination, "girdle_finish", "polished", at=at, by=by)
    examine.place_characteristic(examination, kind="crystal", r="0.33", angle_deg="31", at=at, by=by)
    return examine.finish(examination, rest="no time", at=at, by=by)


def make_ready(job: Job, at: dt.datetime, by: Member) -> Job:
    intake.log_clean(job, methods=["by hand"], asked=[], at=at, by=by)
    for name in ("examined", "given to bench", "inspected", "made ready"):
        job = move_job(job, name, at=at, by=by)
    return job


def test_every_word_of_the_questions_is_one_the_record_knows(stone: Stone, owner: Member, at: dt.datetime) -> None:
    for occasion, strength, colour, finish, culet, kind in zip(
        ("take-in", "bench", "pick-up") * 5,
        question.STRENGTHS * 3,
        question.COLOURS * 3,
        question.OBSERVATIONS["girdle_finish"] * 5,
        question.OBSERVATIONS["culet"] * 3,
        question.CHARACTERISTICS,
        strict=False,
    ):
        examination = begin_examination(stone, occasion, at=at, by=owner)
        glow = {"strength": strength, "colour": "" if strength == "none" else colour}
        examine.record_reaction(examination, "uv_long_wave", **glow, at=at, by=owner)
        examine.record_reaction(examination, "uv_short_wave", strength="none", at=at, by=owner)
        result = question.PROBE_RESULTS[len(kind) % len(question.PROBE_RESULTS)]
        examine.record_reaction(examination, "thermal_probe", result=result, at=at, by=owner)
        examine.record_observation(examination, "girdle_finish", finish, at=at, by=owner)
        examine.record_observation(examination, "culet", culet, at=at, by=owner)
        examine.place_characteristic(examination, kind=kind, r="0.5", angle_deg="12", at=at, by=owner)
        evidence.read_examination(examination_record(examination))


def test_a_thing_is_found_or_not_examined_never_both(stone: Stone, owner: Member, at: dt.datetime) -> None:
    examination = begin_examination(stone, "take-in", at=at, by=owner)
    examine.record_not_examined(examination, "culet", "too dirty", at=at, by=owner)
    examine.record_observation(examination, "culet", "small", at=at, by=owner)
    examine.place_characteristic(examination, kind="chip", r="0.9", angle_deg="5", at=at, by=owner)
    examine.record_not_examined(examination, "characteristics", "too dirty", at=at, by=owner)
    record = examination_record(examination)
    assert [row["what"] for row in record["not_examined"]] == ["characteristics"]
    assert record["observations"] == [{"what": "culet", "value": "small"}]
    assert not record.get("characteristics")


def test_a_corrected_reading_replaces_the_first(stone: Stone, owner: Member, at: dt.datetime) -> None:
    examination = begin_examination(stone, "take-in", at=at, by=owner)
    gauge = Instrument.objects.get(kind="gauge")
    for typed in (["4.01"], ["4.10", "4.11"]):
        examine.record_readings(examination, {"depth_mm": typed}, instrument=gauge, at=at, by=owner)
    assert [row.indications for row in examination.readings.current()] == [["4.10", "4.11"]]
    assert examination.readings.count() == 2, "what was typed first stays in the log"
    examine.finish(examination, rest="no time", at=at, by=owner)
    with pytest.raises(ExaminationFinished):
        examine.record_observation(examination, "culet", "small", at=at, by=owner)


@pytest.mark.parametrize(
    ("what", "typed", "says"),
    [
        ("diameter_min_mm", "0.2626", "inches"),
        ("diameter_min_mm", "6670", "decimal point"),
        ("diameter_min_mm", "6,6x", "not a number"),
        ("diameter_min_mm", "", "could not look"),
    ],
)
def test_a_slip_is_refused_in_words(
    stone: Stone, owner: Member, at: dt.datetime, what: str, typed: str, says: str
) -> None:
    examination = begin_examination(stone, "take-in", at=at, by=owner)
    gauge = Instrument.objects.get(kind="gauge")
    sent = {f"{what}-0": typed, "diameter_max_mm-0": "6.71", "instrument": gauge.pk}
    form = ReadingsForm(question.BY_NAME["diameter"], examination, sent)
    assert not form.is_valid()
    assert says in str(form.errors)
    assert form["diameter_max_mm-0"].value() == "6.71"


def test_three_indications_that_differ_too_much_are_asked_again(stone: Stone, owner: Member, at: dt.datetime) -> None:
    examination = begin_examination(stone, "take-in", at=at, by=owner)
    sent = {f"depth_mm-{n}": text for n, text in enumerate(("4.10", "4.11", "4.41"))}
    form = ReadingsForm(
        question.BY_NAME["depth"], examination, {**sent, "instrument": Instrument.objects.get(kind="gauge").pk}
    )
    assert not form.is_valid()
    assert "differ by 0.31 mm" in str(form.errors)


def test_the_same_stone_goes_home_with_its_papers(job: Job, stone: Stone, owner: Member, at: dt.datetime) -> None:
    received = intake.received_examination(stone, at=at, by=owner)
    mark = record_finding(Mark, received, at=at, by=owner, category="agreed", r="0.3", angle_deg="31", words="a seed")
    look(stone, "take-in", at, owner)
    job = make_ready(job, at, owner)
    with pytest.raises(NotPossibleNow, match="examined again"):
        pickup.release_job(job, to="the client", at=at, by=owner)
    look(stone, "pick-up", at, owner, depth_mm="4.11")
    entry = pickup.judge_stone(stone, at=at, by=owner)
    assert entry.payload.data["verdict"]["ladder"].startswith("agrees")
    one = next(one for one in queries.stones_at_pick_up(job) if one.judgement)
    assert {"culet", "inscription", "pictures"} <= set(one.not_checked), "left out, and said so"
    assert "depth" not in one.not_checked
    with pytest.raises(NotPossibleNow, match="agreed mark"):
        pickup.release_job(job, to="the client", at=at, by=owner)
    pickup.look_for_mark(mark, "seen", at=at, by=owner)
    assert pickup.release_job(job, to="the client", at=at, by=owner).station == "picked up"
    assert [row.kind for row in ledger.history(job)][-3:] == ["picked up", "packet sealed", "papers given"]


def test_another_stone_stops_the_job(job: Job, stone: Stone, owner: Member, at: dt.datetime) -> None:
    look(stone, "take-in", at, owner)
    job = make_ready(job, at, owner)
    look(stone, "pick-up", at, owner, diameter_min_mm="6.31", diameter_max_mm="6.35", depth_mm="3.88")
    entry = pickup.judge_stone(stone, at=at, by=owner)
    assert entry.payload.data["verdict"]["ladder"] == "disagrees"
    assert Job.objects.get(pk=job.pk).held == pickup.STOPPED
    with pytest.raises(NotPossibleNow, match="Nothing disagrees"):
        pickup.release_job(job, to="the client", at=at, by=owner)


def test_a_missing_mark_stops_the_job(
    job: Job, stone: Stone, received: Examination, owner: Member, at: dt.datetime
) -> None:
    mark = record_finding(Mark, received, at=at, by=owner, category="agreed", r="0.3", angle_deg="31", words="a seed")
    pickup.look_for_mark(mark, "not there", at=at, by=owner)
    assert Job.objects.get(pk=job.pk).held == pickup.MARK_MISSING


def test_nothing_to_compare_is_said(stone: Stone, owner: Member, at: dt.datetime) -> None:
    with pytest.raises(CannotCompare, match="not examined at take-in"):
        pickup.judge_stone(stone, at=at, by=owner)
    look(stone, "take-in", at, owner)
    with pytest.raises(CannotCompare, match="again first"):
        pickup.judge_stone(stone, at=at, by=owner)


def test_a_lying_picture_is_refused_as_text(stone: Stone, owner: Member, at: dt.datetime, tmp_path: Path) -> None:
    examination = begin_examination(stone, "take-in", at=at, by=owner)
    browser = Client()
    browser.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    file = tmp_path / "stone.png"
    file.write_bytes(b"<svg onload=alert(1)>")
    with file.open("rb") as sent:
        answer = browser.post(f"/examination/{examination.pk}/picture/", {"view": "face-up", "photograph": sent})
    assert answer.status_code == 422
    assert answer["Content-Type"].startswith("text/plain")
    assert not examination.photographs.exists()
