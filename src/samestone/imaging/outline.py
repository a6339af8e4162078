"""The girdle's outline in a face-up photograph."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Outline:
    """An ellipse through the girdle's edge; `axis_angle_deg` is the direction of the longest diameter."""

    centre_px: tuple[float, float]
    diameter_max_px: float
    diameter_min_px: float
    axis_angle_deg: float
    rms_px: float
    covered: float
    hidden_deg: tuple[tuple[float, float], ...] = ()

    @property
    def radius_px(self) -> float:
        """Mean girdle radius."""
        return (self.diameter_max_px + self.diameter_min_px) / 4
