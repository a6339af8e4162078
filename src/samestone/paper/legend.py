"""What the symbols of a clock face mean: one sample and one word for each look that occurs in it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from samestone.paper import symbol
from samestone.paper.claw import CONDITIONS, condition, draw_claw
from samestone.paper.drawing import AMBER, BRICK, GRAPHITE, PAPER, TEAL, document, element, text, width_of
from samestone.paper.sheet import Mark

ROW, LETTER = 25, 16.5
CLAW = "claw"
_INDENT = 54


def words_of(mark: Mark, claw: str = CLAW) -> str:
    """What a mark is called beside its symbol; `claw` is the country's word for what holds a stone."""
    kind = mark.get("kind", "")
    match mark["category"]:
        case "claw":
            return claw + (CONDITIONS[condition(kind)] if condition(kind) != "other" else f" {kind}")
        case "hidden":
            return "not examined"
        case "agreed":
            return mark.get("words", "agreed mark")
        case "damage":
            return f"damage: {kind}" if kind else "damage"
        case _:
            return kind or "mark"


def is_hollow(mark: Mark) -> bool:
    """On the surface: every damage, and the kinds that lie there."""
    return mark["category"] == "damage" or mark.get("kind", "") in symbol.SURFACE


def key_below(marks: Sequence[Mark], half: float, *, claw: str = CLAW) -> tuple[str, float]:
    """The legend below a face that reaches from -half to half, and its height."""
    entries = _entries(marks, claw)
    columns = 2 if all(_room(words) <= half for _, words in entries) else 1
    height = 12.0 + ROW * math.ceil(len(entries) / columns) if entries else 0.0
    moved = f"translate({-half + 16:.1f} {half + 18:.1f})"
    return (element("g", _drawn(entries, half, columns), transform=moved) if entries else ""), height


def key_alone(marks: Sequence[Mark], *, width: float, claw: str = CLAW) -> str:
    """The legend as a drawing of its own, as many columns as fit into `width` user units; letters are 16.5 high."""
    entries = _entries(marks, claw)
    room = max((_room(words) for _, words in entries), default=width)
    columns = max(1, int(width // room))
    rows = max(1, math.ceil(len(entries) / columns))
    return document(
        element("g", _drawn(entries, width / columns, columns), transform="translate(14 13)"),
        box=(0, 0, width, ROW * rows),
        title="What the symbols mean",
        description="; ".join(words for _, words in entries),
    )


def _room(words: str) -> float:
    return width_of(words, LETTER) + _INDENT


def _drawn(entries: Sequence[tuple[str, str]], column: float, columns: int) -> str:
    rows = []
    for index, (drawn, words) in enumerate(entries):
        x, y = index % columns * column, index // columns * ROW
        rows.append(element("g", drawn, transform=f"translate({x:.1f} {y:.1f})"))
        rows.append(text(words, (x + 23, y + 6), size=LETTER))
    return element("g", *rows, class_="legend")


def _entries(marks: Sequence[Mark], claw: str) -> list[tuple[str, str]]:
    """(symbol around the origin, words), once for each look that occurs."""
    found: dict[str, str] = {}
    for mark in marks:
        words = "agreed mark" if mark["category"] == "agreed" else words_of(mark, claw)
        found.setdefault(words, _sample(mark))
    fills = {is_hollow(mark) for mark in marks if mark["category"] == "characteristic"}
    for hollow, words in ((False, "filled: inside"), (True, "hollow: surface")):
        if hollow in fills:
            found[words] = element("circle", r=6, fill=PAPER if hollow else TEAL, stroke=TEAL, stroke_width=2.2)
    return [(drawn, words) for words, drawn in found.items()]


def _sample(mark: Mark) -> str:
    match mark["category"]:
        case "hidden":
            strokes = "".join(f"M{x} 7l5-14" for x in (-11, -6, -1, 4))
            frame = element("rect", x=-12, y=-7, width=22, height=14, fill=PAPER, stroke=GRAPHITE, stroke_width=1.2)
            return frame + element("path", d=strokes, stroke=GRAPHITE, stroke_width=1.5)
        case "claw":
            return element("g", draw_claw(mark.get("kind", ""), at=-5, angle_deg=0), transform="scale(.62)")
        case "agreed":
            return element("circle", r=8, fill="none", stroke=AMBER, stroke_width=3)
        case category:
            colour = BRICK if category == "damage" else TEAL
            return symbol.draw_symbol(mark.get("kind", ""), (0, 0), size=8, colour=colour, hollow=is_hollow(mark))
