"""Draws the page of symbols in docs/reference: every symbol of the clock face with its word."""

from __future__ import annotations

from pathlib import Path

from samestone.paper import claw, legend, symbol
from samestone.paper.sheet import Mark

OUT = Path(__file__).parents[1] / "docs" / "reference" / "symbols.svg"


def every_mark() -> list[Mark]:
    """One mark of every look."""
    claws = [Mark(category="claw", angle_deg=0, kind=kind) for kind in claw.CONDITIONS if kind != "other"]
    kinds = [Mark(category="characteristic", angle_deg=0, kind=kind) for kind in symbol.KINDS]
    damage = [Mark(category="damage", angle_deg=0, kind=kind) for kind in ("chip", "nick", "abrasion", "scratch")]
    rest = [Mark(category="hidden", angle_deg=0, to_deg=1), Mark(category="agreed", angle_deg=0)]
    return [*rest, *claws, *kinds, *damage]


if __name__ == "__main__":
    OUT.write_text(legend.key_alone(every_mark(), width=760) + "\n", encoding="utf-8")
    print(OUT)
