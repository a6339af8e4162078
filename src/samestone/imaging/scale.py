"""Micrometres per pixel, from a photograph of a stage micrometer.

The plane of the rulings is mapped to the picture by a perspective and a lens with some distortion. Read backwards that is
nearly linear: the position along the micrometer, in micrometres, is a low-order polynomial of the pixel co-ordinates.
Every ruling gives its own number for that polynomial, its index times the division, so one linear least-squares fit
answers. The scale is the length of the gradient at the centre of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]

BANDS = 24
"""Strips across the rulings; each gives one row of line positions."""
LEAST_PITCH_PX = 4.5
"""Closer rulings cannot be told apart reliably by a centroid: in trials such pictures gave a wrong answer with a
plausible uncertainty."""
LARGEST_RESIDUAL = 0.06
"""Largest root mean square distance of a ruling from its place, in divisions; a wrong count of rulings leaves more."""
SYSTEMATIC = 5e-5
"""Relative standard uncertainty that no residual shows: the lens distortion beyond the fitted terms. From trials on
simulated pictures with up to 0.4 % distortion; the focus between micrometer and girdle plane is the user's to add."""


class Unresolved(ValueError):
    """The rulings could not be told apart, or do not form a regular scale."""


@dataclass(frozen=True)
class ScaleReading:
    """What one photograph of a stage micrometer says about the scale at the centre of the picture."""

    um_per_px: float
    u: float
    """Standard uncertainty of um_per_px."""
    pitch_px: float
    angle_deg: float
    """Direction of the scale, counter-clockwise from +x as seen, in (-90, 90]."""
    rulings: int
    residual_um: float
    """Root mean square distance of the line centres from the fitted scale."""


def measure_scale(grey: Grey, *, division_um: float) -> ScaleReading:
    """Measure micrometres per pixel from equally spaced parallel rulings.

    grey: (H, W), any unit, dark lines on light or light on dark. division_um: distance between neighbouring rulings.
    Refuses (`Unresolved`) when no regular rulings are found, when they stand closer than 4.5 px, or when their centres
    do not fall on a regular scale.

    Model: index·division = a + b·x + c·y + d·s² + e·s·t + k·s·(x² + y²), with x, y in pixels from the picture's centre,
    s along and t across the scale; um_per_px = √(b² + c²). The quadratic terms are the perspective of a tilted stage to
    second order, the cubic one the lens's radial distortion.
    """
    if division_um <= 0:
        raise ValueError(f"the division must be a positive length in micrometres, found {division_um}")
    contrast = flatten(grey)
    angle = scale_direction(contrast)
    upright = rotate(contrast, angle)
    lines = find_lines(upright)
    pitch = ruling_pitch(lines)
    if pitch < LEAST_PITCH_PX:
        raise Unresolved(
            f"the rulings stand {pitch:.1f} px apart; at least {LEAST_PITCH_PX} px are needed. "
            "Use more magnification, or sharper focus."
        )
    places, indices = index_lines(lines, pitch)
    return fit_scale(places, indices, division_um=division_um, angle_deg=angle)


def flatten(grey: Grey) -> Grey:
    """Remove uneven light: divide by a wide blur, so that rulings are departures from zero."""
    grey = np.asarray(grey, np.float32)
    wide = cv2.GaussianBlur(grey, (0, 0), max(grey.shape) / 25)
    level = np.maximum(wide, 1e-3 * max(float(grey.max()), 1e-6))
    return np.asarray(grey / level - 1.0, np.float32)


def scale_direction(contrast: Grey) -> float:
    """Direction across the rulings in degrees, counter-clockwise as seen, from the mean structure tensor, refined."""
    blurred = cv2.GaussianBlur(contrast, (0, 0), 1.2)
    gx = cv2.Sobel(blurred, cv2.CV_32F, 1, 0)
    gy = cv2.Sobel(blurred, cv2.CV_32F, 0, 1)
    weight = gx**2 + gy**2
    strong = weight > np.quantile(weight[::7, ::7], 0.90)
    double = np.arctan2(2 * (gx * gy)[strong].sum(), (gx**2 - gy**2)[strong].sum())
    coarse = -np.degrees(double) / 2
    small, factor = shrink(contrast, 1200)
    del factor
    for span in (3.0, 0.6, 0.12):
        trial = coarse + np.linspace(-span, span, 13)
        power = [float(np.square(np.diff(rotate(small, a).mean(axis=0))).sum()) for a in trial]
        coarse = float(trial[int(np.argmax(power))])
    return float((coarse + 90) % 180 - 90)


def shrink(image: Grey, longest: int) -> tuple[Grey, float]:
    """The image with its longer side at most `longest`, and the factor used. Crops rather than resamples: rulings must
    not be smoothed away."""
    height, width = image.shape
    top, left = max(0, (height - longest) // 2), max(0, (width - longest) // 2)
    return image[top : top + longest, left : left + longest], 1.0


@dataclass(frozen=True)
class Upright:
    """A picture turned so that the scale runs along +x, with the way back to the original's pixels."""

    image: Grey
    back: NDArray[np.float64]
    """(2, 3) affine: original pixel, relative to its centre, from upright pixel."""


def rotate(image: Grey, angle_deg: float) -> Grey:
    """Turn the picture about its centre so that the direction angle_deg (counter-clockwise) becomes +x."""
    height, width = image.shape
    turn = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -angle_deg, 1.0)
    return np.asarray(cv2.warpAffine(image, turn, (width, height), flags=cv2.INTER_CUBIC, borderValue=0.0), np.float32)


