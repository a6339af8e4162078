"""A paper that describes a stone: how far its printed numbers stand for what an instrument would show today."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from samestone.metrology import Instrument

PAPER_INSTRUMENTS: Final[Mapping[str, Instrument]] = {
    "mm": Instrument("printed mm", "paper", "mm", resolution=0.01, u=0.010, u_common=0.004, declared=True),
    "ct": Instrument("printed ct", "paper", "ct", resolution=0.01, u=0.001, declared=True),
    "%": Instrument("printed %", "paper", "%", resolution=1.0, u=0.5, declared=True),
}
"""Printed steps with the reproducibility among professionals behind them.

Diameters of one stone differ by 0.01 to 0.03 mm between them, depths by less than 0.02 mm (common practice, no source).
"""


def printed_offset(name: str) -> float:
    """What to add to a printed value to reach the middle of what it stands for.

    A weight of x.xx carries all from 0.001 ct below to 0.009 ct above, because only a 9 in the third place is rounded
    up (common practice, no source); its middle is 0.004 ct above what is printed. Everything else is rounded evenly.
    """
    return 0.004 if name == "weight_ct" else 0.0
