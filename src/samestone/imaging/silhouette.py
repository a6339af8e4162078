"""Proportions of a round brilliant from back-lit side views, at any azimuth, one view or several turned ones.

A straight line along one flank of the silhouette gives the true angle only where a main facet happens to stand in
profile. So the whole outline is fitted instead: a symmetric brilliant, seen in perspective, whose projected convex hull
must pass through every point of every contour. Proportions are common to all views; azimuth, lean and place are not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.brilliant import NAMES, SideView, brilliant_corners, corner_slopes, nearest_side

Array = NDArray[np.float64]

RAYS = 540
"""Contour points a view: rays from the middle of the stone."""
STRAY = 0.12
"""A point this much farther out than its neighbours is dust on the ground, not the outline."""
CORNER_PX = 4.0
"""Contour this near to a sharp corner of the model is not used: blur rounds corners, not edges."""
PRIOR = {
    "table": (57.0, 6.0),
    "crown_angle_deg": (34.5, 4.0),
    "pavilion_angle_deg": (41.0, 2.0),
    "girdle": (3.0, 2.0),
    "star": (52.0, 7.0),
    "lower_half": (78.0, 5.0),
    "perspective": (1 / 20, 1 / 20),
}
"""Mean and spread that hold what the outline does not show: star and lower half, and the camera's distance. The spreads
of the rest are wide beside what a sharp outline says. Ranges of cut diamonds: common practice, no source."""
GOOD_RMS_PX = 0.12
"""A joint fit this close needs no other starts: it is what blur and noise alone leave."""
FACET_DEG = 0.5
"""How far one facet's slope may be from the mean of its eight, as a standard deviation; a view shows two or three of
them. This and the next three are from trials on simulated stones with uneven facets."""
TABLE_PERCENT, GIRDLE_PERCENT, DEPTH_PERCENT = 0.35, 0.8, 0.6
"""The like for the table, whatever the number of views, and for girdle and depth as for slopes."""
LIMITS = np.array([[45.0, 25, 37, 0.3, 30, 60, 0.0], [75.0, 43, 45, 9.0, 75, 92, 0.15]])
"""Nothing outside is tried, in the order of NAMES; wider than any brilliant that a jeweller is handed."""
DISTANCE = 0.004
"""Relative standard uncertainty of the diameter: an outline hardly shows how far away the camera was (from trials)."""
LARGEST_LEAN = 0.15
"""Radians; a ball fits a brilliant seen from above, whose outline says nothing about angles."""
MEANS, SPREADS = np.array(list(PRIOR.values())).T
PULL = 0.3
"""Pixels that one spread away from what is usual weighs."""
AZIMUTHS = np.radians(np.arange(0.0, 45.0, 1.5))
PITCHES = (-0.02, -0.01, 0.0, 0.01, 0.02)


class NoSilhouette(ValueError):
    """The picture is no back-lit side view of one stone."""


@dataclass(frozen=True)
class Value:
    """A number with its standard uncertainty, in the unit that its name says."""

    value: float
    u: float


@dataclass(frozen=True)
class SilhouetteReading:
    """Proportions from one or several side views; per cent of the mean girdle diameter."""

    crown_angle_deg: Value
    pavilion_angle_deg: Value
    table_percent: Value
    girdle_percent: Value
    depth_percent: Value
    diameter_px: Value
    views: int
    rms_px: float
    """Root mean square distance of the contours from the fitted outline."""
    flags: tuple[str, ...] = ()


def measure_silhouette(greys: Sequence[NDArray[np.floating]]) -> SilhouetteReading:
    """Fit one round brilliant to the contours of one or several back-lit side views.

    greys: linear light, (H, W) each, the same camera and distance for all; the stone dark on a bright ground, whole in
    the picture. Refuses (`NoSilhouette`) a picture without such an outline, and an outline that no brilliant fits.

    Least squares of the distances between contour points and the convex hull of the projected corners, with soft-L1
    loss; the uncertainty is the fit's, widened by how far single facets depart from the mean of their eight.
    """
    return read_fit(fit_silhouette([trace_contour(grey) for grey in greys]))


def fit_silhouette(contours: Sequence[Array]) -> ViewsFit:
    """The brilliant that fits contours (n, 2), px, of one stone; refuses (`NoSilhouette`) what none fits."""
    start = MEANS.copy()
    poses = [first_pose(contour) for contour in contours]
    scale = float(np.mean([pose.diameter for pose in poses]))
    start[NAMES.index("girdle")] = np.clip(np.median([pose.girdle for pose in poses]) - 0.4, 0.6, 8.0)
    fit = fit_repeatedly(contours, poses, np.concatenate([[scale], start]))
    if fit.rms > max(1.5, 0.004 * scale):
        raise NoSilhouette(
            f"no round brilliant fits this outline (it misses by {fit.rms:.1f} px). Photograph the loose stone from "
            "the side, sharp, whole, against an even bright ground."
        )
    table_crown_pavilion = fit.shared[1:4]
    at_a_limit = bool((np.abs(table_crown_pavilion - LIMITS[:, :3]).min(axis=0) < 0.05).any())
    if at_a_limit or float(np.abs(fit.poses[:, 1]).max()) > LARGEST_LEAN:
        raise NoSilhouette(
            "no round brilliant seen from the side fits this outline: it would have to lean far over, or have "
            "proportions that none has. Photograph the loose stone with its table edge-on."
        )
    return fit


def trace_contour(grey: NDArray[np.floating]) -> Array:
    """Points (n, 2) on the outline, sub-pixel: where, from outside, the light first departs from the ground's.

    Facets near the edge often pass most of the light, so a fixed threshold would cut the stone's flanks off.
    """
    image = np.asarray(grey, np.float32)
    border = np.concatenate([image[:4].ravel(), image[-4:].ravel(), image[:, :4].ravel(), image[:, -4:].ravel()])
    ground = float(np.median(border))
    soft = cv2.GaussianBlur(image, (0, 0), 0.8) / np.float32(max(ground, 1e-6))
    dark = (soft < 0.5).astype(np.uint8)
    closed = cv2.morphologyEx(dark, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    count, _labels, stats, _centres = cv2.connectedComponentsWithStats(closed)
    sizes = [(int(stats[i, cv2.CC_STAT_AREA]), i) for i in range(1, count)]
    if not sizes or ground <= 0 or max(sizes)[0] < 2500:
        raise NoSilhouette("no dark stone on a bright ground was found. Light it from behind; expose for the ground.")
    x, y, w, h = (int(stats[max(sizes)[1], k]) for k in range(4))
    if x <= 1 or y <= 1 or x + w >= image.shape[1] - 1 or y + h >= image.shape[0] - 1:
        raise NoSilhouette("the stone is cut off by the edge of the picture. Photograph it whole.")
    centre = np.array([x + (w - 1) / 2, y + (h - 1) / 2])
    return cast_rays(soft, centre, reach=0.62 * float(np.hypot(w, h)))


def cast_rays(light: NDArray[np.float32], centre: Array, *, reach: float) -> Array:
    """First lasting departure from the ground along rays from outside towards the centre.

    light: in units of the ground's. The edge is put at half of what the light has changed by three pixels further in.
    """
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    steps = np.arange(reach, 2.0, -0.5)
    x = (centre[0] + np.cos(angle)[:, None] * steps).astype(np.float32)
    y = (centre[1] - np.sin(angle)[:, None] * steps).astype(np.float32)
    change = np.abs(1 - cv2.remap(light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    level = 1 - np.median(1 - change[:, :6], axis=1, keepdims=True)
    change = np.abs(change - level)
    grain = 1.4826 * float(np.median(change[:, :12]))
    lasting = sliding_least(change, 5) > max(5 * grain, 0.04)
    radii = np.full(RAYS, np.nan)
    for row in np.flatnonzero(lasting.any(axis=1)):
        first = int(lasting[row].argmax())
        half = 0.5 * float(np.median(change[row, first + 4 : first + 9]))
        while first > 0 and change[row, first] >= half:
            first -= 1
        while first < steps.size - 2 and change[row, first + 1] < half:
            first += 1
        before, after = change[row, first], change[row, first + 1]
        radii[row] = steps[first] - 0.5 * (half - before) / max(after - before, 1e-6)
    around = np.lib.stride_tricks.sliding_window_view(np.concatenate([radii[-4:], radii, radii[:4]]), 9)
    seen = radii < (1 + STRAY) * np.median(np.nan_to_num(around), axis=1)
    if seen.sum() < RAYS // 2:
        raise NoSilhouette("the outline does not stand out all round. Light the ground evenly; expose for the ground.")
    found = centre + radii[seen, None] * np.column_stack([np.cos(angle), -np.sin(angle)])[seen]
    return np.asarray(found[near_hull(found)])


def sliding_least(values: NDArray[np.float32], count: int) -> NDArray[np.float32]:
    """Least of each value and the count - 1 after it, along rows."""
    return np.asarray(cv2.erode(values, np.ones((1, count), np.uint8), anchor=(0, 0)), np.float32)


def near_hull(points: Array) -> NDArray[np.bool_]:
    """Which points lie on the outline's convex hull to within a pixel: a cut stone is convex, a window's gap is not."""
    hull = cv2.convexHull(points.astype(np.float32)).reshape(-1, 2).astype(np.float64)
    return np.asarray(nearest_side(points, hull)[0] > -1.0)


@dataclass(frozen=True)
class FirstPose:
    """Where the stone lies in the picture, before any fit."""

    centre: Array
    """The middle of the girdle's upper edge."""
    diameter: float
    roll: float
    """Turn in the picture plane, radians; 0 is the table up."""
    girdle: float
    """Length of the upright part at either end, per cent of the diameter."""


