"""The instrument diary: what a check demands, what a failed one touches, where an uncertainty comes from."""

from __future__ import annotations

import datetime as dt
import io
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from samestone import evidence, metrology
from samestone.shop import passage
from samestone.shop.audit import check_shop
from samestone.shop.casefile import examination_record
from samestone.shop.finding import begin_examination, finish_examination, record_finding
from samestone.shop.instrument import ENOUGH_DOF, as_check, as_metrology, declared_fields
from samestone.shop.instruments import actions, queries, trial
from samestone.shop.intake import actions as intake
from samestone.shop.life import NotPossibleNow
from samestone.shop.models import (
    Examination,
    Instrument,
    InstrumentCheck,
    Job,
    Member,
    Photograph,
    Reaction,
    Reading,
    Stone,
)
from samestone.shop.photograph import keep_photograph
from samestone.shop.pickup import actions as pickup
from samestone.shop.pickup import pictures as pickup_pictures
from samestone.shop.pickup import queries as pickup_queries
from samestone.shop.suspicion import around, doubts
from samestone.simulate import plates

pytestmark = pytest.mark.django_db
DAY = dt.timedelta(days=1)


@pytest.fixture
def gauge(owner: Member) -> Instrument:
    return Instrument.objects.get(kind="gauge")


def blocks(shows: str) -> dict[str, Any]:
    return {"block_1": "2.00", "shows_1": ["2.00"], "block_2": "5.00", "shows_2": [shows], "block_3": "",
            "shows_3": [], "u_block": "0.0005"}  # fmt: skip


def check_blocks(gauge: Instrument, shows: str, *, at: dt.datetime, by: Member) -> InstrumentCheck:
    tried = trial.try_blocks(blocks(shows), as_metrology(gauge))
    return actions.record_check(gauge, "gauge blocks", tried, at=at, by=by)


def measured(envelope: str, gauge: Instrument, *, at: dt.datetime, by: Member, due: dt.date | None = None) -> Stone:
    """A job whose stone was measured at take-in."""
    job = intake.open_job(envelope=envelope, person={"name": "Odile Farrow"}, at=at, by=by)
    piece = intake.describe_piece(job, kind="ring", words="solitaire", at=at, by=by)
    stone = intake.describe_stone(piece, at=at, by=by)
    agreed = {"risks": [], "gift": False, "declared_value": "", "collector": ""}
    intake.agree_work(job, work="clean", due=due, **agreed, at=at, by=by)
    look = begin_examination(stone, "take-in", at=at, by=by)
    fields = {"property": "diameter_min_mm", "indications": ["6.67", "6.66", "6.67"], "instrument": gauge}
    record_finding(Reading, look, at=at, by=by, **fields)
    finish_examination(look, at=at, by=by)
    return stone


def test_defaults_are_metrologys_own_and_declared(gauge: Instrument) -> None:
    assumed = metrology.Instrument.assume("gauge", "gauge")
    assert as_metrology(gauge) == assumed
    assert gauge.declared
    with pytest.raises(ValueError, match="no kind of instrument"):
        declared_fields("hammer", "hammer")


def test_a_gauge_block_that_reads_wrong_puts_every_job_since_the_last_good_check_in_doubt(
    gauge: Instrument, owner: Member, at: dt.datetime
) -> None:
    before = measured("1", gauge, at=at, by=owner)
    assert check_blocks(gauge, "5.00", at=at + DAY, by=owner).passed
    later = measured("2", gauge, at=at + 2 * DAY, by=owner, due=dt.date(2026, 3, 20))
    soon = measured("3", gauge, at=at + 3 * DAY, by=owner, due=dt.date(2026, 3, 12))
    assert queries.touched_jobs(gauge) == ()
    assert not check_blocks(gauge, "5.09", at=at + 4 * DAY, by=owner).passed
    after = measured("4", gauge, at=at + 5 * DAY, by=owner)
    assert [one.job.envelope for one in queries.touched_jobs(gauge)] == ["3", "2", "4"], "by pick-up date"
    assert examination_record(later.examinations.get())["readings"] == []
    assert len(examination_record(before.examinations.get())["readings"]) == 1, "before the last good check"
    assert Reading.objects.get(examination__stone=soon).indications == ["6.67", "6.66", "6.67"], "nothing is corrected"
    assert check_blocks(gauge, "5.00", at=at + 6 * DAY, by=owner).passed
    fine = measured("5", gauge, at=at + 7 * DAY, by=owner)
    assert len(examination_record(fine.examinations.get())["readings"]) == 1
    assert [one.job.envelope for one in queries.touched_jobs(gauge)] == ["3", "2", "4"]
    again = begin_examination(after, "take-in", at=at + 8 * DAY, by=owner)
    fields = {"property": "diameter_min_mm", "indications": ["6.58"], "instrument": gauge}
    record_finding(Reading, again, at=at + 8 * DAY, by=owner, **fields)
    finish_examination(again, at=at + 8 * DAY, by=owner)
    open_now = {one.job.envelope: one.open for one in queries.touched_jobs(gauge)}
    assert open_now == {"3": 1, "2": 1, "4": 0}
    assert check_shop() == ()


