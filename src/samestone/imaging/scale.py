"""Micrometres per pixel, from a photograph of a stage micrometer.

The plane of the rulings is mapped to the picture by a perspective and a lens with some distortion. Read backwards
that is nearly linear: the position along the micrometer is a low-order polynomial of the pixel co-ordinates. Every
ruling gives its own number for that polynomial, its index times the division, so one linear least-squares fit
answers. The scale is the length of the gradient at the centre of the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.signal import find_peaks

Grey = NDArray[np.float32]
Places = NDArray[np.float64]

BANDS = 24
"""Strips across the rulings; each gives one row of line positions."""
FINER = 8
"""Steps a pixel at which lines and their centres are sought: whole pixels would bias a centre by its place among them,
and where the pitch is nearly a whole number of pixels that bias does not average out."""
FEWEST = 4
"""Lines that a strip must show to count."""
FEWEST_RULINGS = 7
"""One more than the model has unknowns."""
EVEN = 0.08
"""Spread of the steps, relative to their median, up to which a strip of faint lines counts: chance peaks are uneven."""
CROSSING = 0.3
"""Share of the commonest direction from which another one is tried: of two scales that cross, one is measured."""
WIDE_PX = 40.0
"""Changes wider than this are not taken for rulings where directions are compared."""
FAINTEST, LEAST_CONTRAST = 0.08, 0.01
"""Strips fainter than this share of the clearest are not read, nor a picture whose lines all differ from the light by
less than this share of it: the beat of rulings with the pixels can be as regular as rulings."""
LEAST_PITCH_PX = 3.5
"""Closer rulings cannot be told apart reliably by a centroid: in trials such pictures gave a wrong answer with a
plausible uncertainty."""
HIDDEN = {
    2: (1 / 2, (1 / 4,), 0.11),
    3: (1 / 3, (1 / 6, 1 / 2), 0.06),
    4: (1 / 2, (3 / 8,), 0.03),
    5: (2 / 5, (3 / 10, 1 / 2), 0.024),
    10: (2 / 5, (7 / 20, 9 / 20), 0.012),
}
"""Finer rulings looked for, so many to a division: phase of one, of the gaps beside it, how far around to average."""
LARGEST_RESIDUAL = 0.06
"""Largest root mean square distance of a ruling from its place, in divisions; a wrong count of rulings leaves more."""
SHARED = 2.0
"""By what the fit's uncertainty is widened: rulings share faults of lens and light. From trials on drawn micrometers
with few, blurred, dirty rulings, of which a tenth lay beyond twice the fit's own."""
SYSTEMATIC = 2e-5
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
    Refuses (`Unresolved`) when no regular rulings are found, when they stand closer than 3.5 px, or when their centres
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
    places -= (np.array(grey.shape[::-1]) - 1) / 2
    fit = fit_scale(places, indices)
    light = rotate(np.asarray(grey, np.float32), angle)
    refuse_hidden_rulings(fold_strips(upright, light, fit), 1.0 / fit.per_px)
    um_per_px = fit.per_px * division_um
    return ScaleReading(
        um_per_px=um_per_px,
        u=um_per_px * float(np.hypot(fit.relative_u, SYSTEMATIC)),
        pitch_px=1.0 / fit.per_px,
        angle_deg=angle,
        rulings=fit.rulings,
        residual_um=fit.residual * division_um,
    )


