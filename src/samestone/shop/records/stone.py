"""One stone through its looks: which may be shown, what is known of it by now, its visits through the years."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from samestone import evidence, metrology
from samestone.gem import PROPERTIES
from samestone.shop import claw_width
from samestone.shop.casefile import examination_record
from samestone.shop.instrument import as_metrology
from samestone.shop.kinship import same_stones
from samestone.shop.models import Examination, Job, Mark, Photograph, Reading, Stone
from samestone.shop.suspicion import doubts
from samestone.shop.wording import said

LADDER = {
    "agrees": "Agrees in everything that could be compared",
    "agrees_some_unchecked": "Agrees, and some things could not be compared",
    "not_enough": "Not enough to say",
    "disagrees": "Something does not agree",
}


@dataclass(frozen=True)
class Known:
    """A measured property of a stone: the mean, its u, where and when it was read."""

    value: float
    u: float
    u_common: float
    indications: tuple[str, ...]
    at: dt.datetime
    occasion: str


@dataclass(frozen=True)
class Visit:
    """One finished look at a stone: what was found, in words, by name."""

    job: Job
    examination: Examination
    told: dict[str, str]
    picture: Photograph | None
    marks: list[Mark]
    claws: str
    widths: tuple[claw_width.Change, ...]
    picture_doubt: str


def is_being_examined(stone: Stone) -> bool:
    """Whether someone looks at it for the pick-up now: until they have finished, nobody is shown earlier readings."""
    return Examination.objects.filter(
        stone=stone, occasion=Examination.Occasion.PICK_UP, finished_at__isnull=True
    ).exists()


def known_values(stone: Stone) -> dict[str, Known]:
    """The newest usable reading of each property, over all looks at the stone."""
    rows = list(
        Reading.objects.current()
        .filter(examination__stone=stone)
        .select_related("instrument", "examination")
        .order_by("at", "pk")
    )
    suspect = doubts(rows)
    found = {}
    for row in rows:
        if row.pk in suspect or not row.instrument.u:
            continue
        values = [float(text) for text in row.indications]
        reading = metrology.take_reading(values, as_metrology(row.instrument))
        look = row.examination
        found[row.property] = Known(
            reading.value, reading.u, reading.u_common, tuple(row.indications), row.at, look.occasion
        )
    return found


def readings_in_doubt(stone: Stone) -> int:
    """How many readings of the stone rest on an instrument that failed a check."""
    return len(doubts(Reading.objects.current().filter(examination__stone=stone).select_related("instrument")))


def stone_record(stone: Stone) -> dict[str, Any] | None:
    """What the shop knows of a stone, as one record: the newest take-in look, filled from looks on other occasions."""
    order = (Examination.Occasion.TAKE_IN, Examination.Occasion.BENCH, Examination.Occasion.RECEIVED)
    looks = [
        Examination.objects.filter(stone=stone, occasion=occasion).order_by("at", "pk").last() for occasion in order
    ]
    records = [examination_record(look) for look in looks if look is not None]
    if not records:
        return None
    record, others = records[0], records[1:]
    for other in others:
        _fill(record, other)
    return record


_NAMED = (("readings", "property"), ("reactions", "test"), ("observations", "what"))


def _fill(record: dict[str, Any], other: dict[str, Any]) -> None:
    """Adds to a record what only the other one has; two instruments of one name keep apart."""
    for kind, key in _NAMED:
        there = {one[key] for one in record[kind]}
        record[kind] += [_carried(one, record, other) for one in other[kind] if one[key] not in there]
    known = {one[key] for kind, key in _NAMED for one in record[kind]}
    record["not_examined"] = [one for one in record["not_examined"] if one["what"] not in known]


def _carried(one: dict[str, Any], record: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    """A finding of the other record, its instrument brought along under a free name."""
    if "instrument" not in one:
        return one
    tool = next(tool for tool in other["instruments"] if tool["name"] == one["instrument"])
    if tool not in record["instruments"]:
        taken = any(known["name"] == tool["name"] for known in record["instruments"])
        tool = {**tool, "name": f"{tool['name']}, other look"} if taken else tool
        record["instruments"] = [*(known for known in record["instruments"] if known != tool), tool]
    return {**one, "instrument": tool["name"]}


def hidden_arcs(stone: Stone) -> bool:
    """Whether the setting hides part of the girdle."""
    return (
        stone.setting == "set" and Mark.objects.current().filter(examination__stone=stone, category="hidden").exists()
    )


def earlier_candidates(stone: Stone) -> tuple[Stone, ...]:
    """Stones that this client brought before and that are not known to be this one."""
    person = stone.job.person
    if person is None:
        return ()
    known = {row.pk for row in same_stones(stone)}
    rows = Stone.objects.filter(piece__job__person=person, piece__job__opened_at__lt=stone.job.opened_at)
    return tuple(rows.exclude(pk__in=known).select_related("piece__job").order_by("-piece__job__opened_at"))


def visits(stone: Stone) -> tuple[Visit, ...]:
    """Every finished look at the stone through the years, oldest first."""
    looks = Examination.objects.filter(stone__in=same_stones(stone), finished_at__isnull=False)
    rows = looks.exclude(occasion=Examination.Occasion.RECEIVED).select_related("stone__piece__job")
    ordered = list(rows.order_by("finished_at", "pk"))
    widths = claw_width.changes(ordered)
    return tuple(_visit(look, widths.get(look.pk, ())) for look in ordered)


def _visit(look: Examination, widths: tuple[claw_width.Change, ...]) -> Visit:
    record = examination_record(look)
    told = {one["property"]: ", ".join(one["indications"]) for one in record["readings"]}
    for one in record["reactions"]:
        told[one["test"]] = " ".join(one[name] for name in ("strength", "colour", "result") if name in one)
    told |= {one["what"]: one["value"] for one in record["observations"]}
    told |= {one["what"]: f"not seen: {said(one['why'])}" for one in record["not_examined"]}
    if "characteristics" in record:
        told["characteristics"] = f"{len(record['characteristics'])} marks in the stone"
    pictures = look.photographs.current().filter(usable=True).select_related("instrument")
    picture = pictures.filter(view="face-up").last() or pictures.last()
    received = Mark.objects.current().filter(examination__stone=look.stone)
    hidden = ("characteristic",) if look.setting == "set" else ("characteristic", "claw", "hidden")
    claws = [mark.kind for mark in received.filter(category="claw")]
    return Visit(
        job=look.job,
        examination=look,
        told=told,
        picture=picture,
        picture_doubt=doubts([picture]).get(picture.pk, "") if picture else "",
        marks=[*look.marks.current().filter(category="characteristic"), *received.exclude(category__in=hidden)],
        claws=", ".join(f"{claws.count(kind)} {kind}" for kind in dict.fromkeys(claws)),
        widths=widths,
    )


def visit_rows(seen: tuple[Visit, ...]) -> list[tuple[str, list[str]]]:
    """The visits as a table: one row for each thing, one column for each visit."""
    names = list(dict.fromkeys(name for visit in seen for name in visit.told))
    return [(in_words(name), [visit.told.get(name, "") for visit in seen]) for name in names]


def in_words(name: str) -> str:
    """A property's name as it is read: `depth_mm` is depth in mm."""
    known = PROPERTIES.get(name)
    return f"{known.label}, {known.unit}" if known else name.replace("_", " ")


def against_first_visit(stone: Stone, population: Any) -> dict[str, Any] | None:
    """The newest finished take-in or pick-up look against the first visit's; None with only one job."""
    rows = same_stones(stone)
    if len({row.job.pk for row in rows}) < 2:
        return None
    looks = Examination.objects.filter(
        stone__in=rows, finished_at__isnull=False, occasion=Examination.Occasion.TAKE_IN
    ).order_by("finished_at", "pk")
    first, last = looks.first(), looks.last()
    if first is None or last is None or first.job == last.job:
        return None
    try:
        was, now = (evidence.read_examination(examination_record(look)) for look in (first, last))
        verdict = evidence.compare(was, now, population=population).as_json()
    except evidence.BadRecord as error:
        return {"heading": "Cannot be compared", "why": str(error), "first": first, "last": last}
    why = verdict["sentence"].removeprefix("Not enough to say: ")
    return {"heading": LADDER[verdict["ladder"]], "why": why[:1].upper() + why[1:], "first": first, "last": last}
