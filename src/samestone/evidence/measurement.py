"""Readings of two records, side by side: which can be compared, and what each comparison says by itself."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from samestone.evidence.examination import PROPERTY_UNIT, Examination, Measured
from samestone.evidence.observable import choose_columns
from samestone.evidence.verdict import Finding
from samestone.evidence.wording import Outcome

COVERED = "round brilliant"
"""The cut that the reference stones have."""

DOUBTFUL, DECISIVE = 3.0, 5.0
"""Difference over its standard uncertainty: one stone in 370 exceeds the first, one in 1.7 million the second."""


@dataclass(frozen=True, slots=True)
class Comparable:
    """The usable readings that both records share, the columns they span, and why the others are not compared."""

    was: dict[str, Measured]
    is_: dict[str, Measured]
    columns: tuple[int, ...]
    one_sided: tuple[tuple[str, Measured | None, Measured | None, str], ...]
    resized: bool


def comparable(before: Examination, after: Examination) -> Comparable:
    """Take the readings that both records have and that may be used; after a recut none is compared for likeness."""
    shared, others = [], []
    for name in PROPERTY_UNIT:
        was, is_ = before.readings.get(name), after.readings.get(name)
        if was is None and is_ is None:
            continue
        why = _why_not(name, was, is_, before, after)
        if why or was is None or is_ is None:
            others.append((name, was, is_, why))
        else:
            shared.append(name)
    resized = "recut" in after.declared_changes
    return Comparable(
        {name: before.readings[name] for name in shared},
        {name: after.readings[name] for name in shared},
        () if resized else choose_columns(set(shared)),
        tuple(others),
        resized,
    )


def _why_not(name: str, was: Measured | None, is_: Measured | None, before: Examination, after: Examination) -> str:
    for when, measured, record in (("before", was, before), ("after", is_, after)):
        if measured is None:
            why = next((entry.why for entry in record.not_examined if entry.what == name), "")
            return f"not examined {when}: {why}" if why else f"no reading {when}"
    for when, measured in (("before", was), ("after", is_)):
        if measured is not None and measured.unusable:
            return f"unusable {when}: {measured.unusable}"
    return ""


def measured_findings(readings: Comparable, changes: Sequence[str]) -> Iterator[Finding]:
    """One finding per property that either record holds.

    Difference over sqrt(u_was^2 + u_is^2): above 3 it is doubtful, above 5 it does not agree. After a declared repolish
    or recut a size or weight may be less than before, never more.
    """
    shrunk = "repolish" in changes or "recut" in changes
    for name, was in readings.was.items():
        is_ = readings.is_[name]
        sigmas = (is_.value - was.value) / math.hypot(was.u, is_.u)
        outcome, why = _declared(name, sigmas) if shrunk else _outcome(sigmas)
        yield Finding(name, was.value, is_.value, outcome, why, was.u, is_.u, sigmas)
    for name, *sides, why in readings.one_sided:
        values = [(m.value, m.u) if isinstance(m, Measured) else (None, None) for m in sides]
        yield Finding(name, values[0][0], values[1][0], "not_compared", str(why), values[0][1], values[1][1])


def _outcome(sigmas: float) -> tuple[Outcome, str]:
    if abs(sigmas) > DECISIVE:
        return "disagrees", f"{abs(sigmas):.1f} times the uncertainty of the difference"
    if abs(sigmas) > DOUBTFUL:
        return "doubtful", f"{abs(sigmas):.1f} times the uncertainty of the difference: measure again"
    return "agrees", f"within {max(abs(sigmas), 0.05):.1f} times the uncertainty of the difference"


def _declared(name: str, sigmas: float) -> tuple[Outcome, str]:
    if name == "table_percent":
        return "not_compared", "the work declared may change it"
    if sigmas > DECISIVE:
        return "disagrees", "it has grown, which no cutting or polishing can do"
    if sigmas > DOUBTFUL:
        return "doubtful", "larger than before, which no cutting or polishing can do: measure again"
    return "agrees", "not larger than before, as the work declared allows"
