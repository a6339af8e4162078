"""How blurred is a picture? A measure that grows steadily from sharp to heavily out of focus.

A stone is full of straight, abrupt edges. Seen through a blur of standard deviation b and a probe of standard
deviation s, an abrupt edge leaves a gradient energy proportional to 1 / sqrt(s^2 + b^2); white noise leaves one
proportional to 1 / s^4. Fitting both to probes of several sizes gives b without mistaking noise for sharpness. A stone's edges lie
close together, so a perfectly sharp picture fits best with b^2 a little below zero; what is reported is
sqrt(b^2 + 0.6), which a sharp picture brings near zero and which grows with every blur.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

PROBES_PX = (0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0, 13.0)
BLURS_PX = np.geomspace(0.05, 40.0, 140)
CRISP = 0.6


def measure_blur(patch: NDArray[np.float32], inside: NDArray[np.bool_]) -> float:
    """Standard deviation, in pixels of the patch, of the blur that its edges have undergone."""
    return fit_blur(np.array([_energy(patch, inside, probe) for probe in PROBES_PX]))


def _energy(patch: NDArray[np.float32], inside: NDArray[np.bool_], probe: float) -> float:
    smooth = cv2.GaussianBlur(patch, (0, 0), probe)
    dx, dy = (
        cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=1, scale=0.5),
        cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=1, scale=0.5),
    )
    return float(np.mean((dx * dx + dy * dy)[inside]))


def fit_blur(energies: NDArray[np.float64]) -> float:
    """The blur whose edge-plus-noise model is nearest to the energies in the logarithm."""
    probes = np.array(PROBES_PX)
    noise = probes**-4.0
    best, answer = np.inf, 0.0
    for blur in BLURS_PX:
        edge = 1 / np.sqrt(probes**2 + blur**2 - CRISP)
        weights = 1 / energies
        design = np.column_stack([edge, noise]) * weights[:, None]
        amounts, *_ = np.linalg.lstsq(design, np.ones(len(probes)), rcond=None)
        if amounts[1] < 0:
            amounts = np.array([design[:, 0].sum() / (design[:, 0] @ design[:, 0]), 0.0])
        if amounts[0] <= 0:
            continue
        misfit = float(np.sum((design @ amounts - 1) ** 2))
        if misfit < best:
            best, answer = misfit, float(blur)
    return answer
