"""What the bench writes: stones out and in, loose weights, hand-overs, news and answers, the evening count."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction

from samestone.shop import ledger
from samestone.shop.agreement import agree_change, agreed_changes
from samestone.shop.bench.look import Facts, disagreements, fitting
from samestone.shop.finding import begin_examination, finish_examination, record_finding
from samestone.shop.life import NotPossibleNow, Station
from samestone.shop.models import LOOSE_STONE, Entry, Examination, Instrument, Job, Member, Piece, Reading, Stone
from samestone.shop.passage import hand_over, hold_job, move_job, move_stone, resume_job

WAITING = "waiting for the client's answer"
HELD_LENGTH = 200


@dataclass(frozen=True)
class Looks:
    """What was looked at when the piece changed hands. `mark_seen` yes | no | could not look; empty: not looked at."""

    number_read: str
    mark_seen: str
    grams: str = ""
    stones: int | None = None


class NotThisJob(Exception):
    """The number that was read is not the number of the envelope on the screen: the wrong piece is in the hand."""


@transaction.atomic
def take_over(job: Job, looks: Looks, *, to: str, holder: Member | None, at: dt.datetime, by: Member) -> Job:
    """A hand-over: a few looks at the piece in the hand; then it is at `to`.

    The wrong number raises `NotThisJob` and writes nothing here (say it with `report_swap`). A mark that is not there,
    grams or a count that differ hold the job, with the other envelopes that the grams would fit.
    """
    if looks.number_read.strip().upper() != job.envelope:
        raise NotThisJob(f"The envelope in the hand says {looks.number_read.strip()}, the screen says {job.envelope}.")
    job = Job.objects.get(pk=job.pk)
    found = disagreements(_facts(job), mark_seen=looks.mark_seen, grams=looks.grams, stones=looks.stones)
    checks = {"number_read": job.envelope, "mark_seen": looks.mark_seen, "grams": looks.grams, "stones": looks.stones}
    job = hand_over(job, to=to, holder=holder, checks=checks, at=at, by=by)
    if to == "bench" and not found and job.state.station is not Station.BENCH:
        job = move_job(job, "given to bench", at=at, by=by)
    if found and not job.held:
        others = fitting(looks.grams, _grams_elsewhere(job)) if any(" g now" in words for words in found) else ()
        fits = [f"it would fit envelope {' or '.join(others)}"] if others else []
        job = hold_job(job, "; ".join((*found, *fits))[:HELD_LENGTH], at=at, by=by, details={"checks": checks})
    return job


def _facts(job: Job) -> Facts:
    piece = Piece.objects.filter(job=job).first()
    worked_on = ledger.history(job, "given to bench").exists()
    return Facts(piece.grams if piece else "", sum(stone.count for stone in job.stones), worked_on)


def _grams_elsewhere(job: Job) -> dict[str, str]:
    elsewhere = Piece.objects.exclude(job=job).exclude(job__station=Station.PICKED_UP.value)
    return dict(elsewhere.values_list("job__envelope", "grams"))


@transaction.atomic
def report_swap(job: Job, *, number_read: str, at: dt.datetime, by: Member) -> tuple[Job, ...]:
    """Two envelopes may have changed contents: both jobs are held until each has been read again."""
    other = Job.objects.filter(envelope__iexact=number_read.strip()).exclude(station=Station.PICKED_UP.value).first()
    held = []
    for one, counterpart in ((job, number_read.strip().upper()), (other, job.envelope)):
        if one is not None and not one.held:
            reason = f"may be swapped with envelope {counterpart}"
            held.append(hold_job(one, reason, at=at, by=by, details={"other": counterpart}))
    return tuple(held)


@transaction.atomic
def unset_stone(stone: Stone, *, at: dt.datetime, by: Member) -> Examination:
    """The stone leaves its setting: from now on two objects with one number. Returns its examination at the bench."""
    stone = move_stone(stone, "unset", at=at, by=by)
    return bench_examination(stone, at=at, by=by)


@transaction.atomic
def describe_anew(stone: Stone, *, material: str, treatment: str, at: dt.datetime, by: Member) -> Stone:
    """What a close look at the bench found it to be; with a note for the jeweller first. Raises `NotPossibleNow`."""
    now = Stone.objects.select_for_update().get(pk=stone.pk)
    if now.job.station == Station.PICKED_UP.value:
        raise NotPossibleNow("It has gone home; what was written then stays as it was.")
    if (now.material, now.treatment) == (material, treatment):
        raise NotPossibleNow("That is what stands there already.")
    was = f"{now.material}, treatment {now.treatment}".replace("_", " ")
    now.material, now.treatment, now.basis = material, treatment, Stone.Basis.TESTED
    now.save()
    ledger.append("stone described", about=now.job, at=at, by=by, rows=[now], details={"was": was})
    words = f"{now.position}: {material}, treatment {treatment}; was taken for {was}".replace("_", " ")
    ledger.append("notice written", about=now.job, at=at, by=by, details={"words": words, "to_say": ""})
    return now


def bench_examination(stone: Stone, *, at: dt.datetime, by: Member) -> Examination:
    """The open examination at the bench for a stone as it is now (loose or set); begun when first asked for."""
    return begin_examination(stone, Examination.Occasion.BENCH, at=at, by=by)


def weigh_loose(
    stone: Stone,
    *,
    indications: Sequence[str],
    instrument: Instrument,
    at: dt.datetime,
    by: Member,
    once: str | None = None,
) -> Reading:
    """The loose weight, a new and stronger fact than any estimate in the setting."""
    if stone.setting != "loose":
        raise NotPossibleNow("Only a loose stone is weighed; take it out of its setting first.")
    return record_finding(
        Reading,
        bench_examination(stone, at=at, by=by),
        at=at,
        by=by,
        once=once,
        property="weight_ct",
        indications=list(indications),
        instrument=instrument,
    )


def reset_stone(stone: Stone, *, at: dt.datetime, by: Member) -> Stone:
    """The stone sits in its setting again; its loose examination is closed."""
    with transaction.atomic():
        now = move_stone(stone, "reset", at=at, by=by)
        loose = Examination.objects.filter(stone=stone, occasion="bench", setting="loose", finished_at__isnull=True)
        for examination in loose:
            finish_examination(examination, at=at, by=by)
    return now


@transaction.atomic
def send_news(job: Job, words: str, *, question: str, price: str, at: dt.datetime, by: Member) -> Entry:
    """Something the client must be asked before the work goes on: the job is held until the answer is written down."""
    if not words.strip():
        raise NotPossibleNow("Say in a few words what was found.")
    details = {"words": words.strip(), "question": question.strip(), "price": price.strip()}
    hold_job(job, WAITING, at=at, by=by)
    return ledger.append("news from the bench", about=job, at=at, by=by, details=details)


@transaction.atomic
def note_answer(
    job: Job, words: str, *, agreed: bool, changes: Collection[str] = (), at: dt.datetime, by: Member
) -> Job:
    """The client's answer in the client's words; with a yes the work goes on, with a no the job stays held.

    `changes` of the stone itself that a yes allows come to those agreed before.
    """
    ledger.append("client answered", about=job, at=at, by=by, details={"words": words.strip(), "agreed": agreed})
    if agreed:
        agree_change(job, {*agreed_changes(job), *changes}, at=at, by=by)
        return resume_job(job, "the client agreed", at=at, by=by)
    return job


@transaction.atomic
def count_evening(
    seen: Mapping[str, str], *, loose_seen: Collection[int], at: dt.datetime, by: Member
) -> tuple[tuple[Job, ...], tuple[Stone, ...]]:
    """The evening count: `seen` says for each envelope where it lies. Returns the jobs and loose stones not seen."""
    open_jobs = list(Job.objects.exclude(station=Station.PICKED_UP.value).order_by("envelope"))
    out = Stone.objects.filter(piece__job__in=open_jobs, setting="loose").exclude(piece__kind=LOOSE_STONE)
    loose = list(out.order_by("pk"))
    missing = tuple(job for job in open_jobs if job.envelope not in seen)
    missing_loose = tuple(stone for stone in loose if stone.pk not in loose_seen)
    details = {
        "seen": dict(seen),
        "missing": [job.envelope for job in missing],
        "loose_seen": len(loose) - len(missing_loose),
        "loose_missing": [f"{stone.job.envelope} {stone.position}" for stone in missing_loose],
    }
    ledger.append("evening count", about="shop", at=at, by=by, details=details)
    return missing, missing_loose


def finish_inspection(job: Job, *, against_instruction: str, at: dt.datetime, by: Member) -> Job:
    """The finished work was looked at against the instruction by someone; back over the counter's side."""
    return move_job(job, "inspected", at=at, by=by, place="counter", details={"checked": against_instruction})


def make_ready(job: Job, *, at: dt.datetime, by: Member) -> Job:
    """Put in the safe, ready to be picked up."""
    return move_job(job, "made ready", at=at, by=by, place="safe")
