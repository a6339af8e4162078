"""The records: a stone through the years, weight, material, grams, stray stones, copies, forgetting, waiting pieces."""

from __future__ import annotations

import datetime as dt
import io
import json
import zipfile
from importlib.resources import files
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from samestone import evidence
from samestone.shop import passage, vault
from samestone.shop.audit import check_shop
from samestone.shop.examine import actions as examine
from samestone.shop.examine import photo_actions
from samestone.shop.examine.scale import Scale
from samestone.shop.finding import begin_examination, finish_examination, record_finding
from samestone.shop.intake import actions as intake
from samestone.shop.intake import paperwork
from samestone.shop.kinship import same_stones
from samestone.shop.models import (
    Examination,
    Instrument,
    InstrumentCheck,
    Job,
    Mark,
    Member,
    Person,
    Photograph,
    Reading,
    Stone,
)
from samestone.shop.photograph import keep_photograph
from samestone.shop.records import (
    actions,
    calibration,
    export,
    forms,
    material,
    queries,
    stone,
    stray,
    weight,
)

pytestmark = pytest.mark.django_db
DAY = dt.timedelta(days=1)
SIZES = {
    "diameter_min_mm": ["6.67", "6.66", "6.67"],
    "diameter_max_mm": ["6.71", "6.71", "6.70"],
    "depth_mm": ["4.10", "4.11", "4.10"],
}


@pytest.fixture
def clerk(goldsmith: Member) -> Client:
    client = Client()
    client.force_login(goldsmith, backend="django.contrib.auth.backends.ModelBackend")
    return client


def take_in(envelope: str, *, at: dt.datetime, by: Member, client: str = "Odile Farrow") -> Stone:
    person = {"name": client, "phone": "555 0142", "email": "o@example.org", "address": "3 Weir Row"}
    job = intake.open_job(envelope=envelope, person=person, at=at, by=by)
    piece = intake.describe_piece(job, kind="ring", words="solitaire", grams="3.41", at=at, by=by)
    return intake.describe_stone(piece, basis="tested", claws=4, at=at, by=by)


def look(row: Stone, occasion: str, sizes: dict[str, list[str]], *, at: dt.datetime, by: Member) -> Examination:
    begun = begin_examination(row, occasion, at=at, by=by)
    for name, indications in sizes.items():
        unit = {"weight_ct": "ct", "table_percent": "%"}.get(name, "mm")
        tool = Instrument.objects.filter(unit=unit, retired_at=None).first()
        fields = {"property": name, "indications": indications, "instrument": tool}
        record_finding(Reading, begun, at=at, by=by, **fields)
    examine.record_reaction(begun, "thermal_probe", result="diamond", at=at, by=by)
    return finish_examination(begun, at=at, by=by)


def bench_look(row: Stone, weight_ct: str, *, at: dt.datetime, by: Member) -> Examination:
    row.setting = "loose"
    row.save()
    found = look(row, "bench", {"weight_ct": [weight_ct]}, at=at, by=by)
    row.setting = "set"
    row.save()
    return found


def go_home(job: Job, *, at: dt.datetime, by: Member) -> Job:
    intake.finish_take_in(job, at=at, by=by)
    for name in ("given to bench", "inspected", "made ready", "picked up"):
        passage.move_job(job, name, at=at, by=by)
    return Job.objects.get(pk=job.pk)


def shifted(sizes: dict[str, list[str]], by_mm: float) -> dict[str, list[str]]:
    return {name: [f"{float(text) + by_mm:.2f}" for text in texts] for name, texts in sizes.items()}


def test_the_published_trade_example_and_the_scale_agree(browser: Client, at: dt.datetime, owner: Member) -> None:
    """A round brilliant of 6.71 x 6.67 x 4.10 mm weighs 1.149 ct (common practice, no source)."""
    row = take_in("1", at=at, by=owner)
    look(row, "take-in", SIZES, at=at, by=owner)
    bench_look(row, "1.149", at=at, by=owner)
    known = stone.known_values(row)
    found = weight.estimate({"table": "", **weight.initial_sizes(row, known)}, known)
    assert found.formula.low_ct < 1.149 < found.formula.high_ct
    assert found.warnings == ()
    assert found.weighed == "1.15 ct (1.149 ct by scale)", "the trade rounds up only a third decimal of 9"
    page = browser.get(f"/stone/{row.pk}/weight/").content.decode()
    assert "1.149 ct by scale" in page and "<svg" in page
    wrong = {**weight.initial_sizes(row, known), "table": "", "depth": "3.20"}
    assert "measure and weigh again" in " ".join(weight.estimate(wrong, known).warnings)
    refused = browser.get(f"/stone/{row.pk}/weight/", {**wrong, "depth": "0.41", "length": "0.5"}).content.decode()
    assert "swap the two" in refused


