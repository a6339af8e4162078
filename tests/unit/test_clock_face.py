"""The clock face: where things are drawn, as what, and that it is safe to put into a page."""

from __future__ import annotations

import math
import re
import runpy
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from tests.unit.paper_sheet import MARKS

from samestone import paper
from samestone.paper import clockface, legend, outline, symbol
from samestone.paper.drawing import AMBER, BRICK, GRAPHITE, PAPER, QUIET, TEAL
from samestone.paper.sheet import BadSheet

HOUSE = Path(__file__).parents[2]
SVG = "{http://www.w3.org/2000/svg}"
CUTS = ("round brilliant", "oval", "princess", "emerald", "radiant", "cushion", "pear", "marquise", "heart", "baguette",
        "trillion", "cabochon", "other")  # fmt: skip


def drawn(marks: list[Any], cut: str = "round brilliant", **options: Any) -> ElementTree.Element:
    return ElementTree.fromstring(paper.clock_face(cut, marks, **options))


def groups(root: ElementTree.Element, category: str) -> list[ElementTree.Element]:
    return [group for group in root.iter(f"{SVG}g") if group.get("data-category") == category]


@pytest.mark.parametrize(("angle", "expected"), [(0, (50, 0)), (90, (0, -50)), (180, (-50, 0)), (270, (0, 50))])
def test_a_mark_stands_where_a_tap_there_would_read_it(angle: int, expected: tuple[int, int]) -> None:
    root = drawn([{"category": "characteristic", "kind": "crystal", "r": "0.5", "angle_deg": str(angle)}])
    (group,) = groups(root, "characteristic")
    place = re.match(r"translate\(([-\d.]+) ([-\d.]+)\)", group.find(f"{SVG}path").get("transform"))  # type: ignore
    assert place is not None
    x, y = float(place[1]), float(place[2])
    assert (x, y) == pytest.approx(expected, abs=0.01)
    assert math.hypot(x, y) / float(root.get("data-radius")) == pytest.approx(0.5)  # type: ignore[arg-type]
    assert (math.degrees(math.atan2(-y, x)) - angle) % 360 == pytest.approx(0, abs=0.1)


def test_marks_carry_what_a_page_needs_to_find_them_again() -> None:
    root = drawn([{"category": "damage", "kind": "chip", "r": "0.97", "angle_deg": "170", "id": "m7"}])
    (group,) = groups(root, "damage")
    assert {key: group.get(key) for key in ("data-kind", "data-r", "data-angle", "data-id")} == {
        "data-kind": "chip",
        "data-r": "0.97",
        "data-angle": "170",
        "data-id": "m7",
    }


def test_agreed_marks_are_numbered_in_their_order_and_ringed() -> None:
    marks = [
        {"category": "agreed", "r": r, "angle_deg": a, "words": w}
        for r, a, w in ((".2", "10", "a"), (".9", "200", "b"))
    ]
    found = groups(drawn(marks), "agreed")
    assert [(group.get("data-number"), group.find(f"{SVG}title").text) for group in found] == [("1", "a"), ("2", "b")]  # type: ignore
    assert all(group.find(f"{SVG}circle").get("fill") == "none" for group in found)  # type: ignore[union-attr]


