"""What this shop demands before it hands a piece over. Pure: facts in, demands out."""

from __future__ import annotations

from dataclasses import dataclass

GOOD = ("agrees", "agrees_some_unchecked")


@dataclass(frozen=True)
class Facts:
    """What is known at the counter when the piece is to go home.

    `ladders` are the newest verdicts of the stones that were examined at take-in, `""` where there is none yet;
    `marks` what was said of each agreed mark (`seen`, `not there`, `could not look`, `""` not looked for).
    """

    held: str
    ready: bool
    express: bool
    ladders: tuple[str, ...]
    marks: tuple[str, ...]
    accepted: bool = False  # the client was told that the findings are not enough, and takes the piece


@dataclass(frozen=True)
class Demand:
    """One thing that must be so; `words` say it, `met` whether it is."""

    words: str
    met: bool


def demands(facts: Facts) -> tuple[Demand, ...]:
    """Everything that must be so before the hand-over, met or not, in the order in which it is done."""
    asked = [
        Demand("Nothing holds the job", not facts.held),
        Demand("The piece is ready", facts.ready),
    ]
    if not facts.express:
        asked += [
            Demand("The stone was examined again and compared", bool(facts.ladders) and all(facts.ladders)),
            Demand("Nothing disagrees", "disagrees" not in facts.ladders),
            Demand("The findings suffice, or the client was told what is missing", _suffices(facts)),
        ]
    if facts.marks:
        asked += [
            Demand("Every agreed mark was looked for together", all(facts.marks)),
            Demand("No agreed mark is missing", "not there" not in facts.marks),
        ]
    return tuple(asked)


def may_hand_over(facts: Facts) -> bool:
    """Whether every demand is met."""
    return all(demand.met for demand in demands(facts))


def _suffices(facts: Facts) -> bool:
    return facts.accepted or all(ladder in (*GOOD, "disagrees") for ladder in facts.ladders)