def first_pose(contour: Array) -> FirstPose:
    """Girdle line from the direction in which the outline is widest; up is the side on which it is less deep.

    The widest single chord runs from one girdle corner to the opposite one on the other edge, a degree or two off;
    the middle of all directions that are nearly as wide is the girdle's.
    """
    angle = np.radians(np.arange(0.0, 180.0, 0.25))
    direction = np.column_stack([np.cos(angle), -np.sin(angle)])
    reach = contour @ direction.T
    width = reach.max(axis=0) - reach.min(axis=0)
    near = np.maximum(width - 0.996 * width.max(), 0.0)
    double = np.arctan2((near * np.sin(2 * angle)).sum(), (near * np.cos(2 * angle)).sum())
    along = np.array([np.cos(double / 2), -np.sin(double / 2)])
    up = np.array([along[1], -along[0]])
    side = contour @ along
    middle = (contour[int(side.argmin())] + contour[int(side.argmax())]) / 2
    height = (contour - middle) @ up
    if height.max() > -height.min():
        up = -up
    rims = [height[side > side.max() - 0.003 * np.ptp(side)], height[side < side.min() + 0.003 * np.ptp(side)]]
    girdle = 100 * float(np.mean([np.ptp(rim) for rim in rims]) / np.ptp(side))
    middle = middle + up * girdle / 200 * np.ptp(side)
    return FirstPose(middle, float(np.ptp(side)), float(np.arctan2(-up[0], -up[1])), girdle)


