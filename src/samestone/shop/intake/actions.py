"""What the take-in writes: one transaction each, the rows and the entry that names them."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction

from samestone.shop import ledger
from samestone.shop.finding import begin_examination, finish_examination, record_finding, take_back
from samestone.shop.life import NotPossibleNow, Station
from samestone.shop.models import DAMAGE, NONE_SEEN, Examination, Job, Mark, Member, Observation, Person, Piece, Stone
from samestone.shop.passage import move_job

_ENVELOPE = re.compile(r"[A-Z0-9][A-Z0-9-]{0,19}")
# How far to each side of a claw the girdle cannot be seen, until someone marks it better.
HIDDEN_BESIDE_CLAW_DEG = 8


class EnvelopeTaken(Exception):
    """Another job travels in the envelope with this number."""


class NotAnEnvelope(Exception):
    """The number cannot stand on an envelope."""


@transaction.atomic
def open_job(
    *,
    envelope: str,
    person: Mapping[str, str],
    express: bool = False,
    once: str | None = None,
    at: dt.datetime,
    by: Member,
) -> Job:
    """A new job in a new envelope. The same form sent twice (`once`) gives the same job; `EnvelopeTaken` otherwise.

    `person` has name, phone, email, address; a client of the same name and phone is the same client.
    """
    if once and (there := Job.objects.filter(once=once).first()):
        return there
    number = envelope.strip().upper()
    if not _ENVELOPE.fullmatch(number):
        raise NotAnEnvelope(f"“{envelope}” cannot be an envelope number: letters, digits and dashes, at most 20.")
    if taken := Job.objects.filter(envelope=number).first():
        where = f"it is {taken.station}, opened {taken.opened_at:%d %b %Y}"
        raise EnvelopeTaken(f"Envelope {number} is in use: {where}. Take the next free number, {next_envelope()}.")
    job = Job.objects.create(
        envelope=number, person=_client(person, at), opened_at=at, opened_by=by, express=express, once=once
    )
    ledger.append("job opened", about=job, at=at, by=by, rows=[job])
    return job


def next_envelope() -> str:
    """The number after the highest so far; letters in front stay as the newest job has them."""
    newest = Job.objects.order_by("-opened_at", "-pk").first()
    if newest is None:
        return "1001"
    prefix = re.sub(r"\d+$", "", newest.envelope)
    numbers = [
        int(number[len(prefix) :])
        for number in Job.objects.filter(envelope__startswith=prefix).values_list("envelope", flat=True)
        if number[len(prefix) :].isdecimal()
    ]
    return f"{prefix}{max(numbers, default=1000) + 1}"


def _client(person: Mapping[str, str], at: dt.datetime) -> Person | None:
    name = person.get("name", "").strip()
    if not name:
        return None
    phone = person.get("phone", "").strip()
    known = Person.objects.filter(name__iexact=name, phone=phone).first() if phone else None
    return known or Person.objects.create(**{**person, "name": name, "phone": phone}, since=at)


@transaction.atomic
def describe_piece(job: Job, *, at: dt.datetime, by: Member, **fields: str) -> Piece:
    """What the piece is: kind, words, metal, hallmark, size, grams, condition. Said again, it is described anew."""
    piece = Piece.objects.filter(job=job).first() or Piece(job=job)
    for name, value in fields.items():
        setattr(piece, name, value)
    piece.save()
    others = [stone for stone in piece.stones.all() if stone.setting != _setting(piece)]
    for stone in others:  # it turned out to be a loose stone, or not to be one
        stone.setting = _setting(piece)
        stone.save()
    ledger.append("piece described", about=job, at=at, by=by, rows=[piece, *others])
    return piece


def _setting(piece: Piece) -> str:
    return "loose" if piece.is_loose_stone else "set"


@transaction.atomic
def describe_stone(piece: Piece, stone: Stone | None = None, *, at: dt.datetime, by: Member, **fields: Any) -> Stone:
    """A stone of the piece: position, cut, material and on what basis, treatment, count, claws."""
    now = Stone.objects.select_for_update().get(pk=stone.pk) if stone else Stone(piece=piece, setting=_setting(piece))
    for name, value in fields.items():
        setattr(now, name, value)
    now.save()
    ledger.append("stone described", about=piece.job, at=at, by=by, rows=[now])
    return now


def received_examination(stone: Stone, *, at: dt.datetime, by: Member) -> Examination:
    """The examination of the stone as it came over the counter; begun when first asked for."""
    there = Examination.objects.filter(stone=stone, occasion=Examination.Occasion.RECEIVED).first()
    return there or begin_examination(stone, Examination.Occasion.RECEIVED, at=at, by=by)


@transaction.atomic
def place_mark(
    examination: Examination, *, at: dt.datetime, by: Member, once: str | None = None, **fields: Any
) -> Mark:
    """A tap on the clock face; with damage, “no damage seen” is taken back."""
    row: Mark = record_finding(Mark, examination, at=at, by=by, once=once, **fields)
    if row.category == "damage":
        for none_seen in examination.observations.current().filter(what=DAMAGE):
            take_back(none_seen, at=at, by=by)
    return row


@transaction.atomic
def record_no_damage(examination: Examination, *, at: dt.datetime, by: Member) -> None:
    """Looked over together, and no damage seen."""
    if not examination.observations.current().filter(what=DAMAGE).exists():
        record_finding(Observation, examination, at=at, by=by, what=DAMAGE, value=NONE_SEEN)


@transaction.atomic
def place_claws(
    examination: Examination, count: int, *, first_deg: int = 45, at: dt.datetime, by: Member
) -> list[Mark]:
    """So many claws at even distances, each hiding a little of the girdle; one tap for the usual head.

    Claws and hidden arcs that were placed before are taken back first.
    """
    for mark in Mark.objects.current().filter(examination=examination, category__in=("claw", "hidden")):
        take_back(mark, at=at, by=by)
    describe_stone(examination.stone.piece, examination.stone, claws=count, at=at, by=by)
    marks = []
    for number in range(count):
        angle = (first_deg + round(360 * number / count)) % 360
        start, end = str((angle - HIDDEN_BESIDE_CLAW_DEG) % 360), str((angle + HIDDEN_BESIDE_CLAW_DEG) % 360)
        claw: dict[str, Any] = {"category": "claw", "kind": "tight", "r": "1.05", "angle_deg": str(angle)}
        arc: dict[str, Any] = {"category": "hidden", "kind": "claw", "r": "1", "angle_deg": start, "to_deg": end}
        marks += [record_finding(Mark, examination, at=at, by=by, **fields) for fields in (claw, arc)]
    return marks


@transaction.atomic
def agree_work(  # noqa: PLR0913 - one page of the take-in asks for just this
    job: Job,
    *,
    work: str,
    risks: Iterable[str],
    due: dt.date | None,
    gift: bool,
    declared_value: str,
    collector: str,
    at: dt.datetime,
    by: Member,
) -> Job:
    """The work, the risks talked about, and the client's own figure; the figure has an entry of its own."""
    now = Job.objects.select_for_update().get(pk=job.pk)
    value_changed = declared_value != now.declared_value
    now.work, now.risks, now.due, now.gift = work, list(risks), due, gift
    now.declared_value, now.collector = declared_value, collector
    now.save()
    ledger.append("work agreed", about=now, at=at, by=by, rows=[now])
    if value_changed:
        ledger.append("value declared", about=now, at=at, by=by, details={"declared_value": declared_value})
    return now


