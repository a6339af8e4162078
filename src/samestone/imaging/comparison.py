"""Two photographs side by side: how the stone is turned, and what in them agrees."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from samestone.imaging.characteristic import Characteristic
from samestone.imaging.photo import Photo
from samestone.imaging.reading import PhotoReading

PROTOCOLS = ("guided", "free")


@dataclass(frozen=True)
class Feature:
    """A mark of one picture looked for in the other; `found` is "agrees", "absent" or "cannot say"."""

    mark: Characteristic
    seen_in: str
    found: str
    agreement: float


@dataclass(frozen=True, eq=False)
class PhotoComparison:
    """Scores of a pair; what they are worth as evidence is said by `evidence.photographs`.

    `rotation_deg` is the counter-clockwise turn, as seen, that lays the stone of A as it lies in B.
    `inclusion_scores` hold only what the cut does not explain; `facet_scores` the rest.
    """

    a: PhotoReading
    b: PhotoReading
    protocol: str
    usable: bool
    reason: str
    rotation_deg: float
    margin: float
    inclusion_scores: dict[str, float] = field(default_factory=dict)
    facet_scores: dict[str, float] = field(default_factory=dict)
    features: tuple[Feature, ...] = ()
    copies: str = ""

    def aligned(self) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """The two pictures cut out around the stone, A turned to lie as B; 560 x 560 x 3."""
        raise NotImplementedError


def compare_photos(a: Photo, b: Photo, protocol: str = "guided") -> PhotoComparison:
    """Register the stone of A onto the stone of B and score what agrees."""
    raise NotImplementedError


