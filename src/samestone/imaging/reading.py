"""What one photograph says: outline, quality, characteristics."""

from __future__ import annotations

from dataclasses import dataclass

from samestone.imaging.characteristic import Characteristic
from samestone.imaging.outline import Outline
from samestone.imaging.photo import Photo
from samestone.imaging.quality import Flag


@dataclass(frozen=True)
class PhotoReading:
    """Outline (absent when no stone was found), blur, flags and characteristics of one photograph."""

    digest: str
    width: int
    height: int
    outline: Outline | None
    blur_px: float
    flags: tuple[Flag, ...]
    characteristics: tuple[Characteristic, ...]

    @property
    def usable(self) -> bool:
        """Whether the photograph may be compared with another."""
        return not any(flag.blocking for flag in self.flags)

    @property
    def reason(self) -> str:
        """Why not, in one sentence; empty when usable."""
        return " ".join(f"{flag.sentence} {flag.remedy}" for flag in self.flags if flag.blocking)


def read_photo(photo: Photo) -> PhotoReading:
    """Find the girdle, judge the picture, list what looks like a characteristic (for the jeweller to confirm)."""
    raise NotImplementedError
