"""Readings as typed, held against what a stone can be: each slip as found, expected, what to do next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from samestone.gem import PROPERTIES, check_values
from samestone.metrology import Problem
from samestone.shop.wording import said

# Three looks at one thing differ by less than this; more is a slip (common practice, no source).
_WIDEST_SPREAD = Decimal("0.03")
_SPREAD_FLOOR = {"mm": Decimal("0.10"), "ct": Decimal("0.01"), "%": Decimal("2")}
_ROUND = "round brilliant"
_ANOTHER = " If the scale says so again, stop: it may be another stone."


@dataclass(frozen=True)
class Slip:
    """What is wrong with one indication: of which property, the how manieth of it, in words."""

    what: str
    turn: int
    words: str


def slips(
    typed: Mapping[str, Sequence[str]],
    *,
    cut: str,
    beside: Mapping[str, Sequence[str]] | None = None,
    earlier: Mapping[str, Sequence[str]] | None = None,
) -> tuple[Slip, ...]:
    """Say what cannot be of these indications (decimal strings by property name); empty is good news.

    Each property on its own first: its range, units mixed up, indications that differ by more than one stone does.
    Only if all pass, the means against one another and against the indications `beside` them, of the same look; then
    against those of an `earlier` look: what does not fit them may be another stone's, and the words say so.
    """
    found = [slip for what, texts in typed.items() if texts and (slip := _slip_of_one(what, texts))]
    if found := found or list(_together(typed, beside or {}, cut)):
        return tuple(found)
    apart = _together(typed, {**(earlier or {}), **(beside or {})}, cut)
    return tuple(replace(slip, words=slip.words + _ANOTHER) for slip in apart)


def _slip_of_one(what: str, texts: Sequence[str]) -> Slip | None:
    for turn, text in enumerate(texts):
        for problem in check_values({what: float(text)}):
            return Slip(what, turn, _words(problem))
    numbers = [Decimal(text) for text in texts]
    spread, unit = max(numbers) - min(numbers), PROPERTIES[what].unit
    if spread > max(_SPREAD_FLOOR[unit], max(numbers) * _WIDEST_SPREAD):
        return Slip(what, 0, f"These differ by {spread} {unit}. Read the odd one again.")
    return None


def _together(typed: Mapping[str, Sequence[str]], beside: Mapping[str, Sequence[str]], cut: str) -> tuple[Slip, ...]:
    means = {what: _mean(texts) for what, texts in {**beside, **typed}.items() if texts and what in PROPERTIES}
    return tuple(
        Slip(problem.field if problem.field in typed else next(iter(typed)), 0, _words(problem))
        for problem in check_values(means, round_outline=cut == _ROUND)
    )


def _mean(texts: Sequence[str]) -> float:
    return sum(map(float, texts)) / len(texts)


def _words(problem: Problem) -> str:
    remedy, found = said(problem.remedy), problem.found
    for name, known in PROPERTIES.items():
        found = found.replace(name, f"the {known.label},")
    end = "" if remedy.endswith(".") else "."
    return f"Found {found}; expected {problem.expected}. {remedy[:1].upper()}{remedy[1:]}{end}"
