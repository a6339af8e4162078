"""What a hand-over's few looks say about the piece in the hand. Pure: facts and looks in, disagreements out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

# A kitchen-clean ring weighs the same on two pocket scales within this much. Common practice, no source.
GRAMS_APART = Decimal("0.05")


@dataclass(frozen=True)
class Facts:
    """What is on record: the piece's grams (empty: not weighed), its stones, and whether the bench has worked on it."""

    grams: str
    stones: int
    worked_on: bool


def disagreements(facts: Facts, *, mark_seen: str, grams: str, stones: int | None) -> tuple[str, ...]:
    """Why the piece in the hand may not be the one on record; what was not looked at says nothing.

    Grams are compared only until the bench has added or taken metal.
    """
    found = []
    if mark_seen == "no":
        found.append("a mark was not found")
    if grams and facts.grams and not facts.worked_on and abs(Decimal(grams) - Decimal(facts.grams)) > GRAMS_APART:
        found.append(f"{grams} g now, {facts.grams} g on record")
    if stones is not None and stones != facts.stones:
        found.append(f"{stones} stones counted, {facts.stones} on record")
    return tuple(found)


def fitting(grams: str, others: Mapping[str, str]) -> tuple[str, ...]:
    """Which other open envelopes hold a piece of this weight; `others` maps their numbers to grams on record."""
    if not grams:
        return ()
    return tuple(
        number for number, theirs in others.items() if theirs and abs(Decimal(grams) - Decimal(theirs)) <= GRAMS_APART
    )
