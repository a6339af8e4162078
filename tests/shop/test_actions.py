"""The take-in's and the bench's actions: what they write, what they refuse, and that `check` agrees each time."""

from __future__ import annotations

import datetime as dt

import pytest

from samestone.shop import audit, care, ledger, passage
from samestone.shop.bench import actions as bench
from samestone.shop.intake import actions as intake
from samestone.shop.intake import queries
from samestone.shop.life import NotPossibleNow
from samestone.shop.models import Entry, Examination, Instrument, Job, Mark, Member, Person, Stone

pytestmark = pytest.mark.django_db


@pytest.fixture
def at_bench(job: Job, at: dt.datetime, owner: Member) -> Job:
    intake.finish_take_in(job, at=at, by=owner)
    return bench.take_over(job, bench.Looks("1042", "yes", "3.41"), to="bench", holder=owner, at=at, by=owner)


def test_an_envelope_number_is_used_once(job: Job, at: dt.datetime, owner: Member) -> None:
    before = Entry.objects.count(), Person.objects.count()
    with pytest.raises(intake.EnvelopeTaken, match=r"Envelope 1042 is in use.*1043"):
        intake.open_job(envelope=" 1042 ", person={"name": "Another"}, at=at, by=owner)
    assert (Entry.objects.count(), Person.objects.count()) == before, "nothing is left of the refused job"
    with pytest.raises(intake.NotAnEnvelope):
        intake.open_job(envelope="10/42", person={}, at=at, by=owner)


def test_the_same_take_in_form_sent_twice_opens_one_job(owner: Member, at: dt.datetime) -> None:
    first = intake.open_job(envelope="A7", person={"name": "Odile Farrow"}, once="form", at=at, by=owner)
    again = intake.open_job(envelope="A7", person={"name": "Odile Farrow"}, once="form", at=at, by=owner)
    assert first == again
    assert Person.objects.count() == 1
    assert intake.next_envelope() == "A8"


def test_a_client_who_comes_back_is_the_same_client(job: Job, owner: Member, at: dt.datetime) -> None:
    again = intake.open_job(envelope="1043", person={"name": "odile farrow", "phone": "0"}, at=at, by=owner)
    assert again.person == job.person


def test_claws_are_placed_with_one_tap_and_placed_anew(received: Examination, at: dt.datetime, owner: Member) -> None:
    intake.place_claws(received, 6, at=at, by=owner)
    intake.place_claws(received, 4, at=at, by=owner)
    now = list(Mark.objects.current())
    assert [mark.angle_deg for mark in now if mark.category == "claw"] == ["45", "135", "225", "315"]
    assert sum(mark.category == "hidden" for mark in now) == 4
    assert received.stone.job.stones.get().claws == 4
    assert audit.check_shop() == ()


def test_a_clean_is_asked_about_first(stone: Stone, at: dt.datetime, owner: Member) -> None:
    intake.describe_stone(stone.piece, stone, material="opal", at=at, by=owner)
    answers = care.answers_for(stone.job)
    assert {answer.process: answer.verdict for answer in answers} == {"ultrasonic": "never", "steam": "never"}
    assert care.refusals(answers, ["ultrasonic"], tight="yes", careful=True)
    assert not care.refusals(answers, ["by hand"], tight="could not look", careful=False)


def test_an_unknown_treatment_needs_care(stone: Stone) -> None:
    answers = care.answers_for(stone.job)
    assert {answer.verdict for answer in answers} == {"caution"}
    assert care.refusals(answers, ["steam"], tight="yes", careful=False)
    assert not care.refusals(answers, ["steam"], tight="yes", careful=True)
    assert care.refusals(answers, ["steam"], tight="could not look", careful=True), "dirt may be all that holds it"


def test_a_diamond_known_to_be_filled_is_never_steamed(stone: Stone, at: dt.datetime, owner: Member) -> None:
    filled = intake.describe_stone(stone.piece, stone, treatment="fracture-filled", at=at, by=owner)
    assert "never" in {answer.verdict for answer in care.answers_for(filled.job)}


def test_out_weighed_and_in_again(at_bench: Job, at: dt.datetime, owner: Member) -> None:
    stone = at_bench.stones.get()
    scale = Instrument.objects.get(kind="scale")
    with pytest.raises(NotPossibleNow, match="Only a loose stone"):
        bench.weigh_loose(stone, indications=["1.149"], instrument=scale, at=at, by=owner)
    loose = bench.unset_stone(stone, at=at, by=owner)
    with pytest.raises(NotPossibleNow, match="loose already"):
        bench.unset_stone(stone, at=at, by=owner)
    stone.refresh_from_db()
    reading = bench.weigh_loose(stone, indications=["1.149", "1.148"], instrument=scale, at=at, by=owner)
    assert reading.examination == loose
    assert loose.setting == "loose"
    with pytest.raises(NotPossibleNow, match=r"a stone is out of its setting\. Set it first"):
        bench.finish_inspection(at_bench, against_instruction="all", at=at, by=owner)
    bench.reset_stone(stone, at=at, by=owner)
    loose.refresh_from_db()
    assert loose.finished_at == at
    bench.finish_inspection(at_bench, against_instruction="all", at=at, by=owner)
    assert bench.make_ready(at_bench, at=at, by=owner).place == "safe"
    assert audit.check_shop() == ()


