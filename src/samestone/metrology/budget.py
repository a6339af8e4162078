"""An uncertainty budget: parts, their sensitivities, the combined u, its degrees of freedom, its coverage factor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Part:
    """One input: its standard uncertainty, how strongly the result follows it, its degrees of freedom."""

    name: str
    u: float
    sensitivity: float = 1.0
    dof: float = math.inf

    @property
    def contribution(self) -> float:
        """|sensitivity| * u, in the unit of the result."""
        return abs(self.sensitivity) * self.u


@dataclass(frozen=True, slots=True)
class Combined:
    """The combined standard uncertainty of uncorrelated parts and its effective degrees of freedom."""

    u: float
    dof: float
    parts: tuple[Part, ...]

    def coverage(self, probability: float = 0.95) -> float:
        """Two-sided Student factor k for the degrees of freedom cut down to a whole number (JCGM 100:2008, G.4.1)."""
        from scipy.special import ndtri, stdtrit

        upper = (1 + probability) / 2
        return float(ndtri(upper) if math.isinf(self.dof) else stdtrit(max(1, math.floor(self.dof)), upper))

    def expanded(self, probability: float = 0.95) -> float:
        """U = k u."""
        return self.coverage(probability) * self.u


def combine(parts: Sequence[Part]) -> Combined:
    """Combine uncorrelated parts.

    u^2 = sum (c_i u_i)^2 and the Welch-Satterthwaite degrees of freedom u^4 / sum((c_i u_i)^4 / dof_i)
    (JCGM 100:2008, equations 10 and G.2b).

    >>> round(combine([Part("a", 3.0), Part("b", 2.0, sensitivity=2.0)]).u, 3)
    5.0
    """
    total = math.fsum(part.contribution**2 for part in parts)
    spread = math.fsum(part.contribution**4 / part.dof for part in parts)
    return Combined(math.sqrt(total), total**2 / spread if spread > 0 else math.inf, tuple(parts))
