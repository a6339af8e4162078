"""Moving a job and its stones: what `life` allows, the rows, and the entry, in one transaction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db import transaction

from samestone.shop import ledger
from samestone.shop.life import NotPossibleNow, Station
from samestone.shop.models import Job, Member, Stone

# Where a piece lies after a move, unless the move says otherwise.
_PLACES = {Station.READY: "safe", Station.PICKED_UP: "client", Station.BENCH: "bench"}
_SETTINGS = {"unset": "loose", "reset": "set"}


@transaction.atomic
def move_job(
    job: Job, name: str, *, at: dt.datetime, by: Member, place: str = "", details: Mapping[str, Any] | None = None
) -> Job:
    """Makes the move `name` of `life.MOVES` and logs it under that name; raises `NotPossibleNow`.

    Returns the job as it stands now.
    """
    now = _locked(job)
    state = now.state.after(name)
    if state.station is not now.state.station:
        now.place = place or _PLACES.get(state.station, now.place)
    now.station = state.station.value
    if state.station is Station.PICKED_UP:
        now.closed_at, now.holder = at, None
    now.save()
    ledger.append(name, about=now, at=at, by=by, rows=[now], details=details)
    return now


@transaction.atomic
def move_stone(
    stone: Stone, name: str, *, at: dt.datetime, by: Member, details: Mapping[str, Any] | None = None
) -> Stone:
    """Takes a stone out of its setting (`unset`) or sets it again (`reset`); raises `NotPossibleNow`."""
    job = _locked(stone.job)
    job.state.after(name)
    now = Stone.objects.get(pk=stone.pk)
    if now.setting == _SETTINGS[name]:
        raise NotPossibleNow(f"The {now.position} stone is {now.setting} already.")
    now.setting = _SETTINGS[name]
    now.save()
    ledger.append(name, about=job, at=at, by=by, rows=[now], details=details)
    return now


@transaction.atomic
def hold_job(job: Job, reason: str, *, at: dt.datetime, by: Member, details: Mapping[str, Any] | None = None) -> Job:
    """Nothing of this job moves until the hold is lifted; `reason` is shown wherever the job is."""
    now = _locked(job)
    now.held = now.state.hold(reason).held
    now.save()
    ledger.append("held", about=now, at=at, by=by, rows=[now], details=details)
    return now


@transaction.atomic
def resume_job(job: Job, why: str, *, at: dt.datetime, by: Member) -> Job:
    """Lifts a hold; `why` says what settled it."""
    now = _locked(job)
    now.held = now.state.resume().held
    now.save()
    ledger.append("resumed", about=now, at=at, by=by, rows=[now], details={"why": why})
    return now


@transaction.atomic
def hand_over(
    job: Job, *, to: str, holder: Member | None, checks: Mapping[str, Any], at: dt.datetime, by: Member
) -> Job:
    """Other hands or another place, the same station; `checks` says what was looked at (number, mark, grams)."""
    now = _locked(job)
    if now.station == Station.PICKED_UP.value:
        raise NotPossibleNow("It has gone home; nothing of it changes hands here.")
    details = {"from": now.place, "to": to, "holder": holder.username if holder else "", "checks": dict(checks)}
    now.place, now.holder = to, holder
    now.save()
    ledger.append("handed over", about=now, at=at, by=by, rows=[now], details=details)
    return now


def _locked(job: Job) -> Job:
    return Job.objects.select_for_update().get(pk=job.pk)
