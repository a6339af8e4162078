"""The outline of a stone that is not round: from its silhouette against the card.

Ovals are refined as ellipses. Of square and stepped cuts the widths are taken between parallel lines (largest and
smallest), their centre is the middle of the outlined area.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.outline import RAYS, STEPS, Ellipse, Outline, cast_rays, refine_outline
from samestone.imaging.ring import Ring

SMALLEST_SHARE = 0.03
WINDOW = 0.08
OVALS = (1.15, 1.3, 1.45, 1.65)
OVAL_WINDOWS = (0.12, 0.06, 0.035, 0.02)
LEAST_COVERED = 0.75


def blob_hull(edges: NDArray[Any]) -> NDArray[Any] | None:
    """Hull (x, y in edge-map pixels) of the largest thing that edges enclose; None when there is nothing sizeable."""
    solid = cv2.morphologyEx((edges > 0.25).astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    outer, _ = cv2.findContours(solid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outer:
        return None
    largest = cv2.convexHull(max(outer, key=lambda c: cv2.contourArea(cv2.convexHull(c))))
    if cv2.contourArea(largest) < SMALLEST_SHARE * edges.size:
        return None
    return largest[:, 0].astype(np.float32)


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
    best = sorted(rated, key=lambda item: -item[0])[:4]
    fits = [fit for _, start in best if (fit := refine_outline(grey, white, start, OVAL_WINDOWS)) is not None]
    return max(fits, key=lambda fit: fit.covered, default=None)


def _edge_along(edges: NDArray[Any], step: float, ellipse: Ellipse, angles: NDArray[Any]) -> float:
    """Mean edge on the ellipse less that a little beyond it."""
    found = []
    for grow in (1.0, 1.08):
        reach = grow * ellipse.radii(angles)
        x = ((ellipse.x + reach * np.cos(angles) + 0.5) / step - 0.5).astype(np.float32)
        y = ((ellipse.y + reach * np.sin(angles) + 0.5) / step - 0.5).astype(np.float32)
        found.append(float(cv2.remap(edges, x[None], y[None], cv2.INTER_LINEAR, borderValue=0).mean()))
    return found[0] - found[1]


def fit_contour(grey: NDArray[Any], white: float, hull: NDArray[Any], step: float) -> Outline | None:
    """The outline from a rough hull: an ellipse where one fits, else the hull of the rays' outermost edges."""
    if len(hull) < 5:
        return None
    points = ((hull + 0.5) * step - 0.5).astype(np.float32)
    (x, y), (first, second), turn = cv2.fitEllipse(points)
    major, minor = max(first, second) / 2, min(first, second) / 2
    tilt = np.radians(turn if first >= second else turn + 90)
    ellipse = refine_outline(grey, white, Ellipse(x, y, major, minor, float(tilt)))
    if ellipse is not None and ellipse.covered > LEAST_COVERED:
        return ellipse
    return _fit_hull(grey, white, points)


def _fit_hull(grey: NDArray[Any], white: float, rough: NDArray[Any]) -> Outline | None:
    moments = cv2.moments(rough)
    centre = np.array([moments["m10"], moments["m01"]]) / moments["m00"]
    angles = np.arange(RAYS) * (2 * np.pi / RAYS)
    reach = _hull_reach(rough, centre, angles)
    circle = Ellipse(float(centre[0]), float(centre[1]), 1.0, 1.0, 0.0)
    scale = np.linspace(1 - WINDOW, 1 + WINDOW, STEPS)
    profile = np.stack([cast_rays(grey, circle, angles[k : k + 1], reach[k] * scale)[0] for k in range(RAYS)])
    slope = np.abs(np.diff(cv2.GaussianBlur(profile * np.float32(255 / white), (0, 0), 2.0), axis=1))
    need = np.maximum(0.33 * slope.max(axis=1, keepdims=True), 0.2 * np.median(slope.max(axis=1)))
    strong = slope >= need
    last = STEPS - 2 - np.argmax(strong[:, ::-1], axis=1)
    near = [int(np.argmax(row[max(0, k - 8) : k + 1])) + max(0, k - 8) for row, k in zip(slope, last, strict=True)]
    radii = reach * (scale[np.array(near)] + scale[1] / 2 - scale[0] / 2)
    points = centre + radii[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])
    return _measure_hull(cv2.convexHull(points.astype(np.float32))[:, 0])


def _hull_reach(hull: NDArray[Any], centre: NDArray[Any], angles: NDArray[Any]) -> NDArray[Any]:
    """Distance from the centre to a convex polygon, per direction."""
    start = hull - centre
    end = np.roll(start, -1, axis=0)
    heading = np.stack([np.cos(angles), np.sin(angles)])
    edge = end - start
    across = edge[:, :1] * heading[1] - edge[:, 1:] * heading[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (edge[:, 0] * start[:, 1] - edge[:, 1] * start[:, 0])[:, None] / across
        share = (start[:, :1] * heading[1] - start[:, 1:] * heading[0]) / -across
    good = (along > 0) & (share >= -1e-6) & (share <= 1 + 1e-6) & np.isfinite(along)
    return np.asarray(np.where(good, along, np.inf).min(axis=0))


def _measure_hull(hull: NDArray[Any]) -> Outline:
    moments = cv2.moments(hull)
    angles = np.radians(np.arange(0, 180, 0.25))
    reach = hull @ np.stack([np.cos(angles), np.sin(angles)])
    widths = reach.max(axis=0) - reach.min(axis=0)
    return Outline(
        centre_px=(moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]),
        diameter_max_px=float(widths.max()),
        diameter_min_px=float(widths.min()),
        axis_angle_deg=float(-np.degrees(angles[int(np.argmax(widths))]) % 180),
        radius_px=float(widths.max() + widths.min()) / 4,
        rms_px=0.0,
        covered=1.0,
    )
