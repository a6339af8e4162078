"""Check weights: what error their class allows, and which of them a scale can be checked with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from samestone.metrology.problem import Problem

WeightClass = Literal["E2", "F1", "F2", "M1"]

MG_PER_CT = 200.0
"""1 metric carat = 200 mg exactly (4th General Conference on Weights and Measures, 1907)."""

PERMITTED_ERROR_MG: Mapping[WeightClass, Mapping[float, float]] = {
    "E2": {0.1: 0.016, 0.2: 0.020, 0.5: 0.025, 1: 0.03, 2: 0.04, 5: 0.05, 10: 0.06, 20: 0.08, 50: 0.10, 100: 0.16},
    "F1": {0.1: 0.05, 0.2: 0.06, 0.5: 0.08, 1: 0.10, 2: 0.12, 5: 0.16, 10: 0.20, 20: 0.25, 50: 0.3, 100: 0.5},
    "F2": {0.1: 0.16, 0.2: 0.20, 0.5: 0.25, 1: 0.3, 2: 0.4, 5: 0.5, 10: 0.6, 20: 0.8, 50: 1.0, 100: 1.6},
    "M1": {0.1: 0.5, 0.2: 0.6, 0.5: 0.8, 1: 1.0, 2: 1.2, 5: 1.6, 10: 2.0, 20: 2.5, 50: 3.0, 100: 5.0},
}
"""Maximum permissible error in mg by class and nominal mass in g: OIML R 111-1, table 1."""

_SMALLEST_INTERVAL_MG = 1.0
"""OIML R 76-1: the verification interval e of an ordinary precision scale (class II) is at least 1 mg."""


def permitted_weight_error_mg(nominal_g: float, weight_class: WeightClass) -> float:
    """Maximum permissible error of a check weight in mg (OIML R 111-1, table 1); refuses what the table lacks."""
    try:
        return PERMITTED_ERROR_MG[weight_class][nominal_g]
    except KeyError:
        raise ValueError(
            f"no permitted error for a {nominal_g:g} g weight of class {weight_class}; "
            f"classes {', '.join(PERMITTED_ERROR_MG)}, masses {', '.join(f'{g:g}' for g in PERMITTED_ERROR_MG['F1'])} g"
        ) from None


def permitted_scale_error_mg(load_mg: float, interval_mg: float, *, in_service: bool = False) -> float:
    """Maximum permissible error in mg of a class II scale at a load (OIML R 76-1, table 6; in service twice that).

    >>> permitted_scale_error_mg(10_000, 1.0)
    1.0
    """
    intervals = load_mg / interval_mg
    if not 0 <= intervals <= 100_000:
        raise ValueError(f"a load of {load_mg:g} mg is {intervals:g} intervals, expected 0 to 100000 for class II")
    factor = 0.5 if intervals <= 5_000 else 1.0 if intervals <= 20_000 else 1.5
    return factor * interval_mg * (2 if in_service else 1)


def refuse_coarse_weight(nominal_g: float, weight_class: WeightClass, step_ct: float) -> tuple[Problem, ...]:
    """Say whether a check weight is too coarse for a scale with that display step; empty is good news.

    Its permitted error may be a third of the scale's at that load (OIML R 76-1, 3.7.1), with e = the step, at least
    1 mg.

    >>> [str(p.field) for p in refuse_coarse_weight(10, "M1", 0.001)]
    ['weight_class']
    """
    error = permitted_weight_error_mg(nominal_g, weight_class)
    interval = max(_SMALLEST_INTERVAL_MG, step_ct * MG_PER_CT)
    allowed = permitted_scale_error_mg(nominal_g * 1000, interval) / 3
    if error <= allowed:
        return ()
    fine = [name for name, masses in PERMITTED_ERROR_MG.items() if masses[nominal_g] <= allowed]
    finer = f"use class {fine[-1]}" if fine else "use a heavier weight of a finer class"
    return (
        Problem(
            "weight_class",
            f"{weight_class}, which may be out by {error / MG_PER_CT:.4f} ct",
            f"at most {allowed / MG_PER_CT:.4f} ct for a scale that shows {step_ct:g} ct",
            finer,
        ),
    )