def test_what_it_can_still_be_never_tells_mined_from_grown(browser: Client, at: dt.datetime, owner: Member) -> None:
    row = take_in("1", at=at, by=owner)
    look(row, "take-in", SIZES, at=at, by=owner)
    found = material.what_remains(material.recorded_reactions(row), loose=False)
    assert {one["material"].key for one in found.remaining} == {"diamond", "moissanite"}, "a probe cannot tell these"
    doubled = material.typed_reactions({"doubling": "seen"})
    left = material.what_remains([*material.recorded_reactions(row), *doubled], loose=False).remaining
    assert [one["material"].key for one in left] == ["moissanite"]
    page = browser.get(f"/stone/{row.pk}/materials/", {"doubling": "not seen in several directions"}).content.decode()
    assert "natural from laboratory-grown" in page
    refused = browser.get(f"/stone/{row.pk}/materials/", {"in_air": "1.0"}).content.decode()
    assert "Give both weights" in refused


def measured(row: Stone, widths_px: dict[int, float], um: float, *, at: dt.datetime, by: Member) -> Photograph:
    """A finished take-in look with one picture in which these claws were measured; in pixels where `um` is 0."""
    begun = begin_examination(row, "take-in", at=at, by=by)
    microscope = Instrument.objects.get(kind="microscope")
    content = (files("samestone.simulate") / "pictures" / "cleaned.jpg").read_bytes()
    fields: dict[str, Any] = {"view": "face-up", "instrument": microscope, "simulated": True}
    photo = keep_photograph(begun, content, at=at, by=by, **fields)
    claws = [
        {"angle_deg": angle, "width_px": px, "u_px": 1.0, "state": "", "how": "found"}
        for angle, px in widths_px.items()
    ]
    scale = Scale(microscope, um, um / 1000, "2 Mar 2026") if um else None
    photo_actions.keep_claws(photo, claws, scale=scale, at=at, by=by)
    finish_examination(begun, at=at, by=by)
    return photo


def test_claw_widths_stand_with_each_visit_and_the_change_since(
    browser: Client, owner: Member, at: dt.datetime
) -> None:
    """100 px of 10 um, u of 1 px and of one in a thousand: 1.000 mm, u 0.0100; two of them differ with u 0.0141."""
    later, last = at + 800 * DAY, at + 1600 * DAY
    rows = [take_in(str(n), at=when, by=owner) for n, when in enumerate((at, later, last), start=1)]
    measured(rows[0], {45: 100, 135: 100, 225: 100}, 10, at=at, by=owner)
    measured(rows[1], {52: 98, 130: 94, 225: 100}, 10, at=later, by=owner)
    measured(rows[2], {45: 91, 135: 106}, 0, at=last, by=owner)
    for one, earlier in ((rows[1], rows[0]), (rows[2], rows[1])):
        actions.recognise_stone(one, earlier, at=last, by=owner)
    first, second, third = (visit.widths for visit in stone.visits(rows[0]))
    assert [(one.now.width, one.now.u, one.words) for one in first] == [("1.000", "0.010", "")] * 3
    assert [(one.change, one.u, one.words) for one in second] == [
        ("−0.020", "0.014", "within the error"),
        ("−0.060", "0.014", "narrower"),
        ("+0.000", "0.014", "within the error"),
    ]
    assert all(one.since == at for one in second)
    assert [(one.now.unit, one.since) for one in third] == [("px", None)] * 2, "pixels of two pictures are not compared"
    page = browser.get(f"/stone/{rows[2].pk}/").content.decode()
    assert "0.940 ± 0.010 mm" in page and "−0.060 ± 0.014: <strong>narrower</strong>, since 2 Mar 2026" in page
    assert "within the error" in page and "no scale: not compared" in page


