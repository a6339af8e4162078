"""Sheets, charts and the job strip, by hand-made cases."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from tests.unit.paper_sheet import AT, judged_stone, label_sheet, picture, receipt_sheet, statement_sheet, verdict

from samestone import paper
from samestone.paper import chart, printing, sheet, typesetting

PdfText = Callable[[bytes], str]

SVG = "{http://www.w3.org/2000/svg}"
MODULES = [f"samestone.paper.{found.name}" for found in pkgutil.iter_modules(paper.__path__)]


def test_examples_in_docstrings_give_what_they_say() -> None:
    results = [doctest.testmod(importlib.import_module(name)) for name in MODULES]
    assert sum(result.failed for result in results) == 0
    assert sum(result.attempted for result in results) >= 4


def test_drawings_need_neither_the_typesetter_nor_the_signature_library() -> None:
    program = "import sys; from samestone import paper; paper.clock_face, paper.job_strip, paper.narrowing; "
    program += "print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout.split()
    assert not {"typst", "pyhanko", "PIL", "segno"} & set(loaded)


@pytest.fixture
def pdf_text(tmp_path: Path) -> PdfText:
    """What poppler reads in a PDF, with single spaces."""

    def read(pdf: bytes) -> str:
        path = tmp_path / "paper.pdf"
        path.write_bytes(pdf)
        done = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True)
        return " ".join(done.stdout.split())

    return read


def texts(svg: str) -> list[str]:
    return [item.text or "" for item in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_the_narrowing_shows_every_count() -> None:
    svg = paper.narrowing(verdict()["narrowing"])
    assert [words for words in texts(svg) if re.fullmatch(r"[\d,]+", words)] == ["43,207", "703", "13"]


def test_up_to_twenty_stones_each_has_its_dot() -> None:
    for count in (0, 1, 2, 13, 20):
        svg = paper.narrowing({"of": 50000, "left": [{"after": "weight", "left": count}]})
        paths = [item.get("d") or "" for item in ElementTree.fromstring(svg).iter(f"{SVG}path")]
        assert [data.count("M") for data in paths[1:]] == ([count] if count else [])


def test_bars_lie_on_the_side_of_what_they_support() -> None:
    against = verdict()
    against["blocks"][0].update(random=-1.5, look_alike=0.5)
    svg = ElementTree.fromstring(paper.likelihood_bars(against))
    block = svg.findall(f"{SVG}g[@class='block']")[0]
    left, right = block.findall(f"{SVG}rect")
    zero = chart._Scale(-5, 4).at(0)
    assert float(left.get("x") or 0) + float(left.get("width") or 0) == pytest.approx(zero, abs=0.02)
    assert float(right.get("x") or 0) == pytest.approx(zero, abs=0.02)
    assert "−1.50" in texts(paper.likelihood_bars(against))


def test_assumed_limits_look_other_than_validated_ones() -> None:
    def dashes(count: int) -> int:
        block = {**verdict()["blocks"][0], "validated_on": count}
        root = ElementTree.fromstring(paper.likelihood_bars(verdict(blocks=[block])))
        return sum("stroke-dasharray" in item.attrib for item in root.findall(f"{SVG}g[@class='block']/{SVG}path"))

    assert (dashes(15000), dashes(0)) == (0, 4)


def test_bars_take_the_decimal_strings_of_a_log() -> None:
    as_text = verdict(blocks=[{**verdict()["blocks"][0], "random": "3.81", "look_alike": "1.255", "upper": "3.81"}])
    assert texts(paper.likelihood_bars(as_text)) == texts(paper.likelihood_bars(verdict()))


def test_the_station_now_is_the_large_one() -> None:
    svg = paper.job_strip(
        [
            {"name": "taken in", "at": "2 Mar", "by": "IM"},
            {"name": "bench", "at": "3 Mar", "now": True},
            {"name": "ready"},
        ]
    )
    sizes = {item.text: float(item.get("font-size") or 0) for item in ElementTree.fromstring(svg).iter(f"{SVG}text")}
    assert sizes["bench"] > sizes["taken in"] == sizes["ready"]
    assert paper.job_strip([])


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"seal": None}, "sheet lacks seal"),
        ({"price": "1"}, "sheet has unknown fields price"),
        ({"envelope": 1042}, r"sheet.envelope is '1042' \(int\); expected str"),
        (
            {"stones": [{"position": "centre", "words": "x", "basis": "guessed"}]},
            r"sheet.stones\[0\].basis is 'guessed'",
        ),
        ({"pictures": [{"data": b"GIF89a", "caption": "x"}]}, r"pictures\[0\] cannot be read as JPEG or PNG"),
    ],
)
def test_a_sheet_that_cannot_be_printed_is_refused_by_field(changes: dict[str, object], message: str) -> None:
    with pytest.raises(sheet.BadSheet, match=message):
        paper.receipt(receipt_sheet(**changes), at=AT)


def test_a_letter_that_no_font_has_is_printed_as_its_code_point(pdf_text: PdfText) -> None:
    pdf = paper.label(label_sheet(piece="ring 東"), at=AT)
    assert "ring [U+6771]" in pdf_text(pdf)


def test_words_are_never_read_as_a_program(pdf_text: PdfText) -> None:
    words = '#panic("x") $a^2$ *b* \\ @c <d>'
    assert words in pdf_text(paper.receipt(receipt_sheet(work=words), at=AT))


def test_other_words_can_be_given(pdf_text: PdfText) -> None:
    pdf = paper.receipt(receipt_sheet(), at=AT, words={"receipt": "Claim slip"})
    assert "Claim slip" in pdf_text(pdf)


def test_a_surprise_shows_no_value(pdf_text: PdfText) -> None:
    told, silent = (pdf_text(paper.receipt(receipt_sheet(value=value), at=AT)) for value in ("4,200", None))
    assert "4,200" in told and "not a valuation" in told
    assert "Value" not in silent


def test_a_paper_depends_on_its_values_and_date_alone() -> None:
    assert paper.receipt(receipt_sheet(), at=AT) == paper.receipt(receipt_sheet(), at=AT)


@pytest.mark.parametrize(
    ("turn", "expected"), [(0, (0.75, 0.5)), (90, (0.5, 0.25)), (180, (0.25, 0.5)), (-90, (0.5, 0.75))]
)
def test_a_ring_turns_with_its_picture(turn: float, expected: tuple[float, float]) -> None:
    ring = printing._turned({"x": "0.75", "y": "0.5", "number": 1}, turn, 1.0)
    assert (ring["x"], ring["y"]) == pytest.approx(expected)


def test_a_picture_is_turned_the_same_way_as_its_rings() -> None:
    import io

    from PIL import Image

    flat = Image.new("RGB", (200, 200), "white")
    flat.paste("red", (140, 90, 160, 110))
    out = io.BytesIO()
    flat.save(out, "PNG")
    data, width, height = typesetting.printable(out.getvalue(), 90, "picture")
    ring = printing._turned({"x": "0.75", "y": "0.5", "number": 1}, 90, 1.0)
    red, green, _ = Image.open(io.BytesIO(data)).getpixel((round(ring["x"] * width), round(ring["y"] * height)))  # type: ignore
    assert red > 200 and green < 60


def test_a_large_picture_is_made_small_enough_for_paper() -> None:
    _, width, height = typesetting.printable(picture(size=(3000, 1500)), 0, "picture")
    assert (width, height) == (1400, 700)


def test_an_expert_reads_differences_rounded_to_their_uncertainty(pdf_text: PdfText) -> None:
    said = pdf_text(paper.statement(statement_sheet(), at=AT))
    assert "1.0340" in said and "1.0310" in said and "−0.0030" in said and "u 0.0010" in said
    assert "before clipping +4.25" in said


@pytest.mark.parametrize("words", ["\x00a", "👨\u200d👩\u200d👧", "\u202eabc", "𐚔᾽", "\ue000"])
def test_signs_that_join_or_control_are_printed_as_code_points(words: str, pdf_text: PdfText) -> None:
    said = pdf_text(paper.label(label_sheet(piece=words, look_for=None, grams=None), at=AT))
    assert "[U+" in said


def test_a_statement_speaks_of_every_stone(pdf_text: PdfText) -> None:
    stones = [judged_stone(name="left stud"), judged_stone(name="right stud", unchecked=["depth"])]
    said = pdf_text(paper.statement(statement_sheet(stones=stones, not_judged=["clasp: three small stones"]), at=AT))
    assert "Left stud" in said and "Right stud" in said and "Depth." in said
    assert "Not compared: clasp: three small stones" in said
    assert said.count("before clipping +4.25") == 2
    with pytest.raises(sheet.BadSheet, match="at least one stone"):
        paper.statement(statement_sheet(stones=[]), at=AT)


LINE: dict[str, Any] = {
    "method": "samestone-photo/2",
    "before": "a1" * 32,
    "now": "b2" * 32,
    "protocol": "guided",
    "calibration": {"sha256": "c3" * 32, "table": "{}"},
    "source": "simulated photographs",
    "stones": "71",
}


def test_the_pictures_are_printed_beside_the_findings(pdf_text: PdfText) -> None:
    weight = {"value": "1.85", "lower": "-1.85", "upper": "1.85"}
    line = {**LINE, "log10_lr": weight, "agree": "41", "absent": "5"}
    text = pdf_text(paper.statement(statement_sheet(stones=[judged_stone(picture_line=line)]), at=AT))
    for words in ("log10 LR +1.85", "−1.85 to +1.85: 71 stones, simulated photographs", "41 features", "c3c3c3c3c3c3"):
        assert words in text


def test_pictures_that_were_not_compared_say_why(pdf_text: PdfText) -> None:
    line = {**LINE, "why_not": "The new picture: blurred."}
    text = pdf_text(paper.statement(statement_sheet(stones=[judged_stone(picture_line=line)]), at=AT))
    assert "Not compared. The new picture: blurred." in text
    assert "beside all this" not in pdf_text(paper.statement(statement_sheet(), at=AT))
