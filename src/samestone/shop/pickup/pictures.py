"""Two pictures of one view laid on each other, and what they say beside the verdict: a line of its own.

The line never enters the verdict: the marks that it sees are the ones the jeweller placed, and nothing counts twice.
"""

from __future__ import annotations

from typing import Any

from samestone import evidence, imaging
from samestone.shop import ledger, vault
from samestone.shop.models import Photograph
from samestone.shop.suspicion import doubts

# With fewer stones behind a calibration its number is not shown.
FEWEST_STONES = 20


def lay_together(before: Photograph, now: Photograph) -> dict[str, Any]:
    """Centre and girdle radius in each picture as shares of its width and height, and the turn that makes `now` lie
    as `before`, counter-clockwise as seen, -180 to 180 degrees.

    `known` says whether the turn was found from the stone itself; otherwise it is 0 and `reason` says why. `line` is
    what the pictures say of the stone, or why they say nothing: pictures in doubt are laid together for the eye alone.
    """
    compared = imaging.compare_photos(_open(before), _open(now))
    doubt = _doubt(before, now)
    turn = (-compared.rotation_deg + 180) % 360 - 180
    return {
        "before": before.pk,
        "now": now.pk,
        "known": compared.rotation_known,
        "turn_deg": str(round(turn)) if compared.rotation_known else "0",
        "reason": _counter_words(compared.reason),
        "place_before": _place(compared.a),
        "place_now": _place(compared.b),
        "line": {"protocol": compared.protocol, "why_not": doubt} if doubt else _line(compared),
    }


def _doubt(before: Photograph, now: Photograph) -> str:
    why = doubts([before, now])
    found = [
        f"The {when} picture is in doubt: {why[photo.pk]}."
        for photo, when in ((before, "earlier"), (now, "new"))
        if photo.pk in why
    ]
    return " ".join(found)


def _line(compared: imaging.PhotoComparison) -> dict[str, Any]:
    """The pictures' own line: `log10_lr` within its bounds, or `why_not`."""
    said: dict[str, Any] = {"protocol": compared.protocol}
    if not compared.usable:
        return {**said, "why_not": _counter_words(compared.reason)}
    table = evidence.photographs.shipped_calibration()
    if table.get(compared.protocol, {}).get("stones", 0) < FEWEST_STONES:
        return {**said, "why_not": "There is no calibration for such pictures yet; compare them by eye."}
    weighed = evidence.photographs.weigh_photographs(compared, table)
    if weighed.log10_lr is None:
        return {**said, "why_not": "The pictures cannot be weighed; compare them by eye."}
    value = weighed.log10_lr
    found = [feature.found for feature in compared.features]
    return {
        **said,
        "log10_lr": ledger.decimal_strings({"value": value.value, "lower": value.lower, "upper": value.upper}),
        "speaks": "for" if value.value > 0 else "against",
        "agree": str(found.count("agrees")),
        "absent": str(found.count("absent")),
        "stones": str(weighed.stones),
        "source": weighed.source,
    }


def _counter_words(reason: str) -> str:
    return reason.replace("Picture A: ", "The earlier picture: ").replace("Picture B: ", "The new picture: ")


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