def flatten(grey: Grey) -> Grey:
    """Remove uneven light: divide by a wide blur, so that rulings are departures from zero."""
    grey = np.asarray(grey, np.float32)
    height, width = grey.shape
    small = cv2.resize(grey, (max(1, width // 8), max(1, height // 8)), interpolation=cv2.INTER_AREA)
    wide = cv2.resize(cv2.GaussianBlur(small, (0, 0), max(small.shape) / 10), (width, height))
    level = np.maximum(wide, 1e-3 * max(float(grey.max()), 1e-6))
    return np.asarray(grey / level - 1.0, np.float32)


def scale_direction(contrast: Grey) -> float:
    """Direction across the rulings in degrees, counter-clockwise as seen: the one along which the light varies most."""
    small = crop(contrast, 900)
    angles = frequent_directions(contrast)
    if len(angles) > 1:
        angles += [angle + 45 for angle in angles]
    found = [refine_direction(small, angle) for angle in angles]
    return float((max(found)[1] + 90) % 180 - 90)


def refine_direction(small: Grey, angle: float) -> tuple[float, float]:
    """How much the sums along the lines vary in the best direction within some degrees, and that direction."""
    for span in (3.0, 0.6, 0.12):
        trials = angle + np.linspace(-span, span, 13)
        steps = [float(np.square(np.diff(rotate(small, trial).mean(axis=0))).sum()) for trial in trials]
        angle = float(trials[int(np.argmax(steps))])
    sums = rotate(small, angle).mean(axis=0).reshape(1, -1)
    return float((sums - cv2.GaussianBlur(sums, (0, 0), WIDE_PX)).std()), angle


def frequent_directions(contrast: Grey) -> list[float]:
    """Directions of the strong gradients, to a degree: one for parallel rulings, two where scales cross.

    Where lines are wide beside the gaps, the rounded corners of a grid have their gradient along its diagonals.
    """
    blurred = cv2.GaussianBlur(contrast, (0, 0), 1.2)
    gx = cv2.Sobel(blurred, cv2.CV_32F, 1, 0)
    gy = cv2.Sobel(blurred, cv2.CV_32F, 0, 1)
    weight = gx**2 + gy**2
    strong = weight > np.quantile(weight[::7, ::7], 0.90)
    degrees = np.degrees(np.arctan2(-gy[strong], gx[strong])) % 180
    count, _ = np.histogram(degrees, 180, (0, 180), weights=weight[strong])
    around = np.concatenate([count[-8:], count, count[:8]])
    smooth = np.convolve(around, np.hanning(9), mode="same")[8:-8]
    found: list[float] = []
    for k in np.argsort(smooth)[::-1]:
        apart = all(abs((k - other + 90) % 180 - 90) > 12 for other in found)
        if smooth[k] > CROSSING * smooth.max() and apart:
            found.append(float(k) + 0.5)
    return found[:3]


def crop(image: Grey, longest: int) -> Grey:
    """The middle of the picture; not resampled, for that would smooth the rulings away."""
    height, width = image.shape
    top, left = max(0, (height - longest) // 2), max(0, (width - longest) // 2)
    return image[top : top + longest, left : left + longest]


def rotate(image: Grey, angle_deg: float) -> Grey:
    """Turn the picture about its centre so that the direction angle_deg (counter-clockwise) becomes +x."""
    height, width = image.shape
    turn = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -angle_deg, 1.0)
    return np.asarray(
        cv2.warpAffine(image, turn, (width, height), flags=cv2.INTER_LANCZOS4, borderValue=0.0), np.float32
    )


@dataclass(frozen=True)
class BandLines:
    """Line centres found in one strip of the upright picture."""

    y: float
    x: NDArray[np.float64]
    depth: float
    """Median contrast of the lines."""


def find_lines(upright: Grey) -> tuple[BandLines, ...]:
    """Line centres in each of the strips: extrema of the strip's mean profile, refined to the centroid."""
    edges = strip_edges(upright)
    profiles = strip_profiles(upright)
    profiles = profiles * polarity(profiles)
    strength = np.quantile(profiles, 0.995, axis=1)
    clear = strength > 0.25 * strength.max()
    bands = [band_lines(profile, (a + b - 1) / 2) for profile, (a, b) in zip(profiles, pairwise(edges), strict=True)]
    many = [band.x.size >= FEWEST for band in bands]
    clearest = max((band.depth for band, some in zip(bands, many, strict=True) if some), default=0.0)
    bands = [
        band
        for band, some, sure in zip(bands, many, clear, strict=True)
        if some and (sure or band.depth > FAINTEST * clearest) and (sure or step_spread(band.x) < EVEN)
    ]
    if not bands or clearest < LEAST_CONTRAST:
        raise Unresolved("no rulings were found. Photograph the micrometer sharp, evenly lit, filling the picture.")
    return tuple(bands)


def strip_edges(upright: Grey) -> NDArray[np.int64]:
    """First rows of the strips and the row after the last; the picture's margins are left out."""
    height = upright.shape[0]
    return np.linspace(0.03 * height, 0.97 * height, BANDS + 1).astype(np.int64)


def strip_profiles(upright: Grey) -> Grey:
    """Mean of the rows of each strip, less its median."""
    profiles = np.stack([upright[a:b].mean(axis=0) for a, b in pairwise(strip_edges(upright))])
    return np.asarray(profiles - np.median(profiles, axis=1, keepdims=True), np.float32)


def polarity(profiles: Grey) -> float:
    """1 for light lines, -1 for dark ones: lines are rarer than what lies between."""
    return 1.0 if float((profiles**3).sum()) > 0 else -1.0


def band_lines(profile: Grey, y: float) -> BandLines:
    """Peaks of one profile that stand out of their surroundings by 0.4 of what the strong ones do, as centroids."""
    smooth = cv2.GaussianBlur(profile.reshape(1, -1), (0, 0), 0.8).ravel().astype(np.float64)
    fine = CubicSpline(np.arange(smooth.size), smooth)(np.arange(FINER * (smooth.size - 1) + 1) / FINER)
    peaks, found = find_peaks(fine, prominence=0.0)
    if peaks.size == 0:
        return BandLines(y, np.zeros(0), 0.0)
    rise = found["prominences"]
    lines = peaks[rise > 0.4 * np.quantile(rise, 0.9)]
    if step_spread(lines) > EVEN:
        strong = rise[rise > 0.1 * rise.max()]
        lines = peaks[rise > 0.4 * np.quantile(strong, 0.9)]
    bounds = [0, *(int(a + np.argmin(fine[a:b])) for a, b in pairwise(lines)), fine.size - 1]
    centres = [peak_centre(fine, int(line), feet) for line, feet in zip(lines, pairwise(bounds), strict=True)]
    return BandLines(y, np.array(centres) / FINER, float(np.median(fine[lines])))


def peak_centre(profile: Places, peak: int, feet: tuple[int, int]) -> float:
    """Centroid of the part of a peak above the middle between its top and the higher of its two feet."""
    left, right = feet
    floor = 0.5 * (profile[peak] + max(profile[left : peak + 1].min(), profile[peak : right + 1].min()))
    below = profile[left : right + 1] < floor
    before, after = np.flatnonzero(below[: peak - left]), np.flatnonzero(below[peak - left :])
    first = left + int(before[-1]) + 1 if before.size else left
    last = peak + int(after[0]) if after.size else right + 1
    part = profile[first:last] - floor
    return float((np.arange(first, last) * part).sum() / max(part.sum(), 1e-12))


def ruling_pitch(bands: tuple[BandLines, ...]) -> float:
    """Distance between neighbouring rulings in pixels: the smallest one that a good share of strips agree on.

    Strips that only the longer fifth or tenth lines reach have larger steps; the rulings themselves have the smallest.
    """
    steps = np.array([float(np.median(np.diff(band.x))) for band in bands])
    regular = np.array([step_spread(band.x) < 0.15 for band in bands])
    if not regular.any():
        raise Unresolved(
            "the lines found are not evenly spaced, so single rulings are not resolved. "
            "Use more magnification, sharper focus and even light."
        )
    smallest = float(steps[regular].min())
    agreeing = steps[regular & (steps < 1.1 * smallest)]
    return float(np.median(agreeing))


def step_spread(x: NDArray[np.float64] | NDArray[np.intp]) -> float:
    """Spread of the steps between neighbouring lines, relative to the median step (robust: median deviation)."""
    if x.size < 2:
        return 1.0
    steps = np.diff(x)
    middle = float(np.median(steps))
    return float(np.quantile(np.abs(steps - middle), 0.8) / max(middle, 1e-9))


def index_lines(bands: tuple[BandLines, ...], pitch: float) -> tuple[Places, Places]:
    """Number the lines of all strips on one scale: upright places (n, 2) and their numbers (n,).

    The fullest strip is numbered by rounded steps, so slow changes of pitch (distortion, tilt) do no harm. The others
    follow outwards from it: the fit to all lines numbered so far predicts their numbers, and what is not near a whole
    number (a digit, the end of a tick) is left out.
    """
    bands = tuple(band for band in bands if float(np.median(np.diff(band.x))) > 0.8 * pitch)
    first = max(bands, key=lambda band: (step_spread(band.x) < 0.15, band.x.size))
    number = np.concatenate([[0.0], np.cumsum(np.rint(np.diff(first.x) / pitch))])
    places = np.column_stack([first.x, np.full(first.x.size, first.y)])
    for band in sorted(bands, key=lambda band: abs(band.y - first.y))[1:]:
        here = np.column_stack([band.x, np.full(band.x.size, band.y)])
        centre, half = places.mean(axis=0), float(np.ptp(places[:, 0])) + 1.0
        terms = 2 if places[:, 1].max() == places[:, 1].min() else 3
        solution, *_ = np.linalg.lstsq(steady(places - centre, half, terms), number, rcond=None)
        predicted = steady(here - centre, half, terms) @ solution
        near = np.abs(predicted - np.rint(predicted)) < 0.25
        places = np.concatenate([places, here[near]])
        number = np.concatenate([number, np.rint(predicted[near])])
    return places, number


def steady(places: Places, half: float, terms: int) -> Places:
    """Columns for the prediction of `index_lines`: straight in both directions, bent along the scale."""
    s, t = places[:, 0] / half, places[:, 1] / half
    along = [np.ones_like(s), s, s * s, s**3]
    return np.column_stack(along if terms == 2 else [*along, t, s * t])


def design(places: Places, half: float) -> Places:
    """Columns of the model of `measure_scale` for places relative to the centre, in units of half the picture."""
    s, t = places[:, 0] / half, places[:, 1] / half
    return np.column_stack([np.ones_like(s), s, t, s * s, s * t, s * (s * s + t * t)])


@dataclass(frozen=True)
class ScaleFit:
    """The fitted numbering of the plane: solution of `design`, and how well it holds. Lengths in divisions."""

    solution: Places
    half: float
    per_px: float
    relative_u: float
    rulings: int
    residual: float


def fit_scale(places: Places, indices: Places) -> ScaleFit:
    """Least squares of the indices on the places with outliers dropped.

    places: relative to the picture's centre. The centres found in neighbouring strips of one ruling share its errors,
    so the uncertainty counts each ruling once.
    """
    half = float(np.abs(places).max())
    columns = design(places, half)
    used = np.ones(indices.size, bool)
    for _ in range(6):
        solution = np.asarray(np.linalg.lstsq(columns[used], indices[used], rcond=None)[0], np.float64)
        residual = indices - columns @ solution
        spread = 1.4826 * float(np.median(np.abs(residual[used]))) + 1e-6
        used = np.abs(residual) < 4.5 * spread + 0.003
        if used.sum() < columns.shape[1] + 4:
            raise Unresolved("too few rulings lie on one scale. Fill the picture with the micrometer, sharp and level.")
    rms = float(np.sqrt(np.mean(residual[used] ** 2)))
    if rms > LARGEST_RESIDUAL or used.mean() < 0.7:
        raise Unresolved(
            f"the lines do not fall on a regular scale (they miss it by {100 * rms:.0f} % of a division). "
            "Use more magnification, sharper focus and even light."
        )
    rulings = int(np.unique(indices[used]).size)
    if rulings < FEWEST_RULINGS:
        raise Unresolved(
            f"only {rulings} rulings were found; {FEWEST_RULINGS} are needed, for the lens distorts. "
            "Use less magnification, or a micrometer with finer divisions."
        )
    per_px = float(np.hypot(solution[1], solution[2])) / half
    covariance = np.linalg.inv(columns[used].T @ columns[used]) * rms**2 * used.sum() / max(rulings - 6, 1)
    relative = SHARED * float(np.sqrt(covariance[1, 1])) / half / per_px
    return ScaleFit(solution, half, per_px, relative, rulings, rms)


@dataclass(frozen=True)
class Strip:
    """One strip of the upright picture, folded on the fitted scale; lines positive."""

    phase: Places
    """Distance of each column from the nearest fitted line, in divisions, 0 to 1/2."""
    profile: Places
    """Contrast of each column, uneven light removed: a gradient would feign a bump where columns are unevenly spread
    over the phases."""
    light: Places
    """The light itself, in units of the picture's median: it shows what is darker over a wide stretch."""

    @property
    def amplitude(self) -> float:
        """How far the fitted lines stand out: their pitch's wave, for few phases occur where that is whole pixels."""
        return 2 * float((self.profile * np.cos(2 * np.pi * self.phase)).mean())

    @property
    def shade(self) -> float:
        """Mean depth of the lines below what lies between them."""
        inside = self.phase >= 0.35
        return float(self.light.mean() - self.light[inside].mean())


def fold_strips(upright: Grey, light: Grey, fit: ScaleFit) -> list[Strip]:
    """The strips of the upright contrast and of the upright light itself, each over the phase of the fitted scale."""
    height, width = upright.shape
    x = np.arange(width) - (width - 1) / 2
    sign = polarity(strip_profiles(upright))
    unit = sign / max(float(np.median(np.abs(light))), 1e-6)
    strips = []
    for a, b in pairwise(strip_edges(upright)):
        places = np.column_stack([x, np.full(width, (a + b - 1) / 2 - (height - 1) / 2)])
        phase = design(places, fit.half) @ fit.solution
        seen = (light[a:b] != 0).all(axis=0)
        if seen.any():
            rows = [np.asarray(image[a:b].mean(axis=0)[seen], np.float64) for image in (upright, light)]
            strips.append(Strip(np.abs(phase - np.rint(phase))[seen], sign * rows[0], unit * rows[1]))
    return strips


def refuse_hidden_rulings(strips: Sequence[Strip], pitch_px: float) -> None:
    """Refuse when finer rulings, too blurred to be seen singly, lie between or beside the lines that were found.

    Fifth and tenth lines are longer and survive a blur that wipes out the others; counting them as single divisions
    would be wrong by five or ten. Hidden rulings leave a ripple between the lines, or, where all are blurred to one
    tone, rows without lines that are darker on average than the rows with lines.
    """
    message = "finer rulings than the lines found are not resolved. Use more magnification or sharper focus."
    clearest = max(strip.amplitude for strip in strips)
    ruled = [strip.amplitude > 0.6 * clearest for strip in strips]
    for n in (n for n in HIDDEN if pitch_px / n > 2.0):
        for strip in strips:
            height, error = bump(strip, n)
            if height > max(6.0 * error, 0.01 * clearest):
                raise Unresolved(message)
    for n, k in product((n for n in (5, 10) if pitch_px / n > 2.0), range(len(strips) - 2)):
        if stands_alone(strips[k : k + 3], n, clearest):
            raise Unresolved(message)
    light = np.array([strip.light.mean() for strip in strips])
    usual = 3 * float(np.median(np.abs(light[2:] - light[:-2]))) if len(strips) > 2 else 0.0
    for k, j in product(range(len(strips)), (-2, -1, 1, 2)):
        if not ruled[k] or not 0 <= k + j < len(strips) or strips[k + j].amplitude > 0.4 * clearest:
            continue
        if light[k + j] - light[k] > max(strips[k].shade, 0.03, usual):
            raise Unresolved(message)


def bump(strip: Strip, n: int) -> tuple[float, float]:
    """How far the place of a hidden n-th line stands out above the middle of the gaps beside it; its standard error.

    The foot of a single line falls off ever more slowly, so without a hidden line this is never positive.
    """
    line, gaps, reach = HIDDEN[n]
    near = [strip.profile[np.abs(strip.phase - place) < reach] for place in (line, *gaps)]
    if min(part.size for part in near) < 8:
        return 0.0, 1.0
    errors = [float(part.std()) / np.sqrt(part.size) for part in near]
    beside = float(np.mean([part.mean() for part in near[1:]]))
    return float(near[0].mean()) - beside, float(np.hypot(errors[0], np.hypot(*errors[-2:]) / 2))


def stands_alone(strips: Sequence[Strip], n: int, clearest: float) -> bool:
    """Whether the wave of n to a division is stronger than its neighbours, as fifth or tenth lines make it.

    The waves of a single line's shape fade: of three that follow each other one is always about as strong as the next.
    """
    waves = np.array([n, n - 2, n - 1, n + 1])
    found = [
        (strip.profile[:, None] * np.cos(2 * np.pi * waves * strip.phase[:, None])).mean(axis=0) for strip in strips
    ]
    middle, *beside = 2 * np.abs(np.median(found, axis=0))
    return bool(middle > max(2.5 * max(beside), 0.05 * clearest))
