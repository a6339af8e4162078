"""What can it still be? Materials that the reactions leave, those they exclude and why, and which test would tell the
rest apart. A reaction is a consistency check, never an identity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from samestone.gem.table import read_table

Level = Literal["excludes", "speaks against"]


@dataclass(frozen=True, slots=True)
class Glow:
    """Fluorescence of a material: nothing up to `strongest`, in one of `colours`."""

    strongest: str
    colours: tuple[str, ...]
    against: Level
    source: str


@dataclass(frozen=True, slots=True)
class Material:
    """A gem material with its ranges; `sources` are sentences, the first ones for all that has none of its own."""

    key: str
    name: str
    refractive_index: tuple[float, float]
    birefringence: float
    specific_gravity: tuple[float, float]
    dispersion: float
    mohs: str
    conductivity_w_mk: tuple[float, float]
    thermal_probe: tuple[str, ...]
    electrical_probe: tuple[str, ...]
    electrical_note: str
    uv_long_wave: Glow
    uv_short_wave: Glow
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Objection:
    """Why a material is excluded, or what makes it unusual."""

    material: str
    test: str
    level: Level
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class Separation:
    """A test that was not made yet: how many of the `of` remaining materials it would leave on average, and how."""

    test: str
    leaves: float
    of: int
    how: str


@dataclass(frozen=True, slots=True)
class Candidates:
    """What remains, what speaks against what, which tests would separate the rest, what counts for nothing."""

    remaining: tuple[Material, ...]
    objections: tuple[Objection, ...]
    separations: tuple[Separation, ...]
    unusable: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def excluded(self) -> tuple[str, ...]:
        """Keys of the materials that at least one reaction excludes."""
        return tuple(dict.fromkeys(o.material for o in self.objections if o.level == "excludes"))


@cache
def materials() -> tuple[Material, ...]:
    """Every material the room knows, with its sources."""
    table = read_table("materials")
    return tuple(_material(key, entry, table["sources"]) for key, entry in table.items() if key != "sources")


def _material(key: str, entry: Mapping[str, Any], sources: Mapping[str, str]) -> Material:
    def glow(name: str) -> Glow:
        found = entry[name]
        return Glow(found["strongest"], tuple(found["colours"]), found["against"], sources[found["source"]])

    def pair(name: str) -> tuple[float, float]:
        low, high = entry[name]
        return float(low), float(high)

    return Material(
        key=key,
        name=entry["name"],
        refractive_index=pair("refractive_index"),
        birefringence=entry["birefringence"],
        specific_gravity=pair("specific_gravity"),
        dispersion=entry["dispersion"],
        mohs=entry["mohs"],
        conductivity_w_mk=pair("conductivity_w_mk"),
        thermal_probe=tuple(entry["thermal_probe"]),
        electrical_probe=tuple(entry["electrical_probe"]),
        electrical_note=entry.get("electrical_note", ""),
        uv_long_wave=glow("uv_long_wave"),
        uv_short_wave=glow("uv_short_wave"),
        sources=tuple(sources[name] for name in entry["sources"]),
    )


def what_remains(reactions: Sequence[Mapping[str, Any]], *, loose: bool = True) -> Candidates:
    """Say which materials the reactions leave.

    Each reaction is a mapping with `test` and what that test gives (see docs/reference/materials.md); numbers may be
    decimal strings. A probe on metal counts for nothing. Refuses unknown tests, words and keys by name. `loose` says
    whether the stone can be weighed in water.
    """
    from samestone.gem.reaction import read_reaction

    read = [read_reaction(index, reaction) for index, reaction in enumerate(reactions)]
    unusable = tuple(reaction.unusable for reaction in read if reaction.unusable)
    usable = [reaction for reaction in read if not reaction.unusable]
    found = [o for reaction in usable for m in materials() if (o := reaction.judge(m))]
    gone = {o.material for o in found if o.level == "excludes"}
    remaining = tuple(m for m in materials() if m.key not in gone)
    done = {reaction.test for reaction in usable}
    return Candidates(
        remaining, tuple(found), tuple(_separations(remaining, done, loose)), unusable, tuple(_notes(remaining))
    )


def _notes(remaining: Sequence[Material]) -> list[str]:
    keys = {material.key for material in remaining}
    if not keys:
        return ["Nothing on the list agrees with every reaction: repeat them; it may be a material that is not listed."]
    notes = []
    if "diamond" in keys:
        notes.append(
            "None of these tests tells natural from laboratory-grown diamond, or filled and coated from untreated."
        )
    if len(keys) == 1:
        notes.append("What remains is what these tests cannot exclude, not an identification.")
    return notes


def _separations(remaining: Sequence[Material], done: set[str], loose: bool) -> list[Separation]:
    """Rank the tests not made yet by how many materials they would leave on average, each as likely as the next."""
    if len(remaining) < 2:
        return []
    found = []
    for test, (alike, how, needs_loose) in _TESTS.items():
        if test in done or (needs_loose and not loose):
            continue
        leaves = sum(sum(alike(true, other) for other in remaining) for true in remaining) / len(remaining)
        if leaves < len(remaining) - 1e-9:
            found.append(Separation(test, round(leaves, 2), len(remaining), how))
    return sorted(found, key=lambda separation: separation.leaves)


def _same_words(name: str) -> Any:
    def alike(true: Material, other: Material) -> float:
        """Chance that a result of the true material is possible for the other."""
        words: tuple[str, ...] = getattr(true, name)
        return sum(word in getattr(other, name) for word in words) / len(words)

    return alike


def _overlapping(name: str, tolerance: float, limit: float = float("inf")) -> Any:
    def alike(true: Material, other: Material) -> float:
        (low, high), (low2, high2) = getattr(true, name), getattr(other, name)
        if low >= limit and low2 >= limit:
            return 1.0
        return float(low - tolerance <= high2 and low2 - tolerance <= high)

    return alike


def _doubling_alike(true: Material, other: Material) -> float:
    plain = {m.key: m.birefringence >= PLAIN_DOUBLING for m in (true, other)}
    return float(plain[true.key] == plain[other.key])


PLAIN_DOUBLING = 0.03
"""Birefringence from which doubled facet edges are plain under a loupe (common practice, no source)."""
OVER_LIMIT = 1.80
"""A refractometer with the usual contact liquid reads to about 1.81 (common practice, no source)."""

_TESTS: Mapping[str, tuple[Any, str, bool]] = {
    "thermal_probe": (
        _same_words("thermal_probe"),
        "thermal probe, clean dry stone, three touches off the metal",
        False,
    ),
    "doubling": (_doubling_alike, "loupe: doubled facet edges, through the table in several directions", False),
    "electrical_probe": (_same_words("electrical_probe"), "electrical probe on the bare stone", False),
    "refractive_index": (_overlapping("refractive_index", 0.004, OVER_LIMIT), "refractometer on a flat facet", False),
    "specific_gravity": (_overlapping("specific_gravity", 0.04), "weigh in air and in water, loose", True),
}
