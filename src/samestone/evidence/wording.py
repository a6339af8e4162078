"""The words for a likelihood ratio, the propositions it weighs, and the one sentence for everybody."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from samestone.evidence import bound
from samestone.evidence.weighing import BLUNDER

Outcome = Literal["agrees", "doubtful", "disagrees", "not_compared"]
Ladder = Literal["agrees", "agrees_some_unchecked", "not_enough", "disagrees"]
Question = Literal["same_stone", "same_as_paper"]

ASSUMPTIONS = (
    "the standard uncertainties of the instruments hold at both examinations",
    "the reference stones are like those from which another stone could have come",
    f"one property in {1 / BLUNDER:.0f} is misread or miswritten, and such a reading says nothing (assumed)",
    f"records are mixed up once in {1 / bound.PROCESS_ERROR:,.0f} comparisons at most (assumed)",
    "what is seen is named as the tables of category shares and observer confusion say (partly assumed)",
    "how marks occur, are found and are placed by hand is as the table of characteristics says (assumed)",
    "size and weight, fluorescence, finish, culet, inscription and marks are independent of one another",
)

SCALE = "ENFSI guideline for evaluative reporting in forensic science, 2015"
BANDS = (
    (0.3, "no support for one proposition over the other"),
    (1.0, "weak support"),
    (2.0, "moderate support"),
    (3.0, "moderately strong support"),
    (4.0, "strong support"),
    (6.0, "very strong support"),
    (math.inf, "extremely strong support"),
)
"""Upper limits of log10 LR, and the words: LR 1; 2-10; 10-100; 100-1,000; 1,000-10,000; to 1,000,000; above.

The bands are quoted from memory of the guideline; 0.3 stands for LR 2 after rounding.
"""

NAMES = {
    "weight_ct": "weight",
    "diameter_min_mm": "smallest diameter",
    "diameter_max_mm": "largest diameter",
    "depth_mm": "depth",
    "table_percent": "table",
    "uv_long_wave": "glow under long-wave ultraviolet",
    "uv_short_wave": "glow under short-wave ultraviolet",
    "thermal_probe": "thermal probe",
    "electrical_probe": "electrical probe",
    "doubling": "doubling",
    "girdle_finish": "girdle finish",
    "culet": "culet",
    "inscription": "inscription",
    "characteristics": "marks inside and on the stone",
    "photographs": "photographs",
}


def round_down(log10_lr: float) -> float:
    """Towards no evidence, to a tenth.

    >>> round_down(3.57), round_down(-2.38)
    (3.5, -2.3)
    """
    return math.copysign(math.floor(round(abs(log10_lr) * 10, 6)) / 10, log10_lr)


def verbal(log10_lr: float) -> str:
    """The guideline's words for the rounded-down value.

    >>> verbal(2.99), verbal(-4.2)
    ('moderately strong support for the first proposition', 'very strong support for the second proposition')
    """
    rounded = round_down(log10_lr)
    words = next(words for limit, words in BANDS if abs(rounded) < limit)
    if abs(rounded) < BANDS[0][0]:
        return words
    return f"{words} for the {'first' if rounded > 0 else 'second'} proposition"


def propositions(question: Question, stock: int) -> dict[str, str]:
    """What is weighed against what."""
    first = (
        "both records describe the same stone"
        if question == "same_stone"
        else "the paper was written for the stone that was examined"
    )
    return {
        "first": first,
        "random": "another stone, drawn at random from the reference stones",
        "look_alike": f"another stone, chosen from {stock:,} for its likeness in size and weight",
    }


def name(what: str) -> str:
    return NAMES.get(what, what.replace("_", " "))


def listed(whats: Sequence[str]) -> str:
    names = [name(what) for what in whats]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def sentence(
    question: Question,
    ladder: Ladder,
    outcomes: Sequence[tuple[str, Outcome]],
    unchecked: Sequence[str],
    *,
    beyond: bool,
    outside: bool,
) -> str:
    """The bottom line in plain words, without a number."""
    other = "the stone that was left" if question == "same_stone" else "its paper"
    wrong = [what for what, outcome in outcomes if outcome == "disagrees"]
    doubtful = [what for what, outcome in outcomes if outcome == "doubtful"]
    if ladder == "disagrees":
        if wrong:
            return f"Something does not agree with {other}: {listed(wrong)}. Stop; repeat it on a checked instrument."
        return f"Taken together the findings do not agree with {other}. Stop; repeat them on a checked instrument."
    if ladder == "not_enough":
        if doubtful:
            return f"Not enough to say: {listed(doubtful)} should be looked at again."
        if outside:
            return "Not enough to say: there are no reference stones like this one to weigh it against."
        return "Not enough to say: too little could be compared."
    if ladder == "agrees":
        return f"It agrees with {other} in everything we could check."
    if unchecked:
        return f"It agrees with {other}; not checked: {listed(unchecked)}."
    if not beyond:
        return (
            f"It agrees with {other}; too little was compared that a stone of the same size and weight would not share."
        )
    return f"It agrees with {other}, and some things could not be checked."
