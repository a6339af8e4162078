"""The first record is kept back until the stone has been looked at a second time; whoever opens it is written down."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from samestone.shop import ledger
from samestone.shop.life import Station
from samestone.shop.models import Entry, Examination, Job, Member

OPENED = "first record shown"


def is_kept_back(job: Job, by: Member) -> bool:
    """Whether `by` is not shown what was found: the piece waits for its second look, and they have not opened it."""
    if job.express or job.station != Station.READY.value or not _waits_for_second_look(job):
        return False
    return by.username not in opened_by(job)


def opened_by(job: Job) -> tuple[str, ...]:
    """The sign-in names of those who opened the first record since the piece was made ready."""
    names: list[str] = []
    for entry in ledger.history(job, "made ready", OPENED):
        names = [*names, entry.payload.data["by"]] if entry.kind == OPENED else []
    return tuple(dict.fromkeys(names))


@transaction.atomic
def open_first_record(job: Job, *, at: dt.datetime, by: Member) -> Entry:
    """They look at it now, and it is written down."""
    return ledger.append(OPENED, about=job, at=at, by=by)


def _waits_for_second_look(job: Job) -> bool:
    for stone in job.stones:
        looks = Examination.objects.filter(stone=stone)
        if not looks.filter(occasion=Examination.Occasion.TAKE_IN, finished_at__isnull=False).exists():
            continue
        second = looks.filter(occasion=Examination.Occasion.PICK_UP)
        if second.filter(finished_at=None).exists() or not second.exists():
            return True
    return False
