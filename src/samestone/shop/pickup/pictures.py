"""Two pictures of one view laid on each other: where the stone lies in each, and how far the second is turned.

What the pictures are worth as evidence is not said here; see `verdict`.
"""

from __future__ import annotations

from typing import Any

from samestone import imaging
from samestone.shop import vault
from samestone.shop.models import Photograph


def lay_together(before: Photograph, now: Photograph) -> dict[str, Any]:
    """Centre and girdle radius in each picture as shares of its width and height, and the turn that makes `now` lie
    as `before`, counter-clockwise as seen, -180 to 180 degrees.

    `known` says whether the turn was found from the stone itself; otherwise it is 0 and `reason` says why.
    """
    compared = imaging.compare_photos(_open(before), _open(now))
    turn = (-compared.rotation_deg + 180) % 360 - 180
    return {
        "before": before.pk,
        "now": now.pk,
        "known": compared.rotation_known,
        "turn_deg": str(round(turn)) if compared.rotation_known else "0",
        "reason": compared.reason,
        "place_before": _place(compared.a),
        "place_now": _place(compared.b),
    }


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
