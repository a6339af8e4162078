"""The girdle's outline in a face-up photograph.

A coarse ring search (ring.py) starts it; rays cast from its centre then find the outermost edge to a fraction of a
pixel, and an ellipse is fitted robustly, so that claws, glare and dark arcs do not pull it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.nick import nick_depths, smallest_width
from samestone.imaging.ring import Ring

RAYS = 720
STEPS = 161
WINDOWS = (0.06, 0.035, 0.02)
FEWEST = 0.25
BEYOND = 1.08

Floats = NDArray[Any]  # of float64


@dataclass(frozen=True)
class Outline:
    """An ellipse through the girdle's edge; `axis_angle_deg` is the direction of the longest diameter.

    `radius_px` is the ellipse's mean radius; the smallest diameter is less than the ellipse's where a nick cuts in.
    `covered` is the share of the 720 rays that found the edge where the ellipse says; `hidden_deg` the arcs where
    something (a claw) lies over it.
    """

    centre_px: tuple[float, float]
    diameter_max_px: float
    diameter_min_px: float
    axis_angle_deg: float
    radius_px: float
    rms_px: float
    covered: float
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

    def radii(self, angles: Floats) -> Floats:
        """Distance from the centre to the ellipse, per direction."""
        turned = angles - self.tilt
        return self.major * self.minor / np.hypot(self.minor * np.cos(turned), self.major * np.sin(turned))

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
    """Refine a ring to the girdle's ellipse; None when fewer than two rays in five find an edge on it."""
    return refine_outline(grey, white, Ellipse(ring.x_px, ring.y_px, ring.radius_px, ring.radius_px, 0.0))


def refine_outline(
    grey: NDArray[Any], white: float, start: Ellipse, windows: tuple[float, ...] = WINDOWS
) -> Outline | None:
    """Refine a rough ellipse; a narrower window is kept only while as many rays still find the edge."""
    angles = np.arange(RAYS) * (2 * np.pi / RAYS)
    ellipse, best, kept = start, 0.0, None
    for window in windows:
        found, strength = _cast(grey, white, ellipse, angles, window)
        ellipse, residuals, scale = _fit(ellipse, angles, found, strength > 0)
        fits = (strength > 0) & (np.abs(residuals) < max(4 * scale, 0.002 * ellipse.major))
        if fits.mean() < 0.85 * best or not _lies_within(grey, ellipse):
            break
        best, kept = max(best, float(fits.mean())), (ellipse, residuals, fits)
        seen = strength > 0
    if kept is None or best < FEWEST:
        return None
    covered = _covered(grey, white, kept[0], angles)
    depths = nick_depths(kept[1], seen & ~covered, kept[0].major)
    return _outline(*kept, _arcs(covered & ~kept[2]), depths)


def _lies_within(grey: NDArray[Any], ellipse: Ellipse) -> bool:
    """Whether the centre is in the picture and the girdle no larger than it: a fit to nothing runs away."""
    height, width = grey.shape
    return bool(0 <= ellipse.x < width and 0 <= ellipse.y < height and ellipse.major < max(height, width))


def _outline(
    ellipse: Ellipse,
    residuals: Floats,
    fits: NDArray[np.bool_],
    arcs: tuple[tuple[float, float], ...],
    depths: Floats,
) -> Outline:
    angles = np.arange(RAYS) * (2 * np.pi / RAYS)
    smallest = smallest_width(ellipse.radii(angles) - depths, angles) if depths.any() else 2 * ellipse.minor
    return Outline(
        centre_px=(ellipse.x, ellipse.y),
        diameter_max_px=2 * ellipse.major,
        diameter_min_px=min(smallest, 2 * ellipse.minor),
        axis_angle_deg=float(-np.degrees(ellipse.tilt) % 180),
        radius_px=(ellipse.major + ellipse.minor) / 2,
        rms_px=float(np.sqrt(np.mean(residuals[fits] ** 2))),
        covered=float(fits.mean()),
        hidden_deg=arcs,
    )


