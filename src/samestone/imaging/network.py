"""A small convolutional network, evaluated with numpy and OpenCV: nothing to install, nothing to download.

Layers are plain arrays. A block filters every channel by itself (5 x 5), mixes channels twice with a rectifier
between, and adds the result to what came in; three scales are joined as in a U.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.view import Plane

AT_A_TIME = 1_000_000  # multiplications
REACH = 40  # how far a pixel sees: five by five at three scales, 36, and up to 3 that are averaged together
Weights = Mapping[str, NDArray[np.float32]]


def pieces(pixels: int, matrix: Plane) -> Iterator[slice]:
    """Runs of pixels so short that what is made of them stays in the processor's cache."""
    step = max(64, AT_A_TIME // matrix.size)
    return (slice(start, start + step) for start in range(0, pixels, step))


def mix(planes: Plane, weights: Weights, name: str) -> Plane:
    """Every output channel a weighted sum of input channels, pixel by pixel."""
    channels, height, width = planes.shape
    matrix, bias = weights[f"{name}.weight"].reshape(-1, channels), weights[f"{name}.bias"][:, None]
    flat, out = planes.reshape(channels, -1), np.empty((len(matrix), height * width), np.float32)
    for run in pieces(height * width, matrix):
        np.add(matrix @ flat[:, run], bias, out=out[:, run])
    return out.reshape(-1, height, width)


def block(planes: Plane, weights: Weights, name: str) -> Plane:
    """Filter each channel, mix to twice as many, rectify, mix back, add."""
    kernels, biases = weights[f"{name}.filter.weight"], weights[f"{name}.filter.bias"]
    out = np.empty_like(planes)
    for k, plane in enumerate(planes):
        cv2.filter2D(
            plane, cv2.CV_32F, kernels[k, 0], dst=out[k], delta=float(biases[k]), borderType=cv2.BORDER_CONSTANT
        )
    channels = len(planes)
    widen, narrow = (
        weights[f"{name}.{step}.weight"].reshape(-1, n) for step, n in (("widen", channels), ("narrow", 2 * channels))
    )
    wide_bias, bias = (weights[f"{name}.{step}.bias"][:, None] for step in ("widen", "narrow"))
    flat, before = out.reshape(channels, -1), planes.reshape(channels, -1)
    for run in pieces(flat.shape[1], widen):
        wide = widen @ flat[:, run]
        wide += wide_bias
        np.maximum(wide, 0, out=wide)
        added = narrow @ wide
        added += bias
        np.add(added, before[:, run], out=flat[:, run])
    return out


def coarser(planes: Plane) -> Plane:
    """Half the size, by averaging."""
    out: Plane = planes[:, ::2, ::2] + planes[:, ::2, 1::2]
    out += planes[:, 1::2, ::2]
    out += planes[:, 1::2, 1::2]
    out *= np.float32(0.25)
    return out


def finer(planes: Plane) -> Plane:
    """Twice the size, by repeating."""
    return planes.repeat(2, axis=1).repeat(2, axis=2)


def chances(logits: Plane) -> Plane:
    """Probabilities, of any logits."""
    out: Plane = 1 / (1 + np.exp(-np.clip(logits, -60, 60)))
    return out


def run_in_halves(inputs: Plane, weights: Weights) -> Plane:
    """As `run_network`, the upper and the lower half at the same time, each with what it sees beyond its edge."""
    middle = inputs.shape[1] // 2 // 4 * 4
    with ThreadPoolExecutor(2) as pool:
        upper = pool.submit(run_network, inputs[:, : middle + REACH], weights)
        lower = run_network(np.ascontiguousarray(inputs[:, middle - REACH :]), weights)
    return np.concatenate([upper.result()[:, :middle], lower[:, REACH:]], axis=1)


def run_network(inputs: Plane, weights: Weights) -> Plane:
    """Logits per class, channels x height x width, from input channels of the same size."""
    fine = mix(inputs, weights, "start")
    np.maximum(fine, 0, out=fine)
    fine = block(block(fine, weights, "fine1"), weights, "fine2")
    middle = mix(coarser(fine), weights, "down1")
    middle = block(block(middle, weights, "middle1"), weights, "middle2")
    coarse = mix(coarser(middle), weights, "down2")
    coarse = block(block(coarse, weights, "coarse1"), weights, "coarse2")
    middle += finer(mix(coarse, weights, "up2"))
    middle = block(middle, weights, "middle3")
    fine += finer(mix(middle, weights, "up1"))
    fine = block(block(fine, weights, "fine3"), weights, "fine4")
    return mix(fine, weights, "end")
