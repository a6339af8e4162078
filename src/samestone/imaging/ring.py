"""Where in a picture is the best circle of edges with nothing beyond it? The coarse search behind the outline."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

SIDE = 160
PAD = 240
RADII = np.geomspace(12.0, 88.0, 42)
EMPTINESS = 0.9


@dataclass(frozen=True)
class Ring:
    """A circle in picture pixels; `score` is the share of its edge that is there minus that just beyond it."""

    x_px: float
    y_px: float
    radius_px: float
    score: float


def edge_map(grey: NDArray[Any], white: float) -> tuple[NDArray[np.float32], float]:
    """A small map of edges, 0 to 1.5, weak ones nearly as strong as bright ones, and its pixel size in picture pixels.

    The threshold is three times the median gradient along the picture's rim, so texture of the card counts as nothing.
    """
    step = max(grey.shape) / SIDE
    whole = int(step / 4)
    if whole > 1:  # by a whole factor first, which is ten times faster; what does not fill a pixel is left out
        rows, columns = grey.shape[0] // whole, grey.shape[1] // whole
        grey = cv2.resize(grey[: rows * whole, : columns * whole], (columns, rows), interpolation=cv2.INTER_AREA)
        step /= whole
    size = (max(8, round(grey.shape[1] / step)), max(8, round(grey.shape[0] / step)))
    small: NDArray[Any] = cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32) * (255.0 / white)
    small = cv2.GaussianBlur(small, (0, 0), 0.8)
    gradient = cv2.magnitude(
        cv2.Sobel(small, cv2.CV_32F, 1, 0, scale=0.25), cv2.Sobel(small, cv2.CV_32F, 0, 1, scale=0.25)
    )
    rim = np.concatenate(
        [gradient[:6].ravel(), gradient[-6:].ravel(), gradient[:, :6].ravel(), gradient[:, -6:].ravel()]
    )
    threshold = max(3 * float(np.median(rim)), 1.0)
    return np.clip(gradient / threshold - 1, 0, 1.5).astype(np.float32), step * max(1, whole)


@lru_cache(maxsize=1)
def _kernels() -> NDArray[np.complex64]:
    """Spectra of (ring minus what lies beyond), one per radius, each ring summing to one."""
    axis = np.fft.fftfreq(PAD, 1 / PAD)
    distance = np.hypot(axis[:, None], axis[None, :])
    spectra = []
    for radius in RADII:
        ring = np.exp(-0.5 * ((distance - radius) / 0.9) ** 2)
        beyond = ((distance > radius * 1.035 + 1.5) & (distance < radius * 1.12 + 2.5)).astype(float)
        spectra.append(fft.rfft2(ring / ring.sum() - EMPTINESS * beyond / beyond.sum()))
    return np.array(spectra, dtype=np.complex64)


def find_ring(edges: NDArray[np.float32], step: float) -> Ring:
    """The best ring of an edge map; one that holds few of the picture's edges (a claw's bead) counts less."""
    height, width = edges.shape
    padded = np.zeros((PAD, PAD), np.float32)
    padded[:height, :width] = edges
    spectrum = fft.rfft2(padded).astype(np.complex64)
    best, best_worth = Ring(0.0, 0.0, 0.0, -1.0), -np.inf
    limit = 0.62 * min(height, width)
    for radius, kernel in zip(RADII, _kernels(), strict=True):
        if radius > limit:
            break
        score = fft.irfft2(spectrum * kernel.conj(), s=(PAD, PAD))[:height, :width]
        y, x = divmod(int(np.argmax(score)), width)
        worth = float(score[y, x]) * (0.35 + 0.65 * _share_inside(edges, x, y, radius))
        if worth > best_worth:
            best, best_worth = Ring(float(x), float(y), float(radius), float(score[y, x])), worth
    return Ring((best.x_px + 0.5) * step - 0.5, (best.y_px + 0.5) * step - 0.5, best.radius_px * step, best.score)


def _share_inside(edges: NDArray[np.float32], x: int, y: int, radius: float) -> float:
    rows, columns = np.ogrid[0 : edges.shape[0], 0 : edges.shape[1]]
    inside = (columns - x) ** 2 + (rows - y) ** 2 < (1.05 * radius) ** 2
    return float(edges[inside].sum() / (edges.sum() + 1e-9))


def erase_ring(edges: NDArray[np.float32], step: float, ring: Ring) -> NDArray[np.float32]:
    """The edge map without what the ring holds, to look for a second stone."""
    rows, columns = np.mgrid[0 : edges.shape[0], 0 : edges.shape[1]]
    inside = np.hypot(columns - ring.x_px / step, rows - ring.y_px / step) < 1.06 * ring.radius_px / step
    return np.where(inside, 0, edges).astype(np.float32)
