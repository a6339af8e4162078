"""What a photograph says: this room takes bytes and arrays, never a stone, and knows no file, clock or database.

`open_photo(bytes)` first; the other functions take the `Photo` it returns. `album` searches among many stored
photographs; `microscope` holds the measuring functions (silhouette, scale, prongs, inscription, stack). Nothing heavy
is imported before it is asked for.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from samestone.imaging import album, microscope
    from samestone.imaging.cleaning import compare_cleaning
    from samestone.imaging.comparison import PhotoComparison, compare_photos
    from samestone.imaging.photo import BadPhoto, open_photo
    from samestone.imaging.photo import Photo as Photo
    from samestone.imaging.reading import read_photo

_HOMES = {
    "BadPhoto": "photo",
    "album": "",
    "PhotoComparison": "comparison",
    "compare_cleaning": "cleaning",
    "compare_photos": "comparison",
    "microscope": "",
    "open_photo": "photo",
    "read_photo": "reading",
}

__all__ = [
    "BadPhoto",
    "PhotoComparison",
    "album",
    "compare_cleaning",
    "compare_photos",
    "microscope",
    "open_photo",
    "read_photo",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    if not _HOMES[name]:
        return importlib.import_module(f"{__name__}.{name}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