def test_claw_widths_of_a_microscope_that_failed_are_in_doubt_and_not_compared(
    browser: Client, owner: Member, at: dt.datetime
) -> None:
    rows = [take_in("1", at=at, by=owner), take_in("2", at=at + 30 * DAY, by=owner)]
    measured(rows[0], {45: 100}, 10, at=at, by=owner)
    measured(rows[1], {45: 80}, 10, at=at + 30 * DAY, by=owner)
    actions.recognise_stone(rows[1], rows[0], at=at + 30 * DAY, by=owner)
    assert [one.words for one in stone.visits(rows[1])[1].widths] == ["narrower"]
    tool = Instrument.objects.get(kind="microscope")
    for days, passed in ((1, True), (40, False)):
        fields = {"kind": "stage micrometer", "passed": passed, "detail": {"um_per_px": "10", "u": "0.01"}}
        InstrumentCheck.objects.create(instrument=tool, at=at + days * DAY, by=owner, **fields)
    [one] = stone.visits(rows[1])[1].widths
    assert (one.words, one.since) == ("", None) and one.now.doubt.startswith("the microscope failed its check")
    assert "in doubt: the microscope failed" in browser.get(f"/stone/{rows[1].pk}/").content.decode()
    photo = Photograph.objects.get(examination__stone=rows[1])
    assert "0.800 ± 0.010, in doubt" in browser.get(f"/photograph/{photo.pk}/claws/").content.decode()


def test_visits_stand_side_by_side_once_the_stone_is_known_again(
    browser: Client, at: dt.datetime, owner: Member
) -> None:
    first = take_in("1", at=at, by=owner)
    look(first, "take-in", SIZES, at=at, by=owner)
    second = take_in("2", at=at + 400 * DAY, by=owner)
    look(second, "take-in", shifted(SIZES, 0.01), at=at + 400 * DAY, by=owner)
    assert stone.earlier_candidates(second) == (first,)
    assert stone.earlier_candidates(first) == ()
    browser.post(f"/stone/{second.pk}/known/", {"earlier": first.pk})
    assert same_stones(second) == (first, second) == same_stones(first)
    assert [visit.job.envelope for visit in stone.visits(first)] == ["1", "2"]
    page = browser.get(f"/stone/{second.pk}/").content.decode()
    assert "6.67, 6.66, 6.67" in page and "6.68, 6.67, 6.68" in page
    against = stone.against_first_visit(second, evidence.load_population())
    assert against is not None and against["heading"] != stone.LADDER["disagrees"]
    with pytest.raises(actions.NotEarlier):
        actions.recognise_stone(first, second, at=at, by=owner)
    with pytest.raises(actions.NotEarlier):
        actions.recognise_stone(second, first, at=at, by=owner)


@pytest.mark.parametrize("address", ["", "weight/", "materials/"])
def test_nobody_who_examines_for_the_pick_up_sees_earlier_readings(
    browser: Client, at: dt.datetime, owner: Member, address: str
) -> None:
    row = take_in("1", at=at, by=owner)
    look(row, "take-in", SIZES, at=at, by=owner)
    assert "6.67" in browser.get(f"/stone/{row.pk}/").content.decode()
    blind = begin_examination(row, "pick-up", at=at + DAY, by=owner)
    text = browser.get(f"/stone/{row.pk}/{address}").content.decode()
    assert "6.67" not in text and "4.10" not in text and "is being examined" in text
    finish_examination(blind, at=at + DAY, by=owner)
    assert "6.67" in browser.get(f"/stone/{row.pk}/").content.decode()


def test_grams_that_do_not_close_are_written_down_too(browser: Client, at: dt.datetime, owner: Member) -> None:
    job = take_in("1", at=at, by=owner).job
    sent = {"came": "3.41", "metal": "0.12", "went": "3.48", "filings": "0.05", "scale_u": "0.01"}
    browser.post("/job/1/grams/", sent)
    browser.post("/job/1/grams/", {**sent, "went": "3.28"})
    newest, first = queries.balances(job)
    assert first.payload.data["closes"] and not newest.payload.data["closes"]
    assert newest.payload.data["missing_g"] == "0.200"
    text = browser.get("/job/1/grams/").content.decode()
    assert "0.20 g missing" in text
    refused = browser.post("/job/1/grams/", {"came": "3.41", "scale_u": "0.01"})
    assert refused.status_code == 422
    assert 'value="3.41"' in refused.content.decode(), "what was typed is still there"