@dataclass(frozen=True)
class BandLines:
    """Line centres found in one strip of the upright picture."""

    y: float
    x: NDArray[np.float64]
    depth: NDArray[np.float64]


def find_lines(upright: Grey) -> tuple[BandLines, ...]:
    """Line centres in each of the strips: extrema of the strip's mean profile, refined to the centroid."""
    height, width = upright.shape
    edges = np.linspace(0.03 * height, 0.97 * height, BANDS + 1).astype(int)
    profiles = np.stack([upright[a:b].mean(axis=0) for a, b in zip(edges[:-1], edges[1:], strict=True)])
    profiles = profiles - np.median(profiles, axis=1, keepdims=True)
    skew = float((profiles**3).sum())
    profiles = profiles if skew > 0 else -profiles
    strength = np.quantile(profiles, 0.995, axis=1)
    keep = strength > 0.25 * strength.max()
    bands = []
    for a, b, profile, used in zip(edges[:-1], edges[1:], profiles, keep, strict=True):
        if used:
            bands.append(band_lines(profile, (a + b - 1) / 2))
    bands = [band for band in bands if band.x.size >= 4]
    if not bands:
        raise Unresolved("no rulings were found. Photograph the micrometer sharp, evenly lit, filling the picture.")
    return tuple(bands)


def band_lines(profile: Grey, y: float) -> BandLines:
    """Peaks of one profile with at least a third of the strong peaks' height; centroid over the part above half."""
    smooth = cv2.GaussianBlur(profile.reshape(1, -1), (0, 0), 0.8).ravel()
    inner = smooth[1:-1]
    peaks = 1 + np.flatnonzero((inner >= smooth[:-2]) & (inner > smooth[2:]))
    if peaks.size == 0:
        return BandLines(y, np.zeros(0), np.zeros(0))
    valley = np.array([smooth[max(0, p - 40) : p + 41].min() for p in peaks])
    rise = smooth[peaks] - valley
    peaks = peaks[rise > 0.4 * np.quantile(rise, 0.9)]
    found = [peak_centre(smooth, int(p)) for p in peaks]
    return BandLines(y, np.array([x for x, _ in found]), np.array([d for _, d in found]))


def peak_centre(profile: NDArray[np.floating], peak: int) -> tuple[float, float]:
    """Centroid of the part of a peak above the middle between its top and the higher of its two feet."""
    left = peak
    while left > 0 and profile[left - 1] < profile[left]:
        left -= 1
    right = peak
    while right < profile.size - 1 and profile[right + 1] < profile[right]:
        right += 1
    floor = 0.5 * (profile[peak] + max(profile[left], profile[right]))
    part = np.maximum(profile[left : right + 1] - floor, 0.0)
    return float((np.arange(left, right + 1) * part).sum() / max(part.sum(), 1e-12)), float(profile[peak])


def ruling_pitch(bands: tuple[BandLines, ...]) -> float:
    """Distance between neighbouring rulings in pixels: the smallest one that a good share of strips agree on.

    Strips that only the longer fifth or tenth lines reach have larger steps; the rulings themselves have the smallest.
    """
    steps = np.array([float(np.median(np.diff(band.x))) for band in bands])
    regular = np.array([step_spread(band.x) for band in bands]) < 0.15
    if not regular.any():
        raise Unresolved(
            "the lines found are not evenly spaced, so single rulings are not resolved. "
            "Use more magnification, sharper focus and even light."
        )
    smallest = float(steps[regular].min())
    agreeing = steps[regular & (steps < 1.1 * smallest)]
    return float(np.median(agreeing))


def step_spread(x: NDArray[np.float64]) -> float:
    """Spread of the steps between neighbouring lines, relative to the median step (robust: median deviation)."""
    steps = np.diff(x)
    middle = float(np.median(steps))
    return float(np.quantile(np.abs(steps - middle), 0.8) / max(middle, 1e-9))


def index_lines(bands: tuple[BandLines, ...], pitch: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Number the lines of all strips on one scale; (n, 2) upright places and (n,) indices.

    The number grows by a rounded step from one line to the next, so slow changes of pitch across the picture
    (distortion, tilt) do no harm. Strips are tied to each other through the strip before them.
    """
    places: list[NDArray[np.float64]] = []
    numbers: list[NDArray[np.float64]] = []
    previous: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None
    for band in sorted(bands, key=lambda b: -b.x.size):
        steps = np.rint(np.diff(band.x) / pitch)
        number = np.concatenate([[0.0], np.cumsum(steps)])
        if previous is not None:
            predicted = np.interp(band.x, *previous)
            number = number + np.rint(np.median(predicted - number))
        else:
            previous = (band.x, number)
        good = np.concatenate([[True], steps > 0])
        places.append(np.column_stack([band.x, np.full(band.x.size, band.y)])[good])
        numbers.append(number[good])
    return np.concatenate(places), np.concatenate(numbers)


def design(places: NDArray[np.float64], angle_deg: float, size: float) -> NDArray[np.float64]:
    """Columns of the model of `measure_scale`, co-ordinates scaled by `size` so that the columns are comparable."""
    s, t = places[:, 0] / size, places[:, 1] / size
    return np.column_stack([np.ones_like(s), s, t, s * s, s * t, s * (s * s + t * t)])


def fit_scale(
    places: NDArray[np.float64], indices: NDArray[np.float64], *, division_um: float, angle_deg: float
) -> ScaleReading:
    """Robust least squares of the indices on the places; the scale at the centre with its uncertainty."""
    raise NotImplementedError
