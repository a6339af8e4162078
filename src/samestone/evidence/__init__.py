"""How strongly the findings support that it is the same stone: records in, likelihood ratios and a ladder out.

This room says how strong the evidence is and what it rests on; whether that suffices to hand over is for others.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from samestone.evidence import batch, find, performance, photographs
    from samestone.evidence.comparison import compare
    from samestone.evidence.examination import BadRecord
    from samestone.evidence.examination import Examination as Examination
    from samestone.evidence.population import load_population
    from samestone.evidence.record import read_examination
    from samestone.evidence.verdict import Verdict as Verdict

__all__ = [
    "BadRecord",
    "batch",
    "compare",
    "find",
    "load_population",
    "performance",
    "photographs",
    "read_examination",
]

_HOME = {
    "BadRecord": "examination",
    "Examination": "examination",
    "Verdict": "verdict",
    "compare": "comparison",
    "load_population": "population",
    "read_examination": "record",
}
"""`Examination` and `Verdict` are handed out for annotations."""


def __getattr__(name: str) -> object:
    """Import what is asked for when it is asked for: the command line starts without numpy."""
    if name not in __all__ and name not in _HOME:
        raise AttributeError(f"evidence has no {name!r}")
    module = importlib.import_module(f"samestone.evidence.{_HOME.get(name, name)}")
    return getattr(module, name) if name in _HOME else module
