"""Which way does a stone lean? From the picture alone, for whoever levels it under the camera.

Turning a symmetric cut about its own axis changes nothing. When the stone leans, what is seen through the table (the
pavilion, deep down) moves against the table's own edges (high up), towards the side that lies nearer.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.registration import match_patches
from samestone.imaging.view import GIRDLE, SIDE, Plane

# In girdle radii: what is seen through the table; the table's edge and the crown's facets around it.
THROUGH_TABLE, CROWN = (0.0, 0.4), (0.4, 0.7)
# Degrees of lean for one view pixel by which the two lie apart, by least squares on the picture set `tune`.
DEGREES_PER_PX = 0.45
_PATCH, _REACH, _SHARE = 18, 6, 0.75

Floats = NDArray[Any]


def lean_towards(detail_half: Plane, fold: int) -> tuple[float, float]:
    """The lean in degrees, as a vector in the picture (x right, y up) that points to the side that lies lower.

    Each part has a standard deviation of 0.6 to 0.7 degrees in simulated pictures: facets are never cut quite alike.
    """
    copies, radius = _copies_laid_on(detail_half, fold), GIRDLE * detail_half.shape[0] / SIDE
    (x, y), (crown_x, crown_y) = (_offset(copies, zone, radius) for zone in (THROUGH_TABLE, CROWN))
    return float(DEGREES_PER_PX * (crown_x - x)), float(DEGREES_PER_PX * (y - crown_y))


def _copies_laid_on(half: Plane, fold: int) -> list[tuple[Floats, Floats]]:
    """For each turn of the cut: what a shift of the pattern's centre does to it, and where the patches were found."""
    middle = (half.shape[0] - 1) / 2
    found = []
    for k in range(1, fold):
        angle = 2 * np.pi * k / fold
        matrix = cv2.getRotationMatrix2D((middle, middle), np.degrees(angle), 1.0)
        copy = cv2.warpAffine(half, matrix, half.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        found.append((np.eye(2) - turn, match_patches(copy, half, _PATCH, _REACH, share=_SHARE)))
    return found


def _offset(copies: list[tuple[Floats, Floats]], zone: tuple[float, float], radius: float) -> Floats:
    """Where the pattern of this zone has its centre, in view pixels (x right, y down)."""
    designs, moves, weights = [], [], []
    for design, found in copies:
        far = np.hypot(found[:, 0], found[:, 1]) / radius
        there = found[(far >= zone[0]) & (far < zone[1])]
        designs.append(np.repeat(design[None], len(there), axis=0))
        moves.append(there[:, 3:5])
        weights.append(np.maximum(there[:, 2], 0) ** 2)
    design, move = np.concatenate(designs).reshape(-1, 2), np.concatenate(moves).reshape(-1)
    weight = np.repeat(np.concatenate(weights), 2)
    offset: Floats = np.zeros(2)
    for scale in (4.0, 2.0, 1.0, 1.0):
        w = weight / (1 + ((move - design @ offset) / scale) ** 2)
        offset = np.linalg.solve(design.T @ (design * w[:, None]) + 1e-9 * np.eye(2), design.T @ (move * w))
    return 2 * offset
