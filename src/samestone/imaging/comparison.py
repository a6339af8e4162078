"""Two photographs side by side: how the stone is turned, and what in them agrees."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import ClassVar

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.agreement import Feature, inclusion_scores, match_features
from samestone.imaging.copies import name_copy
from samestone.imaging.photo import Photo
from samestone.imaging.protocol import FREE_MARGIN, NOT_LAID, OTHER_FACETS, PROTOCOLS, flash_differently, why_not
from samestone.imaging.reading import PhotoReading, reading_of
from samestone.imaging.registration import Registration, register
from samestone.imaging.study import Study
from samestone.imaging.view import cut_out, turned

METHOD = "samestone-photo/2"
"""Changes whenever any number that the same two photographs give may change."""


@dataclass(frozen=True, eq=False)
class PhotoComparison:
    """Scores of a pair; what they are worth as evidence is said by `evidence.photographs`.

    `rotation_deg` is the counter-clockwise turn, as seen, that lays the stone of A as it lies in B; it may be trusted
    when `rotation_known`. `inclusion_scores` hold what the marks say; `facet_scores` what the cut does.
    """

    method: ClassVar[str] = METHOD
    a: PhotoReading
    b: PhotoReading
    protocol: str
    usable: bool
    reason: str
    rotation_deg: float = 0.0
    rotation_known: bool = False
    inclusion_scores: dict[str, float] = field(default_factory=dict)
    facet_scores: dict[str, float] = field(default_factory=dict)
    features: tuple[Feature, ...] = ()
    _studies: tuple[Study, ...] = field(default=(), repr=False)
    _shift: tuple[float, float] = (0.0, 0.0)

    @property
    def can_be_aligned(self) -> bool:
        """Whether both pictures show a stone that could be laid on the other."""
        return bool(self._studies)

    def aligned(self) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """The two stones cut out at the same size, A turned to lie as B; each 560 x 560 x 3 (red, green, blue)."""
        a, b = (_shown(study) for study in self._studies)
        return np.asarray(turned(a, self.rotation_deg, self._shift), np.uint8), b


def compare_photos(a: Photo, b: Photo, protocol: str = "") -> PhotoComparison:
    """Register the stone of A onto the stone of B and score what agrees.

    `protocol` is "guided" (one diffuse dome, stone level), "free" (any pose and lamp) or empty: guided where both
    pictures keep it. An unusable picture, a copy or a broken protocol gives `usable` False with the reason: the pair
    then counts neither way.
    """
    if protocol and protocol not in PROTOCOLS:
        raise ValueError(f"found protocol {protocol!r}, expected one of {', '.join(PROTOCOLS)}")
    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(_studied, (a, b))
    here, there = reading_of(first), reading_of(second)
    reason = _unusable(here, there)
    if reason:
        return PhotoComparison(here, there, protocol or "free", False, reason)
    broken = why_not(first, second)
    if protocol == "guided" and broken:
        return PhotoComparison(here, there, protocol, False, f"Not comparable as guided: {broken}")
    return _compare(first, second, protocol or ("free" if broken else ""))


def _studied(photo: Photo) -> Study:
    """A study with its costly parts done, so that two can be done side by side."""
    study = Study(photo)
    if study.usable:
        _ = study.marks, study.pattern.mark_rows, study.view.detail_half
    return study


def _unusable(a: PhotoReading, b: PhotoReading) -> str:
    return " ".join(f"Picture {name}: {reading.reason}" for name, reading in (("A", a), ("B", b)) if not reading.usable)


def _compare(a: Study, b: Study, protocol: str) -> PhotoComparison:
    registration = register(a.pattern, b.pattern)
    reason = name_copy(a, b, registration)
    if not reason and protocol == "guided" and flash_differently(registration):
        reason = OTHER_FACETS
    protocol = protocol or ("free" if flash_differently(registration) else "guided")
    if not reason and protocol == "free" and registration.margin < FREE_MARGIN:
        reason = NOT_LAID
    return PhotoComparison(
        a=reading_of(a),
        b=reading_of(b),
        protocol=protocol,
        usable=not reason,
        reason=reason,
        rotation_deg=registration.rotation_deg,
        rotation_known=registration.margin > FREE_MARGIN,
        inclusion_scores={} if reason else inclusion_scores(a, b, registration),
        facet_scores=facet_scores(registration),
        features=() if reason else match_features(a, b, registration),
        _studies=(a, b),
        _shift=registration.shift,
    )


def facet_scores(registration: Registration) -> dict[str, float]:
    """What the cut, not its marks, says of a pair."""
    return {
        "consistent": registration.consistent,
        "edge_gap": registration.edge_gap,
        "margin": registration.margin,
        "patches": registration.likeness,
    }


def _shown(study: Study) -> NDArray[np.uint8]:
    cut = cut_out(study.photo.pixels, study.stone)
    eight = cut if cut.dtype == np.uint8 else (cut / 257).astype(np.uint8)
    return np.asarray(cv2.cvtColor(eight, cv2.COLOR_GRAY2RGB) if eight.ndim == 2 else eight, np.uint8)