def test_a_hidden_arc_runs_counter_clockwise_through_three_o_clock() -> None:
    root = drawn([{"category": "hidden", "angle_deg": "350", "to_deg": "10"}])
    (group,) = groups(root, "hidden")
    band = group.find(f"{SVG}path").get("d")  # type: ignore[union-attr]
    points = [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", band)]  # type: ignore[arg-type]
    assert all(x > 80 and abs(y) < 20 for x, y in points)


def test_a_hidden_arc_needs_both_ends() -> None:
    with pytest.raises(BadSheet, match=r"marks\[0\] is a hidden arc without to_deg"):
        paper.clock_face("round", [{"category": "hidden", "angle_deg": "1"}])


@pytest.mark.parametrize("wrong", ["x", "nan", "inf", ""])
def test_numbers_that_are_none_are_refused_by_name(wrong: str) -> None:
    with pytest.raises(BadSheet, match=r"marks\[0\]\.angle_deg"):
        paper.clock_face("round", [{"category": "claw", "angle_deg": wrong}])


def test_an_unknown_category_is_refused() -> None:
    with pytest.raises(BadSheet, match=r"marks\[0\]\.category is 'sparkle'"):
        paper.clock_face("round", [{"category": "sparkle", "angle_deg": "1"}])  # type: ignore[typeddict-item]


@pytest.mark.parametrize("cut", CUTS)
def test_every_outline_has_the_girdle_radius_of_its_measures(cut: str) -> None:
    points = outline.outline(outline.family(cut))
    width = max(x for x, _ in points) - min(x for x, _ in points)
    length = max(y for _, y in points) - min(y for _, y in points)
    assert (length + width) / 4 == pytest.approx(1)
    turning = sum(ax * by - ay * bx for (ax, ay), (bx, by) in zip(points, [*points[1:], points[0]], strict=True))
    assert turning > 0, "corners run counter-clockwise"


def test_every_cut_has_an_outline_of_its_own_and_an_unknown_one_is_dashed() -> None:
    shapes = {cut: drawn([], cut).find(f".//{SVG}path[@class='outline']") for cut in CUTS}
    dashed = [cut for cut, shape in shapes.items() if shape.get("stroke-dasharray")]  # type: ignore[union-attr]
    assert dashed == ["other"]
    known = {shape.get("d") for cut, shape in shapes.items() if cut != "other"}  # type: ignore[union-attr]
    assert len(known) == len(CUTS) - 1


def test_length_over_width_is_taken_from_the_stone() -> None:
    points = outline.outline("oval", 1.6)
    assert max(y for _, y in points) / max(x for x, _ in points) == pytest.approx(1.6)


def test_each_kind_has_an_outline_of_its_own() -> None:
    paths = {symbol.draw_symbol(kind, (0, 0), size=1, colour=TEAL, hollow=False) for kind in symbol.KINDS}
    assert len(paths) == len(symbol.KINDS)


@pytest.mark.parametrize("kind", symbol.KINDS)
def test_filled_is_inside_and_hollow_is_on_the_surface(kind: str) -> None:
    root = drawn([{"category": "characteristic", "kind": kind, "r": ".4", "angle_deg": "10"}])
    fill = groups(root, "characteristic")[0].find(f"{SVG}path").get("fill")  # type: ignore[union-attr]
    assert fill == (PAPER if kind in symbol.SURFACE else TEAL)


def test_a_word_without_a_shape_keeps_its_word_in_the_legend() -> None:
    assert "sugar crust" in paper.clock_face(
        "round", [{"category": "characteristic", "kind": "sugar crust", "r": ".1", "angle_deg": "5"}]
    )


def test_the_legend_names_everything_that_is_drawn_and_nothing_else() -> None:
    root = drawn(MARKS)
    words = [item.text for item in root.find(f".//{SVG}g[@class='legend']").iter(f"{SVG}text")]  # type: ignore[union-attr]
    assert words == ["claw", "claw worn", "not examined", "damage: chip", "crystal", "agreed mark", "filled: inside"]
    assert drawn(MARKS, legend=False).find(f".//{SVG}g[@class='legend']") is None
    alone = ElementTree.fromstring(legend.key_alone(MARKS, width=480))  # type: ignore[arg-type]
    assert [item.text for item in alone.iter(f"{SVG}text")] == words


def test_words_of_others_cannot_leave_their_place() -> None:
    hostile = '"/><script>alert(1)</script>'
    svg = paper.clock_face(
        hostile, [{"category": "agreed", "r": "0", "angle_deg": "0", "words": hostile, "id": hostile}]
    )
    root = ElementTree.fromstring(svg)
    tags = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "g", "path", "circle", "line", "rect", "text"}


def test_nothing_in_a_drawing_needs_more_than_the_strictest_content_policy() -> None:
    svg = paper.clock_face("pear", MARKS)  # type: ignore[arg-type]
    assert not re.search(r"<style|<script|\bstyle=|\bid=|href|url\(|\son\w+=", svg)


def test_the_description_says_in_words_what_is_drawn() -> None:
    said = drawn(MARKS).find(f"{SVG}desc").text  # type: ignore[union-attr]
    assert said is not None
    assert "claw worn at half past 10" in said
    assert "not examined from half past 2 to half past 3" in said
    assert "agreed mark 1 at half past 11: dark spot & <a dot>" in said
    assert clockface.describe([]) == "nothing is marked"


def test_inks_stand_out_on_paper() -> None:
    """WCAG 2.2, success criterion 1.4.6: 7:1 for text to act on; 1.4.3 asks 4.5:1 of the rest."""
    assert all(_contrast(ink, PAPER) >= 7 for ink in (GRAPHITE, TEAL))
    assert all(_contrast(ink, PAPER) >= 4.5 for ink in (AMBER, BRICK, QUIET))
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)


def _contrast(one: str, two: str) -> float:
    """WCAG 2.2: relative luminance and contrast ratio."""
    light, dark = sorted((_luminance(one), _luminance(two)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_the_page_of_symbols_is_up_to_date() -> None:
    page = (HOUSE / "docs/reference/symbols.md").read_text(encoding="utf-8")
    assert [kind for kind in symbol.KINDS if f"{kind}" not in page] == []
    drawn_now = runpy.run_path(str(HOUSE / "scripts/draw_symbols.py"))
    expected = legend.key_alone(drawn_now["every_mark"](), width=760) + "\n"
    assert (HOUSE / "docs/reference/symbols.svg").read_text(encoding="utf-8") == expected, "run scripts/draw_symbols.py"
