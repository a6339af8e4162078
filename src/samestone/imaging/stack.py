"""One picture sharp all through, from several focused at different depths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.photo import Photo

Plane = NDArray[np.float32]
Places = NDArray[np.float64]
Warp = NDArray[Any]

ALIGNED_PX = 1000
"""Longest side of the pictures in which slices are aligned."""
ECC_STOP = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 60, 1e-5)
LARGEST_SHIFT = 0.05
"""A slice that seems to have moved or grown by more than this share of the picture was not aligned but mistaken."""
LEAST_ALIKE = 0.65
"""Least correlation of the coarse structure of neighbouring slices: 0.97 in trials, 0.5 for two different stones."""
STILL_PX = 0.4
"""Less movement than this is left alone: resampling would cost more sharpness than it brings."""
UNLIKE = "the pictures do not show the same view; leave camera and stone still and change the focus only"
SHARPNESS = 3.0
"""Power of the local detail energy in the weights: 1 smears the slices, very high ones copy noise."""


class NoStack(ValueError):
    """The pictures are no focus stack: what was found, what to do next."""


@dataclass(frozen=True)
class Stack:
    """The joined picture and how each slice was used."""

    pixels: NDArray[np.uint8]
    shifts_px: tuple[tuple[float, float], ...]
    """How far the middle of each slice lay from the first's, x and y."""
    shares: tuple[float, ...]
    """Share of the joined picture's weight that each slice gave."""


def stack_photos(photos: Sequence[Photo]) -> Stack:
    """Join photographs of one view, focused at different depths, into one with extended depth of field.

    Every pixel is the mean of the slices weighted by their local detail energy (squared Laplacian, smoothed) to the
    third power. Slices are first laid onto the first, each by way of the one before it: shift, scale and turn of the
    largest enhanced correlation coefficient (Evangelidis and Psarakis, IEEE Trans. PAMI 30 (2008) 1858). Give them in
    order.
    Refuses (`NoStack`) fewer than two pictures, pictures of different size, or ones that do not show the same view.
    """
    if len(photos) < 2:
        raise NoStack(f"a focus stack needs at least 2 pictures, found {len(photos)}")
    sizes = {(photo.width, photo.height) for photo in photos}
    if len(sizes) > 1:
        found = ", ".join(f"{w}x{h}" for w, h in sorted(sizes))
        raise NoStack(f"the pictures have different sizes ({found}); take all with the same camera setting")
    colours = [as_colour(photo) for photo in photos]
    greys = [np.asarray(cv2.cvtColor(colour, cv2.COLOR_RGB2GRAY), np.float32) for colour in colours]
    warps = place_slices(greys)
    moved = [move(colour, warp) for colour, warp in zip(colours, warps, strict=True)]
    weights = np.stack([detail(move(grey, warp)) for grey, warp in zip(greys, warps, strict=True)])
    weights /= weights.sum(axis=0, keepdims=True)
    joined = sum(colour * weight[..., None] for colour, weight in zip(moved, weights, strict=True))
    return Stack(
        pixels=np.clip(np.rint(joined), 0, 255).astype(np.uint8),
        shifts_px=tuple((float(middle[0]), float(middle[1])) for middle in middle_shifts(warps, photos[0])),
        shares=tuple(float(weight.mean()) for weight in weights),
    )


def middle_shifts(warps: Sequence[Warp], photo: Photo) -> Places:
    """Shift of the picture's middle in each slice, (n, 2)."""
    middle = np.array([(photo.width - 1) / 2, (photo.height - 1) / 2, 1.0])
    return np.array([warp @ middle - middle[:2] for warp in warps])


def as_colour(photo: Photo) -> NDArray[np.float32]:
    """The picture as (H, W, 3) float on 0 to 255."""
    pixels = photo.pixels if photo.pixels.ndim == 3 else cv2.cvtColor(photo.pixels, cv2.COLOR_GRAY2RGB)
    return np.asarray(pixels, np.float32) * np.float32(255 / photo.white)


def place_slices(greys: Sequence[Plane]) -> list[Warp]:
    """Where the points of the first lie in each slice, (2, 3): each is laid on its neighbour, whose blur is alike."""
    onto_first = np.eye(3)
    warps = [onto_first[:2]]
    for before, after in pairwise(greys):
        onto_first = np.vstack([place_on(before, after), [0, 0, 1]]) @ onto_first
        warps.append(onto_first[:2])
    return warps


def place_on(first: Plane, other: Plane) -> Warp:
    """The affine map from `first` to `other` of largest correlation, found in a reduced picture."""
    shrink = min(1.0, ALIGNED_PX / max(first.shape))
    a, b = (soften(grey, shrink) for grey in (first, other))
    try:
        still = np.eye(2, 3, dtype=np.float32)
        _, found = cv2.findTransformECC(a, b, still, cv2.MOTION_AFFINE, ECC_STOP)
    except cv2.error:
        raise NoStack(UNLIKE) from None
    found = np.asarray(found, np.float64)
    strayed = np.abs(found - np.eye(2, 3)) > np.array([1.0, 1.0, max(a.shape)]) * LARGEST_SHIFT
    if strayed.any() or not likeness(a, move(b, found)) > LEAST_ALIKE:
        raise NoStack(UNLIKE)
    middle = (1 / shrink - 1) / 2
    found[:, 2] = found[:, 2] / shrink + middle - found[:, :2] @ np.array([middle, middle])
    return found


def soften(grey: Plane, shrink: float) -> Plane:
    """Reduced and a little blurred, so that slices of different focus look alike."""
    small = cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(small, (0, 0), 2.0), np.float32)


def likeness(a: Plane, b: Plane) -> float:
    """Correlation of the structure of 2 to 12 px in two pictures, the margins left out."""
    margin = max(a.shape) // 16
    parts = [(grey - cv2.GaussianBlur(grey, (0, 0), 12.0))[margin:-margin, margin:-margin].ravel() for grey in (a, b)]
    return float(np.corrcoef(parts)[0, 1])


def move(image: NDArray[np.float32], warp: Warp) -> NDArray[np.float32]:
    """The image drawn where its points lie seen from the first slice; one that has not moved is not resampled."""
    size = (image.shape[1], image.shape[0])
    corners = np.array([[0, 0, 1], [size[0], 0, 1], [0, size[1], 1], [*size, 1]], np.float64)
    if np.abs(corners @ np.asarray(warp, np.float64).T - corners[:, :2]).max() < STILL_PX:
        return image
    how = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(image, warp, size, flags=how, borderMode=cv2.BORDER_REFLECT), np.float32)


def detail(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Weight of each pixel from its local detail energy, with the noise's energy as a floor: flat areas average."""
    reach = max(1.0, 0.004 * max(grey.shape))
    fine = cv2.Laplacian(cv2.GaussianBlur(grey, (0, 0), 1.0), cv2.CV_32F)
    energy = cv2.GaussianBlur(fine * fine, (0, 0), 2 * reach)
    floor = float(np.quantile(energy[::4, ::4], 0.1)) + 1e-3
    return np.asarray((energy + 3 * floor) ** SHARPNESS, np.float32)
