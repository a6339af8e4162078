"""How the evidence looks: the narrowing for everybody, the log10 LR bars for an expert."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
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
_COLUMNS, _LINES = 56, 4
_CELLS = _COLUMNS * _LINES
_EACH = 40
"""Up to this many stones, each has its dot."""
_THINNING = sorted(range(_CELLS), key=lambda cell: (cell % _COLUMNS * 0.7549 + cell // _COLUMNS * 0.5698) % 1)
"""The order in which dots stay: spread evenly, without a visible pattern."""


def narrowing(values: Mapping[str, Any]) -> str:
    """Rows of dots that thin out, from a verdict's `narrowing` ({"of", "left": [{"after", "left"}, …]}), as SVG.

    Up to 40 stones one dot is one stone; above, the field of dots thins out with the count and is not to be counted.
    """
    rows = [("reference stones of this kind", int(values["of"]))]
    rows += [(str(step["after"]), int(step["left"])) for step in values["left"]]
    pitch = 64
    drawn = [
        _row(words, count, rows[0][1], 8 + pitch * index, first=index == 0) for index, (words, count) in enumerate(rows)
    ]
    note = text(
        f"Up to {_EACH} stones: one dot each. Above, the field of dots only thins out.",
        (0, 8 + pitch * len(rows) + 8),
        size=14,
        fill=QUIET,
    )
    said = ", then ".join(f"{count:,} after {words}" for words, count in rows[1:])
    return document(
        *drawn,
        note,
        box=(0, 0, _WIDTH, 8 + pitch * len(rows) + 18),
        title="The narrowing: reference stones that could still not be told from this one",
        description=f"Of {rows[0][1]:,} reference stones, {said}." if said else f"{rows[0][1]:,} reference stones.",
        class_="narrowing",
    )


def _row(words: str, count: int, of: int, y: float, *, first: bool) -> str:
    label = words if first else f"left after {words}"
    number = text(f"{count:,}", (112, y + 33), size=28, font_weight=700, text_anchor="end", class_="count")
    field = _field(count, of, y + 20)
    return element("g", number, text(label, (128, y + 10), size=15, fill=QUIET), field, class_="step")


def _field(count: int, of: int, y: float) -> str:
    if count <= _EACH:
        points: list[Point] = [(134 + 12.6 * k, y + 10) for k in range(count)]
        width = 9.0
    else:
        cells = sorted(_THINNING[: dot_count(count, of)])
        points = [(131 + 9 * (cell % _COLUMNS), y + 9 * (cell // _COLUMNS)) for cell in cells]
        width = 5.2
    if not points:
        return ""
    return element("path", d=dots(points), stroke=TEAL, stroke_width=width, stroke_linecap="round", fill="none")


def dot_count(count: int, of: int) -> int:
    """How many dots stand for `count` stones of `of`: each its own up to 40, then ever fewer for each.

    >>> dot_count(13, 53940), dot_count(460, 53940), dot_count(53940, 53940)
    (13, 73, 224)
    """
    if count <= _EACH:
        return count
    share = (count - _EACH) / max(of - _EACH, 1)
    return min(_CELLS, round(_EACH + (_CELLS - _EACH) * share**0.35))


_LEFT, _RIGHT, _ROW_HEIGHT = 200, 560, 58


def likelihood_bars(verdict: Mapping[str, Any]) -> str:
    """The log10 likelihood ratios of a verdict's JSON document, left and right of zero, with their bounds, as SVG.

    Each kind of evidence has two bars: against a stone drawn at random (filled) and against a chosen look-alike
    (hollow). Brackets stand at the bounds that the values were clipped to; the last row is the sum.
    """
    total = verdict["log10_lr"]
    rows: list[tuple[str, float, float, float, float]] = [
        (str(block["what"]).replace("_", " "), block["random"], block["look_alike"], block["lower"], block["upper"])
        for block in verdict["blocks"]
    ]
    ends = [value for row in rows for value in row[1:]]
    ends += [total[name][key] for name in ("random", "look_alike") for key in ("value", "lower", "upper")]
    low, high = min(-2, math.floor(min(ends, default=0))), max(2, math.ceil(max(ends, default=0)))
    bottom = 44 + _ROW_HEIGHT * (len(rows) + 1)

    def at(value: float) -> float:
        return _LEFT + (value - low) / (high - low) * (_RIGHT - _LEFT)

    bars = [
        _bars(words, [(random, lower, upper), (alike, lower, upper)], 44 + _ROW_HEIGHT * index, at)
        for index, (words, random, alike, lower, upper) in enumerate(rows)
    ]
    both = [(total[name]["value"], total[name]["lower"], total[name]["upper"]) for name in ("random", "look_alike")]
    bars.append(_bars("together", both, bottom - _ROW_HEIGHT, at, strong=True))
    return document(
        _axis(low, high, bottom, at),
        *bars,
        _key(bottom + 34),
        box=(0, 0, _WIDTH, bottom + 66),
        title="log10 likelihood ratios of each kind of evidence, with their bounds",
        description="; ".join(
            [
                f"{words}: {random:+.2f} against random, {alike:+.2f} against look-alike"
                for words, random, alike, *_ in rows
            ]
            + [f"together {both[0][0]:+.2f} and {both[1][0]:+.2f}"]
        ),
        class_="likelihood-bars",
    )


def _axis(low: int, high: int, bottom: float, at: Any) -> str:
    step = 1 if high - low <= 10 else 2
    ticks = [
        element("line", x1=at(v), x2=at(v), y1=34, y2=bottom, stroke=GRAPHITE if v == 0 else LINE,
                stroke_width=1.6 if v == 0 else 0.8)
        + text(f"{v:+d}" if v else "0", (at(v), bottom + 18), size=14, fill=QUIET, text_anchor="middle")
        for v in range(low, high + 1) if v % step == 0
    ]  # fmt: skip
    return element(
        "g",
        *ticks,
        text("another stone", (at(0) - 10, 22), size=14, fill=BRICK, text_anchor="end"),
        text("the same stone", (at(0) + 10, 22), size=14, fill=TEAL),
        class_="axis",
    )


def _bars(words: str, values: Sequence[tuple[float, float, float]], y: float, at: Any, *, strong: bool = False) -> str:
    weight = 700 if strong else 400
    parts = [text(words, (_LEFT - 14, y + 32), size=16, text_anchor="end", font_weight=weight)]
    for index, (value, lower, upper) in enumerate(values):
        top = y + 6 + 24 * index
        colour = TEAL if value >= 0 else BRICK
        start, end = sorted((at(0), at(value)))
        parts.append(
            element("rect", x=start, y=top, width=max(end - start, 0.8), height=15, stroke=colour, stroke_width=1.6,
                    fill=PAPER if index else colour)
        )  # fmt: skip
        parts += [_bracket(at(lower), top, +1), _bracket(at(upper), top, -1)]
        parts.append(text(f"{value:+.2f}", (_WIDTH - 4, top + 13), size=15, text_anchor="end", font_weight=weight))
    return element("g", *parts, class_="block")


def _bracket(x: float, top: float, side: int) -> str:
    data = f"M{x + 4 * side:.1f} {top - 3:.1f}H{x:.1f}V{top + 18:.1f}H{x + 4 * side:.1f}"
    return element("path", d=data, fill="none", stroke=QUIET, stroke_width=1.4)


def _key(y: float) -> str:
    return element(
        "g",
        element("rect", x=_LEFT, y=y, width=26, height=13, fill=TEAL, stroke=TEAL, stroke_width=1.6),
        text("against a stone at random", (_LEFT + 34, y + 12), size=14),
        element("rect", x=_LEFT + 226, y=y, width=26, height=13, fill=PAPER, stroke=TEAL, stroke_width=1.6),
        text("against a look-alike", (_LEFT + 260, y + 12), size=14),
        _bracket(8, y - 1, +1) + _bracket(26, y - 1, -1),
        text("validated range", (36, y + 12), size=14),
        class_="legend",
    )
