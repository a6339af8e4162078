"""A photograph as bytes that arrived, opened with suspicion.

Frame used everywhere in this room: pixel (0, 0) is the centre of the top-left pixel, x runs right, y runs down;
angles run counter-clockwise as seen on the picture, 0 at 3 o'clock.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

PIXEL_LIMIT = 80_000_000


class BadPhoto(ValueError):
    """The bytes are no photograph that can be read: what was found, what was expected, what to do next."""


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded photograph, upright; `pixels` is height x width (grey) or height x width x 3 (red, green, blue)."""

    pixels: NDArray[Any]
    digest: str
    format: str
    notes: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])

    @property
    def grey(self) -> NDArray[np.float32]:
        """Luminance on the encoded (not linear) scale, 0 to 1, height x width."""
        raise NotImplementedError


def open_photo(data: bytes) -> Photo:
    """Decode JPEG, PNG, TIFF or WebP bytes: EXIF-turned upright, CMYK, grey and 16-bit handled.

    Refuses (BadPhoto) what is no image, truncated, of another format, or larger than 80 megapixels by its own
    header, before decoding it. `digest` is the SHA-256 of the bytes as they came.
    """
    raise NotImplementedError
