"""Focus stacks: the joined picture is sharper all over than any slice; strangers are refused."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from samestone.imaging.microscope import NoStack, stack_photos
from samestone.imaging.photo import Photo

SIZE = 256


def scene(seed: int) -> NDArray[np.float32]:
    """Blots of several sizes, sharp everywhere."""
    rng = np.random.default_rng(seed)
    noise = [cv2.GaussianBlur(rng.normal(0, s, (SIZE, SIZE)), (0, 0), s) for s in (1.2, 3.0, 8.0)]
    return np.asarray(np.clip(128 + 60 * sum(noise), 0, 255), np.float32)


def slice_of(sharp: NDArray[np.float32], focus: float, *, grow: float = 1.0, shift: float = 0.0) -> Photo:
    """Sharp at one place from left to right, ever more blurred away from it; grown and moved as a lens does."""
    x = np.arange(SIZE) / SIZE
    blurs = [cv2.GaussianBlur(sharp, (0, 0), 0.3 + 6 * k / 8) for k in range(9)]
    level = np.clip(np.abs(x - focus) * 8, 0, 7.999)
    low, part = level.astype(int), level % 1
    columns = [(1 - part[i]) * blurs[low[i]][:, i] + part[i] * blurs[low[i] + 1][:, i] for i in range(SIZE)]
    turn = cv2.getRotationMatrix2D((SIZE / 2, SIZE / 2), 0.0, grow)
    turn[0, 2] += shift
    moved = cv2.warpAffine(np.stack(columns, axis=1), turn, (SIZE, SIZE), flags=cv2.INTER_CUBIC, borderMode=2)
    return Photo(np.clip(np.rint(moved), 0, 255).astype(np.uint8), "0" * 64, "PNG")


def sharpness(picture: NDArray[np.uint8], sharp: NDArray[np.float32]) -> float:
    """Correlation of the fine structure with that of the sharp scene."""
    fine = [(p - cv2.GaussianBlur(p, (0, 0), 3))[20:-20, 20:-20].ravel() for p in (picture.astype(np.float32), sharp)]
    return float(np.corrcoef(fine)[0, 1])


@pytest.mark.parametrize("breathing", [False, True])
def test_the_joined_picture_beats_every_slice(breathing: bool) -> None:
    sharp = scene(3)
    slices = [
        slice_of(sharp, focus, grow=1 + 0.004 * k * breathing, shift=1.5 * k * breathing)
        for k, focus in enumerate((0.1, 0.4, 0.6, 0.9))
    ]
    joined = stack_photos(slices)
    grey = cv2.cvtColor(joined.pixels, cv2.COLOR_RGB2GRAY)
    assert sharpness(grey, sharp) > max(sharpness(one.pixels, sharp) for one in slices) + 0.1
    assert sum(joined.shares) == pytest.approx(1, abs=1e-4)
    assert joined.shifts_px[3][0] == pytest.approx(4.5 * breathing, abs=0.6)


def test_two_different_views_are_refused() -> None:
    with pytest.raises(NoStack, match="same view"):
        stack_photos([slice_of(scene(3), 0.3), slice_of(scene(4), 0.6)])


def test_one_picture_or_two_sizes_are_refused() -> None:
    one = slice_of(scene(3), 0.5)
    with pytest.raises(NoStack, match="at least 2"):
        stack_photos([one])
    with pytest.raises(NoStack, match="different sizes"):
        stack_photos([one, Photo(one.pixels[:200], "0" * 64, "PNG")])