def log_clean(job: Job, *, methods: Iterable[str], asked: Iterable[str], at: dt.datetime, by: Member) -> Job:
    """Cleaned before the take-in examination: how, and what was asked of each stone beforehand (gem's care answers)."""
    return move_job(job, "cleaned", at=at, by=by, details={"methods": list(methods), "asked": list(asked)})


def leave_uncleaned(job: Job, why: str, *, at: dt.datetime, by: Member) -> Job:
    """Not cleaned, and why: dirt may be all that holds a stone, or a stone may not bear it."""
    if not why.strip():
        raise NotPossibleNow("Say in a few words why it is not cleaned.")
    return move_job(job, "left uncleaned", at=at, by=by, details={"why": why.strip()})


@transaction.atomic
def write_notice(job: Job, words: str, *, to_say: str, at: dt.datetime, by: Member) -> None:
    """Something for the jeweller first, with neutral words to use; it is kept out of the client's packet."""
    ledger.append("notice written", about=job, at=at, by=by, details={"words": words, "to_say": to_say})


@transaction.atomic
def finish_take_in(job: Job, *, at: dt.datetime, by: Member) -> Job:
    """The take-in is complete: every examination of it is closed and the job stands at “examined”."""
    for examination in Examination.objects.filter(
        stone__piece__job=job,
        occasion__in=(Examination.Occasion.RECEIVED, Examination.Occasion.TAKE_IN),
        finished_at=None,
    ):
        finish_examination(examination, at=at, by=by)
    return move_job(job, "examined", at=at, by=by, place="safe")


def ready_at_once(job: Job, *, at: dt.datetime, by: Member) -> Job:
    """An express job: cleaned while the client waited, back on the counter."""
    if Job.objects.get(pk=job.pk).state.station is Station.TAKEN_IN:
        raise NotPossibleNow("Clean it first, or say why not.")
    return move_job(job, "made ready at once", at=at, by=by, place="counter")
