"""From readings to the coordinates in which stones are compared, with their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from samestone.evidence.examination import PROPERTY_UNIT, Measured

Array = NDArray[np.float64]
Rows = NDArray[np.int64]
"""Positions of stones or pairs."""

COLUMNS = ("ln w", "ln d", "e", "ln z", "t", "ln a", "ln b")
"""w weight, a and b smallest and largest diameter, d their mean, e = (b-a)/d, z depth, t table in per cent of d."""
LN_W, LN_D, E, LN_Z, T, LN_A, LN_B = range(7)

PROPERTIES = tuple(PROPERTY_UNIT)


def choose_columns(present: frozenset[str] | set[str]) -> tuple[int, ...]:
    """The columns that a set of measured properties determines; one diameter alone stands for itself."""
    low, high = "diameter_min_mm" in present, "diameter_max_mm" in present
    columns = [LN_W] if "weight_ct" in present else []
    columns += [LN_D, E] if low and high else [LN_A] if low else [LN_B] if high else []
    columns += [LN_Z] if "depth_mm" in present else []
    columns += [T] if "table_percent" in present else []
    return tuple(columns)


def observables(values: Array) -> Array:
    """(n, 5) values in the order of PROPERTIES to (n, 7) columns."""
    w, a, b, z, t = values.T
    d = (a + b) / 2
    return np.stack([np.log(w), np.log(d), (b - a) / d, np.log(z), t, np.log(a), np.log(b)], axis=1)


def covariances(values: Array, independent: Array, common: Array, instrument: NDArray[np.int64]) -> Array:
    """Covariance matrices (n, 7, 7) of the observables, from u of the readings; first order, JCGM 100:2008 5.2.2.

    `independent` and `common` are (n, 5) in the properties' units; readings with the same number in `instrument` share
    the common part fully: V_ij = u_common_i u_common_j.
    """
    n = len(values)
    shared = instrument[:, :, None] == instrument[:, None, :]
    V = common[:, :, None] * common[:, None, :] * shared
    V[:, range(5), range(5)] += independent**2
    w, a, b, z, _ = values.T
    d = (a + b) / 2
    e = (b - a) / d
    J = np.zeros((n, 7, 5))
    J[:, LN_W, 0] = 1 / w
    J[:, LN_D, 1] = J[:, LN_D, 2] = 1 / (2 * d)
    J[:, E, 1] = -(1 + e / 2) / d
    J[:, E, 2] = (1 - e / 2) / d
    J[:, LN_Z, 3] = 1 / z
    J[:, T, 4] = 1
    J[:, LN_A, 1] = 1 / a
    J[:, LN_B, 2] = 1 / b
    U: Array = J @ V @ J.transpose(0, 2, 1)
    return U


def observe(readings: Sequence[dict[str, Measured]], *, fast: bool = False) -> tuple[Array, Array]:
    """Observables (n, 7) and covariances (n, 7, 7) of n records; columns of what a record lacks hold fillings."""
    rows = []
    for record in readings:
        numbers: dict[str, int] = {}
        for name in PROPERTIES:
            m = record.get(name)
            rows.append(
                (1.0, 1.0, 0.0, -1) if m is None
                else (m.value, m.u_independent, m.u_common, numbers.setdefault(m.instrument, len(numbers)))
            )  # fmt: skip
    values, independent, common, instrument = np.array(rows, np.float64).reshape(-1, 5, 4).transpose(2, 0, 1)
    if fast:
        from samestone.evidence.compiled import all_covariances

        return observables(values), all_covariances(values, independent, common, instrument)
    return observables(values), covariances(values, independent, common, instrument.astype(np.int64))
