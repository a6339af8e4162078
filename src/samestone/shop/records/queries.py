"""What the records' pages show: what is found, who has been here, what waits for its owner."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import Max, Q

from samestone.shop import ledger
from samestone.shop.life import Station
from samestone.shop.models import Entry, Job, Observation, Person, Stone

MOST = 60


@dataclass(frozen=True)
class Found:
    """A job that fits what was looked for, and where it fits."""

    job: Job
    where: str


@dataclass(frozen=True)
class Waiting:
    """A piece that is ready and has not been collected: since when, and every attempt to tell its owner."""

    job: Job
    since: dt.datetime
    days: int
    attempts: tuple[Entry, ...]


@dataclass(frozen=True)
class Keeping:
    """A client: how many jobs, the last one, and whether something of theirs is in the house."""

    person: Person
    jobs: int
    last: dt.datetime | None
    here: bool


def jobs_found(sought: str) -> tuple[Found, ...]:
    """Jobs of any age by envelope, client, piece or inscription."""
    rows = Job.objects.select_related("person").prefetch_related("pieces__stones").order_by("-opened_at")
    fits = (
        ("envelope", Q(envelope__icontains=sought)),
        ("client", Q(person__name__icontains=sought) | Q(person__phone__icontains=sought)),
        ("piece", Q(pieces__words__icontains=sought) | Q(pieces__hallmark__icontains=sought)),
        ("inscription", Q(pk__in=_inscribed(sought))),
    )
    found: dict[int, Found] = {}
    for where, condition in fits:
        for job in rows.filter(condition).distinct()[:MOST]:
            found.setdefault(job.pk, Found(job, where))
    return tuple(found.values())[:MOST]


def _inscribed(sought: str) -> list[int]:
    rows = Observation.objects.current().filter(what="inscription", value__icontains=sought)
    return list(rows.values_list("examination__stone__piece__job", flat=True))


def jobs_of(person: Person) -> tuple[Job, ...]:
    """A client's jobs, newest first."""
    return tuple(Job.objects.filter(person=person).prefetch_related("pieces__stones").order_by("-opened_at"))


def uncollected(now: dt.datetime) -> tuple[Waiting, ...]:
    """Every piece that is ready, the longest-waiting first."""
    jobs = Job.objects.filter(station=Station.READY.value).select_related("person").prefetch_related("pieces")
    found = [_waiting(job, now) for job in jobs]
    return tuple(sorted(found, key=lambda one: one.since))


def _waiting(job: Job, now: dt.datetime) -> Waiting:
    ready = ledger.history(job, "made ready", "made ready at once").last()
    since = ready.when if ready else job.opened_at
    return Waiting(job, since, (now - since).days, tuple(ledger.history(job, "client reminded")))


def people_kept(now: dt.datetime, years: int) -> tuple[Keeping, ...]:
    """Clients whose last job was opened longer ago than so many years, oldest first; 0: everyone."""
    limit = now - dt.timedelta(days=365.25 * years)
    rows = Person.objects.annotate(last=Max("jobs__opened_at")).order_by("last")
    return tuple(
        Keeping(
            row,
            row.jobs.count(),
            row.last,
            row.jobs.exclude(station=Station.PICKED_UP.value).exists(),
        )
        for row in rows
        if (row.last or row.since) <= limit
    )


def balances(job: Job) -> tuple[Entry, ...]:
    """Every gram balance of a job, newest first."""
    return tuple(reversed(ledger.history(job, "grams balanced")))


def exports(job: Job) -> tuple[Entry, ...]:
    """Every copy of a job's record that left the shop."""
    return tuple(reversed(ledger.history(job, "record exported")))


def stones_with_jobs(open_only: bool) -> Any:
    """Stones of the shop's jobs, with their jobs."""
    rows = Stone.objects.select_related("piece__job__person").order_by("pk")
    return rows.exclude(piece__job__station=Station.PICKED_UP.value) if open_only else rows
