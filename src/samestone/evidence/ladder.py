"""From findings and likelihood ratios to one of four rungs."""

from __future__ import annotations

from collections.abc import Sequence

from samestone.evidence.verdict import Finding
from samestone.evidence.wording import Ladder

ENOUGH = 2.0
"""log10 LR against a random stone from which agreement is more than a small sample of coincidences."""
BEYOND = 1.5
"""log10 LR that one thing which a look-alike of the same size and weight would not share must bring for the top."""


def climb(
    findings: Sequence[Finding],
    *,
    random: float,
    beyond_size: float,
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
    return "agrees" if beyond_size >= BEYOND and not unchecked else "agrees_some_unchecked"
