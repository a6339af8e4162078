"""A stone without an envelope: which of the shop's stones it can be, with the chance of each and of none of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from threading import Lock
from typing import Any

from django.db.models import Max

from samestone import evidence
from samestone.gem import PROPERTIES
from samestone.shop import ledger
from samestone.shop.casefile import FORMAT
from samestone.shop.instrument import declared_fields
from samestone.shop.models import Entry, Instrument, Stone
from samestone.shop.records.queries import stones_with_jobs
from samestone.shop.records.stone import stone_record

SHOWN = 8
_TOOLS = {"mm": "gauge", "ct": "scale", "%": "microscope"}
_UNITS = {"weight_ct": "ct", "table_percent": "%"}


@dataclass(frozen=True)
class Candidate:
    """A stone of the shop: the chance that the stray one is it, and what agrees and what does not."""

    stone: Stone
    chance: float
    agrees: str
    disagrees: str

    @property
    def words(self) -> str:
        return in_words(self.chance)


@dataclass(frozen=True)
class Shortlist:
    """The most likely stones first; how many were looked at; the chance of none of them, and of those not listed."""

    rows: tuple[Candidate, ...]
    among: int
    blank: int
    none: float
    others: float

    @property
    def none_words(self) -> str:
        return in_words(self.none)

    @property
    def others_words(self) -> str:
        return in_words(self.others)


def in_words(chance: float) -> str:
    """A chance as it is read: never 0 or 100 in a hundred."""
    hundred = round(100 * chance)
    return "less than 1 in 100" if hundred < 1 else f"{min(hundred, 99)} in 100"


class Drawer:
    """The search index over the stones of open jobs, or of all, kept current by what the log says of each job."""

    def __init__(self, *, open_only: bool) -> None:
        self.open_only = open_only
        self.index: Any = None
        self.stamps: dict[str, str] = {}
        self.lock = Lock()

    def search(self, sought: Any) -> Shortlist:
        with self.lock:
            stones = self._refresh()
            result = self.index.search(sought, SHOWN)
        rows = tuple(_candidate(stones[one.id], one) for one in result.candidates)
        return Shortlist(rows, result.of, result.blank, result.none, result.others)

    def _refresh(self) -> dict[str, Stone]:
        """Takes in what is new or has changed, lets go of what is gone; returns the stones by their name in the index.

        An entry's digest is unlike any other's: a job whose newest entry is the same has not changed. A check of an
        instrument can put any reading in doubt, so it counts for every stone.
        """
        if self.index is None:
            self.index = evidence.find.StrayIndex()
        stones = {str(stone.pk): stone for stone in stones_with_jobs(open_only=self.open_only)}
        newest, checks = _newest_digests(), _newest_check()
        stamps = {name: f"{newest.get(ledger.subject(stone.job), '')} {checks}" for name, stone in stones.items()}
        for name in [name for name in self.stamps if stamps.get(name) != self.stamps[name]]:
            del self.stamps[name]
            if name in self.index:
                self.index.remove(name)
        for name in [name for name in stamps if name not in self.stamps]:
            record = stone_record(stones[name])
            if record is not None:
                self.index.add(name, evidence.read_examination(record))
            self.stamps[name] = stamps[name]
        return stones


_DRAWERS = {among: Drawer(open_only=among == "open") for among in ("open", "all")}


def search(typed: Mapping[str, Any]) -> Shortlist:
    """Holds what was typed against the stones of open jobs, or of all; raises `evidence.BadRecord`."""
    return _DRAWERS[typed["among"]].search(evidence.read_examination(typed_record(typed)))


def _candidate(stone: Stone, found: Any) -> Candidate:
    findings = found.verdict.findings

    def named(outcome: str) -> str:
        return ", ".join(_name(one.what) for one in findings if one.outcome == outcome)

    return Candidate(stone, found.posterior, named("agrees"), named("disagrees"))


def _name(what: str) -> str:
    return PROPERTIES[what].label if what in PROPERTIES else what.replace("_", " ")


def _newest_digests() -> dict[str, str]:
    newest = Entry.objects.values("subject").annotate(newest=Max("number")).values("newest")
    return dict(Entry.objects.filter(number__in=newest).values_list("subject", "digest"))


def _newest_check() -> str:
    entry = Entry.objects.filter(kind="instrument checked").order_by("number").last()
    return entry.digest if entry else ""


def typed_record(typed: Mapping[str, Any]) -> dict[str, Any]:
    """What was typed as a record; each number as one indication of the shop's own instrument."""
    tools: dict[str, Instrument] = {}
    readings = []
    for name in ("diameter_min_mm", "diameter_max_mm", "depth_mm", "table_percent", "weight_ct"):
        if typed.get(name):
            tool = _tool(_UNITS.get(name, "mm"))
            tools[tool.name] = tool
            readings.append({"property": name, "indications": [typed[name]], "instrument": tool.name})
    record: dict[str, Any] = {
        "format": FORMAT,
        "stone": {"cut": "round brilliant", "setting": typed["setting"]},
        "instruments": [
            {"name": tool.name, "kind": tool.kind, "unit": tool.unit, "resolution": tool.resolution, "u": tool.u,
             "u_common": tool.u_common or "0"}
            for tool in tools.values()
        ],
        "readings": readings,
    }  # fmt: skip
    if typed.get("uv_strength"):
        glow = {"test": "uv_long_wave", "strength": typed["uv_strength"]}
        record["reactions"] = [glow | ({"colour": typed["uv_colour"]} if typed.get("uv_colour") else {})]
    return record


def _tool(unit: str) -> Instrument:
    """The shop's instrument for a unit; a declared one of that kind where it has none."""
    row = Instrument.objects.filter(unit=unit, retired_at=None).exclude(u="").order_by("pk").first()
    return row or Instrument(**declared_fields(_TOOLS[unit], _TOOLS[unit]))