def _covered(grey: NDArray[Any], white: float, ellipse: Ellipse, angles: Floats) -> NDArray[np.bool_]:
    """Rays on which something other than the card lies just beyond the girdle."""
    beyond = cast_rays(grey, ellipse, angles, np.linspace(1.03, 1.09, 12)).astype(float) * (255.0 / white)
    bands = beyond.reshape(RAYS, 4, 3).mean(axis=2)
    design = np.column_stack([np.ones(RAYS), np.cos(angles), np.sin(angles)])
    weight = np.ones(RAYS)
    for _ in range(8):
        left = design.T @ (design * weight[:, None]) + 1e-9 * np.eye(3)
        card = design @ np.linalg.solve(left, design.T @ (bands * weight[:, None]))
        rest = np.abs(bands - card).mean(axis=1)
        spread = max(1.4826 * float(np.median(rest)), 1.0)
        weight = 1 / (1 + (rest / spread) ** 2) ** 2
    smooth = cv2.blur(np.tile(rest, 3)[None].astype(np.float32), (7, 1))[0][RAYS : 2 * RAYS]
    covered: NDArray[np.bool_] = smooth > 3.5 * spread
    return covered


def cast_rays(grey: NDArray[Any], ellipse: Ellipse, angles: Floats, radii: Floats) -> NDArray[np.float32]:
    """Brightness along rays (rows) at multiples `radii` of the ellipse's own radius."""
    reach = ellipse.radii(angles)[:, None] * radii[None, :]
    x = (ellipse.x + reach * np.cos(angles)[:, None]).astype(np.float32)
    y = (ellipse.y + reach * np.sin(angles)[:, None]).astype(np.float32)
    return cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)


