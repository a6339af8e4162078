"""What the bench shows: who has what, loose stones, weights so far, open news, the evening's list."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from samestone.shop import ledger
from samestone.shop.life import Station
from samestone.shop.models import Entry, Job, Mark, Member, Reading, Stone


@dataclass(frozen=True)
class StoneAtBench:
    """One stone with its loose weights, newest last."""

    stone: Stone
    weights: tuple[Reading, ...]


def stones_of(job: Job) -> tuple[StoneAtBench, ...]:
    return tuple(
        StoneAtBench(
            stone,
            tuple(
                Reading.objects.current()
                .filter(examination__stone=stone, examination__occasion="bench", property="weight_ct")
                .select_related("instrument")
            ),
        )
        for stone in job.stones
    )


@dataclass(frozen=True)
class HandOver:
    """One line of who had the piece: from where to where, what was looked at, by whom."""

    at: dt.datetime
    words: str
    by: str


def hand_overs(job: Job) -> tuple[HandOver, ...]:
    """Newest first."""
    names = dict(Member.objects.values_list("username", "name"))
    found = []
    for entry in reversed(ledger.history(job, "handed over")):
        told = entry.payload.data
        holder, checks = names.get(told["holder"], told["holder"]), told["checks"]
        looked = {"yes": "mark seen", "no": "mark not there"}.get(checks["mark_seen"], "mark not looked at")
        grams = f"{checks['grams']} g" if checks.get("grams") else ""
        where = f"{told['from']} to {told['to']}" if told["from"] != told["to"] else told["to"]
        words = ", ".join(filter(None, (where, holder, grams, looked)))
        found.append(HandOver(entry.when, words, names.get(told["by"], told["by"])))
    return tuple(found)


def open_news(job: Job) -> Entry | None:
    """The news that still waits for the client's answer."""
    newest = ledger.history(job, "news from the bench", "client answered").last()
    return newest if newest and newest.kind == "news from the bench" else None


def mark_to_look_for(job: Job) -> Mark | None:
    """One mark that tells this piece from its neighbours: the first that was agreed, else the first damage."""
    marks = Mark.objects.current().filter(examination__stone__piece__job=job, category__in=("agreed", "damage"))
    return min(marks, key=lambda mark: (mark.category != "agreed", mark.pk), default=None)


def jobs_to_count() -> tuple[Job, ...]:
    """Every open job with the place where it should lie."""
    return tuple(
        Job.objects.exclude(station=Station.PICKED_UP.value).select_related("holder").order_by("place", "envelope")
    )


def loose_to_count() -> tuple[Stone, ...]:
    """Every stone that is out of its setting."""
    return tuple(
        Stone.objects.filter(setting="loose")
        .exclude(piece__job__station=Station.PICKED_UP.value)
        .select_related("piece__job")
        .order_by("piece__job__envelope", "pk")
    )


def last_count() -> Entry | None:
    return ledger.history("shop", "evening count").last()
