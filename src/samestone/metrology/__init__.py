"""How well a number is known: instruments, readings, budgets, gauge studies, the instrument diary.

This room knows numbers with units and never what they were measured on.
"""

from samestone.metrology import diary, gauge, repeats
from samestone.metrology.budget import combine
from samestone.metrology.instrument import Instrument
from samestone.metrology.problem import Problem
from samestone.metrology.reading import Reading, take_reading

__all__ = ["Instrument", "Problem", "Reading", "combine", "diary", "gauge", "repeats", "take_reading"]
