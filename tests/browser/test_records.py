"""Instruments and records in the browser: a failed check, a stray stone, a stone's pages; both themes."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import free_port, wait_for
from tests.browser.test_walk import check_page, choose, press

PASSWORD = "a bench under good light"
SEED = f"""
import django; django.setup()
from django.utils import timezone
from samestone.shop import finding
from samestone.shop.intake import actions as intake
from samestone.shop.models import Instrument, Reading
from samestone.shop.site.actions import open_shop
at = timezone.now()
by = open_shop(shop_name="Larkfield Goldsmiths", street="14 Mill Lane", town="Ashby Vale", name="Ines Marlow",
               username="ines", password="{PASSWORD}", at=at, simulated=True)
for n in range(3):
    job = intake.open_job(envelope=str(1041 + n), person={{"name": "Odile Farrow", "phone": "1"}}, at=at, by=by)
    piece = intake.describe_piece(job, kind="ring", words="solitaire", at=at, by=by)
    stone = intake.describe_stone(piece, basis="tested", at=at, by=by)
    look = finding.begin_examination(stone, "take-in", at=at, by=by)
    for name, value in (("diameter_min_mm", 6.0), ("diameter_max_mm", 6.04), ("depth_mm", 3.7)):
        finding.record_finding(Reading, look, at=at, by=by, property=name, indications=[f"{{value + 0.3 * n:.2f}}"] * 3,
                               instrument=Instrument.objects.get(kind="gauge"))
    finding.finish_examination(look, at=at, by=by)
"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A counter with three stones that were measured at take-in."""
    port, data = free_port(), tmp_path_factory.mktemp("records")
    environment = {
        **os.environ,
        "SAMESTONE_DATA": str(data),
        "DJANGO_SETTINGS_MODULE": "samestone.shop.site.settings",
    }
    command = [str(Path(sys.executable).with_name("samestone")), "serve", "--port", str(port)]
    server = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_for(f"http://127.0.0.1:{port}", server)
        subprocess.run([sys.executable, "-c", SEED], env=environment, check=True)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(timeout=20)


@pytest.fixture(scope="module")
def desk(address: str, chromium: Browser) -> Iterator[Page]:
    context = chromium.new_context(viewport={"width": 1280, "height": 800}, base_url=address)
    page = context.new_page()
    page.goto("/sign-in/")
    page.locator("[name=username]").fill("ines")
    page.locator("[name=password]").fill(PASSWORD)
    press(page, "Sign in")
    expect(page.get_by_role("link", name="Instruments")).to_be_visible()
    yield page
    context.close()


def test_a_stray_stone_gets_a_shortlist(desk: Page) -> None:
    desk.goto("/records/stray/")
    desk.locator("[name=diameter_min_mm]").fill("6.31")
    desk.locator("[name=depth_mm]").fill("4.00")
    press(desk, "Look")
    expect(desk.locator("tbody tr").first).to_contain_text("1042")
    expect(desk.get_by_text("None of them", exact=True)).to_be_visible()
    expect(desk.get_by_text("Nothing is assigned")).to_be_visible()
    check_page(desk)


def test_a_stone_has_its_pages(desk: Page) -> None:
    desk.goto("/records/")
    desk.locator("#q").fill("1043")
    press(desk, "Find")
    desk.get_by_role("link", name="centre").click()
    expect(desk.locator(".visits")).to_contain_text("6.60, 6.60, 6.60")
    check_page(desk)
    desk.get_by_role("link", name="Weight", exact=True).click()
    expect(desk.get_by_text("95 of 100 such stones")).to_be_visible()
    check_page(desk)
    desk.get_by_role("link", name="What can it be").click()
    desk.locator("[name=doubling]").select_option("seen")
    press(desk, "See what remains")
    expect(desk.get_by_text("Synthetic moissanite")).to_be_visible()
    check_page(desk)


def test_a_failed_check_lists_what_it_puts_in_doubt(desk: Page) -> None:
    desk.goto("/instruments/")
    desk.get_by_role("link", name="gauge", exact=True).click()
    for name, shows in (("shows_1", "2.00 2.00"), ("shows_2", "5.09 5.09")):
        desk.locator(f"[name={name}]").fill(shows)
    desk.locator("form", has=desk.locator("[name=shows_1]")).get_by_role("button").click()
    expect(desk.get_by_text("It failed its last check")).to_be_visible()
    expect(desk.locator(".touched tbody tr")).to_have_count(3)
    check_page(desk)


def test_other_screens_and_the_dark_theme(desk: Page) -> None:
    addresses = ["/instruments/", "/instruments/1/", "/instruments/4/", "/instruments/1/study/", "/records/?q=farrow",
                 "/records/uncollected/", "/records/retention/?years=0", "/records/calibration/", "/job/1041/grams/",
                 "/job/1041/export/", "/stone/1/", "/person/1/forget/"]  # fmt: skip
    for width, height, theme, some in ((1920, 1080, "light", addresses[:3]), (1024, 768, "dark", addresses)):
        desk.set_viewport_size({"width": width, "height": height})
        desk.evaluate(f"localStorage.setItem('theme', '{theme}')")
        for address in some:
            desk.goto(address)
            check_page(desk)
    choose(desk, "It cannot be undone")
