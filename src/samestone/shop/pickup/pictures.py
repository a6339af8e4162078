"""Two pictures of one view laid on each other, and what they say beside the verdict: a line of its own.

The line never enters the verdict: the marks that it sees are the ones the jeweller placed, and nothing counts twice.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings

from samestone import evidence, imaging
from samestone.shop import ledger, vault
from samestone.shop.models import Photograph
from samestone.shop.suspicion import doubts

CALIBRATION = "photo-calibration.json"
"""The shop's own, from `samestone calibrate-photos`, where it stands in the data folder."""


def lay_together(before: Photograph, now: Photograph) -> dict[str, Any]:
    """Centre and girdle radius in each picture as shares of its width and height, and the turn that makes `now` lie
    as `before`, counter-clockwise as seen, -180 to 180 degrees.

    `known` says whether the turn was found from the stone itself; otherwise it is 0 and `reason` says why. `line` is
    what the pictures say of the stone, or why they say nothing: pictures in doubt are laid together for the eye alone.
    It holds all that is needed to work it out again from the packet.
    """
    compared = imaging.compare_photos(_open(before), _open(now))
    line = _line(compared, _doubt(before, now))
    return {
        "before": before.pk,
        "now": now.pk,
        "known": compared.rotation_known,
        "turn_deg": str(line.get("turn_deg", 0)),
        "reason": evidence.photographs.reason_at_counter(compared),
        "place_before": _place(compared.a),
        "place_now": _place(compared.b),
        "line": ledger.decimal_strings(line),
    }


def _line(compared: imaging.PhotoComparison, doubt: str) -> dict[str, Any]:
    """What the pair says by the shop's own calibration, or by the one that comes with the program. One that cannot be
    read gives no number: the other one would be a silent stand-in."""
    own = Path(settings.DATA) / CALIBRATION
    try:
        table = evidence.photographs.read_calibration(own.read_text(encoding="utf-8")) if own.exists() else None
    except (evidence.photographs.BadCalibration, UnicodeDecodeError, OSError) as error:
        table, doubt = None, doubt or f"The shop's own calibration of pictures ({CALIBRATION}) cannot be read: {error}."
    return evidence.photographs.picture_line(compared, table, doubt=doubt)


def _doubt(before: Photograph, now: Photograph) -> str:
    why = doubts([before, now])
    found = [
        f"The {when} picture is in doubt: {why[photo.pk]}."
        for photo, when in ((before, "earlier"), (now, "new"))
        if photo.pk in why
    ]
    return " ".join(found)


def _open(photo: Photograph) -> imaging.Photo:
    return imaging.open_photo(vault.read(photo.digest))


def _place(reading: Any) -> dict[str, str]:
    """Shares of a square that holds the picture as it is shown, the shorter side centred; empty without a stone."""
    if reading.outline is None:
        return {}
    side = max(reading.width, reading.height)
    (x, y), radius = reading.outline.centre_px, reading.outline.radius_px
    return {
        "cx": f"{(x + 0.5 + (side - reading.width) / 2) / side:.5f}",
        "cy": f"{(y + 0.5 + (side - reading.height) / 2) / side:.5f}",
        "radius": f"{radius / side:.5f}",
    }
