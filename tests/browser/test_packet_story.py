"""The page inside a packet holds the record against the log and the statement, in the words of `samestone replay`."""

from __future__ import annotations

import copy
import dataclasses
import io
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.writer import PdfFileWriter
from tests.browser.test_packet_check import check_page, give, lines
from tests.packets import worked_example
from tests.packets.test_packet_replay import judged
from tests.unit import paper_sheet

from samestone import cli, paper
from samestone.cli.statement_replay import statement_says
from samestone.custody import canonical, packet

__all__ = ["check_page"]

LINE = {"method": "samestone-photo/2", "log10_lr": {"value": "1.10", "lower": "0.20", "upper": "1.47"}}
EARLIER = {"log10_lr": {"value": "1.10", "lower": "0.20", "upper": "1.47"}}
Reached = list[dict[str, Any]]


def packet_of(record: dict[str, Any], reached: Reached, statement: bytes | None = None) -> bytes:
    """A sound packet whose log tells these verdicts; its statement carries the record unless another one is given."""
    log, _, content = worked_example.worked_job()
    written = canonical.canonical_bytes(record)
    for payload in reached:
        log.append("verdict reached", content.subject, payload)
    log.append("sealed", content.subject, {"record": worked_example.digest_of(written)})
    logged = dataclasses.replace(
        content,
        record=record,
        statement=worked_example.statement_with(written) if statement is None else statement,
        digests=log.digests,
        entries=[*content.entries, *log.logged[-1 - len(reached) :]],
        receipts=[],
    )
    return packet.build_packet(logged, key=worked_example.shop_key())


def story(line: dict[str, Any] | None = None) -> tuple[dict[str, Any], Reached]:
    """A record of two stones, the first with a picture line, and the log's entries that go with it."""
    left = {"name": "left", **judged(), **({} if line is None else {"pictures": line})}
    right = {"name": "right", **judged(weight="1.010")}
    record = {**worked_example.RECORD, "format": "samestone-packet/2", "stones": [left, right]}
    del record["examinations"], record["verdict"]
    first = {"verdict": left["verdict"], "pictures": {} if line is None else {"line": line}}
    return copy.deepcopy(record), [first, {"verdict": right["verdict"], "pictures": {}}]


