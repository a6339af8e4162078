"""How the evidence looks: the narrowing for everybody, the log10 LR bars for an expert."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from textwrap import wrap
from typing import Any

from samestone.paper.drawing import (
    BRICK,
    GRAPHITE,
    LINE,
    PAPER,
    QUIET,
    TEAL,
    Point,
    document,
    dots,
    element,
    text,
)

_WIDTH = 640
_FIELD_WIDTH = 440
_COLUMNS, _LINES = 78, 10
_PITCH = 3.95
_CELLS = _COLUMNS * _LINES
_EACH = 20
"""Up to this many stones, each has its dot."""
_THINNING = sorted(range(_CELLS), key=lambda cell: (cell % _COLUMNS * 0.7549 + cell // _COLUMNS * 0.5698) % 1)
"""The order in which dots stay: spread evenly, without a visible pattern."""


def narrowing(values: Mapping[str, Any]) -> str:
    """Rows of dots that thin out, from a verdict's `narrowing` ({"of", "left": [{"after", "left"}, …]}), as SVG.

    Up to 20 stones one dot is one stone; above, twice as many dots are four times as many stones.
    """
    rows = [("reference stones of this kind", int(values["of"]))]
    rows += [(f"left after {step['after']}", int(step["left"])) for step in values["left"]]
    pitch = 64
    drawn = [_step(words, count, rows[0][1], 8 + pitch * index) for index, (words, count) in enumerate(rows)]
    bottom = 8 + pitch * len(rows)
    notes = [
        text(words, (0, bottom + 8 + 17 * line), size=14.5, fill=QUIET)
        for line, words in enumerate(
            (f"Up to {_EACH} stones: one dot each.", "Above: twice the dots, four times the stones.")
        )
    ]
    said = ", then ".join(f"{count:,} {words}" for words, count in rows[1:])
    return document(
        *drawn,
        *notes,
        box=(0, 0, _FIELD_WIDTH, bottom + 35),
        title="The narrowing: reference stones that could still not be told from this one",
        description=f"Of {rows[0][1]:,} reference stones, {said}." if said else f"{rows[0][1]:,} reference stones.",
        class_="narrowing",
    )


def _step(words: str, count: int, of: int, y: float) -> str:
    number = text(f"{count:,}", (108, y + 34), size=29, font_weight=700, text_anchor="end", class_="count")
    return element("g", number, text(words, (126, y + 11), size=17), _field(count, of, y + 20), class_="step")


def _field(count: int, of: int, y: float) -> str:
    if count <= _EACH:
        points: list[Point] = [(131 + 15.5 * k, y + 13) for k in range(count)]
        width = 11.0
    else:
        cells = sorted(_THINNING[: dot_count(count, of)])
        points = [(128 + _PITCH * (cell % _COLUMNS), y + _PITCH * (cell // _COLUMNS)) for cell in cells]
        width = 2.9
    if not points:
        return ""
    return element("path", d=dots(points), stroke=TEAL, stroke_width=width, stroke_linecap="round", fill="none")


def dot_count(count: int, of: int) -> int:
    """How many dots stand for `count` stones of `of`: each its own up to 20, then as the square root of the count.

    >>> dot_count(13, 53940), dot_count(460, 53940), dot_count(1840, 53940), dot_count(53940, 53940)
    (13, 72, 144, 780)
    """
    if count <= _EACH:
        return count
    return max(_EACH, min(_CELLS, round(_CELLS * math.sqrt(count / max(of, count)))))


_LEFT, _RIGHT, _ROW_HEIGHT = 200, 560, 58
_LETTERS = 22  # of a name in one line beside its bars


@dataclass(frozen=True)
class _Row:
    """One kind of evidence: two log10 LR as (value, lower, upper); `assumed` limits were not validated."""

    words: str
    random: tuple[float, float, float]
    look_alike: tuple[float, float, float]
    assumed: bool = False
    strong: bool = False


@dataclass(frozen=True)
class _Scale:
    """From log10 LR to the drawing's x."""

    low: int
    high: int

    def at(self, value: float) -> float:
        return _LEFT + (value - self.low) / (self.high - self.low) * (_RIGHT - _LEFT)


def likelihood_bars(verdict: Mapping[str, Any], *, names: Mapping[str, str] | None = None) -> str:
    """The log10 likelihood ratios of a verdict's JSON document, left and right of zero, with their limits, as SVG.

    Each kind of evidence has two bars: against a stone drawn at random (filled) and against a chosen look-alike
    (hollow). Brackets stand at the limits that the values were clipped to, dashed where they are assumed; the last row
    takes everything together. `names` gives the words for what was compared.
    """
    rows = [*(_block(block, names or {}) for block in verdict["blocks"]), _together(verdict["log10_lr"])]
    ends = [value for row in rows for value in (*row.random, *row.look_alike)]
    scale = _Scale(min(-2, math.floor(min(ends))), max(2, math.ceil(max(ends))))
    bottom = 44 + _ROW_HEIGHT * len(rows)
    return document(
        _axis(scale, bottom),
        *(_bars(row, 44 + _ROW_HEIGHT * index, scale) for index, row in enumerate(rows)),
        _key(bottom + 34),
        box=(0, 0, _WIDTH, bottom + 84),
        title="log10 likelihood ratios of each kind of evidence, with their limits",
        description="; ".join(
            f"{row.words}: {row.random[0]:+.2f} against random, {row.look_alike[0]:+.2f} against look-alike"
            for row in rows
        ),
        class_="likelihood-bars",
    )