def test_a_stray_stone_gets_a_shortlist_and_nothing_is_assigned(
    browser: Client, at: dt.datetime, owner: Member
) -> None:
    rows = [take_in(str(n + 1), at=at, by=owner) for n in range(4)]
    for n, row in enumerate(rows[:3]):
        look(row, "take-in", shifted(SIZES, 0.35 * n), at=at, by=owner)
    bench_look(rows[0], "1.149", at=at, by=owner)
    typed = {"among": "open", "setting": "loose", "weight_ct": "1.149", "diameter_min_mm": "6.67",
             "diameter_max_mm": "6.71", "depth_mm": "4.10"}  # fmt: skip
    form = forms.StrayForm(typed)
    assert form.is_valid()
    found = stray.search(form.cleaned_data)
    assert found.among == 3, "the fourth has no record"
    assert found.rows[0].stone == rows[0]
    assert found.rows[0].chance > 0.5 > found.none
    assert "weight" in found.rows[0].agrees
    assert sum(row.chance for row in found.rows) + found.none + found.others == pytest.approx(1)
    nobody = stray.search({**form.cleaned_data, "weight_ct": "0.500", "diameter_min_mm": "5.10",
                           "diameter_max_mm": "5.13", "depth_mm": "3.16"})  # fmt: skip
    assert nobody.none > 0.9
    page = browser.get("/records/stray/", typed).content.decode()
    assert "Nothing is assigned" in page and "None of them" in page
    assert "confidence" not in page
    refused = browser.get("/records/stray/", {"among": "open", "setting": "loose"}).content.decode()
    assert "give at least one number" in refused
    mixed_up = browser.get("/records/stray/", {**typed, "weight_ct": "114.9"}).content.decode()
    assert "points" in mixed_up, "units mixed up are named"
    go_home(rows[0].job, at=at + DAY, by=owner)
    assert stray.search(form.cleaned_data).among == 2, "gone home"
    look(rows[3], "take-in", SIZES, at=at + DAY, by=owner)
    newly = stray.search(form.cleaned_data)
    assert newly.among == 3 and newly.rows[0].stone == rows[3], "the list is kept current"
    assert stray.search({**form.cleaned_data, "among": "all"}).rows[0].stone == rows[0]


def test_a_copy_for_the_insurer_names_no_address(browser: Client, at: dt.datetime, owner: Member) -> None:
    row = take_in("1", at=at, by=owner)
    agreed = {"risks": [], "gift": False, "declared_value": "6,500", "collector": "", "due": None}
    intake.agree_work(row.job, work="clean", **agreed, at=at, by=owner)
    intake.write_notice(row.job, "a secret", to_say="", at=at, by=owner)
    look(row, "take-in", SIZES, at=at, by=owner)
    picture = (files("samestone.simulate") / "pictures" / "side.jpg").read_bytes()
    received = intake.received_examination(row, at=at, by=owner)
    photo = keep_photograph(received, picture, view="side", at=at, by=owner, simulated=True)
    plain = browser.post("/job/1/export/", {"to": "the insurer", "reference": "A-77"})
    archive = zipfile.ZipFile(io.BytesIO(plain.content))
    record = json.loads(archive.read("record.json"))
    text = archive.read("record.json").decode() + archive.read("summary.html").decode()
    for hidden in ("Weir Row", "555 0142", "o@example.org", "Odile", "6,500", "a secret"):
        assert hidden not in text
    assert archive.read(record["pictures"][0]["file"]) == picture
    assert record["pictures"][0]["sha256"] == photo.digest
    assert record["simulated"] is True and "Simulated" in text
    evidence.read_examination(record["examinations"][-2]["record"])
    [entry] = queries.exports(row.job)
    assert entry.payload.data["reference"] == "A-77"
    asked = export.build_export(Job.objects.get(), to="the police", reference="", name=True, value=True, at=at)
    named = zipfile.ZipFile(io.BytesIO(asked)).read("record.json").decode()
    assert "Odile" in named and "6,500" in named and "Weir Row" not in named


def test_a_person_is_forgotten_and_the_evidence_stays(
    browser: Client, clerk: Client, at: dt.datetime, owner: Member
) -> None:
    row = take_in("1", at=at, by=owner)
    received = intake.received_examination(row, at=at, by=owner)
    record_finding(Mark, received, at=at, by=owner, category="agreed", kind="crystal", r="0.3", angle_deg="31",
                   words="the little seed")  # fmt: skip
    look(row, "take-in", SIZES, at=at, by=owner)
    agreed = {"risks": [], "gift": False, "declared_value": "", "collector": "Piet Farrow", "due": None}
    intake.agree_work(row.job, work="clean", **agreed, at=at, by=owner)
    intake.place_claws(received, 4, at=at, by=owner)
    job = Job.objects.get(envelope="1")
    receipt = paperwork.give_receipt(job, at=at, by=owner).payload.data["receipt_kept"]
    person = Person.objects.get()
    with pytest.raises(actions.CannotForget, match="Still in the house: 1"):
        actions.forget_person(person, at=at, by=owner)
    go_home(job, at=at, by=owner)
    assert clerk.get("/records/retention/").status_code == 403
    assert [one.person for one in queries.people_kept(at + 10 * 366 * DAY, 10)] == [person]
    assert queries.people_kept(at + DAY, 10) == ()
    browser.post(f"/person/{person.pk}/forget/")
    assert Person.objects.exists(), "not without the tick"
    actions.forget_person(person, at=at + DAY, by=owner)
    vault.let_go([receipt])  # what the transaction does when it is committed
    job = Job.objects.get(envelope="1")
    assert (job.person, job.collector) == (None, "")
    assert Reading.objects.filter(examination__stone=row).count() == 3
    assert check_shop() == (), "what was let go is no damage"
    assert browser.get("/job/1/receipt.pdf").status_code == 404
    assert browser.get("/job/1/").status_code == 200
    assert "Farrow" not in browser.get("/job/1/").content.decode()


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL's vacuum does this")
def test_what_is_deleted_is_overwritten(owner: Member) -> None:
    with connection.cursor() as cursor:
        assert cursor.execute("PRAGMA secure_delete").fetchone() == (1,)


