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
from samestone.imaging.view import GIRDLE, Plane

PX_PER_DEGREE = 2.9  # of a 260-pixel radius, face-up rounds of common proportions; docs/method/imaging.md


def pattern_offset(detail_half: Plane, fold: int) -> tuple[float, float]:
    """Where the facet pattern's centre lies from the girdle's, in view pixels (x right, y down)."""
    middle = (detail_half.shape[0] - 1) / 2
    rows, moves, weights = [], [], []
    for k in range(1, fold):
        angle = 2 * np.pi * k / fold
        matrix = cv2.getRotationMatrix2D((middle, middle), np.degrees(angle), 1.0)
        copy = cv2.warpAffine(detail_half, matrix, detail_half.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        found = match_patches(copy, detail_half, 22, 6, share=0.62)
        weight = np.maximum(found[:, 2], 0) ** 2
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        rows.append(np.repeat((np.eye(2) - turn)[None], len(found), axis=0))
        moves.append(found[:, 3:5])
        weights.append(weight)
    design, move = np.concatenate(rows).reshape(-1, 2), np.concatenate(moves).reshape(-1)
    weight = np.repeat(np.concatenate(weights), 2)
    offset: NDArray[Any] = np.zeros(2)
    for scale in (4.0, 2.0, 1.0, 1.0):
        w = weight / (1 + ((move - design @ offset) / scale) ** 2)
        offset = np.linalg.solve(design.T @ (design * w[:, None]) + 1e-9 * np.eye(2), design.T @ (move * w))
    return float(2 * offset[0]), float(2 * offset[1])


def lean_deg(detail_half: Plane, fold: int) -> float:
    """Angle between the stone's axis and the line of sight, in degrees; rough above five."""
    return float(np.hypot(*pattern_offset(detail_half, fold))) / PX_PER_DEGREE


__all__ = ["GIRDLE", "lean_deg", "pattern_offset"]
