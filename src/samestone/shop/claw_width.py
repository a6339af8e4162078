"""How wide and high the claws were at each look, and the change since the look before; from what the log keeps of it.

A claw is known again by its direction in the picture. A change counts when it exceeds twice its standard uncertainty.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from samestone.shop.models import Entry, Examination, Instrument, Photograph
from samestone.shop.suspicion import doubt_of, doubts

MEASURED = "claws measured"
SAME_CLAW_DEG = 20.0
COVERAGE = 2.0


@dataclass(frozen=True)
class Width:
    """One claw at one look, numbers as they were written down; `doubt` says why a width in millimetres is suspect."""

    angle_deg: float
    width: str
    u: str
    unit: str
    at: dt.datetime
    doubt: str = ""
    what: str = "width"  # or height, in a view from the side


@dataclass(frozen=True)
class Change:
    """A width and what became of it since the look before; `since` is None where nothing can be compared."""

    now: Width
    since: dt.datetime | None = None
    change: str = ""
    u: str = ""
    words: str = ""


def apart_deg(a: float, b: float) -> float:
    """The angle between two directions, 0 to 180 degrees."""
    return abs((a - b + 180) % 360 - 180)


def widths_of(looks: Iterable[Examination]) -> dict[int, tuple[Width, ...]]:
    """By look, every claw that was measured in it, by direction; measured again, the last word counts.

    What was measured in pictures as received stands with the take-in's look.
    """
    wanted = _columns(looks)
    rows = Entry.objects.filter(kind=MEASURED).select_related("payload").order_by("number")
    entries = [row for row in rows if row.payload.data["examination"] in wanted]
    pictures = Photograph.objects.filter(pk__in={row.payload.data["photograph"] for row in entries})
    suspect = doubts(pictures.select_related("instrument"))
    found: dict[int, list[Width]] = {}
    for row in entries:
        told = row.payload.data
        for width in widths_in(row, suspect.get(told["photograph"], "")):
            kept = found.setdefault(wanted[told["examination"]], [])
            kept[:] = [one for one in kept if not _is_same(one, width)]
            kept.append(width)
    return {
        look: tuple(sorted(widths, key=lambda one: (one.what != "width", one.angle_deg)))
        for look, widths in found.items()
    }


def _is_same(one: Width, other: Width) -> bool:
    return one.what == other.what and apart_deg(one.angle_deg, other.angle_deg) < SAME_CLAW_DEG


def _columns(looks: Iterable[Examination]) -> dict[int, int]:
    """The look under which each examination is told."""
    found = {}
    for look in looks:
        found[look.pk] = look.pk
        if look.occasion == Examination.Occasion.TAKE_IN:
            received = Examination.objects.filter(stone=look.stone_id, occasion=Examination.Occasion.RECEIVED)
            for pk in received.values_list("pk", flat=True):
                found.setdefault(pk, look.pk)
    return found


def widths_in(row: Entry, doubt: str) -> Iterable[Width]:
    """What one entry says of each claw; `doubt` is that of its picture."""
    told: dict[str, Any] = row.payload.data
    if told["unit"] == "mm" and not doubt:
        tool = Instrument.objects.filter(name=told.get("instrument", "")).first()
        doubt = doubt_of(tool, row.when) if tool else ""
    for claw in told["claws"]:
        why = doubt if told["unit"] == "mm" else ""
        yield Width(
            float(claw["angle_deg"]), claw["width"], claw["u"], told["unit"], row.when, why, told.get("what", "width")
        )


def changes(looks: Iterable[Examination]) -> dict[int, tuple[Change, ...]]:
    """By look, each claw with its change since the newest look before that measured it; `looks` oldest first."""
    ordered = list(looks)
    widths = widths_of(ordered)
    before: list[Width] = []
    found = {}
    for look in ordered:
        found[look.pk] = tuple(_change(one, before) for one in widths.get(look.pk, ()))
        before = [*widths.get(look.pk, ()), *before]
    return {look: told for look, told in found.items() if told}


def _change(now: Width, before: list[Width]) -> Change:
    """Pixels of two pictures are not compared, nor what is in doubt."""
    alike = (one for one in before if _is_same(one, now))
    was = next((one for one in alike if one.unit == "mm" and not one.doubt), None)
    if was is None or now.unit != "mm" or now.doubt:
        return Change(now)
    change = float(now.width) - float(was.width)
    u = math.hypot(float(now.u), float(was.u))
    words = "within the error" if abs(change) <= COVERAGE * u else "wider" if change > 0 else "narrower"
    return Change(now, was.at, f"{change:+.3f}".replace("-", "−"), f"{u:.3f}", words)
