"""An instrument and how well its indications are known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

ENOUGH_DOF = 20
"""With fewer degrees of freedom behind `u`, no likelihood ratio may rest on it: too small a u would pass unseen."""

_DEFAULTS = {
    "gauge": ("mm", 0.01, 0.02, 0.008),
    "scale": ("ct", 0.001, 0.003, 0.002),
    "table gauge": ("%", 1.0, 1.2, 0.5),
}
"""Unit, resolution, u, u_common."""

Standing = Literal["measured", "declared", "unsupported"]


@dataclass(frozen=True, slots=True)
class Instrument:
    """One gauge, scale, probe or lamp, with the standard uncertainty of a single indication.

    `u` holds everything but the step of the display; `u_common` is that part of it which every indication of the same
    sitting shares (the zero error), so that it neither averages out nor differs between two diameters. `dof` is the
    number of degrees of freedom behind `u` where it was measured; `declared` says that it is a stated, deliberately
    wide figure instead. `resolution`, `u` and `u_common` are in `unit`.
    """

    name: str
    kind: str
    unit: str
    resolution: float
    u: float
    u_common: float = 0.0
    dof: float | None = None
    declared: bool = False

    def __post_init__(self) -> None:
        for field in ("resolution", "u", "u_common"):
            value = getattr(self, field)
            if not math.isfinite(value) or value < 0:
                raise ValueError(f"instrument {self.name!r}: {field} is {value}, expected a number of at least 0")
        if self.u == 0 and self.resolution == 0:
            raise ValueError(f"instrument {self.name!r}: u and resolution are both 0; state at least one of them")
        if self.u_common > self.u:
            raise ValueError(
                f"instrument {self.name!r}: u_common {self.u_common} is larger than u {self.u}, of which it is a part"
            )
        if self.dof is not None and not self.dof >= 1:
            raise ValueError(f"instrument {self.name!r}: dof is {self.dof}, expected at least 1 or none")

    @classmethod
    def assume(cls, kind: str, name: str) -> Instrument:
        """A declared, deliberately wide default for a kind of instrument that nobody has studied yet.

        A gauge of 0.01 mm that may be out by 0.03 mm, a carat scale by 0.005 ct, a table gauge by 2 %: each u is that
        bound over sqrt(3), rounded up (JCGM 100:2008, 4.3.7; the bounds are common practice, no source). Refuses other
        kinds.
        """
        if kind not in _DEFAULTS:
            raise ValueError(
                f"no default for kind {kind!r}, expected one of {', '.join(_DEFAULTS)}; study the instrument"
            )
        unit, resolution, u, u_common = _DEFAULTS[kind]
        return cls(name, kind, unit, resolution, u, u_common, declared=True)

    @property
    def u_independent(self) -> float:
        """The part of `u` that is drawn anew for every indication; sqrt(u^2 - u_common^2)."""
        return math.sqrt(self.u**2 - self.u_common**2)

    @property
    def standing(self) -> Standing:
        """Whether `u` is measured well enough to carry evidence, is declared (and shown as such), or neither."""
        if self.dof is not None and self.dof >= ENOUGH_DOF:
            return "measured"
        return "declared" if self.declared else "unsupported"
