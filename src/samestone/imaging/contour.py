"""The outline of a stone that is not round: from its silhouette against the card.

Ovals are refined as ellipses, square and stepped cuts as convex curves (convex.py); widths and centre are defined as
for round stones.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from samestone.imaging.caliper import measure_contour
from samestone.imaging.convex import hull_curve, straighten
from samestone.imaging.cover import covered_rays, hidden_arcs
from samestone.imaging.outline import FEWEST, Ellipse, Outline, refine_outline
from samestone.imaging.rim import RAYS, find_edges
from samestone.imaging.ring import Ring

SMALLEST_SHARE = 0.03
CLAW = 0.34  # half the width of what may be a claw, with its halo in the edge map; a share of the mean radius
MUCH = 0.96  # of the hull is left without claws where there are none
CURVE_WINDOWS = ((0.07, 21), (0.04, 11), (0.025, 7))
LAST_WINDOW, NEAR = 0.015, (0.01, 0.006)
OVALS = (1.15, 1.3, 1.45, 1.65)
OVAL_WINDOWS = (0.12, 0.06, 0.035, 0.02)
LEAST_COVERED = 0.65
# Uncertainty of a diameter, a share of the radius: from 36 simulated pictures of 12 loose stones; a guess in claws.
PLACING, IN_CLAWS = 0.004, 0.03


def blob_hull(edges: NDArray[Any]) -> NDArray[Any] | None:
    """Hull (x, y in edge-map pixels) of the largest thing that edges enclose; None when there is nothing sizeable."""
    clear = cv2.medianBlur((edges > 0.25).astype(np.uint8), 3)  # without specks of noise, which would join
    solid = cv2.morphologyEx(clear, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    outer, _ = cv2.findContours(solid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outer:
        return None
    largest = max(outer, key=lambda c: cv2.contourArea(cv2.convexHull(c)))
    if cv2.contourArea(cv2.convexHull(largest)) < SMALLEST_SHARE * edges.size:
        return None
    return _without_claws(largest, edges.shape)[:, 0].astype(np.float32)


def _without_claws(blob: NDArray[Any], shape: tuple[int, ...]) -> NDArray[Any]:
    """The hull of a blob; where much of it only holds what is narrow enough to be a claw, of the rest."""
    hull = cv2.convexHull(blob)
    area = cv2.contourArea(hull)
    least = CLAW * float(np.sqrt(area / np.pi))
    filled = cv2.drawContours(np.zeros(shape, np.uint8), [blob], -1, 1, cv2.FILLED)
    core = (cv2.distanceTransform(filled, cv2.DIST_L2, 5) > least).astype(np.uint8)
    broad = (cv2.distanceTransform(1 - core, cv2.DIST_L2, 5) <= least).astype(np.uint8)
    parts, _ = cv2.findContours(broad, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not core.any():
        return hull
    rest = cv2.convexHull(max(parts, key=cv2.contourArea))
    return rest if cv2.contourArea(rest) < MUCH * area else hull


def fit_oval(grey: NDArray[Any], white: float, edges: NDArray[Any], step: float, ring: Ring) -> Outline | None:
    """The best oval about a ring's centre: the few with most edge along them are refined."""
    angles = np.arange(0, 2 * np.pi, np.pi / 90)
    soft = cv2.GaussianBlur(edges, (0, 0), 1.0)
    rated = []
    for ratio in OVALS:
        for grow in (0.9, 1.0, 1.1, 1.2):
            for tilt in np.arange(0, np.pi, np.pi / 12):
                size = ring.radius_px * grow
                start = Ellipse(ring.x_px, ring.y_px, size * np.sqrt(ratio), size / np.sqrt(ratio), float(tilt))
                rated.append((_edge_along(soft, step, start, angles), start))
    likely = sorted(rated, key=lambda item: -item[0])[:4]
    rough = [fit for _, start in likely if (fit := refine_outline(grey, white, start, OVAL_WINDOWS[:2])) is not None]
    if not rough:
        return None
    return refine_outline(grey, white, max(rough, key=lambda fit: fit.covered).ellipse, OVAL_WINDOWS[1:])


def _edge_along(edges: NDArray[Any], step: float, ellipse: Ellipse, angles: NDArray[Any]) -> float:
    """Mean edge on the ellipse less that a little beyond it."""
    found = []
    for grow in (1.0, 1.08):
        reach = grow * ellipse.radii(angles)
        x = ((ellipse.x + reach * np.cos(angles) + 0.5) / step - 0.5).astype(np.float32)
        y = ((ellipse.y + reach * np.sin(angles) + 0.5) / step - 0.5).astype(np.float32)
        found.append(float(cv2.remap(edges, x[None], y[None], cv2.INTER_LINEAR, borderValue=0).mean()))
    return found[0] - found[1]


def fit_hull(grey: NDArray[Any], white: float, hull: NDArray[Any], step: float) -> Outline | None:
    """The ellipse along a rough hull (edge-map pixels, `step` picture pixels wide), where one fits nearly all round."""
    if len(hull) < 5:
        return None
    (x, y), (first, second), turn = cv2.fitEllipse(_in_picture(hull, step))
    major, minor = max(first, second) / 2, min(first, second) / 2
    tilt = np.radians(turn if first >= second else turn + 90)
    ellipse = refine_outline(grey, white, Ellipse(x, y, major, minor, float(tilt)))
    return ellipse if ellipse is not None and ellipse.covered > LEAST_COVERED else None


def _in_picture(hull: NDArray[Any], step: float) -> NDArray[np.float32]:
    return ((hull + 0.5) * step - 0.5).astype(np.float32)


def fit_convex(grey: NDArray[Any], white: float, hull: NDArray[Any], step: float) -> Outline | None:
    """From a rough hull to the rim of any convex shape: rays about its middle, in narrowing windows."""
    guide = hull_curve(_in_picture(hull, step))
    hidden = covered_rays(grey, white, guide)
    for window, rays in CURVE_WINDOWS:
        edges = find_edges(grey, white, guide, window)
        seen = edges.seen & ~hidden
        steady = seen & (uniform_filter1d(seen.astype(float), rays, mode="wrap") > 0.5)
        if steady.sum() < RAYS * FEWEST:
            return None
        reach = guide.reach.copy()
        reach[steady] += median_filter((edges.reach - guide.reach)[steady], rays, mode="wrap")
        guide = hull_curve(guide.moved_to(reach).points[steady])
        hidden = covered_rays(grey, white, guide)
    for near in NEAR:
        reach, sigma = find_edges(grey, white, guide, LAST_WINDOW).exact
        trusted = np.isfinite(sigma) & ~hidden & (np.abs(reach - guide.reach) < near * np.median(guide.reach))
        guide = straighten(guide, reach, np.where(trusted, sigma, np.inf))
    calipers = measure_contour(guide.points)
    return Outline(
        centre_px=calipers.centre,
        diameter_max_px=calipers.longest,
        diameter_min_px=calipers.shortest,
        axis_angle_deg=float(-np.degrees(calipers.way) % 180),
        radius_px=(calipers.longest + calipers.shortest) / 4,
        rms_px=0.0,
        covered=float(trusted.mean()),
        hidden_deg=hidden_arcs(hidden & ~trusted),
        u_px=(IN_CLAWS if hidden.any() else PLACING) * float(np.median(guide.reach)),
    )
