"""Flat drawings that look to the imaging room like a faceted stone face up; what they show is known exactly.

Shades are named as a camera encodes them (sRGB), but averaged over a pixel and blurred as light is, before encoding.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.photo import Photo

FINE = 4
CARD = 170.0


@dataclass(frozen=True)
class Drawing:
    """Grey picture, the same without noise, and the truth of its outline, a polygon: its centre and what calipers read
    on it."""

    grey: NDArray[np.uint8]
    clean: NDArray[np.float32]
    centre: tuple[float, float]
    longest: float
    shortest: float

    @property
    def photo(self) -> Photo:
        return Photo(self.grey, f"drawing {self.grey.sum()}", "PNG")


def draw(
    seed: int = 0,
    *,
    side: int = 640,
    radius: float = 260,
    blur: float = 0.7,
    noise: float = 2.0,
    claws: int = 0,
    elongation: float = 1.008,
    centre: tuple[float, float] | None = None,
    contrast: float = 1.0,
    bevel: float | None = None,
) -> Drawing:
    """A stone with sixteenfold rings of facets, each of its own brightness, and a few dark marks.

    Its rim is an ellipse of 96 flats, or, with a bevel, a rectangle with that share of `radius` cut off its corners.
    """
    rng = np.random.default_rng(seed)
    x, y = centre or (side / 2 + float(rng.uniform(-8, 8)), side / 2 + float(rng.uniform(-8, 8)))
    big = np.full((side * FINE, side * FINE), CARD, np.float32)
    longest, shortest, turn = radius * np.sqrt(elongation), radius / np.sqrt(elongation), float(rng.uniform(0, np.pi))
    around = np.arange(96) * 2 * np.pi / 96
    rim = np.column_stack([longest * np.cos(around), shortest * np.sin(around)])
    if bevel is not None:
        rim = _rectangle(longest, shortest, bevel * radius)
    rim = rim @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + (x, y)
    _fill(big, rim, 60)
    for inner, outer in ((0.0, 0.3), (0.3, 0.55), (0.55, 0.76), (0.76, 0.96)):
        for k in range(32):
            a, b = (k + rng.normal(0, 0.05, 2)) * np.pi / 16 + (0, np.pi / 16)
            shine = CARD + contrast * (float(rng.uniform(15, 250)) - CARD)
            corners = np.array([[inner, a], [outer, a], [outer, b], [inner, b]])
            way = np.column_stack([np.cos(corners[:, 1]), np.sin(corners[:, 1])])
            reach = shortest if bevel is None else _reach(rim - (x, y), way)
            spot = corners[:, :1] * reach * way
            _fill(big, spot + np.array([x, y]), shine)
    for place in rng.uniform(-0.55, 0.55, (5, 2)) * radius + (x, y):
        cv2.circle(big, _fixed(place), int(0.02 * radius * FINE * 16), 10, -1, shift=4)
    for k in range(claws):
        angle = float(rng.uniform(0, 0.2)) + k * 2 * np.pi / claws
        way = np.array([np.cos(angle), np.sin(angle)]) * radius
        cv2.line(
            big, _fixed((x, y) + 0.86 * way), _fixed((x, y) + 1.15 * way), 215.0, int(0.15 * radius * FINE), shift=4
        )
    light = cv2.resize(decode(big), (side, side), interpolation=cv2.INTER_AREA)
    if blur:
        light = cv2.GaussianBlur(light, (0, 0), blur)
    grey = encode(light)
    noisy = np.clip(np.round(grey + rng.normal(0, noise, grey.shape)), 0, 255).astype(np.uint8)
    return Drawing(noisy, grey, (x, y), *calipers(rim))


def _reach(corners: NDArray[np.float64], ways: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far a convex polygon around the origin reaches, (n, 1), in directions (n, 2)."""
    sides = np.roll(corners, -1, axis=0) - corners
    across = np.column_stack([sides[:, 1], -sides[:, 0]])
    away = (across * corners).sum(axis=1)
    return 1 / (ways @ (across / away[:, None]).T).max(axis=1, keepdims=True)


def _rectangle(longest: float, shortest: float, bevel: float) -> NDArray[np.float64]:
    a, b = longest - bevel, shortest - bevel
    quarter = np.array([[longest, b], [a, shortest]])
    return np.concatenate([quarter, quarter[::-1] * (-1, 1), -quarter, quarter[::-1] * (1, -1)])


def decode(shade: NDArray[np.float32]) -> NDArray[np.float32]:
    """Linear light, 0 to 1, of sRGB shades, 0 to 255 (IEC 61966-2-1)."""
    level = np.arange(256) / 255
    light = np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return cv2.LUT(np.round(shade).astype(np.uint8), light)


def encode(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """sRGB shades, 0 to 255, of linear light."""
    share = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return (255 * share).astype(np.float32)


def calipers(corners: NDArray[np.float64]) -> tuple[float, float]:
    """Largest and smallest width of a convex polygon: between two corners, and between a side and a corner."""
    apart = corners[:, None] - corners[None]
    sides = np.roll(corners, -1, axis=0) - corners
    across = np.column_stack([-sides[:, 1], sides[:, 0]]) / np.hypot(sides[:, 0], sides[:, 1])[:, None]
    reach = corners @ across.T
    return float(np.hypot(apart[..., 0], apart[..., 1]).max()), float((reach.max(axis=0) - reach.min(axis=0)).min())


def _fixed(point: NDArray[np.float64]) -> tuple[int, int]:
    where = np.round(((np.asarray(point) + 0.5) * FINE - 0.5) * 16).astype(int)
    return int(where[0]), int(where[1])


def _fill(big: NDArray[np.float32], corners: NDArray[np.float64], shine: float) -> None:
    where = np.round(((corners + 0.5) * FINE - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(big, [where], float(np.clip(shine, 0, 255)), shift=4)


def rotated(drawing: Drawing, degrees: float, seed: int = 99) -> Photo:
    """The drawing turned counter-clockwise as seen about its centre, with noise of its own."""
    matrix = cv2.getRotationMatrix2D(drawing.centre, degrees, 1.0)
    size = drawing.grey.shape[::-1]
    grey = cv2.warpAffine(drawing.clean, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    noisy = grey + np.random.default_rng(seed).normal(0, 2.0, grey.shape)
    return Photo(np.clip(np.round(noisy), 0, 255).astype(np.uint8), f"turned {degrees}", "PNG")
