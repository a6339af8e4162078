"""What would tell most next, beside the question."""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client

from samestone.shop.examine import actions as examine
from samestone.shop.finding import begin_examination, finish_examination
from samestone.shop.foresight import next_look, next_looks
from samestone.shop.models import Instrument, Member, Stone

pytestmark = pytest.mark.django_db


def test_the_weight_is_not_asked_of_a_set_stone_and_what_could_not_be_seen_is_left_out(
    stone: Stone, owner: Member, at: dt.datetime
) -> None:
    look = begin_examination(stone, "take-in", at=at, by=owner)
    first = {one.question for one in next_looks(look)}
    assert {"diameter", "depth", "pictures", "characteristics"} <= first
    assert "weight" not in first
    examine.record_not_examined(look, "depth_mm", "claws in the way", at=at, by=owner)
    assert "depth" not in {one.question for one in next_looks(look)}
    stone.setting = "loose"
    stone.save()
    loose = begin_examination(stone, "bench", at=at, by=owner)
    best = next_look(loose)
    assert best is not None and best.question == "weight", "half a minute on the scale tells most of a loose stone"
    finish_examination(loose, at=at, by=owner)
    loose.refresh_from_db()
    assert next_look(loose) is None


def test_it_stands_quietly_beside_the_question_and_gives_nothing_away(
    stone: Stone, owner: Member, at: dt.datetime
) -> None:
    tool = Instrument.objects.get(kind="gauge")
    before = begin_examination(stone, "take-in", at=at, by=owner)
    examine.record_readings(before, {"depth_mm": ["4.10"]}, instrument=tool, at=at, by=owner)
    finish_examination(before, at=at, by=owner)
    blind = begin_examination(stone, "pick-up", at=at, by=owner)
    assert next_looks(blind) == next_looks(begin_examination(stone, "received", at=at, by=owner)), "as if new"
    client = Client()
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    text = client.get(f"/examination/{blind.pk}/diameter/").content.decode()
    assert "Would tell most for its time" in text
    assert "4.10" not in text