def best_pose(contour: Array, first: FirstPose, shared: Array) -> Array:
    """Azimuth, lean and place of one view for known scale and proportions: the best of a grid's few lowest valleys."""
    corners = brilliant_corners(shared[1:])
    grid = np.array([[a, p, first.roll, *first.centre] for a, p in product(AZIMUTHS, PITCHES)])
    levelled = [SideView.of(corners, shared[0], shared[-1], pose).misses(contour) for pose in grid]
    costs = np.array([float(np.abs(miss - np.median(miss)).mean()) for miss in levelled])
    problem = JointFit([contour], [np.ones(len(contour))])
    held = np.arange(len(shared))
    trials = [
        problem.descend(np.concatenate([shared, start]), steps=12, held=held) for start in valleys(grid, costs, count=5)
    ]
    return min(trials, key=lambda trial: trial.cost).x[len(shared) :]


def valleys(grid: Array, costs: Array, *, count: int) -> list[Array]:
    """The starts of lowest cost, at least 3 degrees of azimuth apart."""
    chosen: list[Array] = []
    for k in np.argsort(costs):
        gaps = [abs((grid[k, 0] - other[0] + np.pi / 8) % (np.pi / 4) - np.pi / 8) for other in chosen]
        if all(gap > np.radians(3) for gap in gaps):
            chosen.append(grid[k])
        if len(chosen) == count:
            break
    return chosen


@dataclass(frozen=True)
class ViewsFit:
    """The joint fit: scale and proportions, their covariance, and what is left."""

    shared: Array
    covariance: Array
    poses: Array
    """(views, 5): azimuth, pitch, roll, centre x, centre y."""
    rms: float


