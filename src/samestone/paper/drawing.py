"""Ink and letters: the colours of the drawings and the few SVG elements that they are made of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

GRAPHITE = "#2b2d31"
QUIET = "#6b6a66"
LINE = "#b9b3a6"
PAPER = "#fffdf8"
STONE = "#f1f4f3"
TEAL = "#0b5c66"
AMBER = "#8f5600"
BRICK = "#9c3322"

LETTERS = "Atkinson Hyperlegible Next, Atkinson Hyperlegible, sans-serif"

Point = tuple[float, float]


def element(name: str, *children: str, **attributes: object) -> str:
    """One SVG element; an underscore in an attribute's name stands for a hyphen, a final one is dropped."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(_value(value))}"'
        for key, value in attributes.items()
        if value is not None
    )
    inside = "".join(children)
    return f"<{name}{written}>{inside}</{name}>" if inside else f"<{name}{written}/>"


def text(words: str, at: Point, *, size: float, **attributes: object) -> str:
    """Words at a point, in the bundled typeface."""
    given = {"fill": GRAPHITE, "font_family": LETTERS, **attributes}
    return element("text", escape(words), x=at[0], y=at[1], font_size=size, **given)


def document(*children: str, box: Sequence[float], title: str, description: str, **attributes: object) -> str:
    """A drawing with its accessible name and description."""
    return element(
        "svg",
        element("title", escape(title)),
        element("desc", escape(description)),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=" ".join(_value(value) for value in box),
        role="img",
        **attributes,
    )


def path(points: Sequence[Point], *, closed: bool = True) -> str:
    """Path data through points."""
    data = "M" + "L".join(f"{_value(x)} {_value(y)}" for x, y in points)
    return data + "Z" if closed else data


def dots(points: Sequence[Point]) -> str:
    """Path data of round dots, for a stroke with round ends."""
    return "".join(f"M{_value(x)} {_value(y)}h.01" for x, y in points)


def polar(r: float, angle_deg: float) -> Point:
    """From r and an angle counter-clockwise from 3 o'clock to SVG's x and y (y down)."""
    angle = math.radians(angle_deg)
    return r * math.cos(angle), -r * math.sin(angle)


def width_of(words: str, size: float) -> float:
    """About how wide words stand; its letters take 0.43 em in English text; 0.45 leaves room."""
    return 0.45 * size * len(words)


def _value(value: object) -> str:
    if isinstance(value, float):
        return f"{round(value, 2) + 0.0:g}"
    return str(value)
