"""A small description of a photographed stone, kept to search among many."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from samestone.imaging.photo import Photo


@dataclass(frozen=True, eq=False)
class PhotoDescriptor:
    """Polar spectrum of what breaks the cut's symmetry; `spectrum` has one row per ring."""

    spectrum: NDArray[np.complex64]


def describe_photo(photo: Photo) -> PhotoDescriptor:
    """Describe a usable photograph for a search; raises BadPhoto when no stone can be found in it."""
    raise NotImplementedError
