"""What one photograph says: outline, quality, characteristics."""

from __future__ import annotations

from dataclasses import dataclass

from samestone.imaging.characteristic import Characteristic
from samestone.imaging.outline import Outline
from samestone.imaging.photo import Photo
from samestone.imaging.quality import Flag
from samestone.imaging.study import Study


@dataclass(frozen=True)
class PhotoReading:
    """Outline (absent when no stone was found), blur, lean, flags and characteristics of one photograph."""

    digest: str
    width: int
    height: int
    outline: Outline | None
    blur_px: float
    lean_deg: float
    flags: tuple[Flag, ...]
    characteristics: tuple[Characteristic, ...]

    @property
    def usable(self) -> bool:
        """Whether the photograph may be compared with another."""
        return not any(flag.blocking for flag in self.flags)

    @property
    def reason(self) -> str:
        """Why not, with what to do about it; empty when usable."""
        return " ".join(f"{flag.sentence} {flag.remedy}" for flag in self.flags if flag.blocking)


def read_photo(photo: Photo) -> PhotoReading:
    """Find the girdle, judge the picture, list what looks like a characteristic (for the jeweller to confirm)."""
    return reading_of(Study(photo))


def reading_of(study: Study) -> PhotoReading:
    """The reading of a photograph already under study."""
    flags, outline = study.flags, study.outline
    found = outline is not None and not any(flag.name == "no stone" for flag in flags)
    return PhotoReading(
        digest=study.photo.digest,
        width=study.photo.width,
        height=study.photo.height,
        outline=outline if found else None,
        blur_px=study.blur_share * study.stone.radius_px if found else 0.0,
        lean_deg=study.lean if study.usable else 0.0,
        flags=flags,
        characteristics=study.marks if study.usable else (),
    )
