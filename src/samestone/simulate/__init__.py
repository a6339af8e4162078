"""A world of known truth: stones, their photographs and their records, for tests, benchmarks and the demo.

Everything here is invented and computed; whatever is shown of it says *simulated*. Rendering needs mitsuba and is for
development only; the pictures of the demo come with the program.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from samestone.simulate.picture import demo_picture, demo_truth
    from samestone.simulate.record import Bench, draw_examination
    from samestone.simulate.shops import draw_weeks
    from samestone.simulate.stones import draw_clone, draw_stone, draw_twin

__all__ = [
    "Bench",
    "demo_picture",
    "demo_truth",
    "draw_clone",
    "draw_examination",
    "draw_stone",
    "draw_twin",
    "draw_weeks",
]

_HOME = {
    "Bench": "record",
    "demo_picture": "picture",
    "demo_truth": "picture",
    "draw_clone": "stones",
    "draw_examination": "record",
    "draw_stone": "stones",
    "draw_twin": "stones",
    "draw_weeks": "shops",
}


def __getattr__(name: str) -> object:
    """Import what is asked for when it is asked for: the demo's pictures need no numerics."""
    if name not in _HOME:
        raise AttributeError(f"simulate has no {name!r}")
    return getattr(importlib.import_module(f"samestone.simulate.{_HOME[name]}"), name)
