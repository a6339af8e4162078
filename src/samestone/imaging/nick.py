"""Nicks in the rim: where the outline leaves the ellipse inwards and comes back without a jump.

A nick is cut straight across the girdle, so that calipers, and the smallest width of the outline, notice it. A dark
arc, where the rim cannot be seen and an inner facet edge is found in its stead, begins and ends with a jump.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

LEAST_DEPTH = 0.0015
LARGEST_STEP = 0.0022
FEWEST_RAYS = 5

Floats = NDArray[Any]


def nick_depths(residuals: Floats, seen: NDArray[np.bool_], radius_px: float) -> Floats:
    """Per ray how far a nick lies inside the ellipse, in pixels; 0 elsewhere. Rays go once around."""
    share = np.where(seen, residuals, np.inf) / radius_px
    inward = (share < -LEAST_DEPTH) & seen
    depths = np.zeros(len(share))
    if inward.all() or not inward.any():
        return depths
    start = int(np.flatnonzero(~inward)[0])
    turned, kept = np.roll(inward, -start), np.roll(share, -start)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], turned, [False]]).astype(int)))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        around = kept[np.arange(first - 1, end + 1) % len(kept)]
        steady = np.isfinite(around).all() and float(np.abs(np.diff(around)).max()) < LARGEST_STEP
        if end - first >= FEWEST_RAYS and steady:
            depths[(np.arange(first, end) + start) % len(depths)] = -radius_px * kept[first:end]
    return depths
