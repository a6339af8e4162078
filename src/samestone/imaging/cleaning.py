"""Before and after cleaning: what went, what stayed, what cannot be said.

The stone of the second picture is laid on that of the first, and a small network, learned on simulated pairs, sees
both: it says for every place of the first picture how probable a natural mark, and how probable dirt, is there. Its
peaks are the features.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from samestone.imaging.agreement import mark_scores
from samestone.imaging.characteristic import CLEANING, DIRT, Characteristic, list_marks
from samestone.imaging.copies import name_copy
from samestone.imaging.pair import see_both
from samestone.imaging.photo import Photo
from samestone.imaging.registration import Registration, register
from samestone.imaging.study import Study

NOT_VISIBLE, STILL_THERE, CANNOT_SAY = "not visible after", "still there", "cannot say"
SURE = 0.6  # from this probability on it is said outright
MARGIN, PLAIN = 4.0, 6.0
SHARED = 0.1


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
    if not reason and not is_reliable(registration.margin, mark_scores(a, b, registration)["shared"]):
        reason = "The two pictures cannot be laid on each other: take both in the same light, the stone level."
    if reason:
        return CleaningComparison(False, reason, registration.rotation_deg, ())
    return CleaningComparison(True, "", registration.rotation_deg, tuple(judge_marks(a, b, registration)))


def is_reliable(margin: float, shared: float) -> bool:
    """Whether a turn may be relied on: plainly ahead of all others, or ahead with a mark that both pictures show.

    Under one hard lamp the reflections stay where they are while the stone is turned, and may outvote it.
    """
    return margin >= PLAIN or (margin >= MARGIN and shared > SHARED)


def _studied(photo: Photo) -> Study:
    study = Study(photo)
    if study.usable:
        _ = study.pattern.mark_rows, study.view.detail_half
    return study


def judge_marks(a: Study, b: Study, registration: Registration) -> list[CleanedFeature]:
    """The features of A, surest first."""
    told = [
        _outcome(mark)
        for mark in one_per_place(list_marks(see_both(a, b, registration, one_stone=True).marks, a.stone, CLEANING))
    ]
    return sorted(told, key=lambda feature: -feature.probability)


def one_per_place(marks: tuple[Characteristic, ...], near: float = 0.02) -> list[Characteristic]:
    """The more probable one where dirt and a natural mark lie in one place (within `near` girdle radii)."""
    kept: list[Characteristic] = []
    for mark in marks:  # most probable first
        place = mark.r * np.exp(1j * np.radians(mark.angle_deg))
        if all(abs(place - other.r * np.exp(1j * np.radians(other.angle_deg))) > near for other in kept):
            kept.append(mark)
    return kept


def _outcome(mark: Characteristic) -> CleanedFeature:
    told = NOT_VISIBLE if mark.kind == DIRT else STILL_THERE
    outcome = told if mark.probability >= SURE else CANNOT_SAY
    return CleanedFeature(outcome, mark.probability, mark.x_px, mark.y_px, mark.r, mark.angle_deg)
