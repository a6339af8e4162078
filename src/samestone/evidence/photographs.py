"""What two photographs are worth as evidence: a likelihood ratio from characteristics, facets a weaker line.

A line of evidence is log10 LR = (b + sum of w_k x_k) / ln 10, a logistic calibration of the scores of
`imaging.compare_photos`, learned per protocol on pairs of one stone and of two, twins and clones among the two (van
Leeuwen and Brümmer, The distribution of calibrated likelihood-ratios in speaker recognition, Interspeech 2013, for the
method). It is clipped to +- log10(n) for n stones behind the calibration: nobody can vouch for more from so few.
Marks inside the stone carry the verdict. Scores made from the cut give a line of their own, which may take away a
lot (the facets are not these) but adds less than a factor of ten, since a stone can be cut to the same facets.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from samestone import imaging
from samestone.evidence.batch import unique_keys
from samestone.evidence.bound import clip
from samestone.evidence.verdict import Block, Weight

FORMAT = "samestone-photo-calibration/1"
PROTOCOLS = ("guided", "free")
FEWEST_STONES = 20
"""With fewer stones behind it a calibration gives no number."""

_SCORES = ("likeness", "shared", "lone", "evidence", "consistent", "edge_gap", "margin", "patches")


class BadCalibration(ValueError):
    """Not a calibration of photographs: what was found, what was expected."""


class TooFewPairs(ValueError):
    """Not enough repeat photographs to calibrate on: what was found, what is needed."""


@dataclass(frozen=True)
class PhotoEvidence:
    """What a pair of photographs says; `log10_lr` is absent when the pair cannot be compared."""

    comparison: imaging.PhotoComparison
    log10_lr: Weight | None
    inclusions: Weight | None
    facets: Weight | None
    stones: int
    source: str

    def as_block(self) -> Block | None:
        """The block for `evidence.compare`; None when the pair counts neither way."""
        if self.log10_lr is None:
            return None
        value = self.log10_lr.value
        why = f"photographs ({self.comparison.protocol} protocol), characteristics only"
        lower, upper = self.log10_lr.lower, self.log10_lr.upper
        return Block("photographs", value, value, lower, upper, value, self.stones, True, why)


@lru_cache(maxsize=1)
def shipped_calibration() -> dict[str, Any]:
    """The calibration that comes with the program, learned on simulated photographs."""
    text = (files("samestone.evidence") / "data" / "photographs-1.json").read_text(encoding="utf-8")
    table: dict[str, Any] = json.loads(text)
    return table


def calibration_text(table: Mapping[str, Any]) -> str:
    """A calibration written in one way only, exact to the last digit of every number."""
    return json.dumps(table, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def read_calibration(text: str) -> dict[str, Any]:
    """The calibration in a file that `samestone calibrate-photos` wrote, or in a packet; refuses (BadCalibration)."""
    try:
        table = json.loads(text, object_pairs_hook=unique_keys)
    except (ValueError, RecursionError) as error:
        raise BadCalibration(f"{error}; expected a file that calibrate-photos wrote") from None
    if not isinstance(table, dict):
        raise BadCalibration(f"found a JSON {type(table).__name__}, expected a file that calibrate-photos wrote")
    if table.get("format") != FORMAT:
        raise BadCalibration(f"found format {table.get('format')!r}, expected {FORMAT!r}")
    if missing := [key for key in ("source", *PROTOCOLS) if key not in table]:
        raise BadCalibration(f"{missing[0]} is missing; expected a file that calibrate-photos wrote")
    for protocol in PROTOCOLS:
        try:
            found = combine_scores(dict.fromkeys(_SCORES, 0.0), table[protocol])
        except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
            raise BadCalibration(
                f"{protocol} cannot be used ({error!r}); expected what calibrate-photos wrote"
            ) from None
        if not all(map(math.isfinite, found)):
            raise BadCalibration(f"{protocol} gives {found}, expected finite numbers")
    return table


def combine_scores(scores: Mapping[str, float], entry: Mapping[str, Any]) -> tuple[float, float, float]:
    """(log10 LR, inclusion line, facet line) of a pair's scores under one protocol's entry of a calibration.

    The marks can speak for one stone only as far as sure marks are shared: from `shared_needed[0]` on, by
    `shared_needed[1]` per unit (two stones without marks have much in common, and none of it is evidence). The facets
    may take away much but add little: a stone cut alike is never lifted by them beyond `facet_limits`.
    """
    cap = math.log10(entry["stones"])
    least, rate = entry["shared_needed"]
    most = min(cap, max(0.0, rate * (scores["shared"] - least)))
    raw = {}
    for what in ("inclusions", "facets"):
        line = entry[what]
        raw[what] = (line["offset"] + sum(w * scores[name] for name, w in line["weights"].items())) / math.log(10)
    inclusions, facets = clip(raw["inclusions"], -cap, most), clip(raw["facets"], *entry["facet_limits"])
    return clip(inclusions + facets, -cap, cap), inclusions, facets


def weigh_photographs(
    comparison: imaging.PhotoComparison, calibration: Mapping[str, Any] | None = None
) -> PhotoEvidence:
    """The evidence of a pair of photographs, by a shop's own calibration or the shipped one."""
    table = shipped_calibration() if calibration is None else calibration
    if comparison.protocol not in table:
        raise ValueError(f"the calibration holds {sorted(table)}, nothing for the {comparison.protocol} protocol")
    entry = table[comparison.protocol]
    cap, (low, high) = math.log10(entry["stones"]), entry["facet_limits"]
    if not comparison.usable:
        return PhotoEvidence(comparison, None, None, None, entry["stones"], table["source"])
    scores = {**comparison.inclusion_scores, **comparison.facet_scores}
    value, inclusions, facets = combine_scores(scores, entry)
    return PhotoEvidence(
        comparison=comparison,
        log10_lr=Weight(value, -cap, cap),
        inclusions=Weight(inclusions, -cap, cap),
        facets=Weight(facets, low, high),
        stones=entry["stones"],
        source=table["source"],
    )


