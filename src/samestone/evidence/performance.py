"""How well likelihood ratios keep what they promise, measured on pairs whose truth is known; all are log10."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from samestone.evidence.comparison import STOCK, Case, compare_cases
from samestone.evidence.examination import Examination
from samestone.evidence.measurement import comparable
from samestone.evidence.observable import Array
from samestone.evidence.population import Population

_LN10 = math.log(10)
FEWEST = 10
"""Stones measured twice below which a shop's calibration is not shown."""


class TooFewRepeats(ValueError):
    """Not enough stones that were examined twice: how many there are, how many are needed."""


def cllr(same: Array, other: Array) -> float:
    """Log-likelihood-ratio cost of pairs of one stone and of two; 0 is perfect, 1 says nothing.

    1/2 mean log2(1 + 1/LR | one) + 1/2 mean log2(1 + LR | two). Brümmer and du Preez, Computer Speech and Language 20,
    230-275, 2006.

    >>> round(cllr(np.zeros(3), np.zeros(5)), 9)
    1.0
    """
    miss, alarm = np.logaddexp(0, -same * _LN10).mean(), np.logaddexp(0, other * _LN10).mean()
    return float((miss + alarm) / (2 * math.log(2)))


def cllr_min(same: Array, other: Array, *, far: int = 0) -> float:
    """Cllr after the best recalibration that keeps the order; Cllr - Cllr_min is what calibration could gain.

    `far` more pairs of two stones lie below all others: they are counted, not kept, and cost nothing once recalibrated.
    """
    calibrated = recalibrate(same, other, far=far)
    miss = np.logaddexp(0, -calibrated[: len(same)] * _LN10).mean()
    alarm = np.logaddexp(0, calibrated[len(same) :] * _LN10).sum() / (len(other) + far)
    return float((miss + alarm) / (2 * math.log(2)))


def recalibrate(same: Array, other: Array, *, far: int = 0) -> Array:
    """log10 LR of the best monotone calibration: pool adjacent violators on equal shares of both kinds.

    Same pairs first, then the others; values that share a score are pooled first. Zero and infinite ratios are kept at
    +-300. `far` more pairs of two stones lie below all others and get no value.
    """
    values = np.concatenate([same, other])
    _, place = np.unique(values, return_inverse=True)
    ones = np.bincount(place[: len(same)], minlength=place.max() + 1) / len(same)
    twos = np.bincount(place[len(same) :], minlength=place.max() + 1) / (len(other) + far)
    level = _pool(ones, ones + twos)
    with np.errstate(divide="ignore"):
        calibrated: Array = np.clip(np.log10(level) - np.log10(1 - level), -300, 300)[place]
    return calibrated


def _pool(part: Array, whole: Array) -> Array:
    """Non-decreasing part/whole, weighted least squares: pool adjacent violators."""
    parts: list[float] = []
    wholes: list[float] = []
    sizes: list[int] = []
    for first, total in zip(part.tolist(), whole.tolist(), strict=True):
        p, w, size = first, total, 1
        while parts and parts[-1] * w >= p * wholes[-1]:
            p, w, size = p + parts.pop(), w + wholes.pop(), size + sizes.pop()
        parts.append(p)
        wholes.append(w)
        sizes.append(size)
    return np.repeat(np.array(parts) / np.array(wholes), sizes)


def equal_error_rate(same: Array, other: Array, *, far: int = 0) -> float:
    """The rate at which a threshold errs equally often both ways, on the convex hull of its errors.

    `far` more pairs of two stones lie below all others: they are counted, not kept.
    """
    calibrated = recalibrate(same, other, far=far)
    thresholds = np.unique(calibrated)
    missed = np.r_[np.searchsorted(np.sort(calibrated[: len(same)]), thresholds) / len(same), 1.0]
    above = len(other) - np.searchsorted(np.sort(calibrated[len(same) :]), thresholds)
    alarms = np.r_[above / (len(other) + far), 0.0]
    at = int(np.argmax(missed >= alarms))
    if at == 0:
        return float(missed[0])
    rise, fall = missed[at] - missed[at - 1], alarms[at - 1] - alarms[at]
    step = (alarms[at - 1] - missed[at - 1]) / (rise + fall)
    return float(missed[at - 1] + step * rise)


def calibration_distance(same: Array, other: Array) -> float:
    """Mean distance in log10 between the ratios and their best recalibration; 0 is perfect (devPAV).

    Area between the two over the ratios that the recalibration leaves finite, by their range. Vergeer and others,
    Measuring calibration of likelihood-ratio systems, Forensic Sci. Int. 321, 110722, 2021.
    """
    values, calibrated = np.concatenate([same, other]), recalibrate(same, other)
    finite = np.abs(calibrated) < 299
    if not finite.any():
        raise ValueError("the two kinds do not overlap: their calibration cannot be judged")
    points = np.unique(np.stack([values[finite], calibrated[finite]]), axis=1)
    off, width = points[1] - points[0], np.diff(points[0])
    if not len(width):
        return float(abs(off[0]))
    left, right = off[:-1], off[1:]
    size = np.abs(left) + np.abs(right)
    crossing = (left * left + right * right) / np.where(size > 0, size, 1)
    return float((np.where(left * right >= 0, size, crossing) / 2 * width).sum() / width.sum())


