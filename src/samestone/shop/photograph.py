"""A photograph arrives: opened with suspicion, read, its bytes flushed into the vault, then the row and the entry."""

from __future__ import annotations

import datetime as dt

from samestone import imaging
from samestone.shop import vault
from samestone.shop.finding import record_finding
from samestone.shop.models import Examination, Instrument, Member, Photograph
from samestone.shop.photo_reading import read_view

VIEWS = ("as received", "face-up", "tilt", "side", "prongs", "girdle", "inscription", "uv")
LARGEST_BYTES = 40 * 2**20
# What every browser shows.
_MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}


class NotAPhotograph(Exception):
    """Bytes that cannot be kept as a photograph; says what was found and what to do next. Nothing was written."""


class DoesNotCount(Exception):
    """A photograph that would prove nothing; says why and what to do. Nothing was written; it can still be kept."""


def keep_photograph(  # noqa: PLR0913 - a photograph is kept with all of these
    examination: Examination,
    content: bytes,
    *,
    view: str,
    at: dt.datetime,
    by: Member,
    taken_at: dt.datetime | None = None,
    simulated: bool = False,
    must_count: bool = False,
    notes: dict[str, str] | None = None,
    instrument: Instrument | None = None,
    once: str | None = None,
) -> Photograph:
    """Keeps the original bytes for good, with what was read from them, and whether the picture counts.

    Raises `NotAPhotograph` for what no browser shows, is damaged or too large; with `must_count` also `DoesNotCount`
    for a blurred or clipped picture and the like, before anything is written. `notes` (a lamp, a distance) are kept
    with the reading; `instrument` is the camera or microscope of the diary that took it.
    """
    if view not in VIEWS:
        raise NotAPhotograph(f"“{view}” is not a view; expected one of: {', '.join(VIEWS)}")
    if len(content) > LARGEST_BYTES:
        megabytes = len(content) // 2**20
        raise NotAPhotograph(
            f"The file has {megabytes} MB; at most {LARGEST_BYTES // 2**20} are kept. Make it smaller."
        )
    try:
        photo = imaging.open_photo(content)
    except imaging.BadPhoto as error:
        words = str(error)
        raise NotAPhotograph(f"{words[:1].upper()}{words[1:]}. Choose another picture.") from error
    if photo.format not in _MEDIA_TYPES:
        raise NotAPhotograph(f"Found a {photo.format} file; browsers show JPEG, PNG and WebP. Save it as one of these.")
    there: Photograph | None = Photograph.objects.filter(once=once).first() if once else None
    if there:
        return there
    reading, reason = read_view(photo, view)
    reason = reason or _copied(examination, photo.digest)
    if must_count and reason:
        raise DoesNotCount(reason)
    return record_finding(
        Photograph,
        examination,
        at=at,
        by=by,
        once=once,
        digest=vault.store(content),
        view=view,
        taken_at=taken_at or at,
        media_type=_MEDIA_TYPES[photo.format],
        width=photo.width,
        height=photo.height,
        simulated=simulated,
        usable=not reason,
        reason=reason,
        reading={**reading, **(notes or {})},
        instrument=instrument,
    )


def _copied(examination: Examination, digest: str) -> str:
    """A file that was kept at an earlier look at this stone is no new look."""
    earlier = Photograph.objects.filter(examination__stone=examination.stone_id, digest=digest)
    if examination.blind and earlier.exclude(examination__occasion=examination.occasion).exists():
        return "This is a file from an earlier look, not a new picture: a copy proves nothing. Take a new one."
    return ""
