"""The girdle's outline in a face-up photograph.

A coarse ring search (ring.py) starts it; rays cast from its centre then find the outermost edge to a fraction of a
pixel (rim.py), and an ellipse is fitted robustly, so that claws, glare and dark arcs do not pull it. Diameters and
centre are taken from the contour that the rays draw along that ellipse (caliper.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from samestone.imaging.caliper import measure_contour, smooth_rim
from samestone.imaging.cover import covered_rays, hidden_arcs
from samestone.imaging.rim import ANGLES, PROBE, Curve, Edges, Floats, find_edges
from samestone.imaging.ring import Ring

WINDOWS = (0.06, 0.035, 0.02)
FEWEST = 0.25
CLEAR, CLEARER = 0.75, 0.05
SOFT_PROBE = 3.5
# Uncertainty of a diameter, from the tuning pictures: what no number of rays takes away (a share of the radius), and
# how many times worse rays are than independent ones, for neighbours err together.
PLACING, TOGETHER = 0.0007, 5.0


@dataclass(frozen=True)
class Outline:
    """The stone's rim as seen: what calipers laid around its contour would read, in pixels.

    `diameter_max_px` and `diameter_min_px` are the largest and smallest distance between two parallel lines that hold
    the contour, nicks and the flats of a faceted girdle included; where the rim is hidden or cannot be told from the
    card, the contour is an ellipse fitted to the rest. `axis_angle_deg` is the direction of the largest, `centre_px`
    the centroid of the area enclosed, `radius_px` the ellipse's mean radius, `rms_px` how far the edges lie off it
    (of a stone that is no ellipse: a quarter of both diameters, and 0).
    `covered` is the share of the 720 rays that found the edge where the ellipse says; `hidden_deg` the arcs where
    something (a claw) lies over it. `u_px` is one standard uncertainty of either diameter: what blur and the camera's
    curve leave, and how well the seen part of the rim says where the rest is.
    """

    centre_px: tuple[float, float]
    diameter_max_px: float
    diameter_min_px: float
    axis_angle_deg: float
    radius_px: float
    rms_px: float
    covered: float
    u_px: float
    hidden_deg: tuple[tuple[float, float], ...] = ()

    @property
    def is_long(self) -> bool:
        """Whether it is clearly no round cut, seen along its whole rim."""
        return bool(self.diameter_max_px > 1.06 * self.diameter_min_px and self.covered > 0.4 and self.rms_px > 0)

    @property
    def ellipse(self) -> Ellipse:
        """The same in picture axes."""
        tilt = float(-np.radians(self.axis_angle_deg))
        return Ellipse(*self.centre_px, self.diameter_max_px / 2, 2 * self.radius_px - self.diameter_max_px / 2, tilt)


@dataclass(frozen=True)
class Ellipse:
    """Centre, half-axes and tilt in picture axes (x right, y down, radians)."""

    x: float
    y: float
    major: float
    minor: float
    tilt: float

    @property
    def curve(self) -> Curve:
        """Its distance from the centre along every ray."""
        return Curve(self.x, self.y, self.radii(ANGLES))

    def radii(self, angles: Floats) -> Floats:
        """Distance from the centre to the ellipse, per direction."""
        return self.radii_along(np.cos(angles), np.sin(angles))

    def radii_along(self, right: Floats, down: Floats) -> Floats:
        """The same, for directions given as unit vectors."""
        cos, sin = float(np.cos(self.tilt)), float(np.sin(self.tilt))
        along, across = right * cos + down * sin, down * cos - right * sin
        return np.asarray(self.major * self.minor / np.hypot(self.minor * along, self.major * across))

    def moved(self, change: Floats) -> Ellipse:
        """Centre and shape after adding (dx, dy, dr, e cos 2 tilt, e sin 2 tilt)."""
        mean, half = (self.major + self.minor) / 2 + change[2], (self.major - self.minor) / 2
        across = half * np.cos(2 * self.tilt) + change[3]
        along = half * np.sin(2 * self.tilt) + change[4]
        half = float(np.hypot(across, along))
        half = min(half, 0.9 * mean)
        return Ellipse(
            self.x + change[0], self.y + change[1], mean + half, mean - half, float(np.arctan2(along, across)) / 2
        )


def fit_outline(grey: NDArray[Any], white: float, ring: Ring) -> Outline | None:
    """Refine a ring to the girdle's outline; None when fewer than one ray in four finds an edge on it.

    Where few do, the rim may be out of focus: it is looked for again, averaging over more of each ray.
    """
    start = Ellipse(ring.x_px, ring.y_px, ring.radius_px, ring.radius_px, 0.0)
    sharp = refine_outline(grey, white, start)
    if sharp is not None and sharp.covered > CLEAR:
        return sharp
    soft = refine_outline(grey, white, start, probe=SOFT_PROBE)
    if soft is None or (sharp is not None and soft.covered < sharp.covered + CLEARER):
        return sharp
    return soft


def refine_outline(
    grey: NDArray[Any], white: float, start: Ellipse, windows: tuple[float, ...] = WINDOWS, *, probe: float = PROBE
) -> Outline | None:
    """Refine a rough ellipse; a narrower window is kept only while as many rays still find the edge."""
    ellipse, best, kept = start, 0.0, None
    for window in windows:
        guide = ellipse.curve
        edges = find_edges(grey, white, guide, window, probe=probe)
        ellipse, off, scale = _fit(ellipse, guide.moved_to(edges.reach).points, edges.seen)
        fits = edges.seen & (np.abs(off) < max(4 * scale, 0.002 * ellipse.major))
        if fits.mean() < 0.85 * best or not _lies_within(grey, ellipse):
            break
        best, kept = max(best, float(fits.mean())), (ellipse, guide, edges, fits)
    if kept is None or best < FEWEST:
        return None
    covered = covered_rays(grey, white, kept[0].curve)
    return _measure(*kept, covered & ~kept[3])


def _lies_within(grey: NDArray[Any], ellipse: Ellipse) -> bool:
    """Whether the centre is in the picture and the girdle no larger than it: a fit to nothing runs away."""
    height, width = grey.shape
    return bool(0 <= ellipse.x < width and 0 <= ellipse.y < height and ellipse.major < max(height, width))


def _measure(
    ellipse: Ellipse, cast: Curve, edges: Edges, fits: NDArray[np.bool_], hidden: NDArray[np.bool_]
) -> Outline:
    """The outline from the rays about `cast`, placed exactly."""
    reach, sigma = edges.exact
    sigma = np.where(hidden, np.inf, sigma)
    ellipse, u_fit = _polish(ellipse, cast.moved_to(reach).points, sigma)
    shift = (ellipse.x - cast.x) * np.cos(ANGLES) + (ellipse.y - cast.y) * np.sin(ANGLES)
    guide = cast.moved_to(ellipse.radii(ANGLES) + shift)
    contour = smooth_rim(guide, reach - guide.reach, sigma)
    calipers = measure_contour(contour.points)
    return Outline(
        centre_px=calipers.centre,
        diameter_max_px=calipers.longest,
        diameter_min_px=calipers.shortest,
        axis_angle_deg=float(-np.degrees(calipers.way) % 180),
        radius_px=(ellipse.major + ellipse.minor) / 2,
        rms_px=float(np.sqrt(np.mean((reach - guide.reach)[fits] ** 2))),
        covered=float(fits.mean()),
        hidden_deg=hidden_arcs(hidden),
        u_px=float(np.hypot(PLACING * ellipse.major, TOGETHER * u_fit)),
    )


def _fit(ellipse: Ellipse, points: Floats, seen: NDArray[np.bool_]) -> tuple[Ellipse, Floats, float]:
    """A robust fit from afar: Cauchy weights whose scale shrinks with the residuals; also those and the scale."""
    scale, off = 0.01 * ellipse.major, np.zeros(len(points))
    for _ in range(14):
        ellipse, off, _ = _step(ellipse, points, seen / scale**2, 2.0)
        typical = 1.4826 * float(np.median(np.abs(off[seen]))) if seen.any() else scale
        scale = max(min(scale * 0.7, max(typical, 0.05)), 0.05)
    return ellipse, off, scale


def _polish(ellipse: Ellipse, points: Floats, sigma: Floats) -> tuple[Ellipse, float]:
    """A robust fit from nearby, of points with standard uncertainties; and that of a diameter were they independent."""
    for _ in range(8):
        ellipse, _, normal = _step(ellipse, points, sigma**-2.0, 2.5)
    spread = np.diag(np.linalg.inv(normal))[2:]
    return ellipse, float(2 * np.sqrt(spread[0] + spread[1:].mean()))


def _step(ellipse: Ellipse, points: Floats, precision: Floats, bound: float) -> tuple[Ellipse, Floats, Floats]:
    """One Gauss-Newton step with Cauchy weights; linear in small changes of the ellipse. Also residuals before it
    and the normal matrix."""
    right, down = points[:, 0] - ellipse.x, points[:, 1] - ellipse.y
    reach = np.hypot(right, down)
    right, down = right / reach, down / reach
    off = reach - ellipse.radii_along(right, down)
    weight = precision / (1 + precision * (off / bound) ** 2) ** 2
    design = np.column_stack([right, down, np.ones(len(off)), right**2 - down**2, 2 * right * down])
    left = design.T @ (design * weight[:, None])
    left += 1e-9 * np.trace(left) * np.eye(5) + 1e-12 * np.eye(5)
    return ellipse.moved(np.linalg.solve(left, design.T @ (off * weight))), off, left
