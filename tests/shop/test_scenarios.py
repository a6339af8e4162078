"""What happens at a counter over the years: invented cases whose outcome matters, each played to its end."""

from __future__ import annotations

import datetime as dt
import io
import json
import zipfile
from importlib.resources import files

import pytest
from django.test import Client
from PIL import Image, ImageFilter
from tests.shop.test_blindness import pages, shown_values
from tests.shop.test_blindness import told as told  # noqa: PLC0414 - a fixture
from tests.shop.test_examine_pickup import look, make_ready

from samestone.custody import packet
from samestone.shop import agreement, audit, blindness
from samestone.shop.bench import actions as bench
from samestone.shop.bench import damage
from samestone.shop.bench import queries as bench_queries
from samestone.shop.examine import actions as examine
from samestone.shop.finding import begin_examination, record_finding
from samestone.shop.intake import actions as intake
from samestone.shop.intake import paperwork, story
from samestone.shop.life import NotPossibleNow
from samestone.shop.models import Examination, Instrument, Job, Mark, Member, Photograph, Piece, Stone
from samestone.shop.photograph import keep_photograph
from samestone.shop.pickup import actions as pickup
from samestone.shop.pickup import paperwork as pickup_papers
from samestone.shop.pickup import queries as pickup_queries

pytestmark = pytest.mark.django_db


def examined(stone: Stone, job: Job, at: dt.datetime, by: Member, **found: str) -> Job:
    look(stone, "take-in", at, by, **found)
    return make_ready(job, at, by)


def ladder(stone: Stone, at: dt.datetime, by: Member) -> str:
    found: str = pickup.judge_stone(stone, at=at, by=by).payload.data["verdict"]["ladder"]
    return found


@pytest.mark.parametrize(
    ("angle_deg", "r", "says"),
    [
        ("44", "0.95", damage.HIDDEN),
        ("90", "0.95", damage.NEW),
        ("44", "0.4", damage.NEW),
        ("203", "0.9", damage.WAS_THERE),
    ],
)
def test_a_chip_seen_at_the_bench_is_new_or_was_hidden_or_was_there(
    stone: Stone, received: Examination, owner: Member, at: dt.datetime, angle_deg: str, r: str, says: str
) -> None:
    intake.place_claws(received, 4, at=at, by=owner)  # claws at 45, 135, 225 and 315 degrees
    record_finding(Mark, received, at=at, by=owner, category="damage", kind="nick", r="0.95", angle_deg="200")
    loose = begin_examination(stone, "bench", at=at, by=owner)
    examine.place_characteristic(loose, kind="chip", r=r, angle_deg=angle_deg, at=at, by=owner)
    (seen,) = bench_queries.damage_seen(stone)
    assert seen.says == says


def test_damage_after_a_take_in_that_did_not_look_is_not_called_new(
    stone: Stone, owner: Member, at: dt.datetime
) -> None:
    loose = begin_examination(stone, "bench", at=at, by=owner)
    examine.place_characteristic(loose, kind="chip", r="0.9", angle_deg="5", at=at, by=owner)
    assert [seen.says for seen in bench_queries.damage_seen(stone)] == [damage.NOT_LOOKED]


def test_swapped_envelopes_stay_locked_until_each_was_read_again(
    job: Job, browser: Client, owner: Member, at: dt.datetime
) -> None:
    other = intake.open_job(envelope="1043", person={}, at=at, by=owner)
    intake.finish_take_in(job, at=at, by=owner)
    answer = browser.post("/job/1042/hand-over/", {"number_read": "1043", "mark_seen": "yes", "to": "bench"})
    assert answer.status_code == 422
    assert "says 1043, the screen says 1042" in answer.content.decode()
    browser.post("/job/1042/swap/", {"number_read": "1043"})
    for one, counterpart in ((job, "1043"), (other, "1042")):
        held = Job.objects.get(pk=one.pk)
        assert held.held == f"may be swapped with envelope {counterpart}"
        assert held.state.possible() == ()
    browser.post("/job/1042/resume/", {"why": "read again, both numbers and both rings"})
    assert not Job.objects.get(envelope="1042").held
    assert Job.objects.get(envelope="1043").held, "the other one is read again on its own"


