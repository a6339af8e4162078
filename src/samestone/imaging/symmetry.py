"""What breaks the symmetry of the cut: a pixel against its own mirrored and turned copies.

A round brilliant shows every facet eight times and mirrored. What is darker, or brighter, than nearly all of a
pixel's symmetric places is no facet of a well-cut stone.
"""

from __future__ import annotations

import cv2
import numpy as np

from samestone.imaging.view import TURNS, Plane

SLACK_PX = 5
OUTLIERS = 3


def mirror_axis_deg(edge_rows: Plane) -> float:
    """Direction of an axis about which the polar edge map mirrors onto itself best."""
    spectrum = np.fft.rfft(edge_rows, axis=1)
    curve = np.fft.irfft((spectrum * spectrum).sum(axis=0), n=TURNS)
    return float(np.argmax(curve)) * 180 / TURNS


def symmetric_copies(plane: Plane, axis_deg: float, fold: int) -> list[Plane]:
    """The plane turned by each of the fold's angles, and mirrored, but for itself: 2 * fold - 1 planes."""
    middle = (plane.shape[0] - 1) / 2
    mirrored = cv2.flip(plane, 0)
    copies = []
    for k in range(fold):
        angle = 360 / fold * k
        for source, degrees in ((plane, angle), (mirrored, 2 * axis_deg + angle)):
            if source is plane and k == 0:
                continue
            matrix = cv2.getRotationMatrix2D((middle, middle), degrees, 1.0)
            copies.append(
                cv2.warpAffine(
                    source, matrix, plane.shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
                )
            )
    return copies


def symmetry_breaks(light_half: Plane, axis_deg: float, fold: int) -> tuple[Plane, Plane]:
    """How much darker, and brighter, a half-size pixel is than its symmetric copies; the few most extreme do not count.

    Each copy may lie up to two pixels elsewhere (facets are not cut to the pixel).
    """
    level = light_half - cv2.GaussianBlur(light_half, (0, 0), 12)
    copies = symmetric_copies(level, axis_deg, fold)
    kernel = np.ones((SLACK_PX, SLACK_PX), np.uint8)
    rank = min(OUTLIERS, max(1, len(copies) // 4))
    lowest = _nth_lowest([cv2.erode(copy, kernel) for copy in copies], rank)
    highest = -_nth_lowest([-cv2.dilate(copy, kernel) for copy in copies], rank)
    return np.maximum(lowest - level, 0), np.maximum(level - highest, 0)


def _nth_lowest(planes: list[Plane], rank: int) -> Plane:
    kept: list[Plane] = []
    for plane in planes:
        rest = plane
        for k, held in enumerate(kept):
            kept[k], rest = np.minimum(held, rest), np.maximum(held, rest)
        if len(kept) < rank:
            kept.append(rest)
    return kept[-1]
