"""How well the characteristics of two registered pictures agree, facets left aside."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from samestone.imaging.characteristic import NATURAL, Characteristic
from samestone.imaging.registration import Registration
from samestone.imaging.study import Study
from samestone.imaging.view import GIRDLE, MIDDLE, Plane, disc, turned

AGREES, ABSENT, CANNOT_SAY = "agrees", "absent", "cannot say"
NEAR_PX = 9
SURE = 0.5


@dataclass(frozen=True)
class Feature:
    """A mark of one picture looked for in the other; `found` is "agrees", "absent" or "cannot say"."""

    mark: Characteristic
    seen_in: str
    found: str
    agreement: float


def inclusion_scores(a: Study, b: Study, registration: Registration) -> dict[str, float]:
    """Scores from the maps of natural marks alone.

    `tight` and `loose` correlate the maps after a little and more smoothing, `control` is the best that the tight
    correlation reaches at the cut's other turns (where nothing should agree), `shared` and `lone` weigh marks found in
    both and marks that have no partner.
    """
    inside = disc(0.95)
    first, second = a.natural, b.natural
    here = turned(first, registration.rotation_deg, registration.shift)
    tight = _likeness(_soft(here, 2.0), _soft(second, 2.0), inside)
    loose = _likeness(_soft(here, 6.0), _soft(second, 6.0), inside)
    others = [
        _likeness(_soft(turned(first, registration.rotation_deg + 360 / a.fold * k), 2.0), _soft(second, 2.0), inside)
        for k in range(1, a.fold)
    ]
    shared, lone = _shared_and_lone(here, second, inside)
    return {"tight": tight, "loose": loose, "control": max(others), "shared": shared, "lone": lone}


def _soft(plane: Plane, sigma: float) -> Plane:
    return cv2.GaussianBlur(plane, (0, 0), sigma)


def _likeness(a: Plane, b: Plane, inside: np.ndarray) -> float:
    x, y = a[inside] - a[inside].mean(), b[inside] - b[inside].mean()
    return float(x @ y / np.sqrt((x @ x) * (y @ y) + 1e-6))


def _shared_and_lone(a: Plane, b: Plane, inside: np.ndarray) -> tuple[float, float]:
    """Logarithms of the summed map where the other has something near, and where it has nothing."""
    near = np.ones((NEAR_PX, NEAR_PX), np.uint8)
    reach_a, reach_b = cv2.dilate(a, near), cv2.dilate(b, near)
    both = (np.minimum(a, reach_b) + np.minimum(b, reach_a))[inside].sum()
    alone = (np.maximum(a - reach_b, 0) + np.maximum(b - reach_a, 0))[inside].sum()
    return float(np.log1p(both)), float(np.log1p(alone))


def match_features(a: Study, b: Study, registration: Registration) -> tuple[Feature, ...]:
    """Each natural mark of either picture and what the other says of its place."""
    there = turned(a.natural, registration.rotation_deg, registration.shift)
    back = turned(b.natural, -registration.rotation_deg)
    features = [_look(mark, "A", a, back) for mark in a.marks if mark.kind == NATURAL]
    features += [_look(mark, "B", b, there) for mark in b.marks if mark.kind == NATURAL]
    return tuple(features)


def _look(mark: Characteristic, seen_in: str, study: Study, other: Plane) -> Feature:
    zoom = GIRDLE / study.stone.radius_px
    x = round(MIDDLE + (mark.x_px - study.stone.centre_px[0]) * zoom)
    y = round(MIDDLE + (mark.y_px - study.stone.centre_px[1]) * zoom)
    window = other[max(0, y - NEAR_PX) : y + NEAR_PX + 1, max(0, x - NEAR_PX) : x + NEAR_PX + 1]
    best = float(window.max()) if window.size else 0.0
    found = AGREES if best > 0.4 else ABSENT if best < 0.08 and mark.probability > SURE else CANNOT_SAY
    return Feature(mark, seen_in, found, round(best, 3))