def test_a_notice_reaches_the_jeweller_and_not_the_client(
    job: Job, stone: Stone, browser: Client, owner: Member, at: dt.datetime
) -> None:
    words = "the inscription says grown, the paper says mined"
    browser.post("/job/1042/notice/", {"words": words, "to_say": "let us look at the paper together"})
    assert words in browser.get("/job/1042/").content.decode()
    assert words not in browser.get("/job/1042/client/").content.decode()
    job = examined(stone, job, at, owner)
    look(stone, "pick-up", at, owner)
    assert ladder(stone, at, owner).startswith("agrees"), "matching is unaffected"
    pickup.release_job(job, to="the client", at=at, by=owner)
    kept = pickup_papers.kept(job, "packet")
    assert kept is not None and words.encode() not in kept


def test_an_old_stone_without_papers_depth_or_weight_still_gets_a_verdict(
    job: Job, stone: Stone, owner: Member, at: dt.datetime
) -> None:
    for occasion in ("take-in", "pick-up"):
        if occasion == "pick-up":
            job = make_ready(job, at, owner)
        one = begin_examination(stone, occasion, at=at, by=owner)
        for what, value in (("diameter_min_mm", "6.67"), ("diameter_max_mm", "6.71")):
            examine.record_readings(
                one, {what: [value] * 3}, instrument=Instrument.objects.get(kind="gauge"), at=at, by=owner
            )
        for r, angle in (("0.33", "31"), ("0.36", "166"), ("0.66", "218")):
            examine.place_characteristic(one, kind="crystal", r=r, angle_deg=angle, at=at, by=owner)
        examine.finish(one, rest="hidden by the setting", at=at, by=owner)
    assert ladder(stone, at, owner) in ("agrees_some_unchecked", "not_enough", "agrees")
    assert not Job.objects.get(pk=job.pk).held


@pytest.mark.parametrize(
    ("later", "outcome"),
    [(("medium", "blue"), "agrees"), (("none", ""), "doubtful"), (("strong", "yellow"), "doubtful")],
)
def test_one_step_of_glow_is_agreement_two_steps_or_a_colour_are_a_query(
    job: Job, stone: Stone, owner: Member, goldsmith: Member, at: dt.datetime, later: tuple[str, str], outcome: str
) -> None:
    for occasion, glow, by in (("take-in", ("strong", "blue"), owner), ("pick-up", later, goldsmith)):
        one = begin_examination(stone, occasion, at=at, by=by)
        examine.record_reaction(one, "uv_long_wave", strength=glow[0], colour=glow[1], at=at, by=by)
        examine.finish(one, rest="no time", at=at, by=by)
    found = pickup.judge_stone(stone, at=at, by=owner).payload.data["verdict"]
    (glow_finding,) = [one for one in found["findings"] if one["property"] == "uv_long_wave"]
    assert glow_finding["outcome"] in ((outcome,) if outcome == "agrees" else ("doubtful", "disagrees"))


@pytest.mark.parametrize(("weight", "outcome"), [("1.008", "agrees"), ("0.985", "disagrees")])
def test_a_film_of_grease_is_no_other_stone_but_a_fortieth_of_a_carat_is(
    job: Job, stone: Stone, owner: Member, at: dt.datetime, weight: str, outcome: str
) -> None:
    """A grease film of about 10 µm weighs 0.004 ct on a stone of this size."""
    Stone.objects.filter(pk=stone.pk).update(setting="loose")
    stone.refresh_from_db()
    for occasion, carat in (("take-in", "1.012"), ("pick-up", weight)):
        one = begin_examination(stone, occasion, at=at, by=owner)
        scale = Instrument.objects.get(kind="scale")
        examine.record_readings(one, {"weight_ct": [carat] * 3}, instrument=scale, at=at, by=owner)
        examine.finish(one, rest="no time", at=at, by=owner)
    found = pickup.judge_stone(stone, at=at, by=owner).payload.data["verdict"]
    (weighed,) = [one for one in found["findings"] if one["property"] == "weight_ct"]
    assert weighed["outcome"] == outcome or (outcome == "agrees" and weighed["outcome"] == "doubtful")


