"""What the counter shows: open jobs by station, and the search by number or name."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q

from samestone.shop.life import Station
from samestone.shop.models import Job


@dataclass(frozen=True)
class StationOfJobs:
    """One station with the jobs that stand there, the longest-waiting first."""

    station: Station
    jobs: tuple[Job, ...]


def open_jobs_by_station() -> tuple[StationOfJobs, ...]:
    """Every station that a job can wait at, in the order of a job's life."""
    jobs = list(
        Job.objects.exclude(station=Station.PICKED_UP.value)
        .select_related("person", "holder")
        .prefetch_related("pieces__stones")
        .order_by("due", "opened_at")
    )
    return tuple(
        StationOfJobs(station, tuple(job for job in jobs if job.station == station.value))
        for station in Station
        if station is not Station.PICKED_UP
    )


def jobs_matching(sought: str) -> tuple[Job, ...]:
    """Jobs whose envelope is just what was typed or scanned; else those that begin so, or whose client is called so."""
    exact = Job.objects.filter(envelope__iexact=sought).select_related("person")
    if exact:
        return tuple(exact)
    alike = Q(envelope__istartswith=sought) | Q(person__name__icontains=sought)
    return tuple(Job.objects.filter(alike).select_related("person").order_by("-opened_at")[:50])
