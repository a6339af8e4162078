"""One picture sharp all through, from several focused at different depths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.photo import Photo

LARGEST_SHIFT = 0.05
"""A slice that seems to have moved by more than this share of the picture was not aligned but mistaken."""
SHARPNESS = 3.0
"""Power of the local detail energy in the weights: 1 smears the slices, very high ones copy noise."""


class NoStack(ValueError):
    """The pictures are no focus stack: what was found, what to do next."""


@dataclass(frozen=True)
class Stack:
    """The joined picture and how each slice was used."""

    pixels: NDArray[np.uint8]
    shifts_px: tuple[tuple[float, float], ...]
    """How far each slice was moved to lie on the first, x and y."""
    shares: tuple[float, ...]
    """Share of the joined picture's weight that each slice gave."""


def stack_photos(photos: Sequence[Photo]) -> Stack:
    """Join photographs of one view, focused at different depths, into one with extended depth of field.

    Every pixel is the mean of the slices weighted by their local detail energy (squared Laplacian, smoothed) to the
    third power. Slices are first moved onto the first by phase correlation; a change of scale is not undone.
    Refuses (`NoStack`) fewer than two pictures, pictures of different size, or ones that do not show the same view.
    """
    if len(photos) < 2:
        raise NoStack(f"a focus stack needs at least 2 pictures, found {len(photos)}")
    sizes = {(photo.width, photo.height) for photo in photos}
    if len(sizes) > 1:
        found = ", ".join(f"{w}x{h}" for w, h in sorted(sizes))
        raise NoStack(f"the pictures have different sizes ({found}); take all with the same camera setting")
    colours = [as_colour(photo) for photo in photos]
    greys = [cv2.cvtColor(colour, cv2.COLOR_RGB2GRAY) for colour in colours]
    shifts = [shift_onto(greys[0], grey) for grey in greys]
    moved = [move(colour, shift) for colour, shift in zip(colours, shifts, strict=True)]
    weights = np.stack([detail(move(grey, shift)) for grey, shift in zip(greys, shifts, strict=True)])
    weights /= weights.sum(axis=0, keepdims=True)
    joined = sum(colour * weight[..., None] for colour, weight in zip(moved, weights, strict=True))
    return Stack(
        pixels=np.clip(np.rint(joined), 0, 255).astype(np.uint8),
        shifts_px=tuple(shifts),
        shares=tuple(float(weight.mean()) for weight in weights),
    )


def as_colour(photo: Photo) -> NDArray[np.float32]:
    """The picture as (H, W, 3) float on 0 to 255."""
    pixels = photo.pixels if photo.pixels.ndim == 3 else cv2.cvtColor(photo.pixels, cv2.COLOR_GRAY2RGB)
    return np.asarray(pixels, np.float32) * np.float32(255 / photo.white)


def shift_onto(first: NDArray[np.float32], other: NDArray[np.float32]) -> tuple[float, float]:
    """How far `other` must be moved to lie on `first`, by phase correlation of the coarse structure."""
    window = cv2.createHanningWindow((first.shape[1], first.shape[0]), cv2.CV_32F)
    coarse = [cv2.GaussianBlur(grey, (0, 0), 3.0) for grey in (first, other)]
    (dx, dy), response = cv2.phaseCorrelate(coarse[0], coarse[1], window)
    if max(abs(dx), abs(dy)) > LARGEST_SHIFT * max(first.shape) or response < 0.05:
        raise NoStack("the pictures do not show the same view; leave camera and stone still and change the focus only")
    return (-float(dx), -float(dy)) if max(abs(dx), abs(dy)) > 0.15 else (0.0, 0.0)


def move(image: NDArray[np.float32], shift: tuple[float, float]) -> NDArray[np.float32]:
    """The image moved by a shift in pixels."""
    if shift == (0.0, 0.0):
        return image
    turn = np.array([[1, 0, shift[0]], [0, 1, shift[1]]], np.float32)
    size = (image.shape[1], image.shape[0])
    moved = cv2.warpAffine(image, turn, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(moved, np.float32)


def detail(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Weight of each pixel from its local detail energy, with the noise's energy as a floor so that flat areas average."""
    reach = max(1.0, 0.004 * max(grey.shape))
    fine = cv2.Laplacian(cv2.GaussianBlur(grey, (0, 0), 1.0), cv2.CV_32F)
    energy = cv2.GaussianBlur(fine * fine, (0, 0), 2 * reach)
    floor = float(np.quantile(energy[::4, ::4], 0.1)) + 1e-3
    return np.asarray((energy + 3 * floor) ** SHARPNESS, np.float32)