@pytest.mark.parametrize("approved", [True, False])
def test_a_repolish_is_the_same_stone_changed_as_agreed_or_a_stop(
    job: Job, stone: Stone, browser: Client, owner: Member, at: dt.datetime, approved: bool
) -> None:
    Stone.objects.filter(pk=stone.pk).update(setting="loose")
    stone.refresh_from_db()
    scale = Instrument.objects.get(kind="scale")
    if approved:
        agreement.agree_change(job, ["repolish"], at=at, by=owner)
    sizes = {"diameter_min_mm": "6.76", "diameter_max_mm": "6.80", "depth_mm": "4.18"}
    smaller = {"diameter_min_mm": "6.70", "diameter_max_mm": "6.74", "depth_mm": "4.14"}
    for occasion, carat, found in (("take-in", "1.203", sizes), ("pick-up", "1.171", smaller)):
        browser.post(f"/stone/{stone.pk}/examine/{occasion}/")
        begun = Examination.objects.get(stone=stone, occasion=occasion)
        examine.record_readings(begun, {"weight_ct": [carat] * 3}, instrument=scale, at=at, by=owner)
        look(stone, occasion, at, owner, **found)
    result = ladder(stone, at, owner)
    assert Examination.objects.get(stone=stone, occasion="take-in").declared_changes == []
    assert Examination.objects.get(stone=stone, occasion="pick-up").declared_changes == ["repolish"] * approved
    assert (result == "disagrees") is not approved
    assert Job.objects.get(pk=job.pk).held == ("" if approved else pickup.STOPPED)


def test_an_agreed_change_stands_on_the_receipt_and_in_the_answer_to_news(
    job: Job, stone: Stone, received: Examination, browser: Client, owner: Member, at: dt.datetime
) -> None:
    form = {"work": "clean", "changes": ["repolish"]}
    assert browser.post("/job/1042/take-in/work/", form).status_code == 302
    assert agreement.agreed_changes(job) == ("repolish",)
    seal = {"receipt": "1", "qr": "1", "key": "1"}
    assert "repolish" in paperwork.receipt_sheet(job, seal=seal, at=at, by=owner)["work"]
    intake.finish_take_in(job, at=at, by=owner)
    bench.send_news(job, "a worn head", question="A new head?", price="", at=at, by=owner)
    bench.note_answer(job, "yes please", agreed=True, changes=["new_head"], at=at, by=owner)
    assert agreement.agreed_changes(job) == ("repolish", "new_head")
    assert not [problem for problem in audit.check_shop() if problem.breaks]


def test_a_blurred_picture_counts_neither_way(stone: Stone, owner: Member, at: dt.datetime) -> None:
    sharp = (files("samestone.simulate") / "pictures" / "cleaned.jpg").read_bytes()
    out = io.BytesIO()
    Image.open(io.BytesIO(sharp)).filter(ImageFilter.GaussianBlur(6)).save(out, "JPEG")
    before, after = (begin_examination(stone, occasion, at=at, by=owner) for occasion in ("take-in", "pick-up"))
    blurred = keep_photograph(before, out.getvalue(), view="face-up", at=at, by=owner)
    keep_photograph(after, sharp, view="face-up", at=at, by=owner)
    assert not blurred.usable and blurred.reason
    assert pickup_queries.picture_pairs(stone) == ()


def test_a_surprise_gift_hides_its_value_and_goes_to_the_named_collector_alone(
    job: Job, stone: Stone, received: Examination, browser: Client, owner: Member, at: dt.datetime
) -> None:
    fields = {
        "work": "clean",
        "risks": [],
        "due": None,
        "gift": True,
        "declared_value": "7,777",
        "collector": "Ada Wren",
    }
    intake.agree_work(job, **fields, at=at, by=owner)
    seal = {"receipt": "1", "qr": "1", "key": "1"}
    sheet = paperwork.receipt_sheet(Job.objects.get(pk=job.pk), seal=seal, at=at, by=owner)
    assert "value" not in sheet and sheet["collector"] == "Ada Wren"
    job = examined(stone, job, at, owner)
    for address in ("/job/1042/", "/job/1042/client/", "/job/1042/pick-up/"):
        assert "7,777" not in browser.get(address).content.decode()
    look(stone, "pick-up", at, owner)
    pickup.judge_stone(stone, at=at, by=owner)
    assert "Ada Wren collects it" in browser.get("/job/1042/pick-up/").content.decode()
    assert pickup.release_job(job, to="the named collector", at=at, by=owner).station == "picked up"