def test_a_good_zero_does_not_clear_a_gauge_that_is_wrong_at_size(
    gauge: Instrument, owner: Member, at: dt.datetime
) -> None:
    check_blocks(gauge, "5.00", at=at, by=owner)
    stone = measured("1", gauge, at=at + DAY, by=owner)
    zero = trial.try_zero({"shows": ["0.00", "0.00", "0.00"]}, as_metrology(gauge))
    assert actions.record_check(gauge, "zero", zero, at=at + 2 * DAY, by=owner).passed
    check_blocks(gauge, "5.09", at=at + 3 * DAY, by=owner)
    assert examination_record(stone.examinations.get())["readings"] == []


def test_an_instrument_that_failed_is_named_where_it_is_chosen(
    browser: Client, stone: Stone, gauge: Instrument, owner: Member, at: dt.datetime
) -> None:
    spare = actions.add_instrument(kind="gauge", name="spare gauge", at=at, by=owner)
    look = begin_examination(stone, "take-in", at=at, by=owner)
    assert "failed its check" not in browser.get(f"/examination/{look.pk}/depth/").content.decode()
    check_blocks(gauge, "5.09", at=at, by=owner)
    text = browser.get(f"/examination/{look.pk}/depth/").content.decode()
    assert "gauge (failed its check)" in text
    assert f'value="{spare.pk}" selected' in text, "the sound one is offered first"


def test_a_verdict_is_reached_again_when_an_instrument_failed_since(
    gauge: Instrument, owner: Member, at: dt.datetime
) -> None:
    stone = measured("1", gauge, at=at, by=owner)
    job = intake.finish_take_in(stone.job, at=at, by=owner)
    for name in ("given to bench", "inspected", "made ready"):
        job = passage.move_job(job, name, at=at, by=owner)
    look = begin_examination(stone, "pick-up", at=at + DAY, by=owner)
    fields = {"property": "diameter_min_mm", "indications": ["6.67"], "instrument": gauge}
    record_finding(Reading, look, at=at + DAY, by=owner, **fields)
    finish_examination(look, at=at + DAY, by=owner)
    pickup.judge_stone(stone, at=at + DAY, by=owner)
    [before] = pickup_queries.stones_at_pick_up(job)
    assert before.judgement is not None
    check_blocks(gauge, "5.09", at=at + 2 * DAY, by=owner)
    [after] = pickup_queries.stones_at_pick_up(job)
    assert after.judgement is None, "it rested on the gauge: compare again"
    with pytest.raises(NotPossibleNow, match="examined again and compared"):
        pickup.release_job(job, to="the client", at=at + 2 * DAY, by=owner)
    pickup.judge_stone(stone, at=at + 2 * DAY, by=owner)
    [again] = pickup_queries.stones_at_pick_up(job)
    assert again.judgement is not None
    assert again.judgement.verdict["ladder"] == "not_enough"


def test_a_probe_that_fails_takes_its_reactions_with_it(stone: Stone, owner: Member, at: dt.datetime) -> None:
    probe = Instrument.objects.get(kind="probe")
    look = begin_examination(stone, "take-in", at=at, by=owner)
    record_finding(Reaction, look, at=at, by=owner, test="thermal_probe", result="diamond", instrument=probe)
    touches = {f"diamond_{n}": "diamond" for n in (1, 2, 3)} | {f"imitation_{n}": "diamond" for n in (1, 2, 3)}
    assert not actions.record_check(probe, "known stones", trial.try_stones(touches), at=at + DAY, by=owner).passed
    written = examination_record(look)
    assert written["reactions"] == []
    assert written["not_examined"][0]["what"] == "thermal_probe"
    evidence.read_examination(written)


def check_scale(camera: Instrument, um_per_px: str, *, at: dt.datetime, by: Member) -> InstrumentCheck:
    typed = {"um_per_px": um_per_px, "u": "0.002"}
    return actions.record_check(
        camera, "stage micrometer", trial.try_micrometer(typed, queries.on_file(camera)), at=at, by=by
    )


