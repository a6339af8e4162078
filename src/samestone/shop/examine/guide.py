"""The live guide: what is still wrong with the camera's frame, and how the stone lies against the earlier picture.

Of an earlier picture only the lie of the facets leaves this module, as two numbers; at pick-up nobody is shown it
before the new picture is taken, and the numbers do not depend on whether it is the same stone.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from samestone import imaging
from samestone.shop import vault
from samestone.shop.models import Examination, Photograph
from samestone.shop.photo_reading import FACE_UP
from samestone.shop.wording import said

SHARP_ENOUGH = 0.65
TURNED_DEG = 3.0


def read_live(examination: Examination, content: bytes, view: str) -> dict[str, Any]:
    """What the page shows about one small live frame; places are shares of its width and height.

    `low_side_deg` is about where the stone lies lowest, counter-clockwise from 3 o'clock in the picture; None where
    that cannot be told.

    Raises `imaging.BadPhoto`. Nothing is written.
    """
    photo = imaging.open_photo(content)
    if view not in FACE_UP:
        return _answer(photo, imaging.microscope.read_plain(photo), with_stone=False)
    earlier = _earlier(examination)
    reference = _open(earlier.digest) if earlier else None
    return _answer(photo, imaging.microscope.read_frame(photo, reference), with_stone=True)


def _answer(photo: imaging.Photo, frame: Any, *, with_stone: bool) -> dict[str, Any]:
    plain = imaging.microscope.read_plain(photo)
    blocking = plain.blocking or frame.blocking
    if blocking and frame.outline is None:
        blocking = (*(flag for flag in plain.flags if flag.name == "clipped"), *blocking)
    says = [f"{flag.sentence} {flag.remedy}" for flag in blocking] or advice(frame)
    return {
        "good": not blocking and (not with_stone or frame.low_side_deg is None),
        "says": said(says[0]) if says else "",
        "sharpness": round(min(frame.sharpness, plain.sharpness), 2),
        "sharp_enough": SHARP_ENOUGH,
        "light": round(frame.light, 2),
        "lean_deg": None if frame.lean_deg is None else round(frame.lean_deg, 1),
        "low_side_deg": None if frame.low_side_deg is None else round(frame.low_side_deg),
        "turn_deg": None if frame.turn_deg is None else round(frame.turn_deg),
        "girdle": _girdle(photo, frame.outline) if with_stone and frame.outline else None,
    }


def advice(frame: Any) -> list[str]:
    """What would make a usable picture better, most useful first."""
    said = [f"{flag.sentence} {flag.remedy}" for flag in frame.flags if flag.name in ("clipped", "glare", "soft")]
    if frame.low_side_deg is not None:
        hour = round((90 - frame.low_side_deg) / 30) % 12 or 12
        said.insert(0, f"It leans by about {frame.lean_deg:.1f}°: raise it at about {hour} o’clock.")
    if frame.turn_deg is not None and abs(frame.turn_deg) > TURNED_DEG:
        way = "left" if frame.turn_deg > 0 else "right"
        said.append(f"To lie as before, turn it {abs(frame.turn_deg):.0f}° to the {way}.")
    return said


def _girdle(photo: imaging.Photo, outline: Any) -> dict[str, Any]:
    (x, y), ellipse = outline.centre_px, outline.ellipse
    return {
        "cx": round((x + 0.5) / photo.width, 4),
        "cy": round((y + 0.5) / photo.height, 4),
        "rx": round(ellipse.major / photo.width, 4),
        "ry": round(ellipse.minor / photo.width, 4),
        "tilt_deg": round(-outline.axis_angle_deg, 1),
        "hidden_deg": [[round(start), round(end)] for start, end in outline.hidden_deg],
    }


def _earlier(examination: Examination) -> Photograph | None:
    """The picture whose pose is aimed at: as received for the take-in, the take-in's for every later look."""
    occasions = Examination.Occasion
    if examination.occasion == occasions.RECEIVED:
        return None
    wanted = occasions.RECEIVED if examination.occasion == occasions.TAKE_IN else occasions.TAKE_IN
    rows = Photograph.objects.current().filter(
        examination__stone=examination.stone_id, examination__occasion=wanted, view__in=FACE_UP, usable=True
    )
    return rows.last()


@lru_cache(maxsize=4)
def _open(digest: str) -> imaging.Photo:
    return imaging.open_photo(vault.read(digest))
