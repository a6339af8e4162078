"""Nicks and facets that cut into the rim: where the outline leaves the ellipse and comes back without a jump.

A nick is cut straight across the girdle, and on a knife-edged girdle so is every facet whose slope is a little off, so
that calipers notice it. A dark arc, where the rim cannot be seen and an inner facet edge is found in its stead, and a
claw begin or end with a jump, at their farthest.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

NEAR = 0.0015
FARTHEST = 0.012
LARGEST_STEP = 0.0022
FEWEST_RAYS = 5
COMING_BACK = 0.75  # of how far it was, and no more: where the rest of the way back is not seen
AMONG = 5  # rays, of which one or two may be wrong

Floats = NDArray[Any]


def excursions(off: Floats, seen: NDArray[np.bool_], radius_px: float) -> NDArray[np.bool_]:
    """Rays on which the rim itself lies farther than `NEAR` radii off the ellipse.

    `off` is each ray's edge outside the ellipse, in pixels, `seen` whether it has one. Rays go once around.
    """
    share = _running_median(np.where(seen, off, np.nan)) / radius_px
    side = np.where(np.abs(share) > NEAR, np.sign(share), np.where(np.isnan(share), 2, 0))
    joined = np.abs(share - np.roll(share, 1)) < LARGEST_STEP  # to the ray before; never where one of them has no edge
    home = joined & ((side == 0) | (np.roll(side, 1) == 0))
    found = np.zeros(len(off), bool)
    starts = np.flatnonzero((side != np.roll(side, 1)) | ~joined)
    for first, after in zip(starts, np.roll(starts, -1), strict=True):
        rays = np.arange(first, first + (after - first) % len(off)) % len(off)
        if abs(side[first]) == 1 and len(rays) >= FEWEST_RAYS:
            far = np.abs(share[rays])
            ends = [home[first] or far[0] < COMING_BACK * far.max(), home[after] or far[-1] < COMING_BACK * far.max()]
            found[rays] = all(ends) and (home[first] or home[after]) and far.max() < FARTHEST
    return found & seen & (np.abs(np.nan_to_num(share) - off / radius_px) < LARGEST_STEP)


def _running_median(values: Floats) -> Floats:
    """The median of each ray's and its neighbours' values; nan where most of them have none."""
    half = AMONG // 2
    windows = np.stack([np.roll(values, k) for k in range(-half, half + 1)], axis=1)
    windows.sort(axis=1)  # nan last
    known = np.isfinite(windows).sum(axis=1)
    middle = windows[np.arange(len(values)), np.maximum(known - 1, 0) // 2]
    return np.where(known > half, middle, np.nan)