def test_nobody_collects_who_was_not_named(job: Job, stone: Stone, owner: Member, at: dt.datetime) -> None:
    job = examined(stone, job, at, owner)
    look(stone, "pick-up", at, owner)
    pickup.judge_stone(stone, at=at, by=owner)
    with pytest.raises(NotPossibleNow, match="Nobody was named"):
        pickup.release_job(job, to="the named collector", at=at, by=owner)


def test_an_express_piece_that_is_not_recognised_stays_with_what_was_recorded(
    browser: Client, owner: Member, at: dt.datetime
) -> None:
    job = intake.open_job(envelope="1050", person={}, express=True, at=at, by=owner)
    piece = intake.describe_piece(job, kind="ring", words="half hoop", grams="2.95", at=at, by=owner)
    stone = intake.describe_stone(piece, at=at, by=owner)
    received = intake.received_examination(stone, at=at, by=owner)
    picture = io.BytesIO()
    Image.new("RGB", (120, 120), (90, 90, 90)).save(picture, "PNG")
    photo = keep_photograph(received, picture.getvalue(), view="as received", at=at, by=owner)
    intake.log_clean(job, methods=["by hand"], asked=[], at=at, by=owner)
    intake.ready_at_once(Job.objects.get(pk=job.pk), at=at, by=owner)
    page = browser.get("/job/1050/pick-up/").content.decode()
    assert f"/photograph/{photo.pk}/" in page and "2.95 g" in page
    browser.post("/job/1050/pick-up/stop/", {"why": "the client says it is not theirs"})
    job = Job.objects.get(pk=job.pk)
    assert job.held == "the client says it is not theirs"
    assert "For you first" in browser.get("/job/1050/pick-up/").content.decode()
    with pytest.raises(NotPossibleNow, match="Nothing holds the job"):
        pickup.release_job(job, to="the client", at=at, by=owner)


def test_a_blind_repeat_by_the_same_person_shows_neither_look(
    told: Examination, stone: Stone, browser: Client, owner: Member, at: dt.datetime
) -> None:
    first = begin_examination(stone, "pick-up", at=at, by=owner)
    examine.record_reaction(first, "uv_long_wave", strength="strong", colour="green", at=at, by=owner)
    examine.finish(first, rest="no time", at=at, by=owner)
    browser.post(f"/stone/{stone.pk}/examine/pick-up/")
    again = Examination.objects.filter(stone=stone, occasion="pick-up").latest("pk")
    assert again != first
    for name, text in pages(browser, again).items():
        assert not shown_values(text), name
        assert 'value="green" checked' not in text and "strong green" not in text


def test_the_first_record_is_kept_back_until_it_is_opened_on_purpose(
    told: Examination, browser: Client, owner: Member, goldsmith: Member
) -> None:
    job = Job.objects.get(envelope="1042")
    for address in ("/job/1042/", "/job/1042/bench/"):
        text = browser.get(address).content.decode()
        assert not shown_values(text) - {"the little black seed"}, address
    assert browser.get("/job/1042/take-in/look/").status_code == 302
    browser.post("/job/1042/first-record/")
    assert "the little black seed" in browser.get("/job/1042/").content.decode()
    assert blindness.opened_by(job) == (owner.username,)
    assert blindness.is_kept_back(job, goldsmith), "who has not opened it is still not shown it"
    assert not [problem for problem in audit.check_shop() if problem.breaks]


def test_the_story_is_told_in_the_counters_words(told: Examination, owner: Member, at: dt.datetime) -> None:
    words = [event.words for event in story.story(Job.objects.get(envelope="1042"))]
    assert "put away, ready" in words and "stone taken out of its setting" in words
    assert "recorded: 1 picture, 4 readings, 1 reaction, 2 observations, 2 marks" in words
    assert words[-1] == "taken in at the counter"
    assert not [line for line in words if line.endswith(" recorded") or "examination" in line]