def test_the_wrong_envelope_in_the_hand_stops_both(at_bench: Job, at: dt.datetime, owner: Member) -> None:
    other = intake.open_job(envelope="1043", person={}, at=at, by=owner)
    before = Entry.objects.count()
    with pytest.raises(bench.NotThisJob, match="says 1043, the screen says 1042"):
        bench.take_over(at_bench, bench.Looks("1043", "yes"), to="safe", holder=None, at=at, by=owner)
    assert Entry.objects.count() == before
    bench.report_swap(at_bench, number_read="1043", at=at, by=owner)
    other.refresh_from_db()
    at_bench.refresh_from_db()
    assert other.held == "may be swapped with envelope 1042"
    assert at_bench.held == "may be swapped with envelope 1043"
    assert audit.check_shop() == ()


def test_a_mark_that_is_not_there_holds_the_job(at_bench: Job, at: dt.datetime, owner: Member) -> None:
    job = bench.take_over(at_bench, bench.Looks("1042", "no"), to="safe", holder=None, at=at, by=owner)
    assert "mark was not found" in job.held
    seen = bench.take_over(at_bench, bench.Looks("1042", "could not look"), to="safe", holder=None, at=at, by=owner)
    assert seen.held == job.held, "not looking is not a finding, and lifts no hold either"


def test_news_waits_for_the_answer(at_bench: Job, at: dt.datetime, owner: Member) -> None:
    bench.send_news(at_bench, "A chip where the claw was", question="Go on?", price="", at=at, by=owner)
    at_bench.refresh_from_db()
    assert at_bench.state.possible() == ()
    bench.note_answer(at_bench, "Rather not.", agreed=False, at=at, by=owner)
    at_bench.refresh_from_db()
    assert at_bench.held == bench.WAITING
    bench.note_answer(at_bench, "Well, yes.", agreed=True, at=at, by=owner)
    at_bench.refresh_from_db()
    assert at_bench.held == ""
    assert audit.check_shop() == ()


def test_the_evening_count_names_what_was_not_seen(at_bench: Job, at: dt.datetime, owner: Member) -> None:
    stone = at_bench.stones.get()
    bench.unset_stone(stone, at=at, by=owner)
    intake.open_job(envelope="1043", person={}, at=at, by=owner)
    missing, loose = bench.count_evening({"1042": "bench"}, loose_seen=set(), at=at, by=owner)
    assert [job.envelope for job in missing] == ["1043"]
    assert loose == (stone,)
    assert ledger.history("shop", "evening count").get().payload.data["missing"] == ["1043"]


def test_a_held_job_says_why_and_goes_on_with_a_reason(job: Job, at: dt.datetime, owner: Member) -> None:
    passage.hold_job(job, "the owner wants a look", at=at, by=owner)
    with pytest.raises(NotPossibleNow, match="the owner wants a look"):
        intake.finish_take_in(job, at=at, by=owner)
    passage.resume_job(job, "looked", at=at, by=owner)
    assert intake.finish_take_in(job, at=at, by=owner).station == "examined"


def test_the_questions_fill_one_by_one(job: Job, received: Examination, at: dt.datetime, owner: Member) -> None:
    assert queries.next_question(job) == "condition"
    intake.place_claws(received, 4, at=at, by=owner)
    assert queries.next_question(job) == "pictures"
    intake.leave_uncleaned(job, "an opal", at=at, by=owner)
    done = {step.question: step.done for step in queries.steps(job)}
    assert done["clean"] and not done["receipt"]


def test_an_express_job_asks_less(owner: Member, at: dt.datetime) -> None:
    job = intake.open_job(envelope="9", person={}, express=True, at=at, by=owner)
    assert "look" not in [step.question for step in queries.steps(job)]
    with pytest.raises(NotPossibleNow, match="Clean it first"):
        intake.ready_at_once(job, at=at, by=owner)
    intake.log_clean(job, methods=["by hand"], asked=[], at=at, by=owner)
    job.refresh_from_db()
    assert intake.ready_at_once(job, at=at, by=owner).station == "ready"


def test_swapped_contents_show_by_grams_and_name_the_other_envelope(job: Job, at: dt.datetime, owner: Member) -> None:
    intake.describe_piece(job, grams="3.41", at=at, by=owner)
    other = intake.open_job(envelope="1043", person={}, at=at, by=owner)
    intake.describe_piece(other, kind="ring", grams="3.96", at=at, by=owner)
    intake.finish_take_in(job, at=at, by=owner)
    looks = bench.Looks("1042", "could not look", grams="3.97")
    stopped = bench.take_over(job, looks, to="bench", holder=owner, at=at, by=owner)
    assert stopped.held == "3.97 g now, 3.41 g on record; it would fit envelope 1043"
    assert stopped.station == "examined", "the bench has not begun on it"
    assert audit.check_shop() == ()


def test_a_small_stone_lost_is_noticed_by_counting(at_bench: Job, at: dt.datetime, owner: Member) -> None:
    intake.describe_stone(at_bench.pieces.get(), count=20, position="row", at=at, by=owner)
    complete = bench.Looks("1042", "yes", stones=21)
    assert not bench.take_over(at_bench, complete, to="safe", holder=None, at=at, by=owner).held
    one_less = bench.Looks("1042", "yes", grams="9.99", stones=20)
    held = bench.take_over(at_bench, one_less, to="bench", holder=owner, at=at, by=owner).held
    assert held == "20 stones counted, 21 on record", "grams say nothing once the bench has worked on it"
