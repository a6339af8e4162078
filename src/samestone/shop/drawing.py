"""Rows → the drawings that screen and paper share: the clock face and the job strip."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from samestone import paper
from samestone.shop import ledger
from samestone.shop.life import MOVES, Station
from samestone.shop.models import Job, Mark, Member, Stone
from samestone.shop.wording import paper_words

# What a piece passes that is cleaned while its owner waits.
_EXPRESS = (Station.TAKEN_IN, Station.CLEANED, Station.READY, Station.PICKED_UP)


def clock_face(stone: Stone, marks: Iterable[Mark], *, legend: bool = True) -> SafeString:
    """The plan view with these marks as SVG for a page; taps on it are read by clockface.js."""
    # The drawing is made by paper, which escapes every word in it.
    return mark_safe(
        paper.clock_face(
            stone.cut, paper_marks(marks), legend=legend, loose=stone.piece.is_loose_stone, **paper_words()
        )
    )


def face(stone: Stone, marks: Iterable[Mark]) -> dict[str, Any]:
    """The plan view with these marks as a sheet of paper takes it."""
    return {"cut": stone.cut, "marks": paper_marks(marks), "loose": stone.piece.is_loose_stone}


def paper_marks(marks: Iterable[Mark]) -> list[Any]:
    """Marks as paper takes them."""
    return [_paper_mark(mark) for mark in marks]


def _paper_mark(mark: Mark) -> dict[str, str]:
    optional = {"r": mark.r, "to_deg": mark.to_deg, "kind": mark.kind, "words": mark.words}
    stated = {name: value for name, value in optional.items() if value}
    return {"category": mark.category, "angle_deg": mark.angle_deg, "id": str(mark.pk), **stated}


def job_strip(job: Job) -> SafeString:
    """The stations of the job as SVG for a page."""
    return mark_safe(paper.job_strip(stations(job)))


def stations(job: Job) -> list[Any]:
    """The job's stations as paper takes them: the last time each was reached, by whom; later ones are still ahead."""
    reached: dict[str, tuple[str, str]] = {}
    names = dict(Member.objects.values_list("username", "name"))
    for entry in ledger.history(job, "job opened", *MOVES):
        to = Station.TAKEN_IN if entry.kind == "job opened" else MOVES[entry.kind].to
        if to is not None:
            by = entry.payload.data["by"]
            reached[to.value] = entry.at, names.get(by, by)
    short = job.express and Station(job.station) in _EXPRESS
    order = [station.value for station in (_EXPRESS if short else Station)]
    behind = order[: order.index(job.station) + 1]
    return [_station(name, reached.get(name) if name in behind else None, now=name == job.station) for name in order]


def _station(name: str, reached: tuple[str, str] | None, *, now: bool) -> dict[str, Any]:
    told: dict[str, Any] = {"name": name}
    if reached:
        told |= {"at": local_words(reached[0]), "by": reached[1]}
    return {**told, "now": True} if now else told


def clock_hour(angle_deg: float) -> str:
    """The nearest half hour of a direction on the clock face, as it stands on paper too.

    >>> clock_hour(90), clock_hour(0), clock_hour(46)
    ("12 o'clock", "3 o'clock", 'half past 1')
    """
    halves = round((90 - angle_deg) / 15) % 24
    hour = halves // 2 or 12
    return f"half past {hour}" if halves % 2 else f"{hour} o'clock"


def local_words(at: str | dt.datetime) -> str:
    """A time as it is read at the counter: day, month and the hour here."""
    moment = dt.datetime.fromisoformat(at) if isinstance(at, str) else at
    return f"{timezone.localtime(moment):%-d %b %Y %H:%M}"
