"""How blurred is a picture? A measure that grows steadily from sharp to heavily out of focus.

A stone is full of straight, abrupt edges. Seen through a blur of standard deviation b and a probe of standard
deviation s, an abrupt edge leaves a gradient energy E(s) proportional to 1 / sqrt(s^2 + b^2). Two probes give b, once
the noise's own energy is taken away; that is seen on the card beside the stone, where there are no edges.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

FINE_PX, COARSE_PX = 1.2, 6.0
LEAST_SIGNAL = 0.04


def measure_blur(patch: NDArray[np.float32], inside: NDArray[np.bool_], card: NDArray[np.bool_]) -> float:
    """Standard deviation, in pixels of the patch, of the blur that its edges have undergone, the fine probe's included.

    With r = E(1.2) / E(6), s1 and s2 the probes: b^2 + s1^2 = (s2^2 - s1^2) / (r^2 - 1). The stone's edges lie close
    together, so that sharp pictures come out near one pixel; every blur adds to it.
    """
    fine = _steepness(patch, FINE_PX)
    noise = float(np.percentile(fine[card], 40)) if card.any() else 0.0
    signal = max(float(fine[inside].mean()) - noise, LEAST_SIGNAL * float(fine[inside].mean()))
    ratio = signal / max(float(_steepness(patch, COARSE_PX)[inside].mean()), 1e-12)
    return float(np.sqrt((COARSE_PX**2 - FINE_PX**2) / max(ratio**2 - 1, 1e-3)))


def _steepness(patch: NDArray[np.float32], probe: float) -> NDArray[np.float32]:
    """Squared gradient after a Gaussian blur of `probe` pixels."""
    smooth = cv2.GaussianBlur(patch, (0, 0), probe)
    dx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=1, scale=0.5)
    dy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=1, scale=0.5)
    return dx * dx + dy * dy
