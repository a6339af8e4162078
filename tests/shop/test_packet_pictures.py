"""The picture line from the counter into the packet: its two pictures go along, and older entries stay readable."""

from __future__ import annotations

import datetime as dt
import io
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import transaction
from django.test import Client
from PIL import Image
from tests.shop.test_examine_pickup import look, make_ready

from samestone import cli, evidence
from samestone.cli.statement_replay import statement_says
from samestone.custody import packet
from samestone.shop import ledger
from samestone.shop.finding import begin_examination
from samestone.shop.models import Examination, Job, Member, Stone
from samestone.shop.photograph import keep_photograph
from samestone.shop.pickup import actions as pickup
from samestone.shop.pickup import paperwork, pictures, verdict

pytestmark = pytest.mark.django_db


def face_up(look: Examination, name: str, at: dt.datetime, by: Member) -> None:
    content = (files("samestone.simulate") / "pictures" / f"{name}.jpg").read_bytes()
    keep_photograph(look, content, view="face-up", at=at, by=by, simulated=True)


@pytest.fixture
def judged(stone: Stone, received: Examination, job: Job, owner: Member, at: dt.datetime) -> Stone:
    """Photographed face up as it was received, not again at take-in, and at pick-up on a second occasion."""
    face_up(received, "cleaned", at, owner)
    look(stone, "take-in", at, owner)
    make_ready(job, at, owner)
    face_up(begin_examination(stone, "pick-up", at=at, by=owner), "pickup", at, owner)
    look(stone, "pick-up", at, owner)
    return stone


def packet_of(job: Job, at: dt.datetime, by: Member) -> bytes:
    pickup.release_job(job, to="the client", at=at, by=by)
    kept = paperwork.kept(job, "packet")
    assert kept is not None
    return kept


def test_the_pictures_compared_are_in_the_packet_whatever_look_they_are_of(
    judged: Stone, job: Job, owner: Member, at: dt.datetime, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    entry = pickup.judge_stone(judged, at=at, by=owner)
    place = tmp_path / "packet.zip"
    place.write_bytes(packet_of(job, at, owner))
    read = packet.read_packet(place.read_bytes())
    record = json.loads(read.files["data/record.json"])
    assert [one["name"] for one in record["photographs"]] == ["received-1-face-up.jpg", "pick-up-1-face-up.jpg"]
    assert record["stones"][0]["pictures"] == entry.payload.data["pictures"]["line"]
    assert cli.main(["verify", str(place)]) == 0
    capsys.readouterr()
    assert cli.main(["replay", str(place), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["statement"] == {"holds": True, "says": statement_says(read)[1]}
    [one] = told["stones"]
    assert one["pictures"]["status"] == "same" and one["pictures"]["recorded"]["speaks"] == "for"


def test_a_statement_printed_from_another_record_is_noticed(
    judged: Stone, job: Job, owner: Member, at: dt.datetime, received: Examination
) -> None:
    """The packet's record is exchanged, then the statement for a paper that carries none, then for no paper at all."""
    pickup.judge_stone(judged, at=at, by=owner)
    sound = packet.read_packet(packet_of(job, at, owner)).files
    assert statement_says(packet.Packet(sound)) == (
        True,
        "The record attached to the statement is the packet's record, byte for byte.",
    )
    record = sound["data/record.json"].replace(b'"agree":', b'"agree":1')
    holds, says = statement_says(packet.Packet({**sound, "data/record.json": record}))
    assert holds is False and "printed from another record" in says
    blank = io.BytesIO()
    Image.new("RGB", (60, 60)).save(blank, "PDF")
    holds, says = statement_says(packet.Packet({**sound, "data/statement.pdf": blank.getvalue()}))
    assert holds is False and "no record attached" in says
    for damaged in (b"", b"%PDF-1.7\n%%EOF\n", sound["data/statement.pdf"][:9000]):
        holds, says = statement_says(packet.Packet({**sound, "data/statement.pdf": damaged}))
        assert holds is False and "no PDF that can be read" in says


def test_the_shop_s_own_calibration_counts_and_travels_with_the_packet(
    judged: Stone,
    job: Job,
    owner: Member,
    at: dt.datetime,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    shipped = evidence.photographs.shipped_calibration()
    own = {**shipped, "guided": {**shipped["guided"], "stones": 30}, "source": "the shop's own 30 repeat pairs"}
    file = settings.DATA / pictures.CALIBRATION
    file.write_text(json.dumps(own, indent=1), encoding="utf-8")
    line = pickup.judge_stone(judged, at=at, by=owner).payload.data["pictures"]["line"]
    assert (line["stones"], line["source"], line["log10_lr"]["upper"]) == (30, own["source"], "1.47")
    file.unlink()
    place = tmp_path / "packet.zip"
    place.write_bytes(packet_of(job, at, owner))
    assert cli.main(["replay", str(place)]) == 0, "the packet has it, whatever the shop does with its file"
    assert "the packet's own, not the one of this program: the shop's own 30" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"format": "another/1"}, "photo-calibration.json) cannot be read: found format 'another/1'"),
        ({"method": "samestone-photo/1"}, "made for the method samestone-photo/1"),
    ],
)
def test_an_own_calibration_that_cannot_be_used_gives_no_number(
    change: dict[str, str], says: str, judged: Stone, owner: Member, at: dt.datetime
) -> None:
    own = {**evidence.photographs.shipped_calibration(), **change}
    (settings.DATA / pictures.CALIBRATION).write_text(json.dumps(own), encoding="utf-8")
    line = pickup.judge_stone(judged, at=at, by=owner).payload.data["pictures"]["line"]
    assert says in line["why_not"]
    assert "log10_lr" not in line