def picture_line(
    comparison: imaging.PhotoComparison, calibration: Mapping[str, Any] | None = None, *, doubt: str = ""
) -> dict[str, Any]:
    """What the earlier (A) and the new (B) picture say, with all that is needed to work it out again from the two.

    JSON values: `method`, `before` and `now` (SHA-256 of the bytes), `protocol`, `calibration` (its text and the
    SHA-256 of that), the `source` and number of `stones` behind it, `turn_deg` where known (the counter-clockwise turn
    that makes the new picture lie as the earlier one). Then `log10_lr` with its bounds, in hundredths, and how many
    features `agree` or are `absent` from one picture; or else `why_not`. `doubt` says why the pictures must not count,
    for a reason outside them: the line then gives no number and is `in_doubt`.
    """
    table = shipped_calibration() if calibration is None else calibration
    weighed, text = weigh_photographs(comparison, table), calibration_text(table)
    line: dict[str, Any] = {
        "method": comparison.method,
        "before": comparison.a.digest,
        "now": comparison.b.digest,
        "protocol": comparison.protocol,
        "calibration": {"sha256": hashlib.sha256(text.encode()).hexdigest(), "table": text},
        "source": weighed.source,
        "stones": weighed.stones,
    }
    if comparison.rotation_known:
        line["turn_deg"] = round((-comparison.rotation_deg + 180) % 360 - 180)
    value = weighed.log10_lr
    if doubt:
        return {**line, "in_doubt": True, "why_not": doubt}
    if value is None:
        return {**line, "why_not": reason_at_counter(comparison)}
    if (made_for := table.get("method", comparison.method)) != comparison.method:
        return {**line, "why_not": f"The calibration was made for the method {made_for}; run calibrate-photos again."}
    if weighed.stones < FEWEST_STONES:
        return {**line, "why_not": "There is no calibration for such pictures yet; compare them by eye."}
    found = [feature.found for feature in comparison.features]
    numbers = {"agree": found.count("agrees"), "absent": found.count("absent")}
    return {**line, "log10_lr": _in_hundredths(value), "speaks": "for" if value.value > 0 else "against", **numbers}