def photographed(look: Examination, name: str, tool: Instrument | None, *, at: dt.datetime, by: Member) -> Photograph:
    content = (files("samestone.simulate") / "pictures" / f"{name}.jpg").read_bytes()
    return keep_photograph(look, content, view="face-up", at=at, by=by, instrument=tool, simulated=True)


def test_a_microscope_that_fails_puts_its_pictures_in_doubt_until_they_are_taken_again(
    browser: Client, stone: Stone, owner: Member, at: dt.datetime
) -> None:
    microscope = Instrument.objects.get(kind="microscope")
    look = begin_examination(stone, "take-in", at=at, by=owner)
    early = photographed(look, "camera", microscope, at=at, by=owner)
    assert check_scale(microscope, "8.000", at=at + DAY, by=owner).passed
    another = photographed(look, "loose", None, at=at + 2 * DAY, by=owner)
    later = photographed(look, "cleaned", microscope, at=at + 2 * DAY, by=owner)
    now = photographed(begin_examination(stone, "pick-up", at=at, by=owner), "pickup", None, at=at + 3 * DAY, by=owner)
    assert "why_not" not in pickup_pictures.lay_together(later, now)["line"]
    assert not check_scale(microscope, "8.200", at=at + 4 * DAY, by=owner).passed
    assert set(doubts([early, later, another, now])) == {later.pk}
    line = pickup_pictures.lay_together(later, now)["line"]
    assert "log10_lr" not in line and line["why_not"].startswith(
        "The earlier picture is in doubt: the microscope failed"
    )
    [pair] = pickup_queries.picture_pairs(stone)
    assert pair.before == another, "a sound picture goes before a newer one in doubt"
    assert (
        "In doubt: the microscope failed its check" in browser.get(f"/examination/{look.pk}/pictures/").content.decode()
    )
    [touched] = queries.touched_jobs(microscope)
    assert [(one.waiting, one.repeated) for one in touched.looks] == [((), ("face-up picture",))]
    diary = browser.get(f"/instruments/{microscope.pk}/").content.decode()
    assert "face-up picture" in diary and "photographed since the last good check" in diary


def test_a_picture_as_received_cannot_be_taken_again_once_the_piece_is_cleaned(
    browser: Client, received: Examination, owner: Member, at: dt.datetime
) -> None:
    microscope = Instrument.objects.get(kind="microscope")
    check_scale(microscope, "8.000", at=at, by=owner)
    photographed(received, "cleaned", microscope, at=at + DAY, by=owner)
    check_scale(microscope, "8.200", at=at + 2 * DAY, by=owner)
    assert [one.open for one in queries.touched_jobs(microscope)] == [1]
    intake.log_clean(received.job, methods=["by hand"], asked=[], at=at + 3 * DAY, by=owner)
    assert [one.open for one in queries.touched_jobs(microscope)] == [0]
    assert "cleaned since: cannot be repeated" in browser.get(f"/instruments/{microscope.pk}/").content.decode()


def test_a_verdict_is_reached_again_when_the_microscope_failed_since(
    job: Job, stone: Stone, owner: Member, at: dt.datetime
) -> None:
    microscope = Instrument.objects.get(kind="microscope")
    check_scale(microscope, "8.000", at=at, by=owner)
    look = begin_examination(stone, "take-in", at=at, by=owner)
    photo = photographed(look, "cleaned", microscope, at=at + DAY, by=owner)
    finish_examination(look, at=at + DAY, by=owner)
    job = intake.finish_take_in(job, at=at + DAY, by=owner)
    for name in ("given to bench", "inspected", "made ready"):
        job = passage.move_job(job, name, at=at + DAY, by=owner)
    again = begin_examination(stone, "pick-up", at=at + 2 * DAY, by=owner)
    photographed(again, "pickup", None, at=at + 2 * DAY, by=owner)
    finish_examination(again, at=at + 2 * DAY, by=owner)
    pickup.judge_stone(stone, at=at + 2 * DAY, by=owner)
    assert pickup_queries.stones_at_pick_up(job)[0].judgement is not None
    check_scale(microscope, "8.200", at=at + 3 * DAY, by=owner)
    assert pickup_queries.stones_at_pick_up(job)[0].judgement is None
    [touched] = queries.touched_jobs(microscope)
    assert (touched.open, touched.looks[0].waiting) == (1, ("face-up picture",))
    repeat = begin_examination(stone, "take-in", at=at + 4 * DAY, by=owner)
    check_scale(microscope, "8.001", at=at + 4 * DAY, by=owner)
    photographed(repeat, "loose", microscope, at=at + 5 * DAY, by=owner)
    finish_examination(repeat, at=at + 5 * DAY, by=owner)
    assert [one.open for one in queries.touched_jobs(microscope)] == [0]
    assert doubts([photo]) and check_shop() == ()


