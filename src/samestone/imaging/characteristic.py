"""Characteristics: marks in a photograph that are not explained by the cut."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Characteristic:
    """A mark at (x_px, y_px); `r` in girdle radii, `angle_deg` counter-clockwise, 0 at 3 o'clock.

    `kind` is "natural" (in the stone) or "dirt"; `probability` that it is that and no play of the facets.
    """

    kind: str
    x_px: float
    y_px: float
    r: float
    angle_deg: float
    probability: float
