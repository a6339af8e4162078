"""What the pick-up writes: the verdict, the look at the agreed marks, the stop, the hand-over, the client's packet."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from samestone.shop import ledger
from samestone.shop.life import NotPossibleNow
from samestone.shop.models import Entry, Job, Mark, Member, Stone
from samestone.shop.passage import hold_job, move_job
from samestone.shop.pickup import paperwork, pictures, policy, queries, verdict

STOPPED = "the stone does not agree with its record"
MARK_MISSING = "an agreed mark was not found at pick-up"
SEEN = ("seen", "not there", "could not look")


@transaction.atomic
def judge_stone(stone: Stone, *, at: dt.datetime, by: Member) -> Entry:
    """Compares the newest finished examination at pick-up with the one at take-in; a disagreement holds the job.

    Raises `verdict.CannotCompare` when one of the two is missing or its record cannot be used.
    """
    stone = Stone.objects.select_related("piece__job").get(pk=stone.pk)
    before, after = verdict.examinations_of(stone)
    result = verdict.compare_examinations(before, after)
    pair = next((pair for pair in queries.picture_pairs(stone) if pair.view == "face-up"), None)
    details = {
        "stone": stone.pk,
        "before": before.pk,
        "after": after.pk,
        "verdict": ledger.decimal_strings(result),
        "pictures": pictures.lay_together(pair.before, pair.now) if pair else {},
    }
    entry = ledger.append("verdict reached", about=stone.job, at=at, by=by, details=details)
    if result["ladder"] == "disagrees" and not stone.job.held:
        hold_job(stone.job, STOPPED, at=at, by=by)
    return entry


@transaction.atomic
def look_for_mark(mark: Mark, seen: str, *, at: dt.datetime, by: Member) -> Entry:
    """An agreed mark was looked for together with the client: seen, not there, could not look."""
    if seen not in SEEN:
        raise ValueError(f"{seen!r} is not an answer; expected one of {', '.join(SEEN)}")
    job = Job.objects.get(pieces__stones=mark.examination.stone_id)
    entry = ledger.append(
        "agreed mark looked for", about=job, at=at, by=by, details={"mark": mark.pk, "words": mark.words, "seen": seen}
    )
    if seen == "not there" and not job.held:
        hold_job(job, MARK_MISSING, at=at, by=by)
    return entry


def accept_uncertainty(job: Job, words: str, *, at: dt.datetime, by: Member) -> Entry:
    """The client was told that the findings are not enough to say, and takes the piece all the same."""
    if not words.strip():
        raise NotPossibleNow("Write down what the client was told and answered.")
    with transaction.atomic():
        return ledger.append("client accepted", about=job, at=at, by=by, details={"words": words.strip()})


@transaction.atomic
def stop_job(job: Job, why: str, *, at: dt.datetime, by: Member) -> Job:
    """Everything stays here until it is settled."""
    return hold_job(job, why, at=at, by=by)


@transaction.atomic
def release_job(job: Job, *, to: str, at: dt.datetime, by: Member) -> Job:
    """Hands the piece over, with statement and packet: `to` the client or the collector.

    Raises `NotPossibleNow` with every demand that is not met.
    """
    job = Job.objects.select_for_update().get(pk=job.pk)
    open_demands = [demand.words for demand in policy.demands(queries.facts(job)) if not demand.met]
    if open_demands:
        raise NotPossibleNow("Not handed over. Still open: " + "; ".join(open_demands) + ".")
    if to not in ("the client", "the named collector"):
        raise NotPossibleNow("Say who takes it: the client, or the named collector.")
    if to == "the named collector" and not job.collector:
        raise NotPossibleNow("Nobody was named who may collect it; it goes to the client alone.")
    now = move_job(job, "picked up", at=at, by=by, details={"to": to, "looked_and_agreed": True})
    paperwork.give_papers(now, at=at, by=by)
    return now
