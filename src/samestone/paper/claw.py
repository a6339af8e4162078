"""A claw on the clock face: what holds the stone, and how good it still is, told by its shape."""

from __future__ import annotations

from samestone.paper.drawing import AMBER, BRICK, GRAPHITE, PAPER, QUIET, element

CONDITIONS = {
    "tight": "",
    "worn": " worn",
    "loose": " loose",
    "broken": " broken",
    "missing": " missing",
    "unseen": " not examined",
    "other": ", see words",
}
"""What is said of a claw after its name, which differs from country to country."""
_WORDS = {"": "tight", "whole": "tight", "good": "tight", "new": "tight", "bent": "loose", "lifted": "loose",
          "not examined": "unseen", "could not look": "unseen"}  # fmt: skip

_PILL = {"y": -8, "height": 16, "rx": 8}


def condition(kind: str) -> str:
    """The condition that is drawn for a word; `other` when it is not known."""
    known = _WORDS.get(kind, kind)
    return known if known in CONDITIONS else "other"


def draw_claw(kind: str, *, at: float, angle_deg: float) -> str:
    """A claw that grips the girdle at distance `at` from the centre; inwards is towards the stone."""
    return element(
        "g", *_parts(condition(kind)), transform=f"rotate({-angle_deg:.2f}) translate({at:.2f} 0)", stroke_width=2.4
    )


def _parts(name: str) -> list[str]:
    """The claw along x: the stone on the left, the metal on the right, the girdle at 0."""
    match name:
        case "worn":  # short and flat, half of it left
            return [
                element("path", d="M18-8H-2V8H18A8 8 0 0 0 18-8Z", fill=PAPER, stroke=AMBER),
                element("path", d="M18 0H-2V8H18A8 8 0 0 0 26 0Z", fill=AMBER),
            ]
        case "loose":  # stands off the stone
            return [
                element("rect", x=-6, width=30, fill=PAPER, stroke=AMBER, **_PILL),
                element("path", d="M-13-8V8", stroke=AMBER, stroke_linecap="round"),
            ]
        case "broken":  # ends in teeth outside the girdle
            return [element("path", d="M22-8H8L2-3L9 1L3 8H22A8 8 0 0 0 22-8Z", fill=PAPER, stroke=BRICK)]
        case "missing":
            return [element("rect", x=-18, width=42, fill=PAPER, stroke=BRICK, stroke_dasharray="4 4", **_PILL)]
        case "unseen":
            return [
                element("rect", x=-18, width=42, fill=PAPER, stroke=QUIET, **_PILL),
                element("path", d="M-12 6l5-12M-3 6l5-12M6 6l5-12M15 6l5-12", stroke=QUIET),
            ]
        case "other":
            return [element("rect", x=-18, width=42, fill=PAPER, stroke=GRAPHITE, **_PILL)]
        case _:
            return [element("rect", x=-18, width=42, fill=GRAPHITE, stroke=PAPER, **_PILL)]
