"""What the bench shows: who has what, loose stones, weights so far, open news, the evening's list."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from samestone.shop import ledger
from samestone.shop.bench import damage
from samestone.shop.life import Station
from samestone.shop.models import DAMAGE, LOOSE_STONE, Entry, Job, Mark, Member, Observation, Reading, Stone


@dataclass(frozen=True)
class DamageSeen:
    """Damage that was seen at the bench or later: what, where, and what can be said of it."""

    kind: str
    angle_deg: str
    says: str


@dataclass(frozen=True)
class StoneAtBench:
    """One stone with its loose weights, newest last."""

    stone: Stone
    weights: tuple[Reading, ...]
    damage: tuple[DamageSeen, ...] = ()


def stones_of(job: Job) -> tuple[StoneAtBench, ...]:
    return tuple(StoneAtBench(stone, _loose_weights(stone), damage_seen(stone)) for stone in job.stones)


def _loose_weights(stone: Stone) -> tuple[Reading, ...]:
    rows = Reading.objects.current().filter(examination__stone=stone, examination__occasion="bench")
    return tuple(rows.filter(property="weight_ct").select_related("instrument"))


def damage_seen(stone: Stone) -> tuple[DamageSeen, ...]:
    """Damage placed since the take-in, held against the take-in's clock face."""
    marks = Mark.objects.current().filter(examination__stone=stone).select_related("examination")
    first = [mark for mark in marks if mark.examination.occasion in ("received", "take-in")]
    then = [_spot(mark) for mark in first if mark.category == "damage" or mark.kind in damage.KINDS]
    hidden = [damage.Arc(float(m.angle_deg), float(m.to_deg)) for m in first if m.category == "hidden"]
    later = [mark for mark in marks if mark not in first and mark.kind in damage.KINDS and mark.r]
    said = Observation.objects.current().filter(examination__stone=stone, what=DAMAGE).exists()
    looked = said or any(mark.category in ("claw", "hidden", "damage") for mark in first)
    return tuple(
        DamageSeen(
            mark.kind,
            mark.angle_deg,
            damage.judge_damage(_spot(mark), then=then, hidden=hidden, looked=looked),
        )
        for mark in later
    )


def _spot(mark: Mark) -> damage.Spot:
    return damage.Spot(float(mark.r or 1), float(mark.angle_deg))


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
    """Every stone that is out of its setting; one that came loose is counted with its envelope."""
    return tuple(
        Stone.objects.filter(setting="loose")
        .exclude(piece__job__station=Station.PICKED_UP.value)
        .exclude(piece__kind=LOOSE_STONE)
        .select_related("piece__job")
        .order_by("piece__job__envelope", "pk")
    )


def last_count() -> Entry | None:
    return ledger.history("shop", "evening count").last()