def _in_hundredths(weight: Weight) -> dict[str, float]:
    """Coarse enough that processors which add in another order print the same digits; never beyond the bounds."""
    lower, upper = math.ceil(weight.lower * 100) / 100, math.floor(weight.upper * 100) / 100
    return {"value": clip(round(weight.value, 2), lower, upper), "lower": lower, "upper": upper}


def reason_at_counter(comparison: imaging.PhotoComparison) -> str:
    """Why a pair does not count, in words for take-in and pick-up; empty where it does."""
    words = comparison.reason.replace("Picture A: ", "The earlier picture: ")
    return words.replace("Picture B: ", "The new picture: ")


def fit_line(
    scores: Sequence[Mapping[str, float]], same: Sequence[bool], names: Sequence[str], ridge: float = 1.0
) -> tuple[dict[str, float], float]:
    """Weights and offset of a logistic calibration; both kinds of pair count equally, whatever their numbers.

    Returns natural-logarithm odds weights per score such that offset + sum is ln LR. Newton steps on the weighted
    logistic loss with a small ridge on standardised scores.
    """
    x = np.array([[row[name] for name in names] for row in scores])
    y = np.array(same, dtype=float)
    if y.sum() < FEWEST_STONES or (1 - y).sum() < FEWEST_STONES:
        raise TooFewPairs(f"found {int(y.sum())} pairs of one stone, expected at least {FEWEST_STONES} of each kind")
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-9
    design = np.column_stack([np.ones(len(x)), (x - mean) / spread])
    share = np.where(y > 0, 0.5 / y.sum(), 0.5 / (1 - y).sum()) * 2 * y.sum()
    penalty = ridge * np.diag([0.0] + [1.0] * len(names))
    beta = np.zeros(design.shape[1])
    for _ in range(60):
        p = 1 / (1 + np.exp(-np.clip(design @ beta, -40, 40)))
        gradient = design.T @ (share * (y - p)) - penalty @ beta
        curvature = design.T @ (design * (share * p * (1 - p))[:, None]) + penalty + 1e-9 * np.eye(len(beta))
        step = np.linalg.solve(curvature, gradient)
        beta += np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-8:
            break
    weights = beta[1:] / spread
    return dict(zip(names, map(float, weights), strict=True)), float(beta[0] - weights @ mean)


def recalibrate(
    table: Mapping[str, Any], protocol: str, pairs: Sequence[tuple[imaging.PhotoComparison, bool]]
) -> dict[str, Any]:
    """A shop's own table: the shipped scores rescaled (two numbers) on its repeat photographs.

    `pairs` are usable comparisons and whether both show one stone. Refuses (TooFewPairs) under 20 pairs of one stone.
    The cap becomes the number of the shop's own stones. Names the method whose scores it is for.
    """
    entry = table[protocol]
    scores = []
    for pair, _ in pairs:
        value, _inclusions, _facets = combine_scores(
            {**pair.inclusion_scores, **pair.facet_scores}, {**entry, "stones": 10**6}
        )
        scores.append({"value": value * math.log(10)})
    slope, offset = fit_line(scores, [same for _, same in pairs], ["value"])
    stones = sum(same for _, same in pairs)
    scale = slope["value"]
    low, high = entry["facet_limits"]
    own = {**entry, "stones": int(stones), "twins": 0, "facet_limits": [low * scale, high * scale]}
    for what, shift in (("inclusions", offset), ("facets", 0.0)):
        weights = {name: scale * weight for name, weight in entry[what]["weights"].items()}
        own[what] = {"weights": weights, "offset": scale * entry[what]["offset"] + shift}
    source = f"the shop's own {stones} repeat pairs"
    return {**table, protocol: own, "source": source, "method": imaging.PhotoComparison.method}
