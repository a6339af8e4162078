"""From findings and likelihood ratios to one of four rungs."""

from __future__ import annotations

import math
from collections.abc import Sequence

from samestone.evidence.verdict import Block, Finding
from samestone.evidence.wording import Ladder

ENOUGH = 2.0
"""log10 LR against a random stone from which agreement is more than a small sample of coincidences."""
BEYOND = {"photographs": 1.5, "characteristics": 2.5}
"""log10 LR against a look-alike that one of these must bring for the top.

Marks must bring more: their figures are assumed, and a stone may have as many of the same kinds and sizes elsewhere.
Fluorescence, finish, culet and inscription never suffice: a stone chosen by size and weight can be chosen by them too.
"""


def goes_beyond(blocks: Sequence[Block]) -> bool:
    """Whether one thing agrees strongly enough that even a stone chosen to look alike would not share it."""
    return any(block.look_alike >= BEYOND.get(block.what, math.inf) for block in blocks if block.beyond_size)


def climb(
    findings: Sequence[Finding],
    *,
    random: float,
    beyond: bool,
    jointly: bool,
    unchecked: bool,
    outside: bool,
) -> Ladder:
    """The rung that the findings reach.

    One decisive disagreement, or sizes and weight that differ jointly, outweighs any number of agreements; what is
    missing or unusable is never a disagreement. Anything doubtful keeps the answer at "not enough" until it was looked
    at again. The top needs that everything recorded at first was checked again and that something agrees which a stone
    chosen by size and weight would not share; numbers alone never reach it.
    """
    outcomes = {finding.outcome for finding in findings}
    if "disagrees" in outcomes or jointly or random <= -ENOUGH:
        return "disagrees"
    if "doubtful" in outcomes or outside or random < ENOUGH:
        return "not_enough"
    return "agrees" if beyond and not unchecked else "agrees_some_unchecked"
