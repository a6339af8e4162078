"""Before and after cleaning: what went, what stayed, what cannot be said.

The stone of the first picture is laid on the second; for every mark of the first its place in the second is looked
at: is there a mark, and does the neighbourhood look alike? Two logistic rules on five numbers, learned on simulated
pairs, say how probable it is that the mark is real (no play of the facets) and that it is gone.
"""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.characteristic import Characteristic, list_marks
from samestone.imaging.copies import name_copy
from samestone.imaging.photo import Photo
from samestone.imaging.registration import Registration, register
from samestone.imaging.study import Study
from samestone.imaging.view import GIRDLE, MIDDLE, SIDE, Plane, enlarged, turned

NOT_VISIBLE, STILL_THERE, CANNOT_SAY = "not visible after", "still there", "cannot say"
SURE = 0.7
REAL = 0.4
CANDIDATE = 0.25
REACH = 8
MARGIN = 2.0


@dataclass(frozen=True)
class CleanedFeature:
    """A feature of the first picture; `probability` belongs to the stated `outcome`."""

    outcome: str
    probability: float
    x_px: float
    y_px: float
    r: float
    angle_deg: float


@dataclass(frozen=True)
class CleaningComparison:
    """What cleaning changed; `usable` False, with the reason, when the two pictures cannot be laid on each other."""

    usable: bool
    reason: str
    rotation_deg: float
    features: tuple[CleanedFeature, ...]


def compare_cleaning(before: Photo, after: Photo) -> CleaningComparison:
    """Each feature of the first picture: "not visible after", "still there" or "cannot say".

    "Not visible after" is what the second picture shows, not that it is gone: in a dark facet nothing can be said.
    """
    with ThreadPoolExecutor(2) as pool:
        a, b = pool.map(_studied, (before, after))
    for name, study in (("first", a), ("second", b)):
        blocking = [f"{flag.sentence} {flag.remedy}" for flag in study.flags if flag.blocking]
        if blocking:
            return CleaningComparison(False, f"The {name} picture: {' '.join(blocking)}", 0.0, ())
    registration = register(a.pattern, b.pattern)
    reason = name_copy(a, b, registration)
    if not reason and registration.margin < MARGIN:
        reason = "The two pictures cannot be laid on each other: take both in the same light, the stone level."
    if reason:
        return CleaningComparison(False, reason, registration.rotation_deg, ())
    return CleaningComparison(True, "", registration.rotation_deg, tuple(judge_marks(a, b, registration)))


def _studied(photo: Photo) -> Study:
    study = Study(photo)
    if study.usable:
        _ = study.pattern.softened, study.view.halves
    return study


def candidates(a: Study) -> list[Characteristic]:
    """Marks of either kind in the first picture, faint ones too, one per place."""
    either = np.maximum(a.maps[0], a.maps[1])
    return list(list_marks(np.stack([either, np.zeros_like(either)]), a.stone, CANDIDATE))


def judge_marks(a: Study, b: Study, registration: Registration) -> list[CleanedFeature]:
    """The outcome for every candidate."""
    marks = candidates(a)
    if not marks:
        return []
    real, gone = judge_numbers(describe_marks(a, b, registration, marks))
    told = [_outcome(mark, p) for mark, q, p in zip(marks, real, gone, strict=True) if q >= REAL]
    return sorted(told, key=lambda feature: -feature.probability)


def judge_numbers(numbers: NDArray[np.float64]) -> tuple[list[float], list[float]]:
    """Probability per mark that it is real, and that it is gone."""
    return _probability(numbers, _rule()["real"]), _probability(numbers, _rule()["gone"])


def _probability(numbers: NDArray[np.float64], rule: dict[str, Any]) -> list[float]:
    odds = numbers @ np.array(rule["weights"]) + rule["offset"]
    return [float(p) for p in 1 / (1 + np.exp(-odds))]


@lru_cache(maxsize=1)
def _rule() -> dict[str, Any]:
    text = files("samestone.imaging").joinpath("data/cleaning.json").read_text(encoding="utf-8")
    rule: dict[str, Any] = json.loads(text)
    return rule


def _outcome(mark: Characteristic, gone: float) -> CleanedFeature:
    outcome, probability = CANNOT_SAY, max(gone, 1 - gone)
    if gone >= SURE:
        outcome = NOT_VISIBLE
    elif gone <= 1 - SURE:
        outcome = STILL_THERE
    return CleanedFeature(outcome, probability, mark.x_px, mark.y_px, mark.r, mark.angle_deg)


def describe_marks(a: Study, b: Study, registration: Registration, marks: list[Characteristic]) -> NDArray[np.float64]:
    """Five numbers per mark: log odds of dirt and of a natural mark before, of any mark after, likeness, its change."""
    forth = turned(a.view.detail, registration.rotation_deg, registration.shift)
    natural, dirt = enlarged(a.maps[0]), enlarged(a.maps[1])
    after = np.maximum(enlarged(b.maps[0]), enlarged(b.maps[1]))
    rows = []
    for mark in marks:
        x, y = _in_view(mark, a)
        u, v = _carried(x, y, registration)
        likeness, change = _look_alike(forth, b.view.detail, u, v)
        rows.append(
            (
                _odds(_most(dirt, x, y, 4)),
                _odds(_most(natural, x, y, 4)),
                _odds(_most(after, u, v, REACH)),
                likeness,
                change,
            )
        )
    return np.array(rows)


def _in_view(mark: Characteristic, study: Study) -> tuple[float, float]:
    zoom, (x, y) = GIRDLE / study.stone.radius_px, study.stone.centre_px
    return MIDDLE + (mark.x_px - x) * zoom, MIDDLE + (mark.y_px - y) * zoom


def _carried(x: float, y: float, registration: Registration) -> tuple[float, float]:
    angle = np.radians(registration.rotation_deg)
    dx, dy = x - MIDDLE, y - MIDDLE
    u = MIDDLE + dx * np.cos(angle) + dy * np.sin(angle) + registration.shift[0]
    return float(u), float(MIDDLE - dx * np.sin(angle) + dy * np.cos(angle) + registration.shift[1])


def _most(plane: Plane, x: float, y: float, reach: int) -> float:
    column, row = round(x), round(y)
    window = plane[max(0, row - reach) : row + reach + 1, max(0, column - reach) : column + reach + 1]
    return float(window.max()) if window.size else 0.0


def _odds(probability: float) -> float:
    p = min(max(probability, 0.003), 0.997)
    return float(np.log(p / (1 - p)))


def _look_alike(a: Plane, b: Plane, x: float, y: float, *, half: int = 10, reach: int = 5) -> tuple[float, float]:
    """Best correlation of A's patch within a few pixels in B, and by how much the patch's contrast fell."""
    column, row = (
        round(min(max(x, half + reach), SIDE - 1 - half - reach)),
        round(min(max(y, half + reach), SIDE - 1 - half - reach)),
    )
    patch = a[row - half : row + half + 1, column - half : column + half + 1]
    wide = b[row - half - reach : row + half + reach + 1, column - half - reach : column + half + reach + 1]
    surface = cv2.matchTemplate(wide, patch, cv2.TM_CCOEFF_NORMED)
    centre = (slice(half - 4, half + 5),) * 2
    then = float(np.abs(patch[centre]).max())
    now = float(np.abs(wide[half + reach - 4 : half + reach + 5, half + reach - 4 : half + reach + 5]).max())
    return float(surface.max()), then - now