def fit_views(contours: Sequence[Array], shared: Array, views: Array, *, steps: int) -> ViewsFit:
    """Fit scale, proportions and all poses together; twice, the second time without the contour at sharp corners."""
    weights = [np.ones(len(contour)) for contour in contours]
    for _ in range(2):
        problem = JointFit(contours, weights)
        found = problem.descend(np.concatenate([shared, views.ravel()]), steps=steps)
        shared, views = found.x[:8], upright(found.x[8:].reshape(-1, 5))
        corners = brilliant_corners(shared[1:])
        weights = [
            away_from_corners(contour, SideView.of(corners, shared[0], shared[-1], view).hull)
            for contour, view in zip(contours, views, strict=True)
        ]
    used = np.concatenate(problem.weights) > 0
    rms = float(np.sqrt(np.mean(np.concatenate(problem.misses(found.x))[used] ** 2)))
    covariance = np.linalg.pinv(found.information) * max(rms, 0.05) ** 2
    return ViewsFit(shared, np.asarray(covariance[:8, :8], np.float64), views, rms)


def upright(views: Array) -> Array:
    """The same poses with pitch and roll within half a turn: a trial may have gone once around."""
    views = views.copy()
    views[:, :3] = (views[:, :3] + np.pi) % (2 * np.pi) - np.pi
    return views


def fit_repeatedly(contours: Sequence[Array], poses: Sequence[FirstPose], shared: Array) -> ViewsFit:
    """Each view alone from several azimuths, then all together, then each view's pose anew with what all say.

    A view whose azimuth was taken for its neighbour's minimum pulls all proportions; with better ones it falls into
    place.
    """
    starts = np.arange(0.0, 45.0, 5.0 if len(contours) < 4 else 11.25)
    alone = [fit_alone(contour, pose, shared, starts) for contour, pose in zip(contours, poses, strict=True)]
    if len(alone) == 1:
        return fit_views(contours, alone[0].shared, alone[0].poses, steps=25)
    some = [contour[::3] for contour in contours]
    close = sorted(alone, key=lambda fit: fit.rms)[: (len(alone) + 1) // 2]
    agreed = np.median([fit.shared for fit in close], axis=0)
    best = fit_views(some, agreed, np.concatenate([fit.poses for fit in alone]), steps=12)
    for known in (agreed, best.shared, best.shared):
        if best.rms < GOOD_RMS_PX:
            break
        found = [best_pose(c, p, known) for c, p in zip(some, poses, strict=True)]
        best = min(best, fit_views(some, known, np.array(found), steps=12), key=lambda fit: fit.rms)
    return fit_views(contours, best.shared, best.poses, steps=25)


def fit_alone(contour: Array, first: FirstPose, shared: Array, starts_deg: Array) -> ViewsFit:
    """Proportions and pose of one view, a third of its points, from several azimuths; the closest fit."""
    some = contour[::3]
    tries = []
    for azimuth in np.radians(starts_deg):
        pose = np.array([[azimuth, 0.0, first.roll, *first.centre]])
        tries.append(fit_views([some], shared, pose, steps=10))
    return min(tries, key=lambda fit: fit.rms)


def away_from_corners(contour: Array, hull: Array) -> Array:
    """Weight 0 within a few pixels of the hull's sharp corners, 1 elsewhere."""
    before, after = hull - np.roll(hull, 1, axis=0), np.roll(hull, -1, axis=0) - hull
    turn = np.abs(np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1)))
    sharp = hull[turn > np.radians(12)]
    if not len(sharp):
        return np.ones(len(contour))
    gap = np.linalg.norm(contour[:, None] - sharp[None], axis=2).min(axis=1)
    return np.asarray((gap > CORNER_PX).astype(np.float64))


@dataclass(frozen=True)
class Descent:
    """Where a descent ended, what it cost there, and the information (normal matrix) of all that was fitted."""

    x: Array
    cost: float
    information: Array


