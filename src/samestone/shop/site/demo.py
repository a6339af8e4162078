"""`samestone demo`: an invented shop plays one job from take-in to pick-up through the real actions.

Everything in it is invented, every picture is simulated, and both are said wherever they are shown.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from samestone.shop import care, ledger, vault
from samestone.shop.bench import actions as bench
from samestone.shop.examine import actions as examine
from samestone.shop.finding import begin_examination, record_finding
from samestone.shop.intake import actions as intake
from samestone.shop.intake import paperwork
from samestone.shop.models import Examination, Instrument, Job, Mark, Member, Shop, Stone
from samestone.shop.photograph import keep_photograph
from samestone.shop.pickup import actions as pickup
from samestone.shop.site import story
from samestone.shop.site.actions import enrol_member, open_shop

OWNER, PASSWORD = "ines", "mill lane under the elm"
SAY = Callable[[str], None]


class NotADemo(Exception):
    """The data folder belongs to a real shop: the demo will not touch it."""


class Clock:
    """The story's clock: it starts some days before now and only ever moves forward."""

    def __init__(self, now: dt.datetime) -> None:
        self.now = now - story.LENGTH

    def after(self, minutes: float) -> dt.datetime:
        self.now += dt.timedelta(minutes=minutes)
        return self.now


def play_demo(*, now: dt.datetime, say: SAY) -> None:
    """Plays the demo, or says where everything is if it was played before; raises `NotADemo` on a real shop's data."""
    shop = Shop.objects.first()
    if shop is not None and not shop.simulated:
        raise NotADemo(f"the data folder belongs to {shop.name}; name another one with --data")
    if shop is None:
        play_story(Clock(now), say)
    else:
        say("The demo was played before; nothing was written.")
    show_results(say)


def play_story(clock: Clock, say: SAY) -> None:
    """The whole story, in the order of time."""
    with transaction.atomic():
        owner = open_shop(**story.SHOP, username=OWNER, password=PASSWORD, at=clock.after(0), simulated=True)
        bench_hand = enrol_member(**story.GOLDSMITH, by=owner, at=clock.after(1))
    say(f"Opened {story.SHOP['shop_name']} (invented)")
    alike = take_in(story.ALIKE, clock, owner, say)
    job = take_in(story.JOB, clock, owner, say)
    clock.after(20 * 60)
    for one in (alike, job):
        work_at_bench(one, clock, bench_hand, say)
    clock.after(2 * 24 * 60)
    leave_open_jobs(clock, owner, bench_hand)
    say("Left four jobs open at other stations")
    for one, told in ((alike, story.ALIKE), (job, story.JOB)):
        pick_up(one, told, clock, examiner=bench_hand, owner=owner, say=say)


def take_in(told: story.Told, clock: Clock, by: Member, say: SAY) -> Job:
    """Client, piece, stone, condition, pictures, clean, look, agreed marks, work, receipt."""
    job = intake.open_job(envelope=told.envelope, person=told.client, at=clock.after(30), by=by)
    piece = intake.describe_piece(job, **told.piece, at=clock.after(1), by=by)
    stone = intake.describe_stone(piece, **told.stone, at=clock.after(1), by=by)
    received = intake.received_examination(stone, at=clock.after(1), by=by)
    intake.place_claws(received, 4, at=clock.after(1), by=by)
    for mark in told.damage:
        record_finding(Mark, received, at=clock.after(0.5), by=by, category="damage", **mark)
    keep_pictures(received, told.received_pictures, clock, by)
    asked = [answer.summary for answer in care.answers_for(job)]
    intake.log_clean(job, methods=["by hand", "ultrasonic"], asked=asked, at=clock.after(3), by=by)
    look(begin_examination(stone, "take-in", at=clock.after(1), by=by), told.before, clock, by)
    for words in told.agreed:
        record_finding(Mark, received, at=clock.after(0.5), by=by, category="agreed", **words)
    intake.agree_work(job, **told.work, at=clock.after(1), by=by)
    paperwork.give_receipt(job, at=clock.after(0.5), by=by)
    say(f"{told.envelope}: taken in from {told.client['name']}, cleaned, measured, receipt given")
    return intake.finish_take_in(job, at=clock.after(1), by=by)


def look(examination: Examination, seen: story.Look, clock: Clock, by: Member) -> None:
    """One examination: pictures, readings, reactions, observations, characteristics; the rest was not looked at."""
    keep_pictures(examination, seen.pictures, clock, by)
    for name, indications in seen.readings.items():
        kind = "microscope" if name == "table_percent" else "scale" if name == "weight_ct" else "gauge"
        tool = Instrument.objects.get(kind=kind, retired_at=None)
        examine.record_readings(examination, {name: indications}, instrument=tool, at=clock.after(0.6), by=by)
    for test, reaction in seen.reactions.items():
        examine.record_reaction(examination, test, at=clock.after(0.5), by=by, **reaction)
    for what, value in seen.observations.items():
        examine.record_observation(examination, what, value, at=clock.after(0.3), by=by)
    for mark in seen.characteristics:
        record_finding(Mark, examination, at=clock.after(0.2), by=by, category="characteristic", **mark)
    examine.finish(examination, rest="no time", at=clock.after(0.5), by=by)


def keep_pictures(examination: Examination, pictures: dict[str, str], clock: Clock, by: Member) -> None:
    microscope = Instrument.objects.get(kind="microscope", retired_at=None)
    for view, name in pictures.items():
        fields: Any = {"view": view, "instrument": microscope, "simulated": True}
        keep_photograph(examination, picture(name), at=clock.after(0.5), by=by, **fields)


