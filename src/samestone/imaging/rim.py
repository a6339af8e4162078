"""Where a stone's rim lies along rays: the outermost clear edge, placed in linear light.

A camera's encoding stretches dark tones, so the steepest place of an encoded edge lies towards its dark side, by up to
half a pixel. Edges are therefore found as encoded, where dark ones are clear too, but placed where brightness falls
fastest in linear light. The encoding is taken to be that of sRGB (IEC 61966-2-1) with a mild contrast curve on top, as
cameras apply; a camera whose curve differs places edges a few hundredths of a pixel off.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

RAYS = 720
PROBE = 1.1
STEPS = 161
ANGLES = np.arange(RAYS) * (2 * np.pi / RAYS)
BEYOND = 1.08
CLIPPED = 251.0
CONTRAST = 1.2  # how much steeper than sRGB alone the camera's curve is in the middle; assumed
# Standard uncertainty of a ray's edge on the tuning pictures, for a girdle of 250 pixels radius: never below the first,
# the second over the edge's strength (levels of 255 in linear light per pixel), the third where a facet is clipped, and
# the fourth times how far the next rays' edges lie off.
LEAST_SIGMA, WEAK_SIGMA, CLIPPED_SIGMA, UNSTEADY = 0.06, 2.0, 0.3, 1.5
SIGMA_RADIUS = 250.0

Floats = NDArray[Any]  # of float64


@dataclass(frozen=True, eq=False)
class Curve:
    """A closed curve about a centre: its distance from there, in pixels, along each of the 720 rays of `ANGLES`."""

    x: float
    y: float
    reach: Floats

    def moved_to(self, reach: Floats) -> Curve:
        """Other distances from the same centre."""
        return Curve(self.x, self.y, reach)

    @property
    def points(self) -> Floats:
        """Corners of the curve, (720, 2)."""
        return np.column_stack([self.x + self.reach * np.cos(ANGLES), self.y + self.reach * np.sin(ANGLES)])


@dataclass(frozen=True, eq=False)
class Edges:
    """Every ray's outermost clear edge: distance from the centre in pixels, whether one was found; and its profile."""

    reach: Floats
    seen: NDArray[np.bool_]
    profile: NDArray[np.float32]
    place: Floats
    radii: Floats
    spacing: float
    probe: float

    @cached_property
    def exact(self) -> tuple[Floats, Floats]:
        """Distances with the edge placed in linear light, and their standard uncertainties, infinite where unseen."""
        light = np.interp(self.profile, np.arange(256), LIGHT).astype(np.float32)
        slope = _slopes(light, self.spacing, self.probe)
        row, near = np.arange(RAYS), int(np.ceil(1 / self.spacing))
        columns = np.clip(np.rint(self.place).astype(int)[:, None] + np.arange(-near, near + 1), 1, STEPS - 3)
        best = columns[row, slope[row[:, None], columns].argmax(axis=1)]
        place, strength = _vertex(slope, row, best)
        around = np.clip(best[:, None] + np.arange(-2 * near, 2 * near + 1), 0, STEPS - 1)
        clipped = (self.profile[row[:, None], around] > CLIPPED).any(axis=1)
        reach, size = _distance(self.radii, place), float(np.median(self.radii)) / SIGMA_RADIUS
        weak = WEAK_SIGMA / np.maximum(strength * size, 1e-6)
        unsteady = UNSTEADY * self._unsteady(reach) / size
        sigma = size * np.sqrt(LEAST_SIGMA**2 + weak**2 + CLIPPED_SIGMA**2 * clipped + unsteady**2)
        return reach, np.where(self.seen, sigma, np.inf)

    def _unsteady(self, reach: Floats) -> Floats:
        """How far off the edges of the rays on both sides are, px; at a missing one a pixel per SIGMA_RADIUS."""
        off = np.where(self.seen, reach - self.radii[:, STEPS // 2], np.nan)
        apart = np.maximum(np.abs(off - np.roll(off, 1)), np.abs(off - np.roll(off, -1)))
        return np.asarray(np.nan_to_num(apart, nan=float(np.median(self.radii)) / SIGMA_RADIUS))


def cast_rays(grey: NDArray[Any], curve: Curve, multiples: Floats) -> NDArray[np.float32]:
    """Brightness along rays (rows) at multiples of the curve's own distance; fewer rays if the curve has fewer."""
    angles = np.arange(len(curve.reach)) * (2 * np.pi / len(curve.reach))
    reach = curve.reach[:, None] * multiples[None, :]
    x = (curve.x + reach * np.cos(angles)[:, None]).astype(np.float32)
    y = (curve.y + reach * np.sin(angles)[:, None]).astype(np.float32)
    return cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)


def find_edges(grey: NDArray[Any], white: float, curve: Curve, window: float, *, probe: float = PROBE) -> Edges:
    """The outermost clear edge of every ray, searched within `window` of the curve (a share of its distance).

    `probe` is over how many pixels (a standard deviation) brightness is averaged along the ray.
    """
    spacing, factor = 2 * window * float(curve.reach.max()) / (STEPS - 1), 1.0
    shown, around = grey, curve
    if spacing >= 2:  # the window is coarser than the picture: average first, so that no noise slips through
        around, shown, factor = _shrunk(grey, curve, int(spacing))
        spacing /= factor
        probe = max(PROBE, probe / factor)
    multiples = 1 + np.linspace(-window, window, STEPS)
    profile = cast_rays(shown, around, multiples) * np.float32(255 / white)
    slope = _slopes(profile, spacing, probe)
    every_third = Curve(around.x, around.y, around.reach[::3])
    far = cast_rays(shown, every_third, multiples[: STEPS // 2] - multiples[0] + BEYOND) * np.float32(255 / white)
    card = float(np.median(_slopes(far, spacing, probe)))
    floor = max(6 * card, 0.12 * float(np.median(slope.max(axis=1))), 0.3)
    place, seen = _outermost_peak(slope, floor)
    radii = curve.reach[:, None] * multiples[None, :]
    return Edges(_distance(radii, place), seen, profile, place, radii, spacing * factor, probe * factor)


def _distance(radii: Floats, place: Floats) -> Floats:
    """From places between the samples of a profile (slope k lies between samples k and k + 1) to pixels."""
    share = np.clip(place + 0.5, 0, STEPS - 1) / (STEPS - 1)
    return np.asarray(radii[:, 0] + share * (radii[:, -1] - radii[:, 0]))


def _light() -> Floats:
    """Linear light, 0 to 255, of each encoded level: the contrast curve taken back, then sRGB's."""
    level = np.arange(256) / 255
    steep = level ** (1 / CONTRAST)
    share = steep / (steep + (1 - level) ** (1 / CONTRAST))
    return np.asarray(255 * np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4))


LIGHT = _light()


def _slopes(profile: NDArray[np.float32], spacing: float, probe: float) -> NDArray[Any]:
    """Absolute brightness change per pixel along the rays, smoothed over about a probe."""
    sigma = min(max(probe / max(spacing, 1e-6), 1.0), STEPS / 8)
    smooth = cv2.GaussianBlur(profile, (0, 0), sigmaX=sigma, sigmaY=1.2)
    slopes: NDArray[Any] = np.abs(np.diff(smooth, axis=1)) / np.float32(spacing)
    return slopes


def _shrunk(grey: NDArray[Any], curve: Curve, factor: int) -> tuple[Curve, NDArray[Any], float]:
    reach = int(curve.reach.max() * 1.1) + 2 * factor
    left, top = max(0, int(curve.x) - reach), max(0, int(curve.y) - reach)
    patch = grey[top : int(curve.y) + reach, left : int(curve.x) + reach]
    height, width = patch.shape[0] // factor, patch.shape[1] // factor
    small = cv2.resize(patch[: height * factor, : width * factor], (width, height), interpolation=cv2.INTER_AREA)
    shift = (factor - 1) / 2
    x, y = (curve.x - left - shift) / factor, (curve.y - top - shift) / factor
    return Curve(x, y, curve.reach / factor), small, float(factor)


def _outermost_peak(slope: NDArray[np.float32], floor: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Per row the last local maximum above the floor and above a third of the row's best, to a fraction of a step."""
    need = np.maximum(floor, 0.33 * slope.max(axis=1, keepdims=True))
    inner = slope[:, 1:-1]
    peak = (inner >= slope[:, :-2]) & (inner > slope[:, 2:]) & (inner > need)
    has = peak.any(axis=1)
    last = np.where(has, peak.shape[1] - 1 - np.argmax(peak[:, ::-1], axis=1), 0) + 1
    return _vertex(slope, np.arange(len(slope)), last)[0], has


def _vertex(slope: NDArray[Any], row: NDArray[Any], column: NDArray[Any]) -> tuple[Floats, Floats]:
    """Where the parabola through a maximum and its neighbours has its vertex, and the maximum."""
    left, here, right = (slope[row, np.minimum(column + k, slope.shape[1] - 1)].astype(float) for k in (-1, 0, 1))
    bend = left - 2 * here + right
    shift = np.where(bend < -1e-9, 0.5 * (left - right) / np.where(bend < -1e-9, bend, 1), 0)
    return column + np.clip(shift, -0.5, 0.5), here
