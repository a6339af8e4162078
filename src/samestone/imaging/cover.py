"""What lies over a stone's rim: rays on which the card is not seen just beyond it, and the arcs that they make."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.rim import ANGLES, RAYS, Curve, cast_rays


def covered_rays(grey: NDArray[Any], white: float, curve: Curve) -> NDArray[np.bool_]:
    """Rays on which something other than the card lies just beyond the rim."""
    beyond = cast_rays(grey, curve, np.linspace(1.03, 1.09, 12)).astype(float) * (255.0 / white)
    bands = beyond.reshape(RAYS, 4, 3).mean(axis=2)
    design = np.column_stack([np.ones(RAYS), np.cos(ANGLES), np.sin(ANGLES)])
    weight = np.ones(RAYS)
    for _ in range(8):
        left = design.T @ (design * weight[:, None]) + 1e-9 * np.eye(3)
        card = design @ np.linalg.solve(left, design.T @ (bands * weight[:, None]))
        rest = np.abs(bands - card).mean(axis=1)
        spread = max(1.4826 * float(np.median(rest)), 1.0)
        weight = 1 / (1 + (rest / spread) ** 2) ** 2
    smooth = cv2.blur(np.tile(rest, 3)[None].astype(np.float32), (7, 1))[0][RAYS : 2 * RAYS]
    covered: NDArray[np.bool_] = smooth > 3.5 * spread
    return covered


def hidden_arcs(hidden: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """Arcs (from, to) in degrees counter-clockwise as seen, of at least 3 degrees, gaps under 2 degrees closed."""
    per_ray = 360 / RAYS
    closed = cv2.morphologyEx(
        np.tile(hidden.astype(np.uint8), 3)[None, :], cv2.MORPH_CLOSE, np.ones((1, int(2 / per_ray) + 1), np.uint8)
    )[0]
    opened = cv2.morphologyEx(closed[None, :], cv2.MORPH_OPEN, np.ones((1, int(3 / per_ray)), np.uint8))[0]
    middle = opened[RAYS : 2 * RAYS]
    if middle.all():
        return ((0.0, 360.0),)
    edges = np.diff(opened.astype(int))
    starts = [k + 1 for k in np.flatnonzero(edges == 1) if RAYS <= k + 1 < 2 * RAYS]
    ends = np.flatnonzero(edges == -1)
    arcs = []
    for start in starts:
        end = int(ends[ends >= start][0])
        arcs.append((float(-(end + 0.5) * per_ray % 360), float(-(start - 0.5) * per_ray % 360)))
    return tuple(sorted(arcs))
