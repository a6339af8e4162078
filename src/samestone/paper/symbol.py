"""The shapes on the clock face: one outline for each kind; filled is inside the stone, hollow on its surface.

Shapes fit a circle of radius 1, y down. They are our own and stand for nothing but the word in the legend; the table in
`docs/reference/symbols.md` shows them all.
"""

from __future__ import annotations

import math

from samestone.paper.drawing import PAPER, Point, element, path

INSIDE = ("crystal", "feather", "cloud", "needle", "pinpoint", "twinning")
SURFACE = (
    "natural",
    "extra facet",
    "chip",
    "nick",
    "bruise",
    "abrasion",
    "scratch",
    "cavity",
    "crack",
)
KINDS = (*INSIDE, *SURFACE, "other")


def _regular(corners: int, start_deg: float = -90.0, radius: float = 1.0) -> str:
    return path(
        [
            (radius * math.cos(math.radians(start_deg + 360 * k / corners)),
             radius * math.sin(math.radians(start_deg + 360 * k / corners)))
            for k in range(corners)
        ]
    )  # fmt: skip


_SHAPES = {
    "crystal": _regular(4, 45),
    "feather": "M.35-1A1 1 0 1 0 .35 1A1.18 1.18 0 0 1 .35-1Z",
    "cloud": "M0-.36A.52.52 0 1 1 .36 0A.52.52 0 1 1 0 .36A.52.52 0 1 1-.36 0A.52.52 0 1 1 0-.36Z",
    "needle": "M0-1.25L.34 0L0 1.25L-.34 0Z",
    "pinpoint": _regular(3, -90, 0.72),
    "twinning": "M-.9-.95L.9-.95L.12 0L.9.95L-.9.95L-.12 0Z",
    "natural": "M-.55-.65L.55-.65L1 .65L-1 .65Z",
    "extra facet": _regular(6, 0),
    "chip": "M0 0L.9-.45A1 1 0 1 0 .9.45Z",
    "nick": "M-.95-.7L.95-.7L0 .95Z",
    "bruise": "M-.32-1H.32V-.32H1V.32H.32V1H-.32V.32H-1V-.32H-.32Z",
    "abrasion": "M-.75-.42H.75A.42.42 0 0 1 .75.42H-.75A.42.42 0 0 1-.75-.42Z",
    "scratch": "M-.8-.9L-.2-.9L.9 0L-.2.9L-.8.9L.2 0Z",
    "cavity": "M-1-.45H1A1 1 0 0 1-1-.45Z",
    "crack": "M.15-1.1L-.75.15L-.1.15L-.15 1.1L.75-.15L.1-.15Z",
    "other": _regular(5),
}


def shape(kind: str) -> str:
    """The kind that is drawn: itself, or `other` for a word that has no shape."""
    return kind if kind in _SHAPES else "other"


def draw_symbol(kind: str, at: Point, *, size: float, colour: str, hollow: bool) -> str:
    """One symbol of radius `size` around a point."""
    x, y = at
    return element(
        "path",
        d=_SHAPES[shape(kind)],
        transform=f"translate({x:.2f} {y:.2f}) scale({size:g})",
        fill=PAPER if hollow else colour,
        stroke=colour,
        stroke_width=0.3 if hollow else 0.12,
        stroke_linejoin="round",
    )
