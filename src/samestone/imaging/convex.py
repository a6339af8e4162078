"""A convex rim with straight or curved sides and sharp corners, from single rays.

Along a straight side the reciprocal of the distance r from the centre is a sinusoid, whatever the side's slope, and its
bend 1/r[k-1] - 2 cos(step)/r[k] + 1/r[k+1] is zero; at a corner it is large. The sum of absolute bends is kept small,
so that sides come out straight, or evenly curved, where noise or a gap leaves a choice.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from samestone.imaging.caliper import measure_contour, smooth_around
from samestone.imaging.rim import ANGLES, RAYS, SIGMA_RADIUS, Curve, Floats

STEP = 2 * np.pi / RAYS
BEND, LEAST_BEND = 0.03, 0.01  # Laplace scale of a bend, and the least that counts, px for a reach of 250 px
CORNER_DEG = 10.0
BLUNT = 3  # rays to either side of a corner that blur rounds off
ALONG = 8  # rays that say where a side runs
MOST = 2.5  # px for a reach of 250 px: a corner that is blunter than that is not sharp


def hull_curve(points: Floats) -> Curve:
    """The convex hull of points, (n, 2), as a curve about its centroid."""
    hull = cv2.convexHull(points.astype(np.float32))[:, 0].astype(float)
    x, y = measure_contour(hull).centre
    start = hull - (x, y)
    edge = np.roll(start, -1, axis=0) - start
    # the line of an edge is n·p = d; the hull's distance along a ray is the least d / n·u over edges that face it
    across = np.column_stack([edge[:, 1], -edge[:, 0]])
    distance = (across * start).sum(axis=1)
    facing = np.sign(distance)[:, None] * (across[:, :1] * np.cos(ANGLES) + across[:, 1:] * np.sin(ANGLES))
    away = np.abs(distance)[:, None] / np.where(facing > 1e-12, facing, np.nan)
    return Curve(x, y, np.nanmin(away, axis=0))


def straighten(guide: Curve, reach: Floats, sigma: Floats) -> Curve:
    """The rim near a guide from rays' edges with standard uncertainties, px, infinite where there is none."""
    size = float(np.median(guide.reach))
    unit, square = size / SIGMA_RADIUS, size**2
    inverse = square / np.where(np.isfinite(sigma), reach, guide.reach)
    doubtful = sigma * inverse**2 / square
    smooth = square / guide.reach
    for _ in range(12):
        doubt = 1 / (1 + ((inverse - smooth) / (2.5 * doubtful)) ** 2) ** 2
        stiff = 1 / (BEND * unit * np.maximum(np.abs(_bends(smooth)), LEAST_BEND * unit))
        smooth = smooth_around(inverse, doubt / doubtful**2, stiff, keep=0.0, middle=2 * np.cos(STEP))
    return hull_curve(guide.moved_to(square / _with_corners(smooth, size)).points)


def _bends(inverse: Floats) -> Floats:
    return np.asarray(np.roll(inverse, 1) - 2 * np.cos(STEP) * inverse + np.roll(inverse, -1))


def _with_corners(inverse: Floats, size: float) -> Floats:
    """Blur rounds corners off; where a rim turns sharply, both sides are run on until they meet."""
    turn = uniform_filter1d(_bends(inverse) / (size * STEP), 2 * BLUNT + 1, mode="wrap") * (2 * BLUNT + 1)
    corners = (turn > np.radians(CORNER_DEG)) & (turn == maximum_filter1d(turn, 2 * BLUNT + 1, mode="wrap"))
    out = inverse.copy()
    for corner in np.flatnonzero(corners):
        rays = corner + np.arange(-BLUNT, BLUNT + 1)
        sides = [_run_on(inverse, rays, rays[0], rays[0] - ALONG), _run_on(inverse, rays, rays[-1], rays[-1] + ALONG)]
        sharp, rays = np.max(sides, axis=0), rays % RAYS
        longer = size**2 / sharp - size**2 / inverse[rays]
        if longer.max() < MOST * size / SIGMA_RADIUS:
            out[rays] = np.minimum(sharp, out[rays])
    return out


def _run_on(inverse: Floats, rays: Floats, first: int, second: int) -> Floats:
    """Reciprocal distances, at some rays, of the straight line through the rim at two others."""
    ends = np.array([[np.cos(k * STEP), np.sin(k * STEP)] for k in (first, second)])
    along, across = np.linalg.solve(ends, inverse[[first % RAYS, second % RAYS]])
    return np.asarray(along * np.cos(rays * STEP) + across * np.sin(rays * STEP))
