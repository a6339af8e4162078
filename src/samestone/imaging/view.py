"""The stone cut out of its photograph: every girdle brought to the same circle, and the channels seen there.

A view is 560 x 560 pixels, its centre the girdle's, its girdle radius 260. Channels are contrast-normalised, so that
another lamp's level, colour and exposure change them little.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.outline import Outline
from samestone.imaging.photo import Photo

SIDE = 560
GIRDLE = 260.0
MIDDLE = (SIDE - 1) / 2
RINGS = 96
TURNS = 1440
SPOTS_PX = (1.4, 2.2, 3.4)
FOLDS = (8, 4, 2)

Plane = NDArray[Any]  # of float32, whole views or half-size ones


@lru_cache(maxsize=1)
def _polar_maps() -> tuple[Plane, Plane]:
    """Where to look for (ring, turn); turns run counter-clockwise as seen."""
    radius = np.linspace(0.10, 0.95, RINGS)[:, None] * GIRDLE
    angle = -np.arange(TURNS)[None, :] * (2 * np.pi / TURNS)
    return (MIDDLE + radius * np.cos(angle)).astype(np.float32), (MIDDLE + radius * np.sin(angle)).astype(np.float32)


@lru_cache(maxsize=8)
def disc(share: float) -> NDArray[np.bool_]:
    """Pixels of a view within `share` girdle radii of its centre."""
    rows, columns = np.mgrid[0:SIDE, 0:SIDE]
    inside: NDArray[np.bool_] = np.hypot(columns - MIDDLE, rows - MIDDLE) <= share * GIRDLE
    return inside


def cut_out(pixels: NDArray[Any], outline: Outline) -> NDArray[Any]:
    """The stone at view size; larger pictures are averaged down first, so that no fine structure aliases."""
    factor = max(1, int(outline.radius_px / GIRDLE + 0.25))
    x, y = outline.centre_px
    if factor > 1:
        reach = int(1.2 * outline.radius_px) + 2 * factor
        left, top = max(0, int(x) - reach), max(0, int(y) - reach)
        patch = pixels[top : int(y) + reach, left : int(x) + reach]
        height, width = patch.shape[0] // factor, patch.shape[1] // factor
        pixels = cv2.resize(patch[: height * factor, : width * factor], (width, height), interpolation=cv2.INTER_AREA)
        shift = (factor - 1) / 2
        x, y = (x - left - shift) / factor, (y - top - shift) / factor
    zoom = outline.radius_px / factor / GIRDLE
    matrix = np.array([[zoom, 0, x - zoom * MIDDLE], [0, zoom, y - zoom * MIDDLE]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(pixels, matrix, (SIDE, SIDE), flags=flags, borderMode=cv2.BORDER_REPLICATE)


def _smooth(plane: Plane, sigma: float) -> Plane:
    return cv2.GaussianBlur(plane, (0, 0), sigma)


@dataclass(frozen=True, eq=False)
class View:
    """One stone at standard size; `light` is the logarithm of linear brightness."""

    light: Plane

    @cached_property
    def detail(self) -> Plane:
        """Brightness against the neighbourhood, in local standard deviations."""
        high = self.light - _smooth(self.light, 9)
        return high / np.sqrt(_smooth(high * high, 9) + 4e-4)

    @cached_property
    def edge(self) -> Plane:
        """Gradient against the neighbourhood's."""
        dx = cv2.Sobel(self.light, cv2.CV_32F, 1, 0, scale=0.125)
        dy = cv2.Sobel(self.light, cv2.CV_32F, 0, 1, scale=0.125)
        steep = cv2.magnitude(dx, dy)
        return steep / (_smooth(steep, 12) + 0.01)

    @cached_property
    def spot(self) -> Plane:
        """Round dots, bright or dark: the weaker curvature where both have one sign (straight edges leave nothing)."""
        strongest = np.zeros_like(self.light)
        for sigma in SPOTS_PX:
            smooth = _smooth(self.detail, sigma)
            xx = cv2.Sobel(smooth, cv2.CV_32F, 2, 0, ksize=3, scale=0.25)
            yy = cv2.Sobel(smooth, cv2.CV_32F, 0, 2, ksize=3, scale=0.25)
            xy = cv2.Sobel(smooth, cv2.CV_32F, 1, 1, ksize=3, scale=0.25)
            mean, spread = (xx + yy) / 2, cv2.magnitude((xx - yy) / 2, xy)
            weaker = np.maximum(np.abs(mean) - spread, 0) * np.sign(mean) * np.float32(-(sigma**2))
            strongest = np.where(np.abs(weaker) > np.abs(strongest), weaker, strongest)
        return strongest

    @cached_property
    def edge_rows(self) -> Plane:
        """The edges as polar rows."""
        return polar(self.edge)

    @cached_property
    def fold(self) -> int:
        """The cut's rotational symmetry."""
        return symmetry_fold(self.edge_rows)

    @cached_property
    def detail_half(self) -> Plane:
        """Detail at half size."""
        return cv2.resize(self.detail, (SIDE // 2, SIDE // 2), interpolation=cv2.INTER_AREA)


def symmetry_fold(edge_rows: Plane) -> int:
    """The largest fold whose copies of the polar edge map still look alike; eight where none does."""
    curve = correlate_turns(edge_rows, edge_rows)
    likeness = {fold: float(curve[TURNS // fold]) for fold in FOLDS}
    best = max(likeness.values())
    return next((fold for fold in FOLDS if likeness[fold] >= 0.6 * best > 0), FOLDS[0])


def view_of(photo: Photo, outline: Outline) -> View:
    """The standard view of a photographed stone."""
    encoded = cut_out(photo.grey, outline).astype(np.float32) / np.float32(photo.white)
    return View(np.log(encoded**2.2 + 0.02).astype(np.float32))


def polar(plane: Plane) -> Plane:
    """Rings by turns, each ring's mean removed, weighted by the square root of its radius, of unit length."""
    rows = cv2.remap(plane, *_polar_maps(), cv2.INTER_LINEAR)
    rows = rows - rows.mean(axis=1, keepdims=True)
    rows *= np.sqrt(np.linspace(0.10, 0.95, RINGS, dtype=np.float32))[:, None]
    return np.asarray(rows / np.float32(np.linalg.norm(rows) + 1e-9))


def without_cut(rows: Plane, fold: int) -> Plane:
    """Polar rows minus the median of their `fold` copies: what breaks the cut's symmetry stays."""
    copies = rows.reshape(RINGS, fold, TURNS // fold)
    rest = (copies - np.median(copies, axis=1, keepdims=True)).reshape(RINGS, TURNS)
    return rest / np.float32(np.linalg.norm(rest) + 1e-9)


def correlate_turns(a: Plane, b: Plane) -> NDArray[np.float64]:
    """Correlation of polar rows A, turned counter-clockwise by each of 1440 steps, with B."""
    product = np.einsum("rk,rk->k", np.fft.rfft(a, axis=1).conj(), np.fft.rfft(b, axis=1))
    return np.asarray(np.fft.irfft(product, n=TURNS))


def turned(plane: Plane, degrees: float, shift: tuple[float, float] = (0.0, 0.0)) -> Plane:
    """A view's plane (any square size) turned counter-clockwise as seen about its centre, then moved by (dx, dy)."""
    middle = (plane.shape[0] - 1) / 2
    matrix = cv2.getRotationMatrix2D((middle, middle), degrees, 1.0)
    matrix[:, 2] += np.array(shift)
    size = (plane.shape[1], plane.shape[0])
    return cv2.warpAffine(plane, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def enlarged(plane: Plane) -> Plane:
    """A half-size plane at view size."""
    return cv2.resize(plane, (SIDE, SIDE), interpolation=cv2.INTER_LINEAR)
