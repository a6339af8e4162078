"""Laws that drawings and papers keep for any input."""

from __future__ import annotations

import math
import re
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.unit.paper_sheet import AT, label_sheet

from samestone import paper
from samestone.paper import chart, outline, symbol

SVG = "{http://www.w3.org/2000/svg}"
ANGLE = st.floats(-720, 720, allow_nan=False)
CATEGORY = st.sampled_from(["claw", "damage", "characteristic", "agreed"])
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=30)


@given(st.integers(0, 60000), st.integers(0, 60000), st.integers(1, 60000))
def test_fewer_stones_never_show_more_dots(one: int, two: int, of: int) -> None:
    fewer, more = sorted((min(one, of), min(two, of)))
    assert chart.dot_count(fewer, of) <= chart.dot_count(more, of) <= chart.dot_count(of, of)


@given(st.floats(0.001, 1.6), ANGLE)
def test_a_tap_reads_back_what_was_drawn(r: float, angle: float) -> None:
    mark = {"category": "characteristic", "kind": "cloud", "r": r, "angle_deg": angle}
    root = ElementTree.fromstring(paper.clock_face("oval", [mark]))  # type: ignore[list-item]
    (path,) = (group[1] for group in root.iter(f"{SVG}g") if group.get("class") == "characteristic")
    place = re.match(r"translate\(([-\d.]+) ([-\d.]+)\)", path.get("transform") or "")
    assert place is not None
    x, y = float(place[1]), float(place[2])
    assert math.hypot(x, y) / 100 == pytest.approx(r, abs=2e-4)
    assert math.dist((x, y), (100 * r * math.cos(math.radians(angle)), -100 * r * math.sin(math.radians(angle)))) < 0.01


@given(
    st.sampled_from(["round", "oval", "princess", "pear", "marquise", "baguette", "emerald"]), st.floats(1, 3), ANGLE
)
def test_the_girdle_is_met_once_in_every_direction(name: str, ratio: float, angle: float) -> None:
    points = outline.outline(name, ratio)
    found = outline.reach(points, angle)
    half_width = 2 / (1 + ratio)
    assert 0.7 * half_width < found <= max(math.hypot(x, y) for x, y in points) + 1e-6


@given(st.lists(st.tuples(CATEGORY, st.sampled_from(["", *symbol.KINDS]) | WORDS, WORDS), max_size=6), WORDS)
def test_any_words_give_well_formed_drawings(given_marks: list[tuple[str, str, str]], cut: str) -> None:
    marks = [{"category": c, "kind": k, "words": w, "r": "0.5", "angle_deg": "30"} for c, k, w in given_marks]
    root = ElementTree.fromstring(paper.clock_face(cut, marks))  # type: ignore[arg-type]
    drawn = [group for group in root.iter(f"{SVG}g") if group.get("data-category")]
    assert len(drawn) == len(marks)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(WORDS)
def test_any_words_can_be_printed(tmp_path: Path, words: str) -> None:
    (tmp_path / "label.pdf").write_bytes(paper.label(label_sheet(piece=words, face=None), at=AT))
    said = subprocess.run(["pdfinfo", tmp_path / "label.pdf"], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages:\s+1\b", said)