def test_every_stone_of_a_pair_stands_in_the_packet_and_on_the_statement(
    job: Job, stone: Stone, browser: Client, owner: Member, at: dt.datetime
) -> None:
    second = intake.describe_stone(Piece.objects.get(job=job), position="right", at=at, by=owner)
    intake.describe_stone(Piece.objects.get(job=job), position="clasp", cut="other", at=at, by=owner)
    other = {"diameter_min_mm": "6.31", "diameter_max_mm": "6.35", "depth_mm": "3.88"}
    look(second, "take-in", at, owner, **other)
    job = examined(stone, job, at, owner)
    look(stone, "pick-up", at, owner)
    pickup.judge_stone(stone, at=at, by=owner)
    with pytest.raises(NotPossibleNow, match="examined again"):
        pickup.release_job(job, to="the client", at=at, by=owner)
    assert "to be looked at" in browser.get(f"/job/1042/pick-up/?stone={stone.pk}").content.decode()
    look(second, "pick-up", at, owner, **other)
    pickup.judge_stone(second, at=at, by=owner)
    pickup.release_job(job, to="the client", at=at, by=owner)
    kept = pickup_papers.kept(job, "packet")
    assert kept is not None
    read = packet.read_packet(kept)
    assert [one.name for one in packet.replay_input(read)] == ["centre", "right"]
    record = json.loads(read.files["data/record.json"])
    assert record["format"] == "samestone-packet/2" and record["simulated"] is True
    assert [words.split(":")[0] for words in record["not_compared"]] == ["clasp"]
    assert zipfile.ZipFile(io.BytesIO(kept)).testzip() is None


def test_rings_on_paper_stand_where_the_marks_are() -> None:
    """A mark at 12 o'clock on the rim, the stone in the middle of a wide picture that must be turned by 90 degrees."""
    photo = Photograph(width=400, height=200)
    place = {"cx": "0.5", "cy": "0.5", "radius": "0.25"}
    mark = pickup_queries.Place(1, 1.0, 90.0)
    (straight,) = pickup_papers.rings_on(photo, place, [mark])
    assert (float(straight["x"]), float(straight["y"])) == pytest.approx((0.5, 0.0))
    (turned,) = pickup_papers.rings_on(photo, place, [mark], turned_deg=90.0)
    assert (float(turned["x"]), float(turned["y"])) == pytest.approx((0.75, 0.5))


def test_the_client_and_the_receipt_see_every_stone_with_its_own_marks(
    job: Job, stone: Stone, received: Examination, browser: Client, owner: Member, at: dt.datetime
) -> None:
    second = intake.describe_stone(Piece.objects.get(job=job), position="left", cut="oval", at=at, by=owner)
    intake.describe_stone(Piece.objects.get(job=job), position="row", count=12, at=at, by=owner)
    other = intake.received_examination(second, at=at, by=owner)
    for look_at, words in ((other, "the white needle"), (received, "the black seed"), (other, "the nick at the tip")):
        fields = {"category": "agreed", "r": "0.5", "angle_deg": "90", "words": words}
        record_finding(Mark, look_at, at=at, by=owner, **fields)
    marks = [(one.stone.position, one.number, one.mark.words) for one in pickup_queries.agreed_marks(job)]
    numbered = [("centre", 1, "the black seed"), ("left", 1, "the white needle"), ("left", 2, "the nick at the tip")]
    assert marks == numbered, "numbered as on the drawing of each stone"
    assert f"/stone/{second.pk}/examine/received/" in browser.get("/job/1042/take-in/pictures/").content.decode()
    page = browser.get("/job/1042/client/").content.decode()
    assert page.count('class="clock-face"') == 2, "the row has no mark and no drawing"
    assert all(words in page for _, _, words in numbered)
    seal = {"receipt": "1", "qr": "1", "key": "1"}
    sheet = paperwork.receipt_sheet(job, seal=seal, at=at, by=owner)
    drawn = [(face["name"], face["cut"], [mark["words"] for mark in face["marks"]]) for face in sheet["faces"]]
    assert drawn == [
        ("centre", "round brilliant", ["the black seed"]),
        ("left", "oval", ["the white needle", "the nick at the tip"]),
    ]
    fields = {"work": "clean", "risks": [], "due": None, "gift": False, "declared_value": "", "collector": ""}
    intake.agree_work(job, **fields, at=at, by=owner)
    intake.record_no_damage(received, at=at, by=owner)
    paperwork.give_receipt(job, at=at, by=owner)
    kept = paperwork.kept_receipt(Job.objects.get(pk=job.pk))
    assert kept is not None and kept.startswith(b"%PDF")