def test_a_weight_too_coarse_for_the_scale_is_refused(browser: Client, owner: Member) -> None:
    """OIML R 111-1, table 1: 10 g of class M1 may be out by 2 mg, 0.010 ct; of class F1 by 0.2 mg, 0.001 ct."""
    scale = Instrument.objects.get(kind="scale")
    address = f"/instruments/{scale.pk}/check/known-weight/"
    sent = {"nominal_g": "10", "shows": "50.000 50.001 50.000"}
    refused = browser.post(address, {**sent, "weight_class": "M1"})
    assert refused.status_code == 422
    assert "0.0100 ct" in refused.content.decode()
    assert not InstrumentCheck.objects.exists()
    assert browser.post(address, {**sent, "weight_class": "F1"}).status_code == 302
    assert InstrumentCheck.objects.get().passed


def test_the_first_scale_of_a_camera_goes_on_file(browser: Client, owner: Member, at: dt.datetime) -> None:
    camera = actions.add_instrument(kind="camera", name="camera", at=at, by=owner)
    address = f"/instruments/{camera.pk}/check/stage-micrometer/"
    for found in ("3.210", "3.212", "3.300"):
        browser.post(address, {"um_per_px": found, "u": "0.002"})
    assert [row.passed for row in queries.checks_of(camera)] == [True, True, False]
    with pytest.raises(actions.NameTaken):
        actions.add_instrument(kind="camera", name="Camera", at=at, by=owner)


def test_the_scale_is_measured_from_a_picture_of_the_micrometer(
    browser: Client, owner: Member, at: dt.datetime
) -> None:
    """A simulated stage micrometer of 10 um divisions: the check finds the scale that it was drawn at."""
    drawn = plates.draw_ruling(plates.Ruling(um_per_px=0.5), np.random.default_rng(5))
    picture = io.BytesIO()
    Image.fromarray(np.clip(drawn * 255, 0, 255).astype(np.uint8)).save(picture, "PNG")
    camera = actions.add_instrument(kind="camera", name="camera", at=at, by=owner)
    address = f"/instruments/{camera.pk}/check/stage-micrometer/"
    sent = SimpleUploadedFile("scale.png", picture.getvalue(), "image/png")
    assert browser.post(address, {"photograph": sent, "division_um": "10"}).status_code == 302
    [row] = queries.checks_of(camera)
    assert float(row.detail["um_per_px"]) == pytest.approx(0.5, rel=0.001)
    assert 0.0005 <= float(row.detail["u"]) < 0.001, "focusing anew is in it"
    blank = io.BytesIO()
    Image.new("L", (900, 600), 128).save(blank, "PNG")
    sent = SimpleUploadedFile("blank.png", blank.getvalue(), "image/png")
    refused = browser.post(address, {"photograph": sent, "division_um": "10"})
    assert refused.status_code == 422
    assert len(queries.checks_of(camera)) == 1
    assert "Choose its picture" in browser.post(address, {"division_um": "10"}).content.decode()


def study_lines(rounds: int, parts: int = 5) -> str:
    slips = (0.004, -0.006, 0.002, 0.007, -0.005, -0.001, 0.003)
    lines = ["part,appraiser,value"]
    count = 0
    for part in range(parts):
        for shift, person in ((0.0, "Ines"), (0.003, "Tomas")):
            for _ in range(rounds):
                count += 1
                lines.append(f"{part},{person},{4 + part * 0.7 + shift + slips[count % 7]:.3f}")
    return "\n".join(lines)


