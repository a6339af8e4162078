"""Two records of a stone, compared."""

from __future__ import annotations

from collections.abc import Sequence

from samestone.evidence.examination import Examination
from samestone.evidence.population import Population
from samestone.evidence.verdict import Block, Verdict

STOCK = 1000


def compare(
    before: Examination,
    after: Examination,
    *,
    population: Population,
    stock: int = STOCK,
    blocks: Sequence[Block] = (),
) -> Verdict:
    """Say how strongly two records support that they are of one stone.

    `stock` is the number of stones among which a look-alike could have been chosen; `blocks` is further evidence that
    another room has judged (photographs).
    """
    raise NotImplementedError