def said_by_replay(data: bytes, place: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    (place / "packet.zip").write_bytes(data)
    cli.main(["replay", str(place / "packet.zip")])
    return capsys.readouterr().out.splitlines()


def plainly(line: str) -> str:
    return line.replace("’", "'")


@pytest.mark.parametrize("line", [None, LINE], ids=["no picture line", "picture line"])
def test_a_record_that_log_and_statement_bear_out_holds(
    check_page: Page, line: dict[str, Any] | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = packet_of(*story(line))
    give(check_page, data)
    replayed = said_by_replay(data, tmp_path, capsys)
    assert lines(check_page, "fails") == lines(check_page, "open") == []
    held = [f"✓ {plainly(line)}" for line in lines(check_page, "holds")[-2:]]
    assert [line for line in held if line in replayed] == held
    assert check_page.locator("#bottom-line.holds").is_visible()
    assert "samestone replay" in check_page.locator("#beyond").inner_text()


def another_verdict(record: dict[str, Any], reached: Reached) -> None:
    record["stones"][1]["verdict"]["log10_lr"]["random"]["value"] = "9.99"


def another_picture_line(record: dict[str, Any], reached: Reached) -> None:
    record["stones"][0]["pictures"]["log10_lr"]["value"] = "2.10"


def picture_line_left_out(record: dict[str, Any], reached: Reached) -> None:
    del record["stones"][0]["pictures"]


def verdict_left_out_of_the_log(record: dict[str, Any], reached: Reached) -> None:
    reached[:] = [payload for payload in reached if payload["pictures"]]
    record["stones"][1]["verdict"]["ladder"] = "not_enough"


@pytest.mark.parametrize(
    ("change", "name"),
    [
        (another_verdict, "right"),
        (another_picture_line, "left"),
        (picture_line_left_out, "left"),
        (verdict_left_out_of_the_log, "right"),
    ],
)
def test_a_record_that_says_otherwise_than_the_log_is_found(
    check_page: Page,
    change: Callable[[dict[str, Any], Reached], None],
    name: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    record, reached = story(LINE)
    change(record, reached)
    data = packet_of(record, reached)
    assert all(check.holds for check in packet.verify_packet(packet.read_packet(data)))
    give(check_page, data)
    [failed] = lines(check_page, "fails")
    assert failed == f"The log knows no verdict as the record has it on: {name}."
    assert f"✗ {failed}" in said_by_replay(data, tmp_path, capsys)
    assert "1 of 11 checks do not hold" in check_page.locator("#bottom-line").inner_text()
    assert "its parts do not go together" in check_page.locator("#meaning").inner_text()


def test_a_picture_line_that_an_earlier_version_kept_in_the_log_alone_holds(check_page: Page) -> None:
    record, reached = story(EARLIER)
    del record["stones"][0]["pictures"]
    give(check_page, packet_of(record, reached))
    assert lines(check_page, "fails") == []


def test_a_log_without_a_verdict_is_said_and_does_not_fail(
    check_page: Page, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = packet_of(story()[0], [])
    give(check_page, data)
    assert lines(check_page, "fails") == []
    [left_open] = lines(check_page, "open")
    assert "No log entry in this packet says that a verdict was reached" in left_open
    assert f"○ {left_open}" in said_by_replay(data, tmp_path, capsys)


# --- the statement ----------------------------------------------------------------------------------------------------


def printed(record: bytes) -> bytes:
    """A statement as the shop prints and signs it, this record attached."""
    pdf = paper.statement(paper_sheet.statement_sheet(record=record), at=paper_sheet.AT)
    key = worked_example.shop_key()
    certificate = key.certificate_pem(name=worked_example.SHOP, at=paper_sheet.AT)
    how = {"key_pem": key.to_pem(), "certificate_pem": certificate, "at": paper_sheet.AT, "reason": "a test"}
    with ThreadPoolExecutor(1) as beside:  # both the browser and the signing want this thread's event loop
        return beside.submit(paper.sign_pdf, pdf, **how).result()


def otherwise_built(record: bytes, name: str = "record.json") -> bytes:
    """The same facts in other parts of the standard: compressed objects, a tree with branches, a deflated file."""
    writer, out = PdfFileWriter(stream_xrefs=True), io.BytesIO()
    inside = writer.prepare_object_stream()
    held = generic.StreamObject(stream_data=record)
    held.compress()
    file = generic.DictionaryObject({generic.pdf_name("/F"): writer.add_object(held)})
    described = generic.DictionaryObject({generic.pdf_name("/Type"): generic.pdf_name("/Filespec")})
    described[generic.pdf_name("/EF")] = file
    number = writer.add_object(described, obj_stream=inside)
    branch = generic.DictionaryObject()
    branch[generic.pdf_name("/Names")] = generic.ArrayObject([generic.TextStringObject(name), number])
    tree = generic.DictionaryObject()
    tree[generic.pdf_name("/Kids")] = generic.ArrayObject([writer.add_object(branch, obj_stream=inside)])
    names = generic.DictionaryObject({generic.pdf_name("/EmbeddedFiles"): writer.add_object(tree, obj_stream=inside)})
    writer.root[generic.pdf_name("/Names")] = names
    writer.write(out)
    return out.getvalue()


@pytest.mark.parametrize("build", [printed, otherwise_built])
def test_a_statement_that_carries_the_packet_s_record_holds(check_page: Page, build: Callable[[bytes], bytes]) -> None:
    record, reached = story()
    data = packet_of(record, reached, build(canonical.canonical_bytes(record)))
    give(check_page, data)
    assert lines(check_page, "fails") == []
    says = statement_says(packet.read_packet(data))
    assert says == (True, plainly(lines(check_page, "holds")[-1]))


def cut(record: bytes) -> bytes:
    return printed(record)[:9000]


def in_a_circle(record: bytes) -> bytes:
    """The tree of names leads back into itself: 3 to 3, written over the file's description byte by byte."""
    pdf, tree, file = worked_example.statement_with(record), b"/Names[(record.json)3 0 R]", b"<</Type/Filespec"
    looped = pdf.replace(tree, b"/Kids[3 0 R]".ljust(len(tree))).replace(file, b"<</Kids[3 0 R]".ljust(len(file)))
    assert len(looped) == len(pdf)
    return looped


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (lambda record: printed(record.replace(b"left", b"Left")), "printed from another record"),
        (lambda record: otherwise_built(record + b" "), "printed from another record"),
        (lambda record: otherwise_built(record, "records.json"), "no record attached"),
        (lambda record: b"", "no PDF that can be read"),
        (lambda record: b"%PDF-1.7\n%%EOF\n", "no PDF that can be read"),
        (lambda record: b"%PDF-1.7\nstartxref\n9\n%%EOF\n", "no PDF that can be read"),
        (lambda record: b"%PDF-1.7\nxref\ntrailer " + b"[" * 100_000 + b"\nstartxref\n9\n", "no PDF that can be read"),
        (cut, "no PDF that can be read"),
        (in_a_circle, "lead in a circle"),
    ],
    ids=["printed", "otherwise built", "another name", "empty", "bare", "no table", "deep", "cut", "circle"],
)
def test_a_statement_that_does_not_is_found(check_page: Page, statement: Callable[[bytes], bytes], words: str) -> None:
    record, reached = story()
    data = packet_of(record, reached, statement(canonical.canonical_bytes(record)))
    give(check_page, data)
    [failed] = lines(check_page, "fails")
    assert words in failed
    assert check_page.locator("#bottom-line.fails").is_visible()
    if words in ("printed from another record", "no record attached"):
        assert statement_says(packet.read_packet(data)) == (False, plainly(failed))
