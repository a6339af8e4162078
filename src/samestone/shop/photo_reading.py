"""What the program reads from one photograph when it arrives, by its view; numbers as decimal strings."""

from __future__ import annotations

from typing import Any

from samestone import imaging

# Views in which the stone lies face up; in the others no whole girdle need be seen.
FACE_UP = ("as received", "face-up")
_LONGEST = 200  # of the reason, as the table keeps it


def read_view(photo: imaging.Photo, view: str) -> tuple[dict[str, Any], str]:
    """The reading to keep, and why the picture does not count (empty when it does)."""
    plain = imaging.microscope.read_plain(photo)
    stone = imaging.microscope.read_frame(photo) if view in FACE_UP else None
    if stone is None or (view == "as received" and stone.outline is None):
        return {"flags": [flag.name for flag in plain.flags]}, _words(plain.blocking)
    blocking = plain.blocking or tuple(flag for flag in stone.flags if flag.blocking)
    if stone.outline is None:  # too much light hides the girdle: say so before saying that there is no stone
        blocking = (*(flag for flag in plain.flags if flag.name == "clipped"), *blocking)
    found: dict[str, Any] = {"flags": [flag.name for flag in stone.flags], "sharpness": _text(stone.sharpness)}
    if stone.outline is not None:
        found |= _outline(stone.outline)
    if stone.lean_deg is not None:
        found["lean_deg"] = _text(stone.lean_deg)
    return found, _words(blocking)


def _outline(outline: Any) -> dict[str, Any]:
    x, y = outline.centre_px
    return {
        "centre_px": [_text(x), _text(y)],
        "diameter_max_px": _text(outline.diameter_max_px),
        "diameter_min_px": _text(outline.diameter_min_px),
        "hidden_deg": [[_text(start), _text(end)] for start, end in outline.hidden_deg],
    }


def _text(value: float) -> str:
    return f"{value:.2f}"


def _words(flags: tuple[Any, ...]) -> str:
    return " ".join(f"{flag.sentence} {flag.remedy}" for flag in dict.fromkeys(flags))[:_LONGEST]
