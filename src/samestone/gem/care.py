"""What ultrasonic, steam, torch, pickle and laser do to a stone; the strictest source wins, unknown is not safe."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from samestone.gem.table import read_table

Verdict = Literal["usual", "caution", "never"]
PROCESSES = ("ultrasonic", "steam", "torch", "pickle", "laser")
_STRICTER = {"usual": 0, "caution": 1, "never": 2}


@dataclass(frozen=True, slots=True)
class Reason:
    """One source's word: on the material or on a treatment."""

    about: str
    verdict: Verdict
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class Advice:
    """What a process does to a stone: the strictest verdict, every reason, the usual cautions for the person."""

    process: str
    verdict: Verdict
    reasons: tuple[Reason, ...]
    cautions: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """One line for the counter: the strictest reason, with its source."""
        worst = max(self.reasons, key=lambda reason: _STRICTER[reason.verdict])
        lead = {"usual": "is usual for", "caution": "needs care for", "never": "is not for"}[self.verdict]
        return f"{self.process} {lead} {worst.about}{f': {worst.words}' if worst.words else ''} ({worst.source})"


def material_names() -> tuple[str, ...]:
    """Every material the care table speaks of."""
    table = read_table("care")
    return tuple(sorted((*table["materials"], *table["groups"]["never"])))


def treatment_names() -> tuple[str, ...]:
    """Every treatment the care table speaks of."""
    return tuple(read_table("care")["treatments"])


def cautions(process: str) -> tuple[str, ...]:
    """The usual cautions for the person, by process or "uv"; local codes come first."""
    table = read_table("care")["cautions"]
    if process not in table:
        raise ValueError(f"process {process!r}, expected one of {', '.join(table)}")
    return tuple(table[process])


def advise(material: str, process: str, treatments: Sequence[str] = ()) -> Advice:
    """Say what a process does to a material with these treatments.

    A material that the table lacks is answered "never", one without a word on this process "never" for heat and acid
    and "caution" for the rest, both as not known. Refuses unknown processes and treatments by name.
    """
    table = read_table("care")
    if process not in PROCESSES:
        raise ValueError(f"process {process!r}, expected one of {', '.join(PROCESSES)}")
    for treatment in treatments:
        if treatment not in table["treatments"]:
            raise ValueError(f"treatment {treatment!r}, expected one of {', '.join(table['treatments'])}")
    reasons = [*_about_material(material, process)]
    for treatment in treatments:
        reasons += _read(f"{treatment} stones", table["treatments"][treatment].get(process, []))
    worst = max(reasons, key=lambda reason: _STRICTER[reason.verdict])
    return Advice(process, worst.verdict, tuple(reasons), cautions(process))


def advise_all(stones: Sequence[tuple[str, Sequence[str]]], process: str) -> Advice:
    """The advice for a piece with several stones, each (material, treatments): the strictest of them."""
    if not stones:
        raise ValueError("no stones; name at least one material")
    every = [advise(material, process, treatments) for material, treatments in stones]
    worst = max(every, key=lambda advice: _STRICTER[advice.verdict])
    return Advice(process, worst.verdict, tuple(r for advice in every for r in advice.reasons), worst.cautions)


def _about_material(material: str, process: str) -> list[Reason]:
    table = read_table("care")
    if material in table["groups"]["never"] and process in ("ultrasonic", "steam"):
        return [Reason(material, "never", "", table["sources"]["charts"])]
    known = list(_read(material, table["materials"].get(material, {}).get(process, [])))
    if known:
        return known
    verdict: Verdict = (
        "never" if process in ("steam", "torch", "pickle") or material not in material_names() else "caution"
    )
    return [
        Reason(material, verdict, "not known here: ask before, or take the stone out", table["sources"]["practice"])
    ]


def _read(about: str, entries: Sequence[Sequence[str]]) -> Iterator[Reason]:
    sources = read_table("care")["sources"]
    words: dict[str, Verdict] = {"usual": "usual", "caution": "caution", "never": "never"}
    for verdict, source, text in entries:
        yield Reason(about, words[verdict], text, sources[source])
