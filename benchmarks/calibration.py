"""Cllr min and EER where most pairs of two stones lie so far apart that they are counted, not kept."""

from __future__ import annotations

import numpy as np
from sklearn.isotonic import IsotonicRegression

from samestone.evidence.observable import Array


def cllr_min(same: Array, other: Array, far: int = 0) -> float:
    """What Cllr would be after the best monotone recalibration (pool adjacent violators).

    `far` more pairs of two stones lie below all others.
    """
    of = len(other) + far
    values = np.concatenate([same, other])
    truth = np.concatenate([np.ones(len(same)), np.zeros(len(other))])
    weight = np.concatenate([np.full(len(same), 1 / len(same)), np.full(len(other), 1 / of)])
    p = IsotonicRegression(y_min=0, y_max=1, out_of_bounds="clip").fit_transform(values, truth, sample_weight=weight)
    p = np.clip(p, 1e-15, 1 - 1e-15)
    bits = -np.log2(np.where(truth == 1, p, 1 - p))
    return float((bits[: len(same)].mean() + bits[len(same) :].sum() / of) / 2)


def equal_error_rate(same: Array, other: Array, far: int = 0) -> float:
    """The rate at which a threshold errs equally often both ways; `far` more pairs of two stones lie below all."""
    thresholds = np.sort(np.concatenate([same, other]))
    missed = np.searchsorted(np.sort(same), thresholds) / len(same)
    alarms = (len(other) - np.searchsorted(np.sort(other), thresholds)) / (len(other) + far)
    at = int(np.argmin(np.abs(missed - alarms)))
    return float((missed[at] + alarms[at]) / 2)