def picture(name: str) -> bytes:
    """One of the simulated pictures that come with the program."""
    return (files("samestone.simulate") / "pictures" / f"{name}.jpg").read_bytes()


def work_at_bench(job: Job, clock: Clock, by: Member, say: SAY) -> None:
    """Out, weighed loose, in again, inspected, ready."""
    stone = job.stones.get()
    looks = bench.Looks(job.envelope, "yes", grams=job.pieces.get().grams, stones=1)
    bench.take_over(job, looks, to="bench", holder=by, at=clock.after(20), by=by)
    loose = bench.unset_stone(stone, at=clock.after(12), by=by)
    keep_pictures(loose, {"face-up": "loose", "uv": "uv"} if job.envelope == story.JOB.envelope else {}, clock, by)
    stone = Stone.objects.get(pk=stone.pk)
    scale = Instrument.objects.get(kind="scale", retired_at=None)
    weight = bench.weigh_loose(stone, indications=story.LOOSE[job.envelope], instrument=scale, at=clock.after(2), by=by)
    bench.reset_stone(stone, at=clock.after(55), by=by)
    bench.finish_inspection(job, against_instruction="new tips, all tight, as agreed", at=clock.after(9), by=by)
    bench.make_ready(job, at=clock.after(4), by=by)
    say(f"{job.envelope}: out of its setting, {weight.indications[0]} ct loose, set again, inspected, ready")


def pick_up(job: Job, told: story.Told, clock: Clock, *, examiner: Member, owner: Member, say: SAY) -> None:
    """Looked at again by someone who is not shown what was found before; judged; handed over, or stopped."""
    job = Job.objects.get(pk=job.pk)
    stone = job.stones.get()
    look(begin_examination(stone, "pick-up", at=clock.after(15), by=examiner), told.after, clock, examiner)
    entry = pickup.judge_stone(stone, at=clock.after(1), by=examiner)
    verdict = entry.payload.data["verdict"]
    say(f"{told.envelope}: examined again without sight of the first record: {verdict['ladder'].replace('_', ' ')}")
    seen = "seen" if told.goes_home else "not there"
    for mark in Mark.objects.current().filter(examination__stone=stone, category="agreed"):
        pickup.look_for_mark(mark, seen, at=clock.after(0.5), by=owner)
    if told.goes_home:
        pickup.release_job(job, to="the client", at=clock.after(2), by=owner)
        say(f"{told.envelope}: agreed marks seen together, handed over")
    else:
        say(f"{told.envelope}: an agreed mark is not there: held, nothing is handed over")


def leave_open_jobs(clock: Clock, owner: Member, bench_hand: Member) -> None:
    """A counter with life: one waits for an answer, one is being taken in, one is ready, one is cleaned."""
    for told in story.OPEN:
        job = intake.open_job(
            envelope=told.envelope, person=told.client, express=told.express, at=clock.after(25), by=owner
        )
        piece = intake.describe_piece(job, **told.piece, at=clock.after(1), by=owner)
        stone = intake.describe_stone(piece, **told.stone, at=clock.after(1), by=owner)
        if told.upto == "piece":
            continue
        intake.place_claws(intake.received_examination(stone, at=clock.after(1), by=owner), 4, at=clock.now, by=owner)
        intake.leave_uncleaned(job, "an opal: water and shock harm it", at=clock.after(1), by=owner) if (
            told.stone["material"] == "opal"
        ) else intake.log_clean(job, methods=["by hand"], asked=[], at=clock.after(3), by=owner)
        if told.upto == "ready":
            intake.ready_at_once(job, at=clock.after(2), by=owner)
        if told.upto == "bench":
            intake.agree_work(job, **told.work, at=clock.after(1), by=owner)
            intake.finish_take_in(job, at=clock.after(1), by=owner)
            looks = bench.Looks(job.envelope, "could not look")
            bench.take_over(job, looks, to="bench", holder=bench_hand, at=clock.after(5), by=bench_hand)
            bench.send_news(job, **story.NEWS, at=clock.after(30), by=bench_hand)


def show_results(say: SAY) -> None:
    """The verdict in words, how the reference stones thin out, where the papers are, how to sign in."""
    job = Job.objects.get(envelope=story.JOB.envelope)
    entry = ledger.history(job, "verdict reached").last()
    if entry is not None:
        say_verdict(entry.payload.data["verdict"], say)
    folder = Path(settings.DATA) / "papers" / job.envelope
    for name, digest in papers(job).items():
        folder.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(vault.read(digest))
        say(f"  {folder / name}")
    say(f"Sign in as “{OWNER}” with the password “{PASSWORD}”.")


def say_verdict(verdict: dict[str, Any], say: SAY) -> None:
    say("")
    say(f"Verdict on {story.JOB.envelope}: {verdict['sentence']}")
    narrowing = verdict["narrowing"]
    steps = ", ".join(f"{step['left']} after {step['after']}" for step in narrowing["left"])
    say(f"  of {narrowing['of']} reference stones: {steps}")
    say("")


def papers(job: Job) -> dict[str, str]:
    """The job's papers by file name, each with its digest in the vault."""
    found = {}
    for entry in ledger.history(job):
        for key, digest in entry.payload.data.items():
            if key.endswith("_kept"):
                name = key.removesuffix("_kept")
                found[f"{name}-{job.envelope}.{'zip' if name == 'packet' else 'pdf'}"] = digest
    return found
