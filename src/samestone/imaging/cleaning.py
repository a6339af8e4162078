"""Before and after cleaning: what went, what stayed, what cannot be said."""

from __future__ import annotations

from dataclasses import dataclass

from samestone.imaging.photo import Photo

NOT_VISIBLE, STILL_THERE, CANNOT_SAY = "not visible after", "still there", "cannot say"


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
    usable: bool
    reason: str
    rotation_deg: float
    features: tuple[CleanedFeature, ...]


def compare_cleaning(before: Photo, after: Photo) -> CleaningComparison:
    """Each feature of the first picture: "not visible after", "still there" or "cannot say"."""
    raise NotImplementedError
