"""The page inside a packet, opened from disk in Chromium as a client would, with good and bad packets."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.packets import cabinet, worked_example

from samestone.cli.statement_replay import statement_says
from samestone.custody import packet


@pytest.fixture(scope="module")
def check_page(chromium: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """The page as it lies in the packet; every request but its own file is a failure, and so is every console error."""
    folder = tmp_path_factory.mktemp("packet")
    (folder / "check.html").write_bytes(packet.read_packet(worked_example.worked_packet()).files["check.html"])
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto((folder / "check.html").as_uri())
    yield page
    page.close()
    assert [url for url in asked if not url.startswith(("file:", "blob:"))] == []
    assert said == []


def give(page: Page, data: bytes) -> None:
    page.locator("#zip").set_input_files({"name": "packet.zip", "mimeType": "application/zip", "buffer": data})
    page.wait_for_function(
        "() => !document.getElementById('result').hidden || !document.getElementById('refusal').hidden"
    )


def lines(page: Page, kind: str) -> list[str]:
    return page.locator(f"#checks li.{kind}").all_inner_texts()


def test_a_good_packet_holds_in_the_same_words_as_the_command_line(check_page: Page) -> None:
    data = worked_example.worked_packet()
    give(check_page, data)
    read = packet.read_packet(data)
    expected = [*(f"{check.says}." for check in packet.verify_packet(read)), statement_says(read)[1]]
    assert [line.replace("’", "'") for line in lines(check_page, "holds")] == expected
    assert lines(check_page, "fails") == []
    shown = check_page.locator("#fingerprint span").all_inner_texts()
    assert " ".join(shown) == worked_example.shop_key().printed
    widths = check_page.eval_on_selector_all("figure img", "images => images.map(image => image.naturalWidth)")
    assert widths == [1, 1]


@pytest.mark.parametrize("name", sorted(cabinet.DEFECTS))
def test_every_defect_of_the_cabinet_is_shown(check_page: Page, name: str) -> None:
    give(check_page, cabinet.bad_packet(name))
    if check_page.locator("#refusal").is_visible():
        assert "cannot be read as a packet" in check_page.locator("#refusal").inner_text()
    else:
        read = packet.read_packet(cabinet.bad_packet(name))
        failed = [check.name for check in packet.verify_packet(read) if not check.holds]
        assert failed
        assert len(lines(check_page, "fails")) == len(failed) + (not statement_says(read)[0])
        assert "do not hold" in check_page.locator("#bottom-line").inner_text()
        as_signed = not {"wrapping", "files", "digests", "signature"} & set(failed)
        assert ("go together" in check_page.locator("#meaning").inner_text()) is as_signed


def test_receipts_typed_from_paper(check_page: Page) -> None:
    _, given, content = worked_example.worked_job()
    give(check_page, worked_example.worked_packet())
    says = check_page.locator("#receipt-says")
    check_page.fill("#receipt", content.receipts[1].printed)
    check_page.click("text=Check it")
    says.filter(has_text="given for; what that entry says is not in this packet.").wait_for()
    for typed in (given.printed, given.printed.upper().replace("-", " "), given.qr):
        check_page.fill("#receipt", typed)
        check_page.click("text=Check it")
        says.filter(has_text="still holds the entry that this receipt was given for.").wait_for()
    last = "0" if given.printed[-1] != "0" else "1"
    check_page.fill("#receipt", given.printed[:-1] + last)
    check_page.click("text=Check it")
    says.filter(has_text="mistyped").wait_for()


@pytest.mark.parametrize(("name", "words"), [("rewritten", "it was rewritten"), ("shortened", "it was shortened")])
def test_a_sound_packet_from_another_log_fails_the_receipt(check_page: Page, name: str, words: str) -> None:
    data, given = cabinet.other_log(name)
    give(check_page, data)
    assert lines(check_page, "fails") == []
    for typed in (given.printed, given.qr):
        check_page.fill("#receipt", typed)
        check_page.click("text=Check it")
        check_page.locator("#receipt-says.fails").filter(has_text=words).wait_for()


def test_a_packet_that_was_packed_again_says_so_and_its_folder_holds(check_page: Page, tmp_path: Path) -> None:
    again = tmp_path / "again.zip"
    files = packet.read_packet(worked_example.worked_packet()).files
    with zipfile.ZipFile(again, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in files.items():
            out.writestr(f"packet/{name}", content)
    give(check_page, again.read_bytes())
    assert len(lines(check_page, "fails")) == 1
    assert "packed again" in lines(check_page, "fails")[0]
    folder = tmp_path / "packet"
    with zipfile.ZipFile(again) as archive:
        archive.extractall(tmp_path)
    check_page.locator("#folder").set_input_files(folder)
    check_page.locator("#bottom-line.holds").wait_for()