def test_a_gauge_study_becomes_the_instruments_uncertainty(
    browser: Client, gauge: Instrument, owner: Member, at: dt.datetime
) -> None:
    stone = measured("1", gauge, at=at, by=owner)
    address = f"/instruments/{gauge.pk}/study/"
    shown = browser.post(address, {"typed": study_lines(3)})
    assert shown.status_code == 200
    assert "<svg" in shown.content.decode()
    few = browser.post(address, {"typed": study_lines(2, parts=3), "adopt": "1"})
    assert few.status_code == 422
    assert "degrees of freedom" in few.content.decode()
    browser.post(address, {"typed": study_lines(3), "adopt": "1"})
    new = Instrument.objects.get(kind="gauge", retired_at=None)
    assert new.pk != gauge.pk
    assert not new.declared
    assert new.dof is not None and new.dof >= ENOUGH_DOF
    assert as_metrology(new).standing == "measured"
    assert examination_record(stone.examinations.get())["instruments"][0]["u"] == "0.02", "old readings keep theirs"
    other = measured("2", new, at=at + DAY, by=owner)
    told = examination_record(other.examinations.get())["instruments"][0]
    assert (told["declared"], told["u"]) == (False, new.u)
    evidence.read_examination(examination_record(other.examinations.get()))
    check_blocks(new, "5.09", at=at + 2 * DAY, by=owner)
    assert len(queries.touched_jobs(new)) == 2, "one instrument, one diary, whatever its uncertainty"
    assert not [problem for problem in check_shop() if problem.breaks]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "Choose a CSV file, or type the lines."),
        ("part,value\n1,2", "lacks appraiser"),
        ("part,appraiser,value\n1,a,x", "Line 2: value is “x”"),
        ("part,appraiser,value\n1,a,4.0\n1,a,4.1", "at least two"),
        ("part,appraiser,value\n1,a,4.0\n2,a,4.1", "measure each at least twice"),
    ],
)
def test_a_study_that_cannot_be_read_says_where(browser: Client, gauge: Instrument, typed: str, says: str) -> None:
    page = browser.post(f"/instruments/{gauge.pk}/study/", {"typed": typed})
    assert page.status_code == 422
    assert says in page.content.decode()


def test_own_looks_replace_the_default_when_there_are_enough(
    browser: Client, gauge: Instrument, owner: Member, at: dt.datetime
) -> None:
    for number in range(9):
        measured(str(number + 1), gauge, at=at, by=owner)
    few = queries.own_repeats(gauge)
    assert few is not None and few.found.dof_independent == 18 and not few.enough
    browser.post(f"/instruments/{gauge.pk}/use-repeats/")
    assert Instrument.objects.filter(kind="gauge").count() == 1, "refused: too few"
    measured("10", gauge, at=at, by=owner)
    browser.post(f"/instruments/{gauge.pk}/use-repeats/")
    new = Instrument.objects.get(kind="gauge", retired_at=None)
    # Each look is 6.67 6.66 6.67: s^2 = 2/3 x 0.01^2 / 2, less the display's 0.01^2/12.
    independent = (1 / 3 - 1 / 12) ** 0.5 * 0.01
    assert float(new.u) == pytest.approx((independent**2 + 0.008**2) ** 0.5, abs=0.0002)
    assert new.declared and "zero error as declared" in new.basis


def test_looks_that_scatter_more_than_stated_are_told(gauge: Instrument, owner: Member, at: dt.datetime) -> None:
    for number in range(12):
        stone = measured(str(number + 1), gauge, at=at, by=owner)
        look = begin_examination(stone, "take-in", at=at, by=owner)
        fields = {"property": "depth_mm", "indications": ["4.00", "4.08", "4.04"], "instrument": gauge}
        record_finding(Reading, look, at=at, by=owner, **fields)
    own = queries.own_repeats(gauge)
    assert own is not None and own.check.understated


def test_pages_open_with_a_strict_policy_and_need_sign_in(browser: Client, job: Job) -> None:
    pages = ["/instruments/", "/instruments/new/"]
    pages += [f"/instruments/{row.pk}/" for row in Instrument.objects.all()]
    for address in pages:
        text = browser.get(address).content.decode()
        assert "<h1" in text and " style=" not in text and "<script>" not in text
        assert Client().get(address).status_code == 302


def test_a_goldsmith_cannot_change_an_uncertainty(gauge: Instrument, goldsmith: Member) -> None:
    client = Client()
    client.force_login(goldsmith, backend="django.contrib.auth.backends.ModelBackend")
    assert client.post(f"/instruments/{gauge.pk}/use-repeats/").status_code == 403
    client.post(f"/instruments/{gauge.pk}/study/", {"typed": study_lines(3), "adopt": "1"})
    assert Instrument.objects.filter(kind="gauge").count() == 1


@given(
    checks=st.lists(st.tuples(st.integers(0, 6), st.booleans()), max_size=12),
    moment=st.integers(-1, 7),
)
def test_only_the_checks_next_to_a_reading_bear_on_it(checks: list[tuple[int, bool]], moment: int) -> None:
    start = dt.datetime(2026, 3, 2, tzinfo=dt.UTC)
    rows = [InstrumentCheck(at=start + hour * DAY, passed=passed) for hour, passed in checks]
    at = start + moment * DAY
    every = metrology.diary.standing_at(at, [as_check(row) for row in rows])
    assert metrology.diary.standing_at(at, around(rows, at)) == every
