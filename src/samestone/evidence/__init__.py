"""How strongly the findings support that it is the same stone: records in, likelihood ratios and a ladder out.

This room says how strong the evidence is and what it rests on; whether that suffices to hand over is for others.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from samestone.evidence import batch, photographs
    from samestone.evidence.comparison import compare
    from samestone.evidence.examination import BadRecord, Examination
    from samestone.evidence.population import load_population
    from samestone.evidence.record import read_examination
    from samestone.evidence.verdict import Verdict

__all__ = [
    "BadRecord",
    "Examination",
    "Verdict",
    "batch",
    "compare",
    "load_population",
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


def __getattr__(name: str) -> object:
    """Import what is asked for when it is asked for: the command line starts without numpy."""
    if name not in __all__:
        raise AttributeError(f"evidence has no {name!r}")
    module = importlib.import_module(f"samestone.evidence.{_HOME.get(name, name)}")
    return getattr(module, name) if name in _HOME else module
