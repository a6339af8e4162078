"""Whoever examines at pick-up is shown nothing of what was found at take-in or at the bench."""

from __future__ import annotations

import datetime as dt
import io
import re

import pytest
from django.test import Client
from PIL import Image

from samestone.shop.bench import actions as bench
from samestone.shop.examine import actions as examine
from samestone.shop.examine.question import questions_for
from samestone.shop.finding import begin_examination, record_finding
from samestone.shop.intake import actions as intake
from samestone.shop.models import Examination, Instrument, Job, Mark, Member, Photograph, Stone
from samestone.shop.photograph import keep_photograph

pytestmark = pytest.mark.django_db

READINGS = {
    "diameter_min_mm": ("6.673", "gauge"),
    "diameter_max_mm": ("6.714", "gauge"),
    "depth_mm": ("4.107", "gauge"),
    "table_percent": ("57.31", "microscope"),
}
LOOSE = "1.1493"
SEEN = ("faint", "orange", "slightly bruted", "LX 77 Q1234", "the little black seed")


@pytest.fixture
def told(job: Job, stone: Stone, received: Examination, at: dt.datetime, owner: Member) -> Examination:
    """Everything that an earlier look can have found, each with a value that stands nowhere else."""
    look = begin_examination(stone, "take-in", at=at, by=owner)
    picture = io.BytesIO()
    Image.new("RGB", (120, 120), (90, 90, 90)).save(picture, "PNG")
    keep_photograph(look, picture.getvalue(), view="face-up", at=at, by=owner)
    for name, (value, kind) in READINGS.items():
        tool = Instrument.objects.filter(kind=kind).first()
        assert tool is not None
        examine.record_readings(look, {name: [value]}, instrument=tool, at=at, by=owner)
    examine.record_reaction(look, "uv_long_wave", strength=SEEN[0], colour=SEEN[1], at=at, by=owner)
    examine.record_observation(look, "girdle_finish", SEEN[2], at=at, by=owner)
    examine.record_observation(look, "inscription", SEEN[3], at=at, by=owner)
    record_finding(Mark, look, at=at, by=owner, category="characteristic", kind="crystal", r="0.317", angle_deg="113.7")
    record_finding(Mark, received, at=at, by=owner, category="agreed", r="0.317", angle_deg="113.7", words=SEEN[4])
    intake.finish_take_in(job, at=at, by=owner)
    bench.take_over(job, bench.Looks("1042", "yes"), to="bench", holder=None, at=at, by=owner)
    bench.unset_stone(stone, at=at, by=owner)
    loose, scale = Stone.objects.get(pk=stone.pk), Instrument.objects.get(kind="scale")
    bench.weigh_loose(loose, indications=[LOOSE], instrument=scale, at=at, by=owner)
    bench.reset_stone(loose, at=at, by=owner)
    bench.finish_inspection(job, against_instruction="as agreed", at=at, by=owner)
    bench.make_ready(job, at=at, by=owner)
    return look


def pages(browser: Client, examination: Examination) -> dict[str, str]:
    """Every page of an examination, as text without its scripts' tokens."""
    names = [question.name for question in questions_for(examination.setting, examination.occasion)]
    found = {}
    for name in [*names, "finish"]:
        answer = browser.get(f"/examination/{examination.pk}/{name}/")
        assert answer.status_code == 200, name
        found[name] = answer.content.decode()
    return found


def shown_values(text: str) -> set[str]:
    """Which of the earlier values stand in a page; ready-made answers do not count as shown unless chosen."""
    text = re.sub(r"<option(?![^>]*selected)[^>]*>[^<]*</option>", "", text)
    text = re.sub(r"<label[^>]*>\s*<input[^>]*type=\"radio\"(?![^>]*checked)[^>]*>.*?</label>", "", text, flags=re.S)
    values = [*(value for value, _ in READINGS.values()), LOOSE, "0.317", "113.7", *SEEN]
    return {value for value in values if value in text}


def test_the_test_sees_what_it_looks_for(told: Examination, owner: Member) -> None:
    browser = Client()
    browser.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    assert browser.get(f"/examination/{told.pk}/depth/")["Location"] == "/job/1042/"
    browser.post("/job/1042/first-record/")
    shown = set().union(*map(shown_values, pages(browser, told).values()))
    assert {"6.673", "4.107", "57.31", "faint", "orange", SEEN[3], "113.7"} <= shown


def test_no_earlier_value_on_any_page_of_the_pick_up_examination(
    told: Examination, stone: Stone, goldsmith: Member
) -> None:
    browser = Client()
    browser.force_login(goldsmith, backend="django.contrib.auth.backends.ModelBackend")
    started = browser.post(f"/stone/{stone.pk}/examine/pick-up/")
    assert started.status_code == 302
    now = Examination.objects.get(stone=stone, occasion="pick-up")
    earlier = [f"/photograph/{photo.pk}/" for photo in Photograph.objects.all()]
    for name, text in pages(browser, now).items():
        assert not shown_values(text), f"the page {name!r} shows what was found before"
        assert not any(address in text for address in earlier), f"the page {name!r} shows an earlier picture"
