"""From repeated indications to one reading with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from samestone.metrology.instrument import Instrument


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured value; all four figures that follow it are in its unit, `dof` is effective (Welch-Satterthwaite).

    `u_independent` belongs to this reading alone, `u_common` is shared with every reading of the same instrument in the
    same sitting; u^2 = u_independent^2 + u_common^2. `flags` name what makes it doubtful: `scatter` (the indications
    spread more than the instrument's u allows).
    """

    value: float
    u: float
    u_independent: float
    u_common: float
    dof: float
    n: int
    flags: tuple[str, ...] = ()


def take_reading(indications: Sequence[float], instrument: Instrument) -> Reading:
    """Average the indications of one instrument into a reading.

    The independent part falls with the number of indications, the common part does not. The display adds
    resolution^2/12 (JCGM 100:2008, F.2.2.1); it averages out too where the scatter spans half a step or more, otherwise
    every indication is cut off in the same place and it stays. Refuses an empty sequence and numbers not finite.

    >>> gauge = Instrument("gauge", "gauge", "mm", resolution=0.01, u=0.010, u_common=0.004)
    >>> round(take_reading([6.47, 6.46, 6.47], gauge).u, 4)
    0.0068
    """
    n = len(indications)
    if n == 0:
        raise ValueError("no indications: a reading needs at least one number")
    if not all(math.isfinite(x) for x in indications):
        raise ValueError(f"indications {list(indications)} hold something that is not a finite number")
    own = instrument.u_independent**2
    step = instrument.resolution**2 / 12
    averaged_step = step / n if instrument.u_independent >= instrument.resolution / 2 else step
    independent = own / n + averaged_step
    common = instrument.u_common**2
    u = math.sqrt(independent + common)
    return Reading(
        value=math.fsum(indications) / n,
        u=u,
        u_independent=math.sqrt(independent),
        u_common=instrument.u_common,
        dof=_effective_dof(u, math.sqrt(own / n), instrument.dof),
        n=n,
        flags=("scatter",) if _too_scattered(indications, own + step) else (),
    )


def _effective_dof(u: float, part: float, dof: float | None) -> float:
    if dof is None or part == 0:
        return math.inf
    return u**4 * dof / part**4


_CHI2_999 = (10.828, 13.816, 16.266, 18.467, 20.515, 22.458, 24.322, 26.124, 27.877)
"""Upper 0.1 % points of chi-square with 1 to 9 degrees of freedom."""


def _too_scattered(indications: Sequence[float], variance: float) -> bool:
    n = len(indications)
    if n < 2:
        return False
    mean = math.fsum(indications) / n
    total = math.fsum((x - mean) ** 2 for x in indications) / variance
    limit = _CHI2_999[n - 2] if n <= 10 else n - 1 + 4.5 * math.sqrt(2 * (n - 1))
    return total > limit