@dataclass(frozen=True)
class JointFit:
    """Distances of all views' contours and, as fractions of a pixel, departures from what is usual.

    Unknowns: scale, the proportions in the order of NAMES, then each view's pose. Loss: soft L1, 2·(√(1 + r²) - 1).
    """

    contours: Sequence[Array]
    weights: Sequence[Array]

    def seen(self, x: Array) -> list[SideView]:
        corners = brilliant_corners(x[1:8])
        return [SideView.of(corners, x[0], x[7], pose) for pose in x[8:].reshape(-1, 5)]

    def misses(self, x: Array) -> list[Array]:
        """Distances of each view's contour from its model outline, px."""
        return [view.misses(contour) for view, contour in zip(self.seen(x), self.contours, strict=True)]

    def cost(self, x: Array) -> float:
        weighted = [w * m for w, m in zip(self.weights, self.misses(x), strict=True)]
        return float((np.sqrt(1 + np.concatenate([*weighted, departures(x)]) ** 2) - 1).sum())

    def normal_equations(self, x: Array) -> tuple[Array, Array]:
        """Information (k, k) and gradient (k,), residuals weighted by how little the loss doubts them."""
        information = np.diag(np.concatenate([[0.0], (PULL / SPREADS) ** 2, np.zeros(x.size - 8)]))
        gradient = np.concatenate([[0.0], PULL / SPREADS * departures(x), np.zeros(x.size - 8)])
        moves = corner_slopes(x[1:8])
        for k, (view, contour, weight) in enumerate(zip(self.seen(x), self.contours, self.weights, strict=True)):
            miss, slopes = view.misses(contour), np.hstack(view.slopes(contour, moves))
            doubted = slopes * (weight / np.sqrt(1 + miss**2))[:, None]
            block, at = doubted.T @ slopes, np.r_[0:8, 8 + 5 * k : 13 + 5 * k]
            information[np.ix_(at, at)] += block
            gradient[at] += doubted.T @ miss
        return information, gradient

    def descend(self, x: Array, *, steps: int, held: NDArray[np.intp] | None = None) -> Descent:
        """Levenberg's and Marquardt's way down; `held` unknowns stay; the proportions stay within their limits."""
        least, most = np.full(x.size, -np.inf), np.full(x.size, np.inf)
        least[:8], most[:8] = [0.5 * x[0], *LIMITS[0]], [1.5 * x[0], *LIMITS[1]]
        free = np.setdiff1d(np.arange(x.size), [] if held is None else held)
        x, damping = np.clip(x, least, most), 1e-3
        cost = self.cost(x)
        information, gradient = self.normal_equations(x)
        for _ in range(steps):
            inner = information[np.ix_(free, free)]
            step = np.zeros(x.size)
            step[free] = np.linalg.solve(inner + damping * np.diag(np.diag(inner) + 1e-9), gradient[free])
            trial = np.clip(x - step, least, most)
            lower = self.cost(trial)
            gained = cost - lower
            if gained <= 0:
                damping *= 8
                continue
            x, cost, damping = trial, lower, damping / 5
            information, gradient = self.normal_equations(x)
            if gained < 1e-4 * cost:
                break
        return Descent(x, cost, information)


def departures(x: Array) -> Array:
    """How far the proportions are from what is usual, scaled to weigh as fractions of a pixel."""
    return np.asarray(PULL * (x[1:8] - MEANS) / SPREADS)


def read_fit(fit: ViewsFit) -> SilhouetteReading:
    """Values with u: the fit's covariance (neighbouring points share blur: one in three counts), the facets' spread."""
    covariance = 3.0 * fit.covariance
    facets = FACET_DEG / np.sqrt(2 * len(fit.poses))
    _, table, crown, pavilion, girdle, *_ = fit.shared
    depth = crown_height(table, crown) + girdle + 50 * np.tan(np.radians(pavilion))
    gradient = np.zeros(8)
    gradient[1] = -0.5 * np.tan(np.radians(crown))
    gradient[2] = (100 - table) / 2 * np.pi / 180 / np.cos(np.radians(crown)) ** 2
    gradient[3] = 50 * np.pi / 180 / np.cos(np.radians(pavilion)) ** 2
    gradient[4] = 1.0
    u = np.sqrt(np.diag(covariance))
    return SilhouetteReading(
        crown_angle_deg=Value(float(crown), float(np.hypot(u[2], facets))),
        pavilion_angle_deg=Value(float(pavilion), float(np.hypot(u[3], facets))),
        table_percent=Value(float(table), float(np.hypot(u[1], TABLE_PERCENT))),
        girdle_percent=Value(float(girdle), float(np.hypot(u[4], GIRDLE_PERCENT / np.sqrt(2 * len(fit.poses))))),
        depth_percent=Value(
            float(depth),
            float(np.hypot(np.sqrt(gradient @ covariance @ gradient), DEPTH_PERCENT / np.sqrt(2 * len(fit.poses)))),
        ),
        diameter_px=Value(float(fit.shared[0]), float(np.hypot(u[0], DISTANCE * fit.shared[0]))),
        views=len(fit.poses),
        rms_px=fit.rms,
        flags=("single_view",) if len(fit.poses) == 1 else (),
    )


def crown_height(table: float, crown_deg: float) -> float:
    """Crown height in per cent of the diameter: (100 - table)/2 · tan(crown angle)."""
    return float((100 - table) / 2 * np.tan(np.radians(crown_deg)))