def _cast(grey: NDArray[Any], white: float, ellipse: Ellipse, angles: Floats, window: float) -> tuple[Floats, Floats]:
    """The outermost clear edge of every ray: its radius in pixels and its strength, 0 where there is none."""
    spacing = 2 * window * ellipse.major / (STEPS - 1)
    shrink = max(1.0, spacing / 1.0)
    shown = grey
    if shrink >= 2:  # the window is coarser than the picture: average first, so that no noise slips through
        ellipse, shown, factor = _shrunk(grey, ellipse, int(shrink))
        spacing /= factor
    else:
        factor = 1.0
    radii = 1 + np.linspace(-window, window, STEPS)
    slope = _slopes(cast_rays(shown, ellipse, angles, radii), white, spacing)
    far = cast_rays(shown, ellipse, angles[::3], radii[: STEPS // 2] - radii[0] + BEYOND)
    beyond = _slopes(far, white, spacing)
    floor = max(6 * float(np.median(beyond)), 0.12 * float(np.median(slope.max(axis=1))), 0.3)
    place, strength = _outermost_peak(slope, floor)
    middle = (radii[:-1] + radii[1:]) / 2
    return np.interp(place, np.arange(STEPS - 1), middle) * ellipse.radii(angles) * factor, strength


def _slopes(profile: NDArray[np.float32], white: float, spacing: float) -> NDArray[Any]:
    """Absolute brightness change per pixel along the rays, smoothed over about a pixel, on the 0 to 255 scale."""
    profile = profile * np.float32(255.0 / white)
    sigma = min(max(1.1 / max(spacing, 1e-6), 1.0), STEPS / 8)
    smooth = cv2.GaussianBlur(profile, (0, 0), sigmaX=sigma, sigmaY=1.2)
    slopes: NDArray[Any] = np.abs(np.diff(smooth, axis=1)) / np.float32(spacing)
    return slopes


def _shrunk(grey: NDArray[Any], ellipse: Ellipse, factor: int) -> tuple[Ellipse, NDArray[Any], float]:
    reach = int(ellipse.major * 1.1) + 2 * factor
    left, top = max(0, int(ellipse.x) - reach), max(0, int(ellipse.y) - reach)
    patch = grey[top : int(ellipse.y) + reach, left : int(ellipse.x) + reach]
    height, width = patch.shape[0] // factor, patch.shape[1] // factor
    small = cv2.resize(patch[: height * factor, : width * factor], (width, height), interpolation=cv2.INTER_AREA)
    shift = (factor - 1) / 2
    moved = Ellipse(
        (ellipse.x - left - shift) / factor,
        (ellipse.y - top - shift) / factor,
        ellipse.major / factor,
        ellipse.minor / factor,
        ellipse.tilt,
    )
    return moved, small, float(factor)


def _outermost_peak(slope: NDArray[np.float32], floor: float) -> tuple[Floats, Floats]:
    """Per row the last local maximum above the floor and above a third of the row's best, to a fraction of a step."""
    need = np.maximum(floor, 0.33 * slope.max(axis=1, keepdims=True))
    inner = slope[:, 1:-1]
    peak = (inner >= slope[:, :-2]) & (inner > slope[:, 2:]) & (inner > need)
    has = peak.any(axis=1)
    last = np.where(has, peak.shape[1] - 1 - np.argmax(peak[:, ::-1], axis=1), 0) + 1
    row = np.arange(len(slope))
    left, here, right = slope[row, last - 1], slope[row, last], slope[row, np.minimum(last + 1, slope.shape[1] - 1)]
    bend = left - 2 * here + right
    shift = np.where(np.abs(bend) > 1e-9, 0.5 * (left - right) / np.where(np.abs(bend) > 1e-9, bend, 1), 0)
    return last + np.clip(shift, -0.5, 0.5).astype(float), np.where(has, here, 0).astype(float)


def _fit(ellipse: Ellipse, angles: Floats, found: Floats, seen: NDArray[np.bool_]) -> tuple[Ellipse, Floats, float]:
    """Gauss-Newton with Cauchy weights of shrinking scale; the model is linear in small changes of the ellipse."""
    points = np.column_stack([ellipse.x + found * np.cos(angles), ellipse.y + found * np.sin(angles)])
    scale = 0.01 * ellipse.major
    residuals = np.zeros(len(angles))
    for _ in range(14):
        dx, dy = points[:, 0] - ellipse.x, points[:, 1] - ellipse.y
        heading = np.arctan2(dy, dx)
        residuals = np.hypot(dx, dy) - ellipse.radii(heading)
        weight = seen / (1 + (residuals / (2 * scale)) ** 2) ** 2
        design = np.column_stack(
            [np.cos(heading), np.sin(heading), np.ones(RAYS), np.cos(2 * heading), np.sin(2 * heading)]
        )
        left = design.T @ (design * weight[:, None]) + 1e-9 * np.eye(5)
        ellipse = ellipse.moved(np.linalg.solve(left, design.T @ (residuals * weight)))
        typical = 1.4826 * float(np.median(np.abs(residuals[seen]))) if seen.any() else scale
        scale = max(min(scale * 0.7, max(typical, 0.05)), 0.05)
    return ellipse, residuals, scale


def _arcs(hidden: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """Arcs (from, to) in degrees counter-clockwise as seen, of at least 3 degrees, gaps under 2 degrees closed."""
    per_ray = 360 / RAYS
    closed = cv2.morphologyEx(
        np.tile(hidden.astype(np.uint8), 3)[None, :], cv2.MORPH_CLOSE, np.ones((1, int(2 / per_ray) + 1), np.uint8)
    )[0]
    opened = cv2.morphologyEx(closed[None, :], cv2.MORPH_OPEN, np.ones((1, int(3 / per_ray)), np.uint8))[0]
    middle = opened[RAYS : 2 * RAYS]
    if middle.all():
        return ((0.0, 360.0),)
    edges = np.diff(opened.astype(int))
    starts = [k + 1 for k in np.flatnonzero(edges == 1) if RAYS <= k + 1 < 2 * RAYS]
    ends = np.flatnonzero(edges == -1)
    arcs = []
    for start in starts:
        end = int(ends[ends >= start][0])
        arcs.append((float(-(end + 0.5) * per_ray % 360), float(-(start - 0.5) * per_ray % 360)))
    return tuple(sorted(arcs))
