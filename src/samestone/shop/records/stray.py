"""A stone without an envelope: which of the shop's stones it can be, with the chance of each and of none of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from samestone import evidence
from samestone.shop.casefile import FORMAT
from samestone.shop.instrument import declared_fields
from samestone.shop.models import Instrument, Stone
from samestone.shop.records.queries import stones_with_jobs
from samestone.shop.records.stone import stone_record

SHOWN = 10
NONE_OF_THEM = 0.5
"""Chance before anything was measured that the stone is none of those looked at; the rest is shared out evenly."""
_TOOLS = {"mm": "gauge", "ct": "scale", "%": "microscope"}
_UNITS = {"weight_ct": "ct", "table_percent": "%"}


@dataclass(frozen=True)
class Candidate:
    """A stone of the shop, and the chance that the stray one is it."""

    stone: Stone
    chance: float

    @property
    def words(self) -> str:
        return in_words(self.chance)


@dataclass(frozen=True)
class Shortlist:
    """The most likely stones first; how many were looked at and could be compared at all; the chance of none."""

    rows: tuple[Candidate, ...]
    among: int
    comparable: int
    none: float

    @property
    def none_words(self) -> str:
        return in_words(self.none)

    @property
    def assumes(self) -> str:
        return (
            f"Before looking: one in {1 / NONE_OF_THEM:.0f} that it is none of these, all of them equally likely. "
            "A stone without a record cannot be found here."
        )


def in_words(chance: float) -> str:
    """A chance as it is read: never 0 or 100 in a hundred."""
    hundred = round(100 * chance)
    return "less than 1 in 100" if hundred < 1 else f"{min(hundred, 99)} in 100"


def search(typed: Mapping[str, Any]) -> Shortlist:
    """Holds what was typed against the stones of open jobs, or of all; raises `evidence.BadRecord`."""
    sought = evidence.read_examination(typed_record(typed))
    stones = list(stones_with_jobs(open_only=typed["among"] == "open"))
    known = {}
    for stone in stones:
        record = stone_record(stone)
        if record is not None:
            known[stone] = evidence.read_examination(record)
    population = evidence.load_population()
    found = {}
    for stone, examination in known.items():
        verdict = evidence.compare(examination, sought, population=population)
        if verdict.blocks:
            found[stone] = 10.0**verdict.random.value
    return _shortlist(found, len(stones))


def _shortlist(ratios: Mapping[Stone, float], among: int) -> Shortlist:
    """P(i) = p LR_i / (p0 + sum of p LR_j), p the even share of each stone looked at."""
    share = (1 - NONE_OF_THEM) / max(1, len(ratios))
    total = NONE_OF_THEM + share * sum(ratios.values())
    ranked = sorted(ratios.items(), key=lambda item: -item[1])
    rows = tuple(Candidate(stone, share * ratio / total) for stone, ratio in ranked[:SHOWN])
    return Shortlist(rows, among, len(ratios), NONE_OF_THEM / total)


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
