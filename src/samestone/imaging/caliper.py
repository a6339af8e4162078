"""What calipers would read on a rim, and where its middle is: from single rays to one smooth closed contour.

The contour follows the rays' edges as far as they can be trusted and the guide (an ellipse) elsewhere; it is stiff
enough that noise makes no bumps, and soft enough for the flats of a girdle, a nick or a facet that cuts into it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.linalg import solveh_banded

from samestone.imaging.nick import NEAR, excursions
from samestone.imaging.rim import RAYS, SIGMA_RADIUS, Curve, Floats

BEND = 0.07  # standard deviation of a contour's bend from ray to ray, px for a girdle of 250 px radius
LEAVE, LEAVE_FAR, OFTEN = 1.0, 3.0, 0.1  # and of its distance from the guide; where this share of rays is farther off
LAP = 60
WAYS = np.radians(np.arange(0, 180, 0.25))


@dataclass(frozen=True)
class Calipers:
    """Largest and smallest distance between parallel lines that hold a contour, the way of the largest (radians,
    picture axes), and the centroid of what it encloses."""

    longest: float
    shortest: float
    way: float
    centre: tuple[float, float]


def measure_contour(points: Floats) -> Calipers:
    """Calipers of a closed contour, (n, 2), its corners in order."""
    hull = cv2.convexHull(points.astype(np.float32))[:, 0].astype(float)
    reach = hull[:, :1] * np.cos(WAYS) + hull[:, 1:] * np.sin(WAYS)
    widths = reach.max(axis=0) - reach.min(axis=0)
    start = points - points.mean(axis=0)
    end = np.roll(start, -1, axis=0)
    cross = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    x, y = points.mean(axis=0) + ((start + end) * cross[:, None]).sum(axis=0) / (3 * cross.sum())
    return Calipers(float(widths.max()), float(widths.min()), float(WAYS[int(widths.argmax())]), (float(x), float(y)))


def smooth_rim(guide: Curve, off: Floats, sigma: Floats) -> Curve:
    """The contour.

    `off` is how far each ray's edge lies outside the guide, px, and `sigma` its standard uncertainty, infinite where no
    edge was seen. Trusted are edges near the guide, and those that leave it and come back without a jump.
    """
    size = float(np.median(guide.reach))
    seen = np.isfinite(sigma)
    near = np.abs(off) < np.maximum(3 * np.where(seen, sigma, 0), NEAR * size)
    away = excursions(off, seen, size)
    trusted = seen & (near | away)
    leave = LEAVE_FAR if away.mean() > OFTEN else LEAVE
    off, sigma = np.where(trusted, off, 0), np.where(trusted, sigma, np.inf)
    unit = size / SIGMA_RADIUS
    stiff, smooth, doubt = np.full(RAYS, (BEND * unit) ** -2), np.zeros(RAYS), np.ones(RAYS)
    for _ in range(3):
        smooth = smooth_around(off, doubt / sigma**2, stiff, keep=(leave * unit) ** -2)
        doubt = 1 / (1 + ((off - smooth) / (2.5 * sigma)) ** 2) ** 2
    return guide.moved_to(guide.reach + smooth)


def smooth_around(values: Floats, weight: Floats, stiff: Floats, *, keep: float, middle: float = 2.0) -> Floats:
    """Smooth values s, one a ray, closed by a lap around: least squares of weight (values - s)² + keep s² + stiff b²,
    b being the bend s[k - 1] - middle s[k] + s[k + 1]."""
    values, weight, stiff = (np.concatenate([v[-LAP:], v, v[:LAP]]) for v in (values, weight, stiff))
    stiff[[0, -1]] = 0
    band = np.zeros((3, len(values)))
    band[0, 2:] = stiff[1:-1]
    band[1, 1:] = -middle * (stiff[:-1] + stiff[1:])
    band[2] = weight + keep + middle**2 * stiff
    band[2, 1:] += stiff[:-1]
    band[2, :-1] += stiff[1:]
    return np.asarray(solveh_banded(band, weight * values))[LAP : LAP + RAYS]
