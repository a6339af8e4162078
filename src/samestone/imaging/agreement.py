"""How well the characteristics of two registered pictures agree, facets left aside."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.characteristic import NATURAL, Characteristic
from samestone.imaging.pair import see_both
from samestone.imaging.registration import Registration
from samestone.imaging.study import Study
from samestone.imaging.view import GIRDLE, MIDDLE, Plane, disc, turned

AGREES, ABSENT, CANNOT_SAY = "agrees", "absent", "cannot say"
NEAR_PX = 9
SURE = 0.5
MOST = 8.0  # natural-logarithm odds of a pair, beyond which more says nothing more


@dataclass(frozen=True)
class Feature:
    """A mark of one picture looked for in the other; `found` is "agrees", "absent" or "cannot say"."""

    mark: Characteristic
    seen_in: str
    found: str
    agreement: float


def inclusion_scores(a: Study, b: Study, registration: Registration) -> dict[str, float]:
    """What the natural marks of two pictures have in common.

    As `mark_scores`, and, from both pictures seen at once, `evidence`: the sum of what the places say, held within a
    few units of natural-logarithm odds.
    """
    raw = float(see_both(a, b, registration).evidence.sum())
    return mark_scores(a, b, registration) | {"evidence": min(MOST, max(-MOST, raw))}


def mark_scores(a: Study, b: Study, registration: Registration) -> dict[str, float]:
    """Scores from the half-size maps of natural marks, each picture seen by itself.

    `likeness` correlates the squared maps, so that what is surely a mark outweighs what may be a play of the facets;
    `shared` and `lone` are the logarithms of one plus how much of the sure marks (above one half) the other picture
    shows within two pixels, and how much it shows nothing of.
    """
    return score_maps(_carried(a.maps[0], registration), b.maps[0])


def score_maps(first: Plane, second: Plane) -> dict[str, float]:
    """The scores of two half-size maps that lie on each other."""
    inside, near = disc(0.95)[::2, ::2], np.ones((5, 5), np.uint8)
    wide_first, wide_second = cv2.dilate(first, near), cv2.dilate(second, near)
    sure_first, sure_second = np.maximum(first - SURE, 0), np.maximum(second - SURE, 0)
    shared = np.minimum(sure_first, np.maximum(wide_second - SURE, 0))
    lone = np.maximum(
        sure_first * (1 - np.minimum(1, 3 * wide_second)), sure_second * (1 - np.minimum(1, 3 * wide_first))
    )
    return {
        "likeness": _likeness(first**2, second**2, inside),
        "shared": float(np.log1p(shared[inside].sum())),
        "lone": float(np.log1p(lone[inside].sum())),
    }


def _carried(plane: Plane, registration: Registration) -> Plane:
    """A half-size plane of A laid on B."""
    shift = (registration.shift[0] / 2, registration.shift[1] / 2)
    return turned(plane, registration.rotation_deg, shift)


def _likeness(a: Plane, b: Plane, inside: NDArray[np.bool_]) -> float:
    x, y = a[inside] - a[inside].mean(), b[inside] - b[inside].mean()
    return float(x @ y / np.sqrt((x @ x) * (y @ y) + 1e-6))


def match_features(a: Study, b: Study, registration: Registration) -> tuple[Feature, ...]:
    """Each natural mark of either picture and what the other says of its place."""
    there = _carried(a.maps[0], registration)
    back = turned(b.maps[0], -registration.rotation_deg)
    features = [_look(mark, "A", a, back) for mark in a.marks if mark.kind == NATURAL]
    features += [_look(mark, "B", b, there) for mark in b.marks if mark.kind == NATURAL]
    return tuple(features)


def _look(mark: Characteristic, seen_in: str, study: Study, other: Plane) -> Feature:
    zoom, reach = GIRDLE / study.stone.radius_px / 2, NEAR_PX // 2
    x = round((MIDDLE - 0.5) / 2 + (mark.x_px - study.stone.centre_px[0]) * zoom)
    y = round((MIDDLE - 0.5) / 2 + (mark.y_px - study.stone.centre_px[1]) * zoom)
    window = other[max(0, y - reach) : y + reach + 1, max(0, x - reach) : x + reach + 1]
    best = float(window.max()) if window.size else 0.0
    found = AGREES if best > 0.4 else ABSENT if best < 0.08 and mark.probability > SURE else CANNOT_SAY
    return Feature(mark, seen_in, found, round(best, 3))
