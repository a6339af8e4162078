"""How far does a stone lean, from the picture alone?

Turning a symmetric cut about its own axis changes nothing. When the stone leans, the facets seen through the table
move against the girdle; turned about the girdle's centre, the pattern then comes to lie beside itself, and how far
says where the pattern's own centre is.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.registration import match_patches
from samestone.imaging.view import Plane

REACH = 6
PX_PER_DEGREE = 2.9  # of a 260-pixel radius, face-up rounds of common proportions; docs/method/imaging.md


Floats = NDArray[Any]
Laid = list[tuple[Floats, Floats]]


def laid_on_itself(detail_half: Plane, fold: int, patch: int, share: float) -> Laid:
    """For each turn of the cut: what a shift of the pattern's centre does to it, and where the patches were found.

    Patches are squares of `patch` half-size pixels within `share` girdle radii; rows as of `match_patches`.
    """
    middle = (detail_half.shape[0] - 1) / 2
    found = []
    for k in range(1, fold):
        angle = 2 * np.pi * k / fold
        matrix = cv2.getRotationMatrix2D((middle, middle), np.degrees(angle), 1.0)
        copy = cv2.warpAffine(detail_half, matrix, detail_half.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        found.append((np.eye(2) - turn, match_patches(copy, detail_half, patch, REACH, share=share)))
    return found


def centre_of_pattern(copies: Laid) -> Floats:
    """Where the pattern's centre lies from the girdle's, in view pixels (x right, y down), robustly."""
    design = np.concatenate([np.repeat(turn[None], len(found), axis=0) for turn, found in copies]).reshape(-1, 2)
    move = np.concatenate([found[:, 3:5] for _, found in copies]).reshape(-1)
    weight = np.repeat(np.concatenate([np.maximum(found[:, 2], 0) ** 2 for _, found in copies]), 2)
    offset: Floats = np.zeros(2)
    for scale in (4.0, 2.0, 1.0, 1.0):
        w = weight / (1 + ((move - design @ offset) / scale) ** 2)
        offset = np.linalg.solve(design.T @ (design * w[:, None]) + 1e-9 * np.eye(2), design.T @ (move * w))
    return 2 * offset


def pattern_offset(detail_half: Plane, fold: int) -> tuple[float, float]:
    """Where the centre of the facets seen through table and crown lies from the girdle's, in view pixels."""
    x, y = centre_of_pattern(laid_on_itself(detail_half, fold, 22, 0.62))
    return float(x), float(y)


def lean_deg(detail_half: Plane, fold: int) -> float:
    """Angle between the stone's axis and the line of sight, in degrees; rough above five."""
    return float(np.hypot(*pattern_offset(detail_half, fold))) / PX_PER_DEGREE
