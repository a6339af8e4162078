"""The clock face: one plan view of the head, hallmark at 6 o'clock, the same on screen and on paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from samestone.paper import symbol
from samestone.paper.claw import draw_claw
from samestone.paper.drawing import (
    AMBER,
    BRICK,
    GRAPHITE,
    LINE,
    PAPER,
    QUIET,
    STONE,
    TEAL,
    Point,
    document,
    element,
    path,
    polar,
    text,
)
from samestone.paper.legend import CLAW, LETTER, is_hollow, key_below, words_of
from samestone.paper.outline import family, outline, reach
from samestone.paper.sheet import BadSheet, Mark, Number, check

RADIUS = 100
"""User units of the drawing that one girdle radius takes."""

_ORDER = ("hidden", "claw", "damage", "characteristic", "agreed")
"""What is drawn later lies on top."""


def clock_face(
    cut: str,
    marks: Sequence[Mark],
    *,
    ratio: Number = 0,
    legend: bool = True,
    loose: bool = False,
    claw: str = CLAW,
) -> str:
    """The plan view as SVG text.

    The centre is (0, 0). A tap at (x, y) in user units is at r = hypot(x, y) / 100 girdle radii and at the angle
    atan2(-y, x), counter-clockwise from 3 o'clock; the root carries `data-radius="100"`. For a stone that is not round
    the girdle radius is a quarter of length plus width; `ratio` is length over width (0: the usual one of the cut).
    The length of a pear, marquise, oval or step cut runs from 6 to 12 o'clock. A `loose` stone has no hallmark to turn
    it by; `claw` is the country's word for what holds it. Every mark is a `g` with
    `data-category`, `data-kind`, `data-r`, `data-angle`, for agreed marks `data-number` and, where given, `data-id`.
    Classes: `outline`, `claw`, `hidden`, `damage`, `characteristic`, `agreed`, `legend`. Refuses an unknown category
    and numbers that are none (`BadSheet`).
    """
    for index, mark in enumerate(marks):
        check(mark, Mark, f"marks[{index}]")
    name = family(cut)
    girdle = [(RADIUS * x, RADIUS * y) for x, y in outline(name, _number(ratio, "ratio"))]
    rim = max(132.0, 20 + max(math.hypot(x, y) for x, y in girdle))
    ordered = sorted(enumerate(marks), key=lambda item: _ORDER.index(item[1]["category"]))
    numbers = _numbers(marks)
    drawn = [
        _mark(mark, girdle, rim, numbers.get(index), name=words_of(mark, claw), where=f"marks[{index}]")
        for index, mark in ordered
    ]
    half = rim + 33
    below, height = key_below(marks, half, claw=claw) if legend else ("", 0.0)
    return document(
        _dial(rim, loose=loose),
        _stone(name, girdle),
        *drawn,
        below,
        box=(-half, -half, 2 * half, 2 * half + height),
        title=f"Clock face: {cut}, seen from above" + ("" if loose else ", hallmark at 6 o'clock"),
        description=describe(marks, claw),
        class_="clock-face",
        data_radius=RADIUS,
    )


def describe(marks: Sequence[Mark], claw: str = CLAW) -> str:
    """What is drawn, in words, with the hour at which it stands."""
    numbers = _numbers(marks)
    said = []
    for index, mark in enumerate(marks):
        hour = clock_hour(_number(mark["angle_deg"], "angle_deg"))
        if mark["category"] == "hidden":
            until = clock_hour(_number(mark.get("to_deg", mark["angle_deg"]), "to_deg"))
            said.append(f"not examined from {until} to {hour}")
        elif mark["category"] == "agreed":
            said.append(f"agreed mark {numbers[index]} at {hour}: {mark.get('words', '')}".rstrip(": "))
        else:
            said.append(f"{words_of(mark, claw)} at {hour}")
    return "; ".join(said) if said else "nothing is marked"


def clock_hour(angle_deg: float) -> str:
    """The nearest half hour of a direction.

    >>> clock_hour(90), clock_hour(0), clock_hour(-90), clock_hour(46)
    ("12 o'clock", "3 o'clock", "6 o'clock", 'half past 1')
    """
    halves = round((90 - angle_deg) / 15) % 24
    hour = halves // 2 or 12
    return f"half past {hour}" if halves % 2 else f"{hour} o'clock"


def _number(value: Number, where: str) -> float:
    try:
        number = float(value)
    except ValueError as error:
        raise BadSheet(f"{where} is {value!r}; expected a number such as 0.31") from error
    if not math.isfinite(number):
        raise BadSheet(f"{where} is {value!r}; expected a finite number")
    return number


def _numbers(marks: Sequence[Mark]) -> dict[int, int]:
    """Agreed marks are numbered in their order."""
    agreed = [index for index, mark in enumerate(marks) if mark["category"] == "agreed"]
    return {index: number for number, index in enumerate(agreed, 1)}


def _dial(rim: float, *, loose: bool) -> str:
    ticks = [
        element("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=LINE, stroke_width=2.4 if hour % 3 == 0 else 1.2)
        for hour in range(12)
        for (x1, y1), (x2, y2) in [(polar(rim - (8 if hour % 3 == 0 else 4), 30 * hour), polar(rim, 30 * hour))]
    ]
    numerals = [
        text(words, (x, y + 6), size=LETTER, fill=QUIET, text_anchor="middle")
        for words, angle in (("12", 90), ("3", 0), ("9", 180), *((("6", 270),) if loose else ()))
        for x, y in [polar(rim + 16, angle)]
    ]
    tag = element("rect", x=-42, y=rim + 5, width=84, height=23, rx=4, fill="none", stroke=QUIET, stroke_width=1.4)
    hallmark = text("hallmark", (0, rim + 22), size=LETTER, fill=QUIET, text_anchor="middle")
    ring = element("circle", r=rim, fill="none", stroke=LINE, stroke_width=1.2)
    return element("g", ring, *ticks, *numerals, *(() if loose else (tag, hallmark)), class_="dial")


def _stone(name: str, girdle: Sequence[Point]) -> str:
    body = element(
        "path",
        class_="outline",
        d=path([(x, -y) for x, y in girdle]),
        fill=STONE,
        stroke=GRAPHITE,
        stroke_width=3,
        stroke_linejoin="round",
        stroke_dasharray="10 7" if name == "other" else None,
    )
    inner = {"emerald": (0.78, 0.56), "baguette": (0.72,), "cabochon": (), "other": ()}.get(name, (0.57,))
    table = [
        element("path", d=path([(s * x, -s * y) for x, y in girdle]), fill="none", stroke=LINE, stroke_width=1.4)
        for s in inner
    ]
    return element("g", body, *table, class_="stone")


def _mark(mark: Mark, girdle: Sequence[Point], rim: float, number: int | None, *, name: str, where: str) -> str:
    angle = _number(mark["angle_deg"], f"{where}.angle_deg")
    r = _number(mark.get("r", 1), f"{where}.r")
    category, kind = mark["category"], mark.get("kind", "")
    if category == "hidden":
        if "to_deg" not in mark:
            raise BadSheet(f"{where} is a hidden arc without to_deg; give both ends, counter-clockwise")
        inside = _hidden(girdle, angle, _number(mark["to_deg"], f"{where}.to_deg"))
    elif category == "claw":
        inside = draw_claw(kind, at=reach(girdle, angle), angle_deg=angle)
    elif category == "agreed":
        inside = _agreed(polar(RADIUS * r, angle), angle, rim, number or 0)
    else:
        inside = symbol.draw_symbol(
            kind,
            polar(RADIUS * r, angle),
            size=8.5 if category == "damage" else 7.5,
            colour=BRICK if category == "damage" else TEAL,
            hollow=is_hollow(mark),
        )
    return element(
        "g",
        element("title", escape(name)),
        inside,
        class_=category,
        data_category=category,
        data_kind=kind or None,
        data_r=mark.get("r"),
        data_angle=mark["angle_deg"],
        data_to=mark.get("to_deg"),
        data_number=number,
        data_id=mark.get("id"),
    )


def _hidden(girdle: Sequence[Point], start: float, end: float) -> str:
    """An arc along the girdle with short slanted strokes across it."""
    sweep = (end - start) % 360 or 360.0
    steps = max(2, round(sweep / 3))
    angles = [start + sweep * k / steps for k in range(steps + 1)]
    reaches = {angle: reach(girdle, angle) for angle in angles}
    outer = [polar(reaches[angle] * 1.09, angle) for angle in angles]
    inner = [polar(reaches[angle] * 0.84, angle) for angle in angles]
    strokes = "".join(path([a, b], closed=False) for a, b in zip(inner[:-1], outer[1:], strict=True))
    band = element("path", d=path([*outer, *reversed(inner)]), fill=PAPER, fill_opacity=0.85, stroke=GRAPHITE,
                   stroke_width=1.2, stroke_linejoin="round")  # fmt: skip
    return band + element("path", d=strokes, fill="none", stroke=GRAPHITE, stroke_width=1.5)


def _agreed(at: Point, angle: float, rim: float, number: int) -> str:
    """A ring around the place, and its number on the rim in the same direction."""
    badge = polar(rim, angle)
    start = _towards(at, badge, 14)
    stop = _towards(badge, at, 13)
    return (
        element("circle", cx=at[0], cy=at[1], r=14, fill="none", stroke=PAPER, stroke_width=6)
        + element("circle", cx=at[0], cy=at[1], r=14, fill="none", stroke=AMBER, stroke_width=3)
        + element("line", x1=start[0], y1=start[1], x2=stop[0], y2=stop[1], stroke=AMBER, stroke_width=1.6)
        + _badge(badge, str(number))
    )


def _badge(at: Point, words: str) -> str:
    return element("circle", cx=at[0], cy=at[1], r=13, fill=AMBER) + text(
        words, (at[0], at[1] + 6.2), size=18, fill=PAPER, font_weight=700, text_anchor="middle"
    )


def _towards(start: Point, end: Point, distance: float) -> Point:
    length = math.dist(start, end) or 1.0
    return tuple(a + (b - a) * min(distance, length) / length for a, b in zip(start, end, strict=True))  # type: ignore[return-value]
