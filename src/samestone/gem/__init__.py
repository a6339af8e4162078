"""What stones are: measured properties, materials, cuts, weight, solids, metal, care. No number without a source.

`weight` and `shape` estimate a weight by two routes; each module is imported on first use.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from samestone.gem.property import PROPERTIES, check_values

if TYPE_CHECKING:
    from samestone.gem import carat, care, material, metal, shape, weight

__all__ = ["PROPERTIES", "carat", "care", "check_values", "material", "metal", "shape", "weight"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        return importlib.import_module(f"samestone.gem.{name}")
    raise AttributeError(name)