def tail_identities(same: Array, other: Array, at: Sequence[float] = (0, 1, 2, 3, 4)) -> dict[float, dict[str, float]]:
    """For each log10 k: how often LR > k for two stones, and how often it must be if the ratios mean what they say.

    P(LR > k | two) = E[1/LR; LR > k | one] and P(LR < 1/k | one) = E[LR; LR < 1/k | two] (Good, Probability and the
    Weighing of Evidence, 1950, for the identity).
    """
    low, high = 10.0**-same, 10.0**other
    return {
        k: {
            "two_above": float((other > k).mean()),
            "two_above_expected": float(np.where(same > k, low, 0).mean()),
            "one_below": float((same < -k).mean()),
            "one_below_expected": float(np.where(other < -k, high, 0).mean()),
        }
        for k in at
    }


def empirical_cross_entropy(same: Array, other: Array, log10_odds: Array) -> Array:
    """Bits of uncertainty that remain, for each prior odds of one stone; Cllr is its value at odds 1.

    Ramos and Gonzalez-Rodriguez, Reliable support: measuring calibration of likelihood ratios, Forensic Sci. Int. 230,
    156-169, 2013.
    """
    odds = np.asarray(log10_odds, float)[:, None] * _LN10
    share = 1 / (1 + np.exp(-odds[:, 0]))
    miss = np.logaddexp(0, -(same * _LN10 + odds)).mean(axis=1)
    alarm = np.logaddexp(0, other * _LN10 + odds).mean(axis=1)
    out: Array = (share * miss + (1 - share) * alarm) / math.log(2)
    return out


def shares_above(values: Array, at: Array) -> Array:
    """Share of values above each point: one curve of a Tippett plot."""
    return 1 - np.searchsorted(np.sort(values), at, side="right") / len(values)


def share_range(count: int, of: int) -> tuple[float, float]:
    """95 % range of a share (Wilson, J. Am. Stat. Assoc. 22, 209-212, 1927).

    >>> [round(x, 4) for x in share_range(0, 50)]
    [0.0, 0.0714]
    """
    z = 1.959963984540054
    p, z2 = count / of, z * z / of
    half = z * math.sqrt(p * (1 - p) / of + z2 / (4 * of))
    return max(0.0, (p + z2 / 2 - half) / (1 + z2)), min(1.0, (p + z2 / 2 + half) / (1 + z2))


@dataclass(frozen=True, slots=True)
class ShopCalibration:
    """What a shop's own repeats say of its ratios: `same` of stones examined twice, `other` of each with the others.

    `missed` and `alarmed` are the shares below 1 for one stone and above 1 for two, with their 95 % ranges. Pairs of
    two stones share stones, so that the ranges of `alarmed` are too narrow where there are few.
    """

    stones: int
    same: Array
    other: Array
    missed: tuple[float, float, float]
    alarmed: tuple[float, float, float]

    def as_json(self) -> dict[str, Any]:
        grid = np.linspace(-4, 4, 81)
        return {
            "stones": self.stones,
            "pairs": {"one_stone": len(self.same), "two_stones": len(self.other)},
            "cllr": round(cllr(self.same, self.other), 4),
            "cllr_min": round(cllr_min(self.same, self.other), 4),
            "equal_error_rate": round(equal_error_rate(self.same, self.other), 4),
            "one_stone_below_1": [round(x, 5) for x in self.missed],
            "two_stones_above_1": [round(x, 5) for x in self.alarmed],
            "tippett": {
                "log10_lr": [round(float(x), 2) for x in grid],
                "one_stone": [round(float(x), 5) for x in shares_above(self.same, grid)],
                "two_stones": [round(float(x), 5) for x in shares_above(self.other, grid)],
            },
        }


def calibrate_shop(
    repeats: Sequence[tuple[Examination, Examination]], *, population: Population, stock: int = STOCK
) -> ShopCalibration:
    """Compare a shop's repeats, one pair of records a stone, with themselves and with one another.

    The second record of each stone is also compared with the first of every other. Refuses, with `TooFewRepeats`, fewer
    than ten stones.
    """
    if len(repeats) < FEWEST:
        which = "stone that was" if len(repeats) == 1 else "stones that were"
        raise TooFewRepeats(f"found {len(repeats)} {which} examined twice, expected at least {FEWEST}")
    same = _ratios([(first, second) for first, second in repeats], population, stock)
    crossed = [(a, b) for i, (a, _) in enumerate(repeats) for j, (_, b) in enumerate(repeats) if i != j]
    other = _ratios(crossed, population, stock)
    missed, alarmed = int((same < 0).sum()), int((other > 0).sum())
    return ShopCalibration(
        len(repeats),
        same,
        other,
        (missed / len(same), *share_range(missed, len(same))),
        (alarmed / len(other), *share_range(alarmed, len(other))),
    )


def _ratios(pairs: Sequence[tuple[Examination, Examination]], population: Population, stock: int) -> Array:
    cases = [Case(a, b, comparable(a, b)) for a, b in pairs]
    return np.array([v.random.value for v in compare_cases(cases, population=population, stock=stock)])
