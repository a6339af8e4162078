"""The instrument diary: what each check demands, and which readings a failed one puts in doubt.

A check is judged when it is made (`Outcome`) and kept with its time (`Check`). Nothing here corrects a reading: a
failed check makes readings *suspect*, and a suspect reading counts neither way until it is repeated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from samestone.metrology.instrument import Instrument
from samestone.metrology.mass import MG_PER_CT, WeightClass, permitted_weight_error_mg, refuse_coarse_weight
from samestone.metrology.reading import take_reading

Standing = Literal["confirmed", "open", "suspect", "unchecked"]
_FALSE_ALARM = 3.0
"""Standard uncertainties that a check may be out: 0.3 % false alarms for a sound instrument."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a check said: passed or not, the largest deviation and its limit (in `unit`), one sentence."""

    passed: bool
    deviation: float
    limit: float
    unit: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Check:
    """One check of one instrument in its diary; `deviation` with its sign is kept for the drift."""

    at: datetime
    passed: bool
    deviation: float = 0.0


@dataclass(frozen=True, slots=True)
class Drift:
    """A straight line through the deviations of the checks: `per_year` in the instrument's unit, with its u and dof."""

    per_year: float
    u: float
    dof: int
    significant: bool


def check_zero(indications: Sequence[float], instrument: Instrument) -> Outcome:
    """The daily zero: the closed gauge or the empty scale must show zero."""
    return _compare([(0.0, 0.0, indications)], instrument)


def check_blocks(blocks: Sequence[tuple[float, float, Sequence[float]]], instrument: Instrument) -> Outcome:
    """Gauge blocks across the range, each (nominal, its standard uncertainty, indications) in the instrument's unit.

    The limit is three standard uncertainties of the mean indication and of the block, and never under two display
    steps. Refuses fewer than two blocks: one point cannot tell a zero error from a wrong scale.
    """
    if len({nominal for nominal, _, _ in blocks}) < 2:
        raise ValueError(f"{len(blocks)} gauge block(s); check at least two sizes across the range in use")
    return _compare(blocks, instrument)


def check_weight(
    nominal_g: float, weight_class: WeightClass, indications_ct: Sequence[float], scale: Instrument
) -> Outcome:
    """A known weight on a carat scale; refuses a weight too coarse for the scale (see `refuse_coarse_weight`)."""
    coarse = refuse_coarse_weight(nominal_g, weight_class, scale.resolution)
    if coarse:
        raise ValueError(str(coarse[0]))
    nominal_ct = nominal_g * 1000 / MG_PER_CT
    u_weight = permitted_weight_error_mg(nominal_g, weight_class) / MG_PER_CT / math.sqrt(3)
    return _compare([(nominal_ct, u_weight, indications_ct)], scale)


def _compare(points: Sequence[tuple[float, float, Sequence[float]]], instrument: Instrument) -> Outcome:
    worst: tuple[float, float, float, float] | None = None
    for nominal, u_nominal, indications in points:
        reading = take_reading(indications, instrument)
        limit = max(_FALSE_ALARM * math.hypot(reading.u, u_nominal), 2 * instrument.resolution)
        deviation = reading.value - nominal
        share = abs(deviation) / limit
        if worst is None or share > worst[0]:
            worst = (share, nominal, deviation, limit)
    if worst is None:
        raise ValueError("nothing was measured; a check needs at least one indication")
    share, nominal, deviation, limit = worst
    passed = share <= 1 + 1e-9
    unit = instrument.unit
    sentence = (
        f"{instrument.name} at {nominal:g} {unit}: out by {deviation:+.4g} {unit}, "
        f"{'within' if passed else 'more than'} {limit:.2g} {unit}"
    )
    return Outcome(passed, deviation, limit, unit, sentence)


def check_probe(on_known: Sequence[str], on_other: Sequence[str], response: str) -> Outcome:
    """A probe before it is believed: a known stone must give the response, a known other one must not.

    Three touches each. "metal" means that a claw was touched: such a touch counts for nothing. Refuses fewer than
    three usable touches.
    """
    usable = [[touch for touch in touches if touch != "metal"] for touches in (on_known, on_other)]
    if min(map(len, usable)) < 3:
        raise ValueError("fewer than three usable touches on one of the two known stones; touch again, not the claw")
    wrong = sum(touch != response for touch in usable[0]) + sum(touch == response for touch in usable[1])
    total = len(usable[0]) + len(usable[1])
    return Outcome(wrong == 0, float(wrong), 0.0, "touches", f"probe: {wrong} of {total} touches on known stones wrong")