def _block(block: Mapping[str, Any], names: Mapping[str, str]) -> _Row:
    lower, upper = float(block["lower"]), float(block["upper"])
    return _Row(
        names.get(block["what"], str(block["what"]).replace("_", " ")),
        (float(block["random"]), lower, upper),
        (float(block["look_alike"]), lower, upper),
        assumed=int(block["validated_on"]) == 0,
    )


def _together(total: Mapping[str, Any]) -> _Row:
    random, alike = (
        (float(total[name]["value"]), float(total[name]["lower"]), float(total[name]["upper"]))
        for name in ("random", "look_alike")
    )
    return _Row("together", random, alike, strong=True)


def _axis(scale: _Scale, bottom: float) -> str:
    step = 1 if scale.high - scale.low <= 10 else 2
    marks = []
    for value in range(math.ceil(scale.low / step) * step, scale.high + 1, step):
        x, zero = scale.at(value), value == 0
        colour, width = (GRAPHITE, 1.6) if zero else (LINE, 0.8)
        marks.append(element("line", x1=x, x2=x, y1=34, y2=bottom, stroke=colour, stroke_width=width))
        marks.append(text(_signed(value, 0), (x, bottom + 18), size=14, fill=QUIET, text_anchor="middle"))
    return element(
        "g",
        *marks,
        text("another stone", (scale.at(0) - 10, 22), size=14, fill=BRICK, text_anchor="end"),
        text("the same stone", (scale.at(0) + 10, 22), size=14, fill=TEAL),
        class_="axis",
    )


def _bars(row: _Row, y: float, scale: _Scale) -> str:
    weight = 700 if row.strong else 400
    lines = wrap(row.words, _LETTERS)
    middle = (len(lines) - 1) / 2
    parts = [
        text(line, (_LEFT - 14, y + 32 + 20 * (n - middle)), size=16, text_anchor="end", font_weight=weight)
        for n, line in enumerate(lines)
    ]
    for index, (value, lower, upper) in enumerate((row.random, row.look_alike)):
        top = y + 6 + 24 * index
        parts.append(_bar(value, top, scale, hollow=index == 1))
        parts += [_bracket(scale.at(end), top, side, row.assumed) for end, side in ((lower, 1), (upper, -1))]
        parts.append(text(_signed(value, 2), (_WIDTH - 4, top + 13), size=15, text_anchor="end", font_weight=weight))
    return element("g", *parts, class_="block")


def _bar(value: float, top: float, scale: _Scale, *, hollow: bool) -> str:
    colour = TEAL if value >= 0 else BRICK
    start, end = sorted((scale.at(0), scale.at(value)))
    fill = PAPER if hollow else colour
    size = {"width": max(end - start, 0.8), "height": 15, "stroke_width": 1.6}
    return element("rect", x=start, y=top, fill=fill, stroke=colour, **size)


def _bracket(x: float, top: float, side: int, dashed: bool) -> str:
    data = f"M{x + 4 * side:.1f} {top - 3:.1f}H{x:.1f}V{top + 18:.1f}H{x + 4 * side:.1f}"
    dashes = "3 2.4" if dashed else None
    return element("path", d=data, fill="none", stroke=QUIET, stroke_width=1.4, stroke_dasharray=dashes)


def _signed(value: float, places: int) -> str:
    return f"{value:+.{places}f}".replace("-", "−") if value else "0"


def _key(y: float) -> str:
    def sample(x: float, fill: str) -> str:
        return element("rect", x=x, y=y, width=26, height=13, fill=fill, stroke=TEAL, stroke_width=1.6)

    def limits(x: float, dashed: bool) -> str:
        return _bracket(x, y + 24, +1, dashed) + _bracket(x + 20, y + 24, -1, dashed)

    return element(
        "g",
        sample(_LEFT, TEAL),
        text("against a stone at random", (_LEFT + 34, y + 12), size=14),
        sample(_LEFT + 226, PAPER),
        text("against a look-alike", (_LEFT + 260, y + 12), size=14),
        limits(_LEFT + 3, False),
        text("limits, validated", (_LEFT + 34, y + 37), size=14),
        limits(_LEFT + 229, True),
        text("limits, assumed", (_LEFT + 260, y + 37), size=14),
        class_="legend",
    )
