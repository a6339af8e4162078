"""How well a number is known: instruments, readings, budgets, gauge studies, the instrument diary.

This room knows numbers with units and never what they were measured on. `gauge` (studies) is imported on first use.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from samestone.metrology import diary, repeats
from samestone.metrology.budget import combine
from samestone.metrology.instrument import Instrument
from samestone.metrology.problem import Problem
from samestone.metrology.reading import Reading, take_reading

if TYPE_CHECKING:
    from samestone.metrology import gauge

__all__ = ["Instrument", "Problem", "Reading", "combine", "diary", "gauge", "repeats", "take_reading"]


def __getattr__(name: str) -> Any:
    if name == "gauge":
        return importlib.import_module("samestone.metrology.gauge")
    raise AttributeError(name)