def test_the_expert_s_page_names_what_the_line_rests_on(
    judged: Stone, job: Job, owner: Member, at: dt.datetime
) -> None:
    line = pickup.judge_stone(judged, at=at, by=owner).payload.data["pictures"]["line"]
    page = signed_in(owner).get(f"/job/{job.envelope}/pick-up/expert/").content.decode()
    assert line["method"] in page
    for digest in (line["before"], line["now"], line["calibration"]["sha256"]):
        assert digest[:12] in page


@pytest.mark.parametrize(
    "said",
    [
        {"why_not": "The two are lit differently."},
        {
            "log10_lr": {"value": "1.2", "lower": "-1.87506", "upper": "1.87506"},
            "speaks": "for",
            "agree": "31",
            "absent": "4",
            "stones": "75",
            "source": "simulated photographs",
        },
    ],
    ids=["refused", "weighed"],
)
def test_an_entry_of_an_earlier_version_stays_readable(
    said: dict[str, Any],
    judged: Stone,
    job: Job,
    owner: Member,
    at: dt.datetime,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    before, after = verdict.examinations_of(judged)
    details = {
        "stone": judged.pk,
        "before": before.pk,
        "after": after.pk,
        "verdict": ledger.decimal_strings(verdict.compare_examinations(before, after)),
        "pictures": {"known": False, "turn_deg": "0", "reason": "", "line": {"protocol": "guided", **said}},
    }
    with transaction.atomic():
        ledger.append("verdict reached", about=job, at=at, by=owner, details=details)
    page = signed_in(owner).get(f"/job/{job.envelope}/pick-up/expert/").content.decode()
    assert said.get("why_not", "31 in both, 4 in one only") in page
    place = tmp_path / "packet.zip"
    place.write_bytes(packet_of(job, at, owner))
    assert cli.main(["replay", str(place)]) == 1
    told = capsys.readouterr().out
    assert "✓ The verdict comes out the same" in told
    assert "cannot be worked out again: it was recorded by an earlier version" in told
    assert "✓ The log holds what the record says" in told


def signed_in(owner: Member) -> Client:
    client = Client()
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    return client
