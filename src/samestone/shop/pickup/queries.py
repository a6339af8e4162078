"""What the pick-up shows: verdicts, before and now, the agreed marks, what is still open."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from samestone.shop import ledger
from samestone.shop.life import Station
from samestone.shop.models import Entry, Examination, Job, Mark, Photograph, Stone
from samestone.shop.pickup import policy
from samestone.shop.suspicion import doubts, fell_into_doubt
from samestone.shop.wording import name_of, said, unit_of

LADDER = {
    "agrees": "Agrees in everything we could check",
    "agrees_some_unchecked": "Agrees, and some things could not be checked",
    "not_enough": "Not enough to say",
    "disagrees": "Something does not agree: stopped",
}
SHORT = {
    "agrees": "agrees",
    "agrees_some_unchecked": "agrees in part",
    "not_enough": "not enough",
    "disagrees": "stopped",
}
RUNGS = {
    "agrees": ("", 4),
    "agrees_some_unchecked": ("some", 3),
    "not_enough": ("unsure", 2),
    "disagrees": ("stopped", 1),
}
_SIGNS = {"agrees": "✓", "doubtful": "?", "disagrees": "✕", "not_compared": "○"}


@dataclass(frozen=True)
class Judgement:
    """A verdict with the words for the counter."""

    entry: Entry
    verdict: dict[str, Any]

    @property
    def heading(self) -> str:
        return LADDER[self.verdict["ladder"]]

    @property
    def short(self) -> str:
        """The rung in one or two words, for a row of stones."""
        return SHORT[self.verdict["ladder"]]

    @property
    def rung(self) -> str:
        return RUNGS[self.verdict["ladder"]][0]

    @property
    def steps(self) -> list[bool]:
        """Four steps, top first; those reached."""
        return [step <= RUNGS[self.verdict["ladder"]][1] for step in (4, 3, 2, 1)]

    @property
    def settles(self) -> bool:
        """Whether something was compared that a stone of the same size and weight would not share."""
        return bool(self.verdict["ladder"] == "agrees")

    @property
    def pictures(self) -> dict[str, Any]:
        """How the two pictures lie on each other; empty where there were none."""
        laid: dict[str, Any] = self.entry.payload.data.get("pictures", {})
        return laid

    @property
    def findings(self) -> list[dict[str, Any]]:
        """Every finding with its name, unit and sign."""
        return [
            {
                **finding,
                "name": name_of(finding["property"]),
                "unit": unit_of(finding["property"]),
                "sign": _SIGNS[finding["outcome"]],
                "why": said(finding["why"]),
            }
            for finding in self.verdict["findings"]
        ]

    @property
    def compared(self) -> list[dict[str, Any]]:
        return [finding for finding in self.findings if finding["outcome"] != "not_compared"]

    @property
    def unchecked(self) -> list[str]:
        return [name_of(what) for what in self.verdict["unchecked"]]


@dataclass(frozen=True)
class StoneAtPickUp:
    """One stone that was examined at take-in: its open or finished second look, and the verdict on it."""

    stone: Stone
    before: Examination
    open: Examination | None
    after: Examination | None
    judgement: Judgement | None

    @property
    def not_checked(self) -> list[str]:
        """What the verdict could not compare, and what the second look left out, which the verdict does not count."""
        compared = self.judgement.unchecked if self.judgement else []
        left_out = self.after.not_examined.current().values_list("what", flat=True) if self.after else ()
        return list(dict.fromkeys([*compared, *map(name_of, left_out)]))


@dataclass(frozen=True)
class AgreedMark:
    """One agreed mark, its number on the drawing of its stone, and what was said of it at pick-up."""

    mark: Mark
    number: int
    seen: str
    stone: Stone


@dataclass(frozen=True)
class Pair:
    """Two pictures of one view; the shares say where the stone lies in each (centre and girdle radius)."""

    view: str
    before: Photograph
    now: Photograph


def stones_at_pick_up(job: Job) -> tuple[StoneAtPickUp, ...]:
    """The stones that must be looked at again: those that were examined at take-in."""
    found = []
    for stone in job.stones:
        before = _last(stone, Examination.Occasion.TAKE_IN, finished=True)
        if before is None:
            continue
        after = _last(stone, Examination.Occasion.PICK_UP, finished=True)
        begun = _last(stone, Examination.Occasion.PICK_UP, finished=False)
        found.append(StoneAtPickUp(stone, before, begun, after, _judgement(stone, after)))
    return tuple(found)


def facts(job: Job) -> policy.Facts:
    """What the policy looks at."""
    accepted = ledger.history(job, "client accepted", "verdict reached").last()
    stones = stones_at_pick_up(job)
    return policy.Facts(
        held=job.held,
        ready=job.station in {Station.READY.value, Station.PICKED_UP.value} and not job.state.loose,
        express=job.express,
        ladders=tuple(one.judgement.verdict["ladder"] if one.judgement and not one.open else "" for one in stones),
        marks=tuple(one.seen for one in agreed_marks(job)),
        accepted=accepted is not None and accepted.kind == "client accepted",
    )


def agreed_marks(job: Job) -> tuple[AgreedMark, ...]:
    """The marks that the client agreed on, numbered on the drawing of each stone, with the newest answer to each."""
    answers = {
        entry.payload.data["mark"]: entry.payload.data["seen"]
        for entry in ledger.history(job, "agreed mark looked for")
    }
    return tuple(
        AgreedMark(mark, number, answers.get(mark.pk, ""), stone)
        for stone in job.stones
        for number, mark in enumerate(_agreed(stone), start=1)
    )


def _agreed(stone: Stone) -> Any:
    return Mark.objects.current().filter(examination__stone=stone, category="agreed")


def face_marks(stone: Stone) -> list[Mark]:
    """What the clock face of the take-in showed: claws, hidden arcs, damage, agreed marks."""
    occasions = (Examination.Occasion.RECEIVED, Examination.Occasion.TAKE_IN)
    rows = Mark.objects.current().filter(examination__stone=stone, examination__occasion__in=occasions)
    return list(rows.exclude(category="characteristic"))


def picture_pairs(stone: Stone) -> tuple[Pair, ...]:
    """Before and now in the same view, cleaned rather than as received."""
    occasions = Examination.Occasion
    before = {row.view: row for row in _pictures(stone, occasions.RECEIVED, occasions.TAKE_IN)}
    now = {row.view: row for row in _pictures(stone, occasions.PICK_UP)}
    return tuple(Pair(view, before[view], now[view]) for view in before if view in now)


@dataclass(frozen=True)
class Place:
    """Where an agreed mark is: its number on the drawing, girdle radii from the centre, the clock face's angle."""

    number: int
    r: float
    angle_deg: float