STRENGTHS = ("none", "faint", "medium", "strong", "very strong")
"""Fluorescence by increasing strength."""


def check_lamp(distance_mm: float, agreed_mm: float, seen: str, expected: str) -> Outcome:
    """The UV box: the agreed distance (within a tenth) and the shop's own glowing reference stone, within one step.

    One step between observers is routine (common practice, no source).
    """
    for strength in (seen, expected):
        if strength not in STRENGTHS:
            raise ValueError(f"strength {strength!r}, expected one of {', '.join(STRENGTHS)}")
    steps = abs(STRENGTHS.index(seen) - STRENGTHS.index(expected))
    near = abs(distance_mm - agreed_mm) <= 0.1 * agreed_mm
    sentence = f"UV box at {distance_mm:g} mm (agreed {agreed_mm:g}), reference stone seen {seen}, known {expected}"
    return Outcome(near and steps <= 1, float(steps), 1.0, "steps", sentence)


def check_camera(um_per_px: float, u: float, known_um_per_px: float, u_known: float) -> Outcome:
    """A stage micrometer before the camera: the scale found now against the one on file, three u of the difference."""
    if not (um_per_px > 0 and known_um_per_px > 0 and u > 0 and u_known > 0):
        raise ValueError("the scales of a camera and their u are above zero, in micrometres per pixel")
    deviation, limit = um_per_px - known_um_per_px, _FALSE_ALARM * math.hypot(u, u_known)
    sentence = f"camera: {um_per_px:.4g} um per pixel, on file {known_um_per_px:.4g}, limit {limit:.2g}"
    return Outcome(abs(deviation) <= limit, deviation, limit, "um/px", sentence)


def standing_at(at: datetime, checks: Sequence[Check]) -> Standing:
    """How a reading taken at that time stands, given every check of its instrument.

    `suspect` from the last good check before a failed one to the next good one after it, both ends included; otherwise
    `confirmed` between two good checks, `open` after the last good check, `unchecked` where none came before.
    """
    before = [check for check in checks if check.at <= at]
    after = [check for check in checks if check.at > at or (check.at == at and not check.passed)]
    previous = max(before, key=lambda check: (check.at, not check.passed), default=None)
    following = min(after, key=lambda check: (check.at, check.passed), default=None)
    if (previous and not previous.passed) or (following and not following.passed):
        return "suspect"
    if previous is None:
        return "unchecked"
    return "confirmed" if following else "open"


def suspect_since(checks: Sequence[Check]) -> datetime | None:
    """The time of the last good check before the newest failed one: readings from then on are suspect.

    None where no check failed; the failed check's own past without any good one begins at the earliest check known.
    """
    ordered = sorted(checks, key=lambda check: check.at)
    failed = [check for check in ordered if not check.passed]
    if not failed:
        return None
    good = [check.at for check in ordered if check.passed and check.at < failed[-1].at]
    return good[-1] if good else ordered[0].at


def drift(checks: Sequence[Check]) -> Drift:
    """Fit a straight line to the deviations over time; significant at 5 %, two-sided (ordinary least squares).

    Refuses fewer than four checks or checks that are all of one moment.
    """
    if len(checks) < 4:
        raise ValueError(f"{len(checks)} checks; a drift needs at least four")
    from scipy.special import stdtrit

    start = min(check.at for check in checks)
    years = [(check.at - start).total_seconds() / 31_557_600 for check in checks]
    mean_year, mean = math.fsum(years) / len(years), math.fsum(check.deviation for check in checks) / len(checks)
    spread = math.fsum((year - mean_year) ** 2 for year in years)
    if spread == 0:
        raise ValueError("all checks are of one moment; a drift needs time between them")
    pairs = [(year - mean_year, check.deviation - mean) for year, check in zip(years, checks, strict=True)]
    slope = math.fsum(year * deviation for year, deviation in pairs) / spread
    dof = len(checks) - 2
    u = math.sqrt(math.fsum((deviation - slope * year) ** 2 for year, deviation in pairs) / dof / spread)
    return Drift(slope, u, dof, abs(slope) > float(stdtrit(dof, 0.975)) * u)