def test_pieces_that_wait_keep_every_attempt(browser: Client, at: dt.datetime, owner: Member) -> None:
    job = take_in("1", at=at, by=owner).job
    intake.finish_take_in(job, at=at, by=owner)
    for name in ("given to bench", "inspected", "made ready"):
        passage.move_job(job, name, at=at + DAY, by=owner)
    browser.post("/job/1/reminded/", {"how": "telephone", "words": "comes on Friday"})
    browser.post("/job/1/reminded/", {"how": "pigeon", "words": "no"})
    [one] = queries.uncollected(at + 31 * DAY)
    assert one.days == 30
    assert [entry.payload.data["words"] for entry in one.attempts] == ["comes on Friday"]
    assert "comes on Friday" in browser.get("/records/uncollected/").content.decode()


def test_jobs_of_any_age_are_found(browser: Client, at: dt.datetime, owner: Member) -> None:
    row = take_in("77", at=at, by=owner)
    begun = begin_examination(row, "take-in", at=at, by=owner)
    examine.record_observation(begun, "inscription", "LF 20417", at=at, by=owner)
    finish_examination(begun, at=at, by=owner)
    go_home(row.job, at=at, by=owner)
    for sought, where in (("77", "envelope"), ("farrow", "client"), ("solit", "piece"), ("20417", "inscription")):
        [found] = queries.jobs_found(sought)
        assert (found.job.envelope, found.where) == ("77", where)
    assert "solitaire" in browser.get("/records/", {"q": "farrow"}).content.decode()


def test_a_shops_own_calibration_waits_for_enough_jobs(browser: Client, at: dt.datetime, owner: Member) -> None:
    for n in range(10):
        if n == 9:
            text = browser.get("/records/calibration/").content.decode()
            assert "Too few yet: found 9 stones" in text and "Cllr" not in text
        row = take_in(str(n + 1), at=at, by=owner)
        look(row, "take-in", shifted(SIZES, 0.2 * n), at=at, by=owner)
        look(row, "pick-up", shifted(SIZES, 0.2 * n + 0.01), at=at, by=owner)
        go_home(row.job, at=at, by=owner)
    own = calibration.own_calibration(evidence.load_population())
    assert len(calibration.looked_at_twice()) == own.found.stones == 10
    assert own.missed.startswith("0 of 10; 95 % range 0.0 to 27.8 %"), "Wilson 1927 for 0 of 10"
    assert len(own.found.other) == 90
    assert 0 <= float(own.cllr_min) <= float(own.cllr) < 0.5
    text = browser.get("/records/calibration/").content.decode()
    assert "Simulated jobs" in text and "<svg" in text


def test_pages_open_with_a_strict_policy_and_need_sign_in(browser: Client, job: Job) -> None:
    row, person = job.stones.get(), Person.objects.get()
    pages = ["/records/", "/records/stray/", "/records/calibration/", "/records/uncollected/", "/records/retention/",
             f"/person/{person.pk}/", f"/person/{person.pk}/forget/", "/job/1042/grams/", "/job/1042/export/",
             f"/stone/{row.pk}/", f"/stone/{row.pk}/weight/", f"/stone/{row.pk}/materials/"]  # fmt: skip
    for address in pages:
        page = browser.get(address)
        text = page.content.decode()
        assert page.status_code == 200 and "<h1" in text, address
        assert " style=" not in text and "<style" not in text and "<script>" not in text, address
        assert Client().get(address).status_code == 302
    said: Any = browser.get("/job/1042/").content.decode()
    assert f"/stone/{row.pk}/" in said and "/job/1042/grams/" in said