def agreed_places(stone: Stone) -> tuple[Place, ...]:
    """The agreed marks of a stone that were placed within it."""
    numbered = enumerate(_agreed(stone), start=1)
    return tuple(Place(number, float(mark.r), float(mark.angle_deg)) for number, mark in numbered if mark.r)


def rings(stone: Stone) -> list[dict[str, str]]:
    """The agreed marks as rings over the pictures, in a square of 100 in which the girdle's radius is 40."""
    laid = []
    for mark in agreed_places(stone):
        far, turn = 40 * mark.r, math.radians(mark.angle_deg)
        x, y = 50 + far * math.cos(turn), 50 - far * math.sin(turn)
        laid.append({"number": str(mark.number), "x": f"{x:.2f}", "y": f"{y:.2f}", "above": f"{y - 6:.2f}"})
    return laid


def sought(look: Examination) -> str:
    """What a look found, as the address of the search for a stray stone takes it: open jobs, middle readings."""
    asked = {"among": "open", "setting": look.setting}
    for row in look.readings.current():
        asked[row.property] = sorted(row.indications, key=Decimal)[len(row.indications) // 2]
    glow = look.reactions.current().filter(test="uv_long_wave").last()
    if glow is not None:
        asked |= {"uv_strength": glow.strength, "uv_colour": glow.colour}
    return urlencode(asked)


def papers(job: Job) -> Entry | None:
    """The statement and the packet as they were given."""
    return ledger.history(job, "papers given").last()


def received_pictures(job: Job) -> tuple[Photograph, ...]:
    """The piece as it came over the counter."""
    rows = Photograph.objects.current().filter(examination__stone__piece__job=job)
    return tuple(rows.filter(examination__occasion=Examination.Occasion.RECEIVED))


def _pictures(stone: Stone, *occasions: str) -> list[Photograph]:
    """The usable ones, those in doubt first: of two of one view the last counts."""
    rows = Photograph.objects.current().filter(
        examination__stone=stone, examination__occasion__in=occasions, usable=True
    )
    pictures = list(rows.select_related("instrument"))
    suspect = doubts(pictures)
    return sorted(pictures, key=lambda row: row.pk not in suspect)


def _last(stone: Stone, occasion: str, *, finished: bool) -> Examination | None:
    rows = Examination.objects.filter(stone=stone, occasion=occasion, finished_at__isnull=not finished)
    return rows.order_by("at", "pk").last()


def _judgement(stone: Stone, after: Examination | None) -> Judgement | None:
    """The newest verdict, if it is about the newest look."""
    if after is None:
        return None
    for entry in reversed(ledger.history(stone.job, "verdict reached")):
        data = entry.payload.data
        if data["stone"] == stone.pk:
            same_look = data["after"] == after.pk and not _is_overtaken(entry, stone)
            return Judgement(entry, data["verdict"]) if same_look else None
    return None


def _is_overtaken(entry: Entry, stone: Stone) -> bool:
    """Whether an instrument failed since, or the take-in was repeated: compare again before the piece goes home."""
    if stone.job.station == Station.PICKED_UP.value:
        return False
    data = entry.payload.data
    looks = Examination.objects.filter(pk__in=(data["before"], data["after"]))
    newest = _last(stone, Examination.Occasion.TAKE_IN, finished=True)
    repeated = newest is not None and newest.pk != data["before"]
    return repeated or any(fell_into_doubt(look, entry.when) for look in looks)
